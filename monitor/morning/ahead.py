"""What the watches expect of the coming night, and how well they did."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from monitor.report.facts import Outlook, Skill

if TYPE_CHECKING:
    from monitor.engine import Engine


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
        )
        for each in found.get("skill", ())
        if engine.guarding.at_sensor(each["sensor"])
    )
