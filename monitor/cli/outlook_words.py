"""What `status` prints of wraps, tonight and how far forecasts can be trusted; values in, text out."""

from collections.abc import Mapping, Sequence
from typing import Any

from monitor.notices import night_words
from monitor.notices.night_words import chance_text
from monitor.notices.words import Speech, listed

CHANCE_AT_LEAST = 0.05
"""Smaller chances of damage are not worth a word."""


def wrap_lines(seen: Mapping[str, Any]) -> list[str]:
    """Each wrap with what is thought of it: `Larch 3, first-branch: feels damp, dry in 10–30 h`."""
    names = {tree["tree"]: tree["name"] for tree in seen["trees"]}
    return [
        f"{names.get(wrap['tree'], wrap['tree'])}, {wrap['wrap']}: {wrap['thought']}"
        for wrap in seen.get("wraps", ())
    ]


def tonight_lines(seen: Mapping[str, Any], speech: Speech) -> list[str]:
    """What is expected at each place, with the trees that may come to harm."""
    return [_outlook(place, seen["trees"], speech) for place in seen.get("tonight", ())]


def _outlook(place: Mapping[str, Any], trees: Sequence[Mapping[str, Any]], speech: Speech) -> str:
    said = [f"{place['sensor']}: lowest {place['text']}"]
    for below in place["below"]:
        harmed = [
            tree["name"]
            for tree in trees
            if tree.get("sensor") == place["sensor"]
            and tree["limits"].get("low_harm_c", {}).get("value") == below["limit_c"]
        ]
        if harmed and below["chance"] >= CHANCE_AT_LEAST:
            limit = speech.limit(below["limit_c"])
            said.append(f"{listed(harmed)} below {limit}: {chance_text(below['chance'])}")
    return "; ".join([*said, place["heater_text"]] if place["heater_text"] else said)


def skill_lines(seen: Mapping[str, Any], speech: Speech) -> list[str]:
    """How the last forecasts came out, with the number of nights beside it."""
    return [_skill(each, speech) for each in seen.get("skill", ())]


def _skill(each: Mapping[str, Any], speech: Speech) -> str:
    nights = int(each["nights"])
    rival_k = each.get("rivals_k", {}).get("usual_fall_c")
    return night_words.skill(
        each["sensor"],
        nights,
        round(each["band_held"] * nights),
        speech.difference(each["error_k"]),
        "" if rival_k is None else speech.difference(rival_k),
        each["enough"],
    )


def tender_lines(seen: Mapping[str, Any], speech: Speech) -> list[str]:
    """Where warm days have cost hardiness."""
    return [
        f"{each['sensor']}: {each['days']} days of {speech.temperature(each['mean_c'])} on average; frost "
        f"limits below zero count {speech.difference(each['raised_k'])} higher until {each['until']}"
        for each in seen.get("warm_spells", ())
    ]
