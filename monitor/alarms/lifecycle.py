"""The life of one alarm, as pure steps: a row and what happened -> the next row and what changed.

States are those of ISA-18.2 / IEC 62682. Delays need good samples *and* time, so that one sample after a
gap cannot satisfy them; a gap or a bad sample pauses them. Every pending count is part of the row, so a
restart goes on where the last commit stopped. An occurrence begins when the alarm comes up and ends when
its condition is normal again; within it the priority only rises.
"""

from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from monitor.clock import rfc3339
from monitor.model import AlarmState, Assessment, Judgement, Priority

ACTIVE_STATES = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED})
NEVER_RINGS = frozenset({"wrap-drying", "wrap-unknown", "wet-too-long", "warm-spell"})
"""They live in the report and on the page; nobody was rung, so nobody has to say that it is over."""
SHELF_MAX_S = 12 * 3600.0
"""Longest shelf: one night."""


class Delays(NamedTuple):
    """How long a condition must hold before it counts, in time and in samples."""

    on_delay_s: float = 0.0
    on_samples: int = 1
    off_delay_s: float = 0.0
    harm_on_delay_s: float | None = None
    """For high priority, where that is shorter; None: the same."""

    def for_level(self, level: Priority) -> float:
        """The on-delay of one level [s]."""
        shorter = level is Priority.HIGH and self.harm_on_delay_s is not None
        return self.harm_on_delay_s or 0.0 if shorter else self.on_delay_s


class Change(NamedTuple):
    """One step from state to state; `because` is one of the words of `alarms.jsonl`."""

    from_state: AlarmState
    to_state: AlarmState
    because: str


@dataclass(frozen=True, slots=True)
class AlarmRow:
    """Everything that is known of one alarm; `pending` and `returning_since_s` are running delays."""

    kind: str
    subject: str
    state: AlarmState = AlarmState.NORMAL
    active: bool = False
    occurrence: str = ""
    seq: int = 0
    priority: Priority = Priority.LOW
    since_at_s: float | None = None
    ended_at_s: float | None = None
    value: float | None = None
    limit: float | None = None
    quality: str = "good"
    pending: tuple[tuple[Priority, float, int], ...] = ()
    returning_since_s: float | None = None
    seen_at_s: float | None = None
    seen_value: float | None = None
    seen_by: str = ""
    shelved_until_s: float | None = None
    shelved_by: str = ""
    changed_at_s: float | None = None
    came_from: AlarmState = AlarmState.NORMAL
    because: str = ""
    """Of the last change of state: when, from which, and why."""

    @property
    def alarm(self) -> str:
        """The alarm's name: `kind/subject`."""
        return f"{self.kind}/{self.subject}"

    @property
    def waits(self) -> bool:
        """Whether a delay is running, so that every sample matters."""
        return bool(self.pending) or self.returning_since_s is not None

    def as_json(self) -> dict[str, Any]:
        """The row as plain values; what stands at its default is left out."""
        fields: dict[str, Any] = {}
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if value != self.__dataclass_fields__[name].default:
                fields[name] = [list(item) for item in value] if name == "pending" else value
        return fields

    @staticmethod
    def from_json(fields: dict[str, Any]) -> "AlarmRow":
        """The row that `as_json` wrote."""
        values = dict(fields)
        values["state"] = AlarmState(values.get("state", AlarmState.NORMAL))
        values["came_from"] = AlarmState(values.get("came_from", AlarmState.NORMAL))
        values["priority"] = Priority(values.get("priority", Priority.LOW))
        values["pending"] = tuple((Priority(p), at, n) for p, at, n in values.get("pending", ()))
        return AlarmRow(**values)


def step(row: AlarmRow, found: Assessment, delays: Delays) -> tuple[AlarmRow, Change | None]:
    """The row after one assessment, and what changed, if anything did.

    UNKNOWN leaves everything as it is: it can neither raise nor clear.
    """
    if found.judgement is Judgement.UNKNOWN:
        return row, None
    if found.judgement is Judgement.BREACH:
        return _breach(row, found, delays)
    if not row.active:
        return (replace(row, pending=()) if row.pending and found.quality == "good" else row), None
    if not found.returned:
        return (replace(row, pending=()) if row.pending and found.quality == "good" else row), None
    return _returned(row, found, delays)


def _breach(row: AlarmRow, found: Assessment, delays: Delays) -> tuple[AlarmRow, Change | None]:
    pending = _counted(row.pending, found)
    reached = _reached(pending, found, delays)
    if row.active:  # only what is more urgent than what stands is still waited for
        pending = tuple(level for level in pending if level[0].rank > row.priority.rank)
    if pending != row.pending or row.returning_since_s is not None:
        row = replace(row, returning_since_s=None, pending=pending)
    if reached is None or (row.active and reached.rank <= row.priority.rank):
        return row, None
    row = replace(
        row,
        priority=reached,
        value=found.value,
        limit=found.limit,
        quality=found.quality,
        pending=tuple(p for p in row.pending if p[0].rank > reached.rank),
    )
    if row.active:
        return _raise(row)
    return _activate(row, found.at_s)


def _counted(
    pending: tuple[tuple[Priority, float, int], ...], found: Assessment
) -> tuple[tuple[Priority, float, int], ...]:
    """Pending counts after one more breaching sample; levels above the sample's own start anew."""
    counts = {level: (since, count) for level, since, count in pending}
    levels = [
        level for level in (Priority.LOW, Priority.MEDIUM, Priority.HIGH) if level.rank <= found.priority.rank
    ]
    return tuple(
        (level, counts[level][0], counts[level][1] + 1) if level in counts else (level, found.at_s, 1)
        for level in levels
    )


def _reached(
    pending: tuple[tuple[Priority, float, int], ...], found: Assessment, delays: Delays
) -> Priority | None:
    """The highest level whose delay has run out."""
    if found.immediate:
        return found.priority
    due = [
        level
        for level, since, count in pending
        if count >= delays.on_samples and found.at_s - since >= delays.for_level(level)
    ]
    return max(due, key=lambda level: level.rank, default=None)


def _activate(row: AlarmRow, at_s: float) -> tuple[AlarmRow, Change | None]:
    before = row.state
    stays = before in {AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE}
    rings = not stays or (before is AlarmState.SHELVED and row.priority is Priority.HIGH)
    row = replace(
        row,
        active=True,
        state=AlarmState.UNACKNOWLEDGED if rings else before,
        occurrence=f"{row.alarm}@{rfc3339(at_s)}",
        seq=1 if rings else 0,
        since_at_s=at_s,
        ended_at_s=None,
        seen_at_s=None,
        seen_value=None,
        seen_by="",
    )
    if not rings:
        return row, None
    return replace(row, shelved_until_s=None), Change(before, AlarmState.UNACKNOWLEDGED, "condition")


def _raise(row: AlarmRow) -> tuple[AlarmRow, Change | None]:
    """The same occurrence has become more urgent: whoever saw it saw something milder."""
    before = row.state
    if before in {AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE}:
        return replace(row, seen_at_s=None), None
    if before is AlarmState.SHELVED and row.priority is not Priority.HIGH:
        return row, None
    row = replace(row, state=AlarmState.UNACKNOWLEDGED, seq=row.seq + 1, shelved_until_s=None)
    return row, Change(before, AlarmState.UNACKNOWLEDGED, "priority")


def _returned(row: AlarmRow, found: Assessment, delays: Delays) -> tuple[AlarmRow, Change | None]:
    since_s = found.at_s if row.returning_since_s is None else row.returning_since_s
    row = replace(row, pending=())
    if found.at_s - since_s < delays.off_delay_s:
        return replace(row, returning_since_s=since_s), None
    return end(replace(row, value=found.value, quality=found.quality), found.at_s, "returned")


def end(row: AlarmRow, at_s: float, because: str) -> tuple[AlarmRow, Change | None]:
    """The condition is over: `returned`, or `removed` when the subject left."""
    before = row.state
    row = replace(row, active=False, pending=(), returning_since_s=None, ended_at_s=at_s)
    if before is AlarmState.UNACKNOWLEDGED and because != "removed" and row.kind not in NEVER_RINGS:
        return _to(row, AlarmState.RETURNED, because)
    if before in ACTIVE_STATES or before is AlarmState.SUPPRESSED or because == "removed":
        return _to(row, AlarmState.NORMAL, because)
    return row, None


def _to(row: AlarmRow, state: AlarmState, because: str) -> tuple[AlarmRow, Change | None]:
    if row.state is state:
        return row, None
    return replace(row, state=state, seq=row.seq + 1), Change(row.state, state, because)


def acknowledge(row: AlarmRow, at_s: float, by: str, value: float | None) -> tuple[AlarmRow, Change | None]:
    """Somebody has seen it; seen is not safe, so what they saw is kept."""
    row = replace(row, seen_at_s=at_s, seen_by=by, seen_value=value)
    if row.state is AlarmState.UNACKNOWLEDGED:
        return _to(row, AlarmState.ACKNOWLEDGED, "seen")
    if row.state is AlarmState.RETURNED:
        return _to(row, AlarmState.NORMAL, "seen")
    return row, None


def ring_again(row: AlarmRow, because: str) -> tuple[AlarmRow, Change | None]:
    """An acknowledged alarm has become worse than what was seen."""
    if row.state is not AlarmState.ACKNOWLEDGED:
        return row, None
    return _to(row, AlarmState.UNACKNOWLEDGED, because)


def ring_anew(row: AlarmRow, because: str) -> tuple[AlarmRow, Change | None]:
    """Something new about an alarm that nobody has seen yet."""
    if row.state is not AlarmState.UNACKNOWLEDGED:
        return row, None
    return replace(row, seq=row.seq + 1), Change(row.state, row.state, because)


def shelve(row: AlarmRow, at_s: float, until_s: float, by: str) -> tuple[AlarmRow, Change | None]:
    """Quiet until an instant, at most twelve hours; ValueError for a high alarm or a longer shelf."""
    if row.active and row.priority is Priority.HIGH:
        raise ValueError("an alarm of high priority cannot be made quiet: see it, and act")
    if not 0 < until_s - at_s <= SHELF_MAX_S:
        raise ValueError("an alarm can be quiet for twelve hours at most")
    return _to(replace(row, shelved_until_s=until_s, shelved_by=by), AlarmState.SHELVED, "shelved")


def suppress(row: AlarmRow, because: str) -> tuple[AlarmRow, Change | None]:
    """Another alarm stands for this one, by design: it goes on, and neither rings nor repeats."""
    if not row.active or row.state not in {*ACTIVE_STATES, AlarmState.RETURNED}:
        return row, None
    return _to(row, AlarmState.SUPPRESSED, because)


def rest(row: AlarmRow, at_s: float, until_s: float, by: str) -> tuple[AlarmRow, Change | None]:
    """What it is about was taken out of service until an instant: whatever stood is over."""
    ended_at_s = at_s if row.active else row.ended_at_s
    row = replace(row, active=False, pending=(), returning_since_s=None, ended_at_s=ended_at_s)
    return _to(replace(row, shelved_until_s=until_s, shelved_by=by), AlarmState.OUT_OF_SERVICE, "rest")


def leave_rest(row: AlarmRow, because: str) -> tuple[AlarmRow, Change | None]:
    """Back from the shelf, from behind another alarm, or into service: what is true now decides."""
    if row.state not in {AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE}:
        return row, None
    state = AlarmState.UNACKNOWLEDGED if row.active else AlarmState.NORMAL
    if row.active and row.state is AlarmState.SUPPRESSED and row.seen_at_s is not None:
        state = AlarmState.ACKNOWLEDGED
    return _to(replace(row, shelved_until_s=None), state, because)
