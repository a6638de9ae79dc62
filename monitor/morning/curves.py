"""The facts of a house's picture: curves in steps of five minutes, the hours below them, its finding."""

from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from monitor.clock import local
from monitor.model import Quantity
from monitor.morning.series import BIN_S, Floats, Night
from monitor.report.facts import HouseNight, MorningFacts, SensorNight
from monitor.report.picture_facts import Curve, HousePicture
from monitor.report.picture_words import alt_text, limit_labels
from monitor.science.psychrometrics import vapour_pressure_deficit

if TYPE_CHECKING:
    from monitor.engine import Engine
    from monitor.guarding import GuardedTree

CURVES_AT_MOST = 7
"""More lines than these nobody can tell apart: the coldest sensors and the one outdoors are drawn."""
LONGEST_S = 24 * 3600.0
TICKS_EVERY_H = 2


def picture(
    engine: "Engine", house: HouseNight, tender: "GuardedTree | None", night: Night, facts: MorningFacts
) -> HousePicture | None:
    """What the picture of a house shows; None where nothing was heard from it."""
    drawn = _drawn(house)
    if not drawn:
        return None
    from_s = max(night.from_s, night.to_s - LONGEST_S)
    drying_kpa = tender.limits.get("vpd_warn_kpa") if tender is not None else None
    return HousePicture(
        house=house.house,
        title=house.name,
        alt=alt_text(house, facts),
        unit="°F" if facts.speech.show == "fahrenheit" else "°C",
        steps=max(1, int(np.ceil((night.to_s - from_s) / BIN_S))),
        curves=tuple(_curve(sensor, from_s, night, facts) for sensor in drawn),
        ticks=_ticks(engine, from_s, night.to_s),
        limits=tuple(
            (label, _shown(limit_c, facts)) for label, limit_c in limit_labels(tender, facts.speech)
        ),
        blind=tuple(
            (round((max(a, from_s) - from_s) / BIN_S, 1), round((b - from_s) / BIN_S, 1), said)
            for a, b, said in _blind(house, facts)
            if b > from_s
        ),
        drying_limit=None if drying_kpa is None or tender is None else (tender.tree.name, drying_kpa),
    )


def _drawn(house: HouseNight) -> list[SensorNight]:
    heard = [sensor for sensor in house.sensors if sensor.low_c is not None]
    inside = sorted(
        (sensor for sensor in heard if sensor.place != "outdoor"), key=lambda sensor: sensor.low_c or 0.0
    )
    outside = [sensor for sensor in heard if sensor.place == "outdoor"]
    return [*inside[: CURVES_AT_MOST - len(outside)], *outside]


def _curve(sensor: SensorNight, from_s: float, night: Night, facts: MorningFacts) -> Curve:
    temperature = night.series(sensor.sensor)
    humidity = night.series(sensor.sensor, Quantity.RELATIVE_HUMIDITY_PCT)
    is_outdoor = sensor.place == "outdoor"
    lows = temperature.binned(from_s, night.to_s, lowest=True)
    drying: tuple[float | None, ...] = ()
    if not is_outdoor and len(humidity.values):
        air_c, air_pct = temperature.binned(from_s, night.to_s), humidity.binned(from_s, night.to_s)
        drying = _plain(np.asarray(vapour_pressure_deficit(air_c, np.clip(air_pct, 0.0, 100.0))), 3)
    shown = lows * 9 / 5 + 32 if facts.speech.show == "fahrenheit" else lows
    return Curve(sensor.sensor, is_outdoor, _plain(shown, 1), drying)


def _plain(values: Floats, decimals: int) -> tuple[float | None, ...]:
    return tuple(None if np.isnan(value) else round(float(value), decimals) for value in values)


def _shown(value_c: float, facts: MorningFacts) -> float:
    return round(value_c * 9 / 5 + 32, 1) if facts.speech.show == "fahrenheit" else value_c


def _ticks(engine: "Engine", from_s: float, to_s: float) -> tuple[tuple[float, str], ...]:
    """Even local hours on the axis; an hour that a change of the clocks repeats stands twice."""
    speech = engine.scenes.speech
    hour_s = 3600.0 * np.ceil((from_s + speech.offset_s) / 3600.0)
    found = []
    while hour_s - speech.offset_s <= to_s:
        at: datetime = local(float(hour_s), speech.zone)
        if at.minute == 0 and at.hour % TICKS_EVERY_H == 0:
            found.append((round((hour_s - speech.offset_s - from_s) / BIN_S, 2), f"{at:%H:%M}"))
        hour_s += 3600.0
    return tuple(found)


def _blind(house: HouseNight, facts: MorningFacts) -> list[tuple[float, float, str]]:
    """Spans in which sensors that trees depend on were silent, merged, and whose they are."""
    names = {tree.sensor for tree in facts.trees}
    watching = [
        sensor
        for sensor in house.sensors
        if sensor.sensor in names or (not names and sensor.place != "outdoor")
    ]
    spans = sorted((*gap, sensor.sensor) for sensor in watching for gap in sensor.gaps)
    merged: list[tuple[float, float, set[str]]] = []
    for from_s, to_s, name in spans:
        if merged and from_s <= merged[-1][1]:
            before = merged.pop()
            merged.append((before[0], max(before[1], to_s), before[2] | {name}))
        else:
            merged.append((from_s, to_s, {name}))
    return [(a, b, _whose(silent, len(watching))) for a, b, silent in merged]


def _whose(silent: set[str], watching: int) -> str:
    """`bench-a not seen`; only `not seen` where that is every sensor, or too many to name."""
    if len(silent) in (watching, 0) or len(silent) > 2:
        return "not seen"
    return f"{' and '.join(sorted(silent))} not seen"
