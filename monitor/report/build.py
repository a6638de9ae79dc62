"""The morning report as a value: verdict, what to do today, night, trees, alarms, and what is not known.

Facts in, report out; whatever is not known is said, never left out.
"""

from dataclasses import dataclass

from monitor.model import AlarmState, Priority
from monitor.notices.words import Speech, duration

ASKS_AT_MOST = 7


@dataclass(frozen=True, slots=True)
class SensorNight:
    """What one sensor saw since yesterday afternoon; `gaps` are spans without a reading."""

    sensor: str
    house: str
    place: str
    low_c: float | None
    low_at_s: float | None
    high_c: float | None
    gaps: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class TreeLine:
    """One tree: its works with stage and day, the night's low at its place, how far that was from damage."""

    name: str
    works: tuple[tuple[str, str, int], ...]
    low_harm_c: float | None
    low_c: float | None
    margin_k: float | None
    watched: bool


@dataclass(frozen=True, slots=True)
class AlarmLine:
    """One occurrence of the night and what was answered."""

    kind: str
    subject: str
    priority: Priority
    since_s: float
    ended_s: float | None
    seen_by: str
    seen_at_s: float | None
    state: AlarmState
    cause: str
    active: bool


@dataclass(frozen=True, slots=True)
class MorningFacts:
    """Everything a report is made from."""

    date: str
    at_s: float
    from_s: float
    site: str
    speech: Speech
    sensors: tuple[SensorNight, ...]
    trees: tuple[TreeLine, ...]
    alarms: tuple[AlarmLine, ...]
    unknown: tuple[str, ...]
    has_liveness: bool


@dataclass(frozen=True, slots=True)
class MorningReport:
    """The report; renderers only draw it."""

    facts: MorningFacts
    verdict: str
    today: tuple[str, ...]
    can_wait: int
    not_seen: tuple[str, ...]

    @property
    def subject(self) -> str:
        """The mail's subject: the verdict, short."""
        return f"{self.facts.site}, {self.facts.date}: {self.verdict}"


def build(facts: MorningFacts) -> MorningReport:
    """The report of one morning."""
    not_seen = tuple(_not_seen(facts))
    asks = _today(facts)
    return MorningReport(
        facts,
        _verdict(facts, not_seen),
        tuple(asks[:ASKS_AT_MOST]),
        max(0, len(asks) - ASKS_AT_MOST),
        not_seen,
    )


def _verdict(facts: MorningFacts, not_seen: tuple[str, ...]) -> str:
    """One sentence; the worst that is known comes first, and what is not known is not called fine."""
    harmed = [tree for tree in facts.trees if tree.margin_k is not None and tree.margin_k <= 0]
    standing = [alarm for alarm in facts.alarms if alarm.active and alarm.priority is not Priority.LOW]
    if harmed:
        names = ", ".join(tree.name for tree in harmed[:3]) + (" and more" if len(harmed) > 3 else "")
        return f"frost reached {names}: damage is likely"
    if standing:
        return f"something still stands: {standing[0].cause}"
    if not facts.trees and all(sensor.low_c is None for sensor in facts.sensors):
        return "no sensor has been heard and no tree is written down yet"
    if all(sensor.low_c is None for sensor in facts.sensors):
        return "a blind night: nothing was heard from any sensor"
    if facts.alarms:
        return "the night had alarms, and they are over; no tree reached its damage limit"
    if not_seen:
        return "no harm was seen, but not everything was watched"
    nearest = [tree for tree in facts.trees if tree.margin_k is not None]
    if nearest:
        closest = min(nearest, key=lambda tree: tree.margin_k or 0.0)
        spare = facts.speech.difference(closest.margin_k or 0.0)
        return f"a quiet night; {closest.name} came nearest, {spare} above damage"
    return "a quiet night"


def _today(facts: MorningFacts) -> list[str]:
    asks = [
        f"{tree.name}: look at it by day, do not bend or prune it now; write down what you find "
        f"(it had {facts.speech.temperature(tree.low_c)})"
        for tree in facts.trees
        if tree.margin_k is not None and tree.margin_k <= 0
    ]
    for alarm in facts.alarms:
        if alarm.state is AlarmState.RETURNED:
            asks.append(f"say that you have seen: {alarm.cause}")
        elif alarm.active and alarm.seen_at_s is None:
            asks.append(f"look at this now: {alarm.cause}")
    asks += [
        f"{tree.name}: write down where it stands; no sensor is there"
        for tree in facts.trees
        if not tree.watched
    ]
    return asks


def _not_seen(facts: MorningFacts) -> list[str]:
    said = list(facts.unknown)
    for sensor in facts.sensors:
        spans = [f"{facts.speech.time(a)}–{facts.speech.time(b)} ({duration(b - a)})" for a, b in sensor.gaps]
        if spans:
            said.append(
                f"sensor {sensor.sensor}: nothing {', '.join(spans[:4])}" + (" and more" if spans[4:] else "")
            )
    if not facts.has_liveness:
        said.append("nobody outside listens whether I live: a power cut will be silent")
    return said
