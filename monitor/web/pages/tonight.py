"""The page of tonight: what is expected, how far that can be trusted, who is called, what was not seen."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from monitor.notices import night_words
from monitor.settings import Call, Settings
from monitor.web import facts, words
from monitor.web.frame import Frame
from monitor.web.visit import Visit

NO_OUTLOOK = "No outlook has been made for tonight yet: look at a weather forecast before dusk."
CHANCE_AT_LEAST = 0.02
TOLD = {
    "high": "what is urgent",
    "medium": "what needs somebody soon",
    "low": "small things",
    "report": "the morning report",
}


@dataclass(frozen=True, slots=True)
class OutlookNow:
    """What is expected at one sensor."""

    place: str
    low: str
    heater: str
    trees: Sequence[str]


def tonight(visit: Visit) -> Response:
    """The coming or present night."""
    frame = visit.frame
    return frame.page(
        visit,
        "tonight.html",
        "Tonight",
        "tonight",
        outlooks=[_outlook(frame, each) for each in frame.guard.snapshot.more.get("tonight", ())],
        no_outlook=NO_OUTLOOK,
        skill=[_skill(frame, each) for each in frame.guard.snapshot.more.get("skill", ())],
        lines=tree_lines(frame),
        houses=facts.house_lines(frame),
        calls=[call_words(call, frame.guard.settings) for call in frame.guard.settings.calls],
        quiet=quiet_words(frame.guard.settings),
        unknown=[words.capital(text) for text in frame.guard.snapshot.unknown],
    )


def tree_lines(frame: Frame) -> list[tuple[str, str, str, str]]:
    """The tenderest trees: id, name, where their lines lie, and how far they are from them."""
    speech = frame.guard.speech
    found = []
    for tree in facts.trees_now(frame):
        limits = frame.guard.trees[tree.tree].limits
        harm_c, warn_c = limits.get("low_harm_c"), limits.get("low_warn_c")
        if harm_c is None:
            continue
        warn = f", tender below {speech.limit(warn_c)}" if warn_c is not None else ""
        found.append(
            (tree.tree, tree.name, f"damage likely below {speech.limit(harm_c)}{warn}", tree.distance)
        )
    return found


# ---- outlook -------------------------------------------------------------------------------------------


def _outlook(frame: Frame, seen: Mapping[str, Any]) -> OutlookNow:
    sensor = frame.guard.settings.sensors[seen["sensor"]]
    house = frame.guard.settings.houses[sensor.house].name or sensor.house
    return OutlookNow(
        f"{house}, {seen['sensor']}",
        words.capital(seen["text"]),
        words.capital(seen["heater_text"]),
        [text for each in seen["below"] if (text := _chance(frame, seen["sensor"], each))],
    )


def _chance(frame: Frame, sensor: str, below: Mapping[str, float]) -> str:
    """`below 0 °C, where damage to Larch 3 is likely: about 1 in 5`; nothing where it is next to none."""
    if below["chance"] < CHANCE_AT_LEAST:
        return ""
    speech = frame.guard.speech
    trees = [
        tree.tree.name
        for tree in frame.guard.trees.values()
        if tree.tree.sensor == sensor and tree.limits.get("low_harm_c") == below["limit_c"]
    ]
    of = f", where damage to {words.listed(trees)} is likely" if trees else ""
    return f"Below {speech.limit(below['limit_c'])}{of}: {odds(below['chance'])}"


def odds(chance: float) -> str:
    """A chance [0-1] as people say it."""
    if chance >= 0.9:
        return "very likely"
    if chance >= 0.45:
        return f"about {round(chance * 10)} in 10"
    return f"about 1 in {max(2, round(1 / chance))}"


def _skill(frame: Frame, seen: Mapping[str, Any]) -> str:
    """How the outlooks came out."""
    nights, speech = int(seen["nights"]), frame.guard.speech
    rival_k = seen.get("rivals_k", {}).get("usual_fall_c")
    return night_words.skill(
        seen["sensor"],
        nights,
        round(seen["band_held"] * nights),
        words.apart(speech, seen["error_k"]),
        "" if rival_k is None else words.apart(speech, rival_k),
        seen["enough"],
    )


# ---- calls ---------------------------------------------------------------------------------------------


def call_words(call: Call, settings: Settings) -> str:
    """Who hears of what, in a sentence."""
    told = words.listed([TOLD[each] for each in call.tell])
    said = f"{words.capital(told)}: {words.listed([_named(who, settings) for who in call.who])}"
    if call.pass_on_after_s is not None and call.pass_on_to:
        after = words.span(call.pass_on_after_s)
        next_ones = words.listed([_named(who, settings) for who in call.pass_on_to])
        said += f"; if nobody has seen it after {after}: {next_ones}"
    return said


def _named(who: str, settings: Settings) -> str:
    person = settings.people.get(who)
    if person is None:
        return who
    return f"{words.capital(who)} (by {words.listed(list(person.notifiers))})"


def quiet_words(settings: Settings) -> str:
    """The quiet hours, if there are any."""
    if settings.quiet_hours is None:
        return ""
    quiet = settings.quiet_hours
    return f"From {quiet.from_} to {quiet.to} only what cannot wait rings."
