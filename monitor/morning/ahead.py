"""What the watches expect of the coming night, and how well they did."""

import itertools
import math
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any

from monitor.morning.houses import tenderest
from monitor.morning.series import Night
from monitor.night_lows import low_c, night_span_s
from monitor.report.facts import Death, LastLows, Outlook, Skill
from monitor.report.wording import UNSEEN_COUNTS_S

if TYPE_CHECKING:
    from monitor.engine import Engine

DEATH_TOLD_S = 7 * 86_400.0
"""So long the mornings after a finding tell where to look; judgement."""


def watched(engine: "Engine") -> Mapping[str, Any]:
    """The plain facts of all watches."""
    return {key: value for watch in engine.watches for key, value in watch.facts().items()}


def outlooks(engine: "Engine", found: Mapping[str, Any], for_date: str) -> tuple[Outlook, ...]:
    """The night that begins on the report's date, where trees stand; nothing of any other night."""
    return tuple(
        _outlook(engine, place)
        for place in found.get("tonight", ())
        if place["night"] == for_date and engine.guarding.at_sensor(place["sensor"])
    )


def _outlook(engine: "Engine", place: Mapping[str, Any]) -> Outlook:
    chances = {below["limit_c"]: below["chance"] for below in place["below"]}
    trees = sorted(
        (guarded.tree.name, harm_c, chances[harm_c])
        for guarded in engine.guarding.at_sensor(place["sensor"])
        if (harm_c := guarded.limits.get("low_harm_c")) is not None and harm_c in chances
    )
    trees.sort(key=lambda tree: -tree[2])
    return Outlook(place["sensor"], place["text"], tuple(trees), place["heater_text"])


def skills(engine: "Engine", found: Mapping[str, Any]) -> tuple[Skill, ...]:
    """How the forecasts did where trees stand."""
    return tuple(
        Skill(
            each["sensor"],
            each["nights"],
            round(each["band_held"] * each["nights"]),
            each["error_k"],
            each["enough"],
            each["rivals_k"]["usual_fall_c"],
        )
        for each in found.get("skill", ())
        if engine.guarding.at_sensor(each["sensor"])
    )


def last_lows(engine: "Engine", night: Night, day: date) -> tuple[LastLows, ...]:
    """The lows of this night and the two before where the tenderest tree of each house stands."""
    site, shift_s = engine.settings.site, engine.scenes.speech.offset_s
    midnight_s = datetime.combine(day, time(0), tzinfo=site.zone).timestamp() - shift_s
    found = []
    for house in engine.settings.houses:
        tender = tenderest(engine, house)
        if tender is None or tender.tree.sensor is None:
            continue
        sensor = tender.tree.sensor
        spans = (night_span_s(day - timedelta(days=back), site.zone, shift_s) for back in (1, 2))
        before = [low_c(engine.hours.rows(sensor, *span)) for span in spans]
        lows = [_low_of_night_c(night, sensor), *before]
        service_c = engine.readings.service_lows.low_c(house, midnight_s)
        found.append(
            LastLows(
                engine.scenes.house_name(house),
                sensor,
                tuple(itertools.takewhile(lambda low: low is not None, lows)),  # type: ignore[arg-type]
                None if math.isnan(service_c) else service_c,
            )
        )
    return tuple(found)


def _low_of_night_c(night: Night, sensor: str) -> float | None:
    """The lowest since the night began [°C]; None where too little of it was seen."""
    seen = night.series(sensor).part(night.watch_from_s, night.to_s)
    unseen_s = sum(to_s - from_s for from_s, to_s in seen.gaps(night.watch_from_s, night.to_s))
    if not len(seen.values) or unseen_s >= UNSEEN_COUNTS_S:
        return None
    return float(seen.values.min())


def deaths(engine: "Engine", found: Mapping[str, Any]) -> tuple[Death, ...]:
    """What was found dead or dying in the last week, and the worst hours before."""
    offset_s = engine.scenes.speech.offset_s
    return tuple(
        Death(
            each["tree"],
            engine.guarding.trees[each["tree"]].tree.name,
            each["found"],
            each["part"],
            each["from_s"] - offset_s,
            each["to_s"] - offset_s,
            each["low_c"],
            each["high_c"],
        )
        for each in found.get("worst_hours", ())
        if each["tree"] in engine.guarding.trees and engine.now_s - each["found_at_s"] < DEATH_TOLD_S
    )


def ready_to_leave(engine: "Engine", found: Mapping[str, Any]) -> tuple[str, ...]:
    """Names of trees of which nothing speaks against leaving the house."""
    trees = engine.guarding.trees
    names = (trees[each["tree"]].tree.name for each in found.get("leaving", ()) if each["ready"])
    return tuple(sorted(names))
