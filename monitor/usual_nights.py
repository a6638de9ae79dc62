"""What was entered, held against what the house came to in the last nights, and said at once."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from monitor.night_lows import last_lows_c
from monitor.trees.house_holds import (
    ASKS_FOR_WARMTH,
    NIGHTS,
    WHAT_TO_DO,
    beyond_the_house,
    beyond_words,
    trees_of,
)

if TYPE_CHECKING:
    from monitor.engine import Engine


def against_the_house(engine: "Engine", entry: Mapping[str, Any]) -> list[str]:
    """A sentence for each tree of an entry (taken already) whose limit its place does not hold."""
    if entry["kind"] not in ASKS_FOR_WARMTH:
        return []
    return [said for name in trees_of(entry) if (said := _said(engine, name))]


def _said(engine: "Engine", tree: str) -> str:
    guarded = engine.guarding.trees.get(tree)
    sensor = guarded.tree.sensor if guarded is not None else None
    if guarded is None or sensor is None or sensor not in engine.settings.sensors:
        return ""
    shift_s, zone = engine.scenes.speech.offset_s, engine.settings.site.zone
    label_s = engine.scenes.label_s(engine.now_s)
    lows_c = last_lows_c(engine.hours.rows, sensor, label_s, zone, NIGHTS, shift_s)
    found = beyond_the_house(guarded.limits, lows_c)
    if found is None:
        return ""
    place = engine.scenes.house_name(engine.settings.sensors[sensor].house)
    said = beyond_words(found, [guarded.tree.name], place, engine.scenes.speech.limit)
    return f"{said} {WHAT_TO_DO}"
