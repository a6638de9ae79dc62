"""What the house came to in the last nights, from the files of a guard that does not run."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from monitor import clock
from monitor.errors import StoreError
from monitor.model import HourRow
from monitor.night_lows import last_lows_c
from monitor.settings import Settings
from monitor.store.queries import Reader
from monitor.trees.book import Book
from monitor.trees.house_holds import (
    ASKS_FOR_WARMTH,
    NIGHTS,
    WHAT_TO_DO,
    beyond_the_house,
    beyond_words,
    trees_of,
)
from monitor.trees.in_force import limits_in_force
from monitor.trees.plans import Plans
from monitor.trees.stages import stages_of

DAY_S = 86400.0


def kept_lows_c(settings: Settings) -> dict[str, tuple[float | None, ...]]:
    """The lows of the last nights at each sensor [°C]; nothing where no state is."""
    now_s, zone = clock.wall_s(), settings.site.zone
    try:
        with Reader(Path(settings.state.directory)) as reader:
            shift_s = reader.label_offset_s()
            rows = list(reader.hours(now_s - shift_s - (NIGHTS + 2) * DAY_S))
    except StoreError:
        return {}

    def between(sensor: str, from_s: float, to_s: float) -> list[HourRow]:
        return [row for row in rows if row.sensor == sensor and from_s <= row.hour_at_s < to_s]

    return {name: last_lows_c(between, name, now_s, zone, NIGHTS, shift_s) for name in settings.sensors}


def against_the_house(
    entry: Mapping[str, Any], book: Book, settings: Settings, plans: Plans, now_s: float
) -> Iterable[str]:
    """A sentence for each tree of an entry (in the book already) whose limit its place does not hold."""
    if entry["kind"] not in ASKS_FOR_WARMTH:
        return
    lows_c = kept_lows_c(settings)
    for name in trees_of(entry):
        tree = book.trees.get(name)
        if tree is None or tree.sensor is None or tree.sensor not in settings.sensors:
            continue
        in_force = limits_in_force(tree, stages_of(tree, plans, now_s, lambda since_s: None), plans, now_s)
        limits = {key: limit.value for key, limit in in_force.items()}
        found = beyond_the_house(limits, lows_c.get(tree.sensor, ()))
        if found is not None:
            house = settings.sensors[tree.sensor].house
            yield f"{beyond_words(found, [tree.name], settings.houses[house].name or house)} {WHAT_TO_DO}"
