"""The page of tonight: what is expected, how far that can be trusted, who is called, what was not seen."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from starlette.responses import Response

from monitor.clock import parse_rfc3339
from monitor.errors import StoreError
from monitor.settings import Call, Settings
from monitor.store.lines import instant_s
from monitor.store.queries import Reader
from monitor.web import facts, words
from monitor.web.frame import Frame
from monitor.web.visit import Visit

FRESH_S = 24 * 3600.0
NO_OUTLOOK = "No outlook has been made for tonight yet: look at a weather forecast before dusk."
CHANCE_AT_LEAST = 0.02
NIGHTS = 14
NIGHT_S = 86400.0


@dataclass(frozen=True, slots=True)
class OutlookNow:
    """What is expected at one sensor."""

    house: str
    sensor: str
    low: str
    between: str
    at: str
    below: Sequence[str]
    learned: str


def tonight(visit: Visit) -> Response:
    """The coming or present night."""
    frame = visit.frame
    outlooks = outlooks_of(frame)
    return frame.page(
        visit,
        "tonight.html",
        "Tonight",
        "tonight",
        outlooks=outlooks,
        no_outlook=NO_OUTLOOK,
        skill=skill_of(frame),
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


def outlooks_of(frame: Frame) -> list[OutlookNow]:
    """The newest outlook of each sensor, if it is of today."""
    now_s = frame.guard.label_s()
    newest: dict[str, Mapping[str, Any]] = {}
    for line in _forecasts(frame, now_s - FRESH_S):
        newest[str(line.get("sensor", ""))] = line
    return [_outlook(frame, line) for line in newest.values() if line.get("low_c")]


def _forecasts(frame: Frame, from_s: float) -> list[Mapping[str, Any]]:
    try:
        with Reader(frame.guard.store.directory) as reader:
            return list(reader.stream("forecasts", from_s))
    except StoreError:
        return []


def _outlook(frame: Frame, line: Mapping[str, Any]) -> OutlookNow:
    speech, settings = frame.guard.speech, frame.guard.settings
    low = line["low_c"]
    sensor = settings.sensors.get(line["sensor"])
    house = settings.houses[sensor.house].name or sensor.house if sensor is not None else ""
    at_s = instant_s(line, "low_at")
    nights = int(line.get("nights_learned") or 0)
    return OutlookNow(
        house,
        line["sensor"],
        speech.temperature(low["p50"]),
        f"{speech.temperature(low['p10'])} and {speech.temperature(low['p90'])}",
        "" if at_s is None else words.clock_time(at_s, settings.site.zone),
        [
            f"below {speech.limit(each['limit_c'])}: {odds(each['chance'])}"
            for each in line.get("below") or ()
            if each["chance"] >= CHANCE_AT_LEAST
        ],
        f"learnt from {words.counted(nights, 'night')} only" if nights < NIGHTS else "",
    )


def odds(chance: float) -> str:
    """A chance [0-1] as people say it."""
    if chance >= 0.9:
        return "very likely"
    if chance >= 0.45:
        return f"about {round(chance * 10)} in 10"
    return f"about 1 in {max(2, round(1 / chance))}"


def skill_of(frame: Frame) -> str:
    """How the outlooks of the last nights came out, from what was issued and what was seen."""
    now_s = frame.guard.label_s()
    last: dict[tuple[str, str], Mapping[str, Any]] = {}
    for line in _forecasts(frame, now_s - (NIGHTS + 1) * NIGHT_S):
        last.setdefault((str(line.get("sensor")), str(line.get("night"))), line)
    scored = [score for line in last.values() if (score := _score(frame, line, now_s)) is not None]
    if not scored:
        return ""
    within = sum(inside for inside, _off in scored)
    off = sum(off for _inside, off in scored) / len(scored)
    return (
        f"Of the last {words.counted(len(scored), 'outlook')} {within} came true within what was said; "
        f"on average the low was {words.apart(frame.guard.speech, off)} off."
    )


def _score(frame: Frame, line: Mapping[str, Any], now_s: float) -> tuple[bool, float] | None:
    """Whether the low came between the two ends, and how far off the middle was [K]; None: not over yet."""
    low, issued_s = line.get("low_c"), instant_s(line, "issued_at")
    if not low or issued_s is None or now_s - issued_s < 0.75 * NIGHT_S:
        return None
    offset_s = frame.guard.speech.offset_s
    curve = frame.curves.of_sensor(
        str(line["sensor"]), issued_s - offset_s, issued_s - offset_s + 0.75 * NIGHT_S, 72
    )
    seen = [value for value in curve.low_c.tolist() if value == value]
    if len(seen) < 60:
        return None
    return low["p10"] <= min(seen) <= low["p90"], abs(min(seen) - low["p50"])


# ---- calls ---------------------------------------------------------------------------------------------

TOLD = {
    "high": "what is urgent",
    "medium": "what needs somebody soon",
    "low": "small things",
    "report": "the morning report",
}


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


def until_words(text: str, frame: Frame) -> str:
    """An instant of the book as the site reads it."""
    return words.when(parse_rfc3339(text), frame.guard.settings.site.zone, frame.guard.label_s())
