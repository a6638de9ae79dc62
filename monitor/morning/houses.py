"""The night of each house: what its sensors saw, what it was for its tenderest tree, its picture."""

from typing import TYPE_CHECKING

from monitor.model import Place, Quantity
from monitor.morning.curves import picture
from monitor.morning.series import Night
from monitor.report.facts import HouseNight, MorningFacts, SensorNight

if TYPE_CHECKING:
    from monitor.engine import Engine
    from monitor.guarding import GuardedTree


ENOUGH_READINGS = 20
"""From so many on, all of them whole, a sensor is taken to know whole degrees only; judgement."""


def house_nights(engine: "Engine", night: Night, facts: MorningFacts) -> tuple[HouseNight, ...]:
    """Every house that has a sensor."""
    houses = []
    for house in engine.settings.houses:
        names = [name for name, sensor in engine.settings.sensors.items() if sensor.house == house]
        if names:
            houses.append(_house(engine, house, names, night, facts))
    return tuple(houses)


def _house(engine: "Engine", house: str, names: list[str], night: Night, facts: MorningFacts) -> HouseNight:
    tender = tenderest(engine, house)
    sensors = tuple(_sensor(engine, name, night) for name in names)
    found = HouseNight(house, engine.scenes.house_name(house), sensors)
    if tender is not None and tender.tree.sensor is not None:
        harm_c = tender.limits["low_harm_c"]
        series = night.series(tender.tree.sensor).part(night.watch_from_s, night.to_s)
        under_s = float(series.lasts_s(night.to_s)[series.values <= harm_c].sum())
        known = under_s if len(series.values) else None
        found = HouseNight(house, found.name, sensors, tender.tree.name, harm_c, known)
    return HouseNight(
        house,
        found.name,
        sensors,
        found.tenderest,
        found.low_harm_c,
        found.under_s,
        picture(engine, found, tender, night, facts),
    )


def tenderest(engine: "Engine", house: str) -> "GuardedTree | None":
    """The tree of a house that bears the least cold."""
    trees = [guarded for guarded in engine.guarding.in_house(house) if "low_harm_c" in guarded.limits]
    return max(trees, key=lambda guarded: guarded.limits["low_harm_c"], default=None)


def _sensor(engine: "Engine", name: str, night: Night) -> SensorNight:
    series = night.series(name)
    place = str(engine.settings.sensors[name].place or Place.BENCH)
    heard = any(engine.surroundings.latest(name, quantity) is not None for quantity in Quantity)
    seen = series.part(night.watch_from_s, night.to_s)
    gaps = seen.gaps(night.watch_from_s, night.to_s)
    if not len(seen.values):
        return SensorNight(name, place, gaps=gaps, heard=heard)
    lowest, highest = int(seen.values.argmin()), int(seen.values.argmax())
    return SensorNight(
        name,
        place,
        round(float(seen.values[lowest]), 2),
        float(seen.at_s[lowest]),
        round(float(seen.values[highest]), 2),
        float(seen.at_s[highest]),
        gaps,
        heard,
        seen.came,
        seen.doubtful,
        len(seen.values) >= ENOUGH_READINGS and bool((seen.values == seen.values.round()).all()),
    )
