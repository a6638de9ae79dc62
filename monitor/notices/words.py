"""Every sentence that a person reads in a notice, in one place.

Rules: what, where, how cold, how fast, how long until harm, what to do. No technical words. Whatever
suggests heat ends with the caution about burners. Nothing advises to handle, bend or carry frozen branches,
to bring them into a warm room, or to wet a wrap before a frost night.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, tzinfo

from monitor.clock import local
from monitor.model import Priority
from monitor.notices.scene import Scene, TreeScene

NO_BURNER = "No burner or charcoal in a shut house; do not stay inside."
LEAST_FALL_K = 0.15
"""Less than a thermometer knows is no movement."""
HANDS_OFF = "Do not touch, bend or carry frozen branches; let them thaw slowly where they stand."


@dataclass(frozen=True, slots=True)
class Speech:
    """How this site speaks: its zone and its degrees."""

    zone: tzinfo
    show: str = "celsius"
    offset_s: float = 0.0
    """Wall time minus guard time: instants are guard time, people read wall time."""

    def temperature(self, value_c: float | None) -> str:
        """`−0.4 °C`, or Fahrenheit where the site asks for it; "unknown" for None."""
        if value_c is None:
            return "unknown"
        if self.show == "fahrenheit":
            return f"{value_c * 9 / 5 + 32:.0f} °F".replace("-", "−")
        text = f"{value_c:.1f}"
        return f"{'0.0' if text == '-0.0' else text} °C".replace("-", "−")

    def limit(self, value_c: float) -> str:
        """A limit without idle decimals: `0 °C`, `1.5 °C`."""
        if self.show == "fahrenheit":
            return self.temperature(value_c)
        return f"{value_c:g} °C".replace("-", "−")

    def difference(self, value_k: float) -> str:
        """A difference of temperatures: `1.8 degrees`."""
        if self.show == "fahrenheit":
            return f"{abs(value_k) * 9 / 5:.0f} degrees"
        return f"{abs(value_k):.1f} degrees"

    def time(self, at_s: float) -> str:
        """Local time of day."""
        return local(at_s + self.offset_s, self.zone).strftime("%H:%M")

    def day_time(self, at_s: float) -> str:
        """Local date and time."""
        return local(at_s + self.offset_s, self.zone).strftime("%a %d %b %H:%M")


def duration(seconds: float) -> str:
    """`40 min`, `1 h 35 min`, `3 h`, `2 days`."""
    if seconds < 60 * 60:
        return f"{max(1, round(seconds / 60))} min"
    if seconds < 3 * 3600 and round(seconds / 60) % 60:
        return f"{round(seconds / 60) // 60} h {round(seconds / 60) % 60} min"
    if seconds < 48 * 3600:
        return f"{seconds / 3600:.0f} h"
    return f"{seconds / 86400:.0f} days"


@dataclass(frozen=True, slots=True)
class Reason:
    """Cause, consequence and action of an alarm, as its record and its notice give them."""

    cause: str
    consequence: str
    action: str


MARKS = {
    "suspect": " (a doubtful reading)",
    "one reading": " (one reading so far)",
    "retained": " (kept for us, perhaps some minutes old)",
}


def low_temperature(speech: Speech, tree: TreeScene, scene: Scene, priority: Priority) -> Reason:
    """Frost at a tree."""
    limit_c = tree.low_harm_c if priority is Priority.HIGH else tree.low_warn_c
    moved = _moved(speech, scene) if (scene.fell_k or 0.0) > 0 else ""
    falling = f", {moved}" if moved else ""
    mark = MARKS.get(tree.mark, "")
    cause = f"the air at {tree.name} is {speech.temperature(tree.temperature_c)}{mark}{falling}"
    if priority is Priority.HIGH:
        consequence = f"damage is likely below {speech.limit(limit_c or 0.0)}"
    else:
        consequence = f"it is tender below {speech.limit(limit_c or 0.0)}"
        if tree.low_harm_c is not None:
            consequence += f"; damage is likely below {speech.limit(tree.low_harm_c)}"
    if tree.why:
        consequence += f" ({tree.why})"
    first = "see whether the heater runs (bottle empty? switch? fuse?), " if scene.has_heater else ""
    action = f"{first}shut vents and door, cover the trees. {HANDS_OFF} {NO_BURNER}"
    return Reason(cause, consequence, action[0].upper() + action[1:])


def high_temperature(
    speech: Speech, tree: str, value_c: float | None, limit_c: float | None, priority: Priority, why: str
) -> Reason:
    """A house that overheats at a tree."""
    limit = speech.limit(limit_c) if limit_c is not None else "its limit"
    harm = priority is Priority.HIGH
    consequence = f"damage is likely above {limit}" if harm else f"it is tender above {limit}"
    return Reason(
        f"the air at {tree} is {speech.temperature(value_c)} and stays there",
        consequence + (f" ({why})" if why else ""),
        "Open the vents and the door, shade the trees; shut again before the evening cools.",
    )


def sensor_silent(
    speech: Speech, sensor: str, last_at_s: float | None, value_c: float | None, trees: Sequence[str]
) -> Reason:
    """A sensor that says nothing."""
    last = (
        f"last heard at {speech.time(last_at_s)} with {speech.temperature(value_c)}"
        if last_at_s is not None
        else "not heard since I started"
    )
    blind = f"nobody watches {_listed(trees)}" if trees else "no tree depends on it"
    return Reason(
        f"the sensor {sensor} is silent, {last}",
        f"{blind}; how cold it is there is not known",
        "Look at a thermometer in the house; then at the sensor's battery and its receiver.",
    )


def at_rest(speech: Speech, sensor: str, until_s: float | None, trees: Sequence[str]) -> Reason:
    """A sensor that a person took out of service."""
    until = f" until {speech.day_time(until_s)}" if until_s is not None else ""
    blind = f"nobody watches {_listed(trees)} until then" if trees else "no tree depends on it"
    return Reason(
        f"the sensor {sensor} is at rest{until}", blind, "Say that it is back once it hangs in its place."
    )


def back_in_service(sensor: str) -> Reason:
    """A sensor whose rest is over."""
    return Reason(
        f"the sensor {sensor} is in service again",
        "its values count from now on",
        "See that it hangs in its place.",
    )


def broker_lost(detail: str, sensors: int) -> Reason:
    """No connection to the message post."""
    why = f": {detail}" if detail else ""
    return Reason(
        f"no connection to the message post that the sensors report to{why}",
        f"nothing is known from any of the {sensors} sensors",
        "Look at a thermometer in the house; then see whether the message post and the network run.",
    )


def was_off(speech: Speech, from_s: float, to_s: float, worst: str) -> Reason:
    """The program itself did not run."""
    span = f"{speech.time(from_s)}–{speech.time(to_s)}"
    if to_s - from_s > 20 * 3600:
        span = f"{speech.day_time(from_s)} – {speech.day_time(to_s)}"
    return Reason(
        f"I was off {span}; nobody watched",
        worst or "what the trees went through in that time is not known",
        "Look at the trees and at a thermometer that keeps the lowest value; say that you have seen this.",
    )


COULD_HAVE_FROZEN = "by how this house cools, a tree may have come below its limit in that time"


STANDS = {"workshop": "in the workshop", "garage": "in the garage", "outside": "outside"}
"""Places without a sensor, as people say where a tree is."""


def unwatched(tree: str, place: str) -> Reason:
    """A tree that stands where no sensor is."""
    stands = STANDS.get(place, f"at {place}")
    where = f"{tree} stands {stands}, where no sensor is" if place else f"no sensor is set for {tree}"
    return Reason(
        where,
        "nobody watches it; frost there is not noticed",
        "Bring it back to a watched place, or write down where it stands now.",
    )


def subject_of(speech: Speech, kind: str, scene: Scene, reason: Reason, trees: Sequence[TreeScene]) -> str:
    """The first words anybody sees: what, where, how bad."""
    if kind == "low-temperature" and trees:
        first = trees[0]
        more = f" and {len(trees) - 1} more" if len(trees) > 1 else ""
        temperature = speech.temperature(first.temperature_c)
        if first.standing is not Priority.HIGH and None not in (first.reaches_harm_at_s, first.low_harm_c):
            ahead = (
                f"{speech.limit(first.low_harm_c or 0.0)} about {speech.time(first.reaches_harm_at_s or 0.0)}"
            )
            return f"{first.name}{more}: {temperature}, falling to {ahead} ({scene.name})"
        limit_c = first.low_harm_c if first.standing is Priority.HIGH else first.low_warn_c
        word = "damage likely below" if first.standing is Priority.HIGH else "tender below"
        return f"{first.name}{more}: {temperature}, {word} {speech.limit(limit_c or 0.0)} ({scene.name})"
    text = reason.cause
    return text[0].upper() + text[1:] + (f" ({scene.name})" if scene.name else "")


def frost_text(
    speech: Speech, scene: Scene, reason: Reason, lead: str, who_next: str, others: Sequence[Reason] = ()
) -> str:
    """The whole notice about a house in frost: every tree that stands in it, why, then those that are next.

    `others`: alarms of the episode that are not a tree's own frost, such as the heater's.
    """
    lines = [f"{scene.name}, {speech.time(scene.at_s)}. {lead}".rstrip()]
    lines += [_tree_line(speech, tree) for tree in scene.standing()]
    for other in others:
        means = f"; {other.consequence}" if other.consequence else ""
        lines.append(f"- {other.cause[0].upper()}{other.cause[1:]}{means}.")
    coming = scene.coming()
    if coming:
        lines.append("Next: " + "; ".join(_coming(speech, tree) for tree in coming) + ".")
    moved = _moved(speech, scene)
    if moved:
        lines.append(f"The air has {moved}.")
    lines.append(f"What to do: {reason.action}")
    if who_next:
        lines.append(who_next)
    return "\n".join(lines)


def _moved(speech: Speech, scene: Scene) -> str:
    """What the air did in the last minutes: a fact, no rate that the next minutes need not keep to."""
    if scene.fell_k is None or scene.fell_over_s is None or abs(scene.fell_k) < LEAST_FALL_K:
        return ""
    way = "fallen" if scene.fell_k > 0 else "risen"
    return f"{way} {speech.difference(scene.fell_k)} in the last {duration(scene.fell_over_s)}"


def _tree_line(speech: Speech, tree: TreeScene) -> str:
    limit_c = tree.low_harm_c if tree.low_harm_c is not None else tree.low_warn_c
    text = f"- {tree.name}: {speech.temperature(tree.temperature_c)}{MARKS.get(tree.mark, '')}"
    if limit_c is not None:
        text += f", damage likely below {speech.limit(limit_c)}"
    if tree.margin_k is not None and tree.margin_k > 0 and tree.reaches_harm_at_s is not None:
        text += f", reached about {speech.time(tree.reaches_harm_at_s)}"
    return text + (f" ({tree.why})" if tree.why else "")


def _coming(speech: Speech, tree: TreeScene) -> str:
    limit_c = tree.low_harm_c if tree.low_harm_c is not None else 0.0
    return f"{tree.name} at {speech.limit(limit_c)} about {speech.time(tree.reaches_harm_at_s or 0.0)}"


def plain_text(place: str, speech: Speech, at_s: float, reason: Reason, lead: str, who_next: str) -> str:
    """A notice that is not about frost."""
    where = f"{place}, {speech.time(at_s)}. " if place else f"{speech.time(at_s)}. "
    cause = reason.cause[0].upper() + reason.cause[1:]
    lines = [f"{where}{lead} {cause}.".replace("  ", " "), f"That means: {reason.consequence}."]
    lines.append(f"What to do: {reason.action}")
    if who_next:
        lines.append(who_next)
    return "\n".join(lines)


def lead_of(kind: str, speech: Speech, seen_at_s: float | None, started_at_s: float, now_s: float) -> str:
    """The words that tell a first ring from a later one."""
    if kind == "raised" and seen_at_s is not None:
        return f"It was seen at {speech.time(seen_at_s)}; it is worse now."
    if kind == "raised":
        return "It has become worse."
    if kind == "repeat":
        return f"Nobody has answered since {speech.time(started_at_s)}, {duration(now_s - started_at_s)} ago."
    if kind == "escalation":
        return f"Nobody has answered since {speech.time(started_at_s)}; you are next."
    return ""


def cleared(
    speech: Speech, place: str, what: str, span_s: tuple[float, float], delivered: bool, held: bool = False
) -> tuple[str, str]:
    """Subject and text when all of it is over; one notice for both where the first never got through.

    `held` says that there was no first one: it could wait until the quiet hours ended.
    """
    span = f"{speech.time(span_s[0])}–{speech.time(span_s[1])}"
    where = f" ({place})" if place and place not in what else ""
    if delivered:
        return f"Over: {what}{where}", f"It is over: {what}, {span}. Nothing more to do now; look by day."
    why = "This could wait until the quiet hours ended" if held else "This could not be delivered in time"
    return (
        f"Was and is over: {what}{where}",
        f"{why}: {what}, {span}. It is over now. Look at the trees by day.",
    )


def put_to_rest(speech: Speech, place: str, what: str, at_s: float) -> tuple[str, str]:
    """Subject and text when the sensor that it was about was taken out of service."""
    where = f" ({place})" if place else ""
    return (
        f"At rest: {what}{where}",
        f"The sensor was taken out of service at {speech.time(at_s)}: {what}. It comes back by itself.",
    )


def seen(speech: Speech, place: str, what: str, by: str, at_s: float) -> tuple[str, str]:
    """Subject and text for the others when one of them has seen it."""
    who = by.capitalize() if by else "Somebody"
    where = f" ({place})" if place and place not in what else ""
    text = f"{who} saw this at {speech.time(at_s)}: {what}{where}. You need not answer."
    return f"Seen by {who}: {what}", text


def stamp(at_s: float) -> str:
    """A guard instant as it stands in a notice's name: `20260111T031000Z`, or `20260111T031000.250Z`.

    Guard time, since an hour that people's clocks show twice must not give two notices one name.
    """
    text = local(round(at_s, 3), UTC).strftime("%Y%m%dT%H%M%S.%f")[:-3]
    return text.removesuffix(".000") + "Z"


def closed(text: str) -> str:
    """A text in which the caution about burners, if it is there, comes last."""
    if NO_BURNER not in text or text.endswith(NO_BURNER):
        return text
    return text.replace(f" {NO_BURNER}", "") + f"\n{NO_BURNER}"


def what_of(family: str, subjects: Sequence[str]) -> str:
    """What an episode is about, in two or three words."""
    names = _FAMILY_NAMES.get(family, family.replace("-", " "))
    return f"{names} {_listed(subjects)}" if subjects != ["site"] else names


_FAMILY_NAMES = {
    "frost": "frost at",
    "heat": "too warm at",
    "sensors": "trouble with sensor",
    "broker-lost": "no connection to the message post",
    "was-off": "I was off",
    "unwatched": "nobody watches",
    "frost-tonight": "a dangerous night in",
    "vents-open": "vents or door open in",
    "storage-failing": "what happens was not kept",
    "delivery-failing": "notices did not get through",
    "clock-doubtful": "the clock could not be right",
    "restarting": "I was started again and again",
    "frozen-root-ball": "the root-ball of",
    "winter-desiccation": "water lost over a frozen pot by",
}


def happened(speech: Speech, kind: str, subject: str, lowest_c: float | None) -> str:
    """An occurrence of the night as the morning looks back on it."""
    if kind == "low-temperature":
        return f"frost at {subject}, lowest {speech.temperature(lowest_c)}"
    past = {
        "high-temperature": f"too warm at {subject}",
        "sensor-silent": f"the sensor {subject} was silent",
        "broker-lost": "no connection to the message post",
        "was-off": "I was off; nobody watched",
        "unwatched": f"{subject} stood where no sensor is",
    }
    return past.get(kind, f"{kind.replace('-', ' ')} at {subject}")


def extra_line(reason: Reason) -> str:
    """One more alarm of the same notice."""
    return f"- Also: {reason.cause}; {reason.consequence}."


def _listed(names: Sequence[str]) -> str:
    if len(names) <= 1:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]


def listed(names: Sequence[str]) -> str:
    """`Larch 3, Yew 2 and Pine 1`."""
    return _listed(names)
