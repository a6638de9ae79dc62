"""What people read before and about a cold night: tonight's danger, the time left, the heater, the vents.

What, where, how sure, until when, what to do. Whatever suggests heat ends with the caution about burners;
nobody is asked to handle frozen branches, or to wet a wrap before a frost night.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from monitor.notices.words import HANDS_OFF, NO_BURNER, Reason, Speech, duration, listed

FUEL_WORDS = ("bottle", "gas", "fuel", "oil", "tank", "paraffin", "kerosene", "propane", "cylinder")
"""A note about a house that holds one of these is about its heater's fuel."""
WRAPS_LATER = "Leave wraps as they are; wet them tomorrow after 10:00."


def chance_text(chance: float) -> str:
    """A chance in tenths: `about 3 in 10`."""
    if chance >= 0.95:
        return "almost certain"
    if chance < 0.05:
        return "hardly likely"
    return f"about {min(max(round(chance * 10), 1), 9)} in 10"


@dataclass(frozen=True, slots=True)
class LowText:
    """A night's low as it is told; `at_s` guard time."""

    p10_c: float
    p50_c: float
    p90_c: float
    at_s: float
    nights: int
    learning: bool = False

    def said(self, speech: Speech) -> str:
        """`between −3.1 and −0.4 °C, most likely −1.8 °C about 06:40`; `about 3.6 °C` where it is known."""
        low, middle, high = (speech.temperature(value) for value in (self.p10_c, self.p50_c, self.p90_c))
        text = f"about {middle}"
        if low != high:
            text = f"between {low} and {high}, most likely {middle} about {speech.time(self.at_s)}"
        if self.learning:
            text += f" (rough: I am still learning this place, {self.nights} nights so far)"
        return text


@dataclass(frozen=True, slots=True)
class HeaterText:
    """What was assumed of the heater."""

    holds_c: float
    chance_holds: float
    free_c: float
    failed_lately: int = 0
    too_small: bool = False


@dataclass(frozen=True, slots=True)
class TreeRisk:
    """One tree's chance tonight."""

    name: str
    harm_c: float
    chance: float
    why: str = ""


def heater_assumed(speech: Speech, heater: HeaterText | None) -> str:
    """One sentence about what the heater was taken to do; empty for a house without one."""
    if heater is None:
        return ""
    free = f"without it the low would be about {speech.temperature(heater.free_c)}"
    if heater.too_small:
        return (
            f"the heater is taken to hold no more than {speech.temperature(heater.holds_c)} tonight, "
            f"it has been too small for such cold; {free}"
        )
    if heater.failed_lately:
        times = "once" if heater.failed_lately == 1 else f"{heater.failed_lately} times"
        held = speech.temperature(heater.holds_c)
        return f"the heater has failed {times} of late; if it holds, {held}; {free}"
    return f"the heater is taken to hold {speech.temperature(heater.holds_c)}; {free}"


def frost_tonight(
    speech: Speech,
    low: LowText,
    trees: Sequence[TreeRisk],
    heater: HeaterText | None,
    sun: Sequence[str] = (),
) -> Reason:
    """Tonight may harm; trees in order of need, the first at most at risk."""
    named = listed([tree.name for tree in trees])
    worst = max((tree.chance for tree in trees), default=0.0)
    sure = "almost certain" if worst >= 0.95 else f"chance {chance_text(worst)}"
    cause = f"tonight may be too cold for {named} ({sure})"
    risks = [
        f"{tree.name}: damage likely below {speech.limit(tree.harm_c)}"
        + (f" ({tree.why})" if tree.why else "")
        + f", chance {chance_text(tree.chance)}"
        for tree in trees
    ]
    parts = [f"the low is expected {low.said(speech)}", *risks, heater_assumed(speech, heater)]
    consequence = "; ".join(part for part in parts if part)
    if sun:
        consequence += (
            f"; {listed(sun)} had sun by day and frost will follow: shade the south-west side tomorrow"
        )
    fuel = "see that the heater has fuel for the whole night and is set high enough, " if heater else ""
    action = (
        f"Before bed: {fuel}shut vents and door, cover the trees with fleece, move the tenderest away from "
        f"glass and floor while their branches are not frozen. {WRAPS_LATER} {NO_BURNER}"
    )
    return Reason(cause, consequence, action)


def cooling_fast(
    speech: Speech,
    tree: str,
    air_c: float | None,
    harm_c: float,
    hours: Sequence[float],
    chance: float,
    at_s: float,
    has_heater: bool,
    why: str = "",
) -> Reason:
    """Harm is near by the house's own cooling; `hours` are the tenth, the middle and the ninetieth part."""
    cause = f"the air at {tree} is {speech.temperature(air_c)} and falling fast"
    when = _when(speech, at_s, hours[0], hours[1])
    consequence = f"by how this house cools it is at {speech.limit(harm_c)} {when}, chance "
    consequence += f"{chance_text(chance)}; damage is likely below that"
    if why:
        consequence += f" ({why})"
    first = "see whether the heater runs (bottle empty? switch? fuse?), " if has_heater else ""
    action = f"{first}shut vents and door, cover the trees. {HANDS_OFF} {NO_BURNER}"
    return Reason(cause, consequence, action[0].upper() + action[1:])


def _when(speech: Speech, at_s: float, early_h: float, middle_h: float) -> str:
    """When a limit is reached: `about 03:40, in 2 h (perhaps already 03:00)`."""
    if not math.isfinite(middle_h):
        first = f" at {speech.time(at_s + early_h * 3600.0)} at the soonest" if math.isfinite(early_h) else ""
        return f"perhaps{first}"
    when = f"about {speech.time(at_s + middle_h * 3600.0)}, in {duration(middle_h * 3600.0)}"
    if early_h < middle_h - 0.25:
        when += f" (perhaps already {speech.time(at_s + early_h * 3600.0)})"
    return when


def heater_not_holding(
    speech: Speech, air_c: float | None, setpoint_c: float, since_s: float, next_harm: str, note: str = ""
) -> Reason:
    """The heater gives nothing, or not what it usually does."""
    cause = (
        f"the heater has not held since {speech.time(since_s)}: {speech.temperature(air_c)} and falling, "
        f"it is set to {speech.limit(setpoint_c)}"
    )
    asked = f" You wrote: “{note}”." if note else ""
    action = (
        f"Bottle empty? Look at the fuel first, then switch, fuse and pilot light.{asked} "
        f"Shut vents and door, cover the trees. {HANDS_OFF} {NO_BURNER}"
    )
    return Reason(cause, next_harm or "no tree is expected at its damage limit tonight", action)


def heater_too_small(
    speech: Speech, air_c: float | None, setpoint_c: float, lift_k: float, next_harm: str
) -> Reason:
    """The heater runs, and this night is more than it can do."""
    cause = (
        f"the heater runs but is too small for tonight: {speech.temperature(air_c)} and falling, set to "
        f"{speech.limit(setpoint_c)}; it keeps the house {speech.difference(lift_k)} above the air outside"
    )
    action = (
        "Lose less heat: shut vents and door, hang bubble film inside the glass, cover the trees. "
        f"A second electric heater on its own circuit helps. {HANDS_OFF} {NO_BURNER}"
    )
    return Reason(cause, next_harm or "no tree is expected at its damage limit tonight", action)


def next_harm(speech: Speech, trees: Sequence[tuple[str, float, float]]) -> str:
    """Who reaches damage next: (name, limit, guard instant), in order of time."""
    return "; ".join(
        f"{name} comes to {speech.limit(limit_c)}, where damage is likely, about {speech.time(at_s)}"
        for name, limit_c, at_s in trees
    )


def wrap_freezing(
    speech: Speech, tree: str, wrap: str, surface_c: float, share: float, covered: bool
) -> Reason:
    """A damp wrap stands at frost long enough to freeze through."""
    where = f"the wrap {wrap} at {tree}"
    how = "under its tape" if covered else "wet and bare"
    cause = f"{where} is freezing: {how} it stands at {speech.temperature(surface_c)}"
    part = "about half" if share < 0.6 else "most"
    consequence = (
        f"{part} of its water would be ice by now; once it is frozen through, bark and open cracks "
        "below it freeze too"
    )
    action = (
        f"Warm the house a little or cover the branch with dry fleece. {HANDS_OFF} {WRAPS_LATER} {NO_BURNER}"
    )
    return Reason(cause, consequence, action)


def vents_open(
    speech: Speech, inside_c: float, outside_c: float, low_c: float, tree: str, warn_c: float, by_s: float
) -> Reason:
    """Vents or door still open before a cold night."""
    return Reason(
        f"vents or door seem to be open: inside {speech.temperature(inside_c)}, outside "
        f"{speech.temperature(outside_c)}, and the house follows faster than when it is shut",
        f"tonight's low is expected about {speech.temperature(low_c)}; {tree} is tender below "
        f"{speech.limit(warn_c)}, and the day's warmth is being lost",
        f"Shut vents and door before {speech.time(by_s)}.",
    )


def sun_ahead(
    speech: Speech, high_c: float, limit_c: float, tree: str, reaches_s: float, open_s: float, shut_s: float
) -> Reason:
    """The morning says that a shut house will become too hot."""
    return Reason(
        f"the sun will bring the house to about {speech.temperature(high_c)} with vents shut",
        f"{tree} should stay under {speech.limit(limit_c)}; that is passed about {speech.time(reaches_s)}",
        f"Open the vents by {speech.time(open_s)}, shut them by {speech.time(shut_s)}; shade what is fresh.",
    )


def warm_spell(speech: Speech, tree: str, mean_c: float, days: int, raised_k: float, until: str) -> Reason:
    """Warm days have cost hardiness; `until` is the local date of the last morning that counts."""
    last = date.fromisoformat(until)
    until = f"{last:%a} {last.day} {last:%b}"
    return Reason(
        f"{days} days of {speech.temperature(mean_c)} on average have cost {tree} hardiness",
        f"its frost limits below zero count {speech.difference(raised_k)} higher until {until}",
        "Nothing to do now; before the next frost treat it as more tender than its stage says.",
    )


def skill(place: str, nights: int, kept: int, off: str, rival_off: str = "", enough: bool = True) -> str:
    """How the forecasts of one place came out, beside the rival that each must beat.

    `kept`: nights whose low was within the range that was said; `off`, `rival_off`: how far the middle was
    off on average, as a difference in words.
    """
    rival = f", this evening less the usual fall would have been {rival_off}" if rival_off else ""
    few = "" if enough else "; too few yet to tell"
    return (
        f"{place}: of the last {nights} {'night' if nights == 1 else 'nights'} {kept} kept within what was "
        f"said (8 in 10 should); on average the low was {off} off{rival}{few}"
    )
