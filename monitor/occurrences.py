"""From findings to transitions: the board is stepped, a change gets its words, and seen is not safe.

An acknowledged alarm rings again when it is two kelvin worse than when it was seen, or still getting worse
after three quarters of an hour. It knows no people; who hears of a transition is the desk's business.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from math import ceil
from typing import Any

from monitor.alarms import lifecycle
from monitor.alarms.board import Board
from monitor.alarms.lifecycle import AlarmRow, Change, Delays
from monitor.conditions import Surroundings
from monitor.guarding import WORSE_K, Guarding
from monitor.model import AlarmState, Assessment, Judgement, Row, Transition
from monitor.own_delays import OwnDelays
from monitor.scenes import Scenes
from monitor.timers import Timers

STILL_WORSE_AFTER_S = 2700.0
STILL_WORSE_AGAIN_S = 900.0
STILL_WORSE_K_PER_H = 0.2
WATCHED_WHEN_SEEN = frozenset({"low-temperature", "high-temperature"})
LATELY_S = 48 * 3600.0

_BREACH = Judgement.BREACH

Step = Callable[[AlarmRow], tuple[AlarmRow, Change | None]]


class Occurrences:
    """Steps the board and collects the transitions of one event."""

    def __init__(
        self,
        board: Board,
        scenes: Scenes,
        guarding: Guarding,
        surroundings: Surroundings,
        timers: Timers,
        own_delays: OwnDelays,
    ) -> None:
        self.board = board
        self._scenes = scenes
        self._guarding = guarding
        self._surroundings = surroundings
        self._timers = timers
        self._own = own_delays
        self._transitions: list[Transition] = []
        self.lately: dict[str, AlarmRow] = {}
        """Occurrences of the last two days, by name, for the report."""
        self._changed: set[str] = set()

    def judge(self, found: Assessment | None, now_s: float, delays: Delays | None = None) -> None:
        """One step of one alarm by what was found; without delays of its own by those of the settings."""
        if found is None:
            return
        if found.judgement is not _BREACH and self.board.by_name(f"{found.kind}/{found.subject}") is None:
            return  # most looks find that all is well where nothing stands
        if delays is None:
            found, delays = self._own.applied(found)
        row, change = self.board.assess(found, delays)
        if change is not None:
            self._record(row, change, found.at_s, now_s)
        elif row.waits:
            self._timers.set(f"delay:{row.alarm}", self._own.due_s(row))

    def delayed(self, alarm: str, now_s: float) -> None:
        """A delay of the settings has run out."""
        row = self.board.by_name(alarm)
        if row is not None and row.waits:
            self.step(row, now_s, lambda held: self._own.ended(held, now_s))

    def change(self, alarm: str, now_s: float, step: Step) -> None:
        """One step of one alarm that is not an assessment; nothing where no such alarm is held."""
        row = self.board.by_name(alarm)
        if row is not None:
            self.step(row, now_s, step)

    def step(self, row: AlarmRow, now_s: float, step: Step) -> None:
        """The same for a row that the board may not hold yet."""
        after, change = step(row)
        self.board.put(row, after)
        if change is not None:
            self._record(after, change, now_s, now_s)
        elif after != row:
            self._watch(after, now_s)

    def take(self) -> list[Transition]:
        """Transitions since the last call."""
        taken, self._transitions = self._transitions, []
        return taken

    def _record(self, row: AlarmRow, change: Change, at_s: float, now_s: float) -> None:
        row = replace(row, changed_at_s=at_s, came_from=change.from_state, because=change.because)
        self.board.mark(row)
        reason = self._scenes.reason(row)
        self._transitions.append(
            Transition(
                self._scenes.label_s(at_s),
                row.alarm,
                row.kind,
                row.subject,
                row.occurrence,
                row.seq,
                change.from_state,
                change.to_state,
                row.priority,
                row.value,
                row.limit,
                row.quality,
                self._scenes.respond_within_s(row),
                reason.cause,
                reason.consequence,
                reason.action,
                change.because,
            )
        )
        self._watch(row, now_s)
        self._guarding.forget_bands()
        if row.occurrence:
            self.lately[row.occurrence] = row
            self._changed.add(row.occurrence)

    def forget_old(self, now_s: float) -> None:
        """Occurrences that ended more than two days ago need no place in memory; the store has them."""
        for name, row in list(self.lately.items()):
            if row.ended_at_s is not None and row.ended_at_s < now_s - LATELY_S:
                del self.lately[name]
                self._changed.add(name)

    def take_changed(self) -> tuple[Row, ...]:
        """Changed rows since the last call, for the store."""
        rows = tuple(self._row(name) for name in sorted(self._changed)) if self._changed else ()
        self._changed.clear()
        return rows

    def rows(self) -> tuple[Row, ...]:
        """Every row there is."""
        return tuple(self._row(name) for name in self.lately)

    def _row(self, name: str) -> Row:
        return Row("occurrence", name, self.lately[name].as_json() if name in self.lately else None)

    # ---- seen is not safe ----------------------------------------------------------------------------------

    def load(self, rows: Mapping[str, Mapping[str, Any]], now_s: float) -> None:
        """After a start: what happened lately; what was seen, and every shelf, is watched again."""
        known = [AlarmRow.from_json(dict(value)) for value in rows.values()]
        self.lately = {row.occurrence: row for row in sorted(known, key=lambda row: row.since_at_s or 0.0)}
        for row in self.board:
            self._watch(row, now_s)

    def _watch(self, row: AlarmRow, now_s: float) -> None:
        """An acknowledged alarm that a temperature raised is looked at again; a shelf ends at its time."""
        watched = row.state is AlarmState.ACKNOWLEDGED and row.active and row.kind in WATCHED_WHEN_SEEN
        self._timers.set(f"seen:{row.alarm}", _look_at_s(row.seen_at_s or 0.0, now_s) if watched else None)
        self._timers.set(f"delay:{row.alarm}", self._own.due_s(row) if row.waits else None)
        shelved = row.state is AlarmState.SHELVED
        self._timers.set(f"shelf:{row.alarm}", row.shelved_until_s if shelved else None)

    def _seen_and_worse_k(self, row: AlarmRow | None, value: float | None) -> float | None:
        """How much worse it is than when it was seen [K]; None where nobody has seen it."""
        if row is None or row.state is not AlarmState.ACKNOWLEDGED:
            return None
        if row.seen_value is None or value is None:
            return None
        return self._guarding.worse_k(row.kind, row.seen_value, value)

    def worse_than_seen(self, found: Assessment, now_s: float) -> None:
        """Two kelvin worse than when it was seen rings again."""
        row = self.board.by_name(f"{found.kind}/{found.subject}")
        worse_k = self._seen_and_worse_k(row, found.value)
        breach = found.judgement is Judgement.BREACH
        if row is not None and breach and worse_k is not None and worse_k >= WORSE_K:
            self._ring_again(row, found.value, now_s)

    def still_worse(self, alarm: str, now_s: float) -> None:
        """The time by which it should have stopped getting worse has come; if it has, look again later."""
        row = self.board.by_name(alarm)
        if row is None or row.state is not AlarmState.ACKNOWLEDGED:
            return
        value = self._scenes.value_of(row.kind, row.subject)
        worse_k = self._seen_and_worse_k(row, value)
        if worse_k is not None and worse_k > 0 and self._gets_worse(row, now_s):
            self._ring_again(row, value, now_s)
        else:
            self._timers.set(f"seen:{alarm}", _look_at_s(row.seen_at_s or 0.0, now_s + 1.0))

    def _gets_worse(self, row: AlarmRow, now_s: float) -> bool:
        guarded = self._guarding.trees.get(row.subject)
        sensor = guarded.tree.sensor if guarded is not None else None
        trend = self._surroundings.trend(sensor, now_s) if sensor is not None else None
        if trend is None:
            return False
        falls = trend.falling_k_per_h > STILL_WORSE_K_PER_H
        rises = trend.falling_k_per_h < -STILL_WORSE_K_PER_H
        return falls if row.kind == "low-temperature" else rises

    def _ring_again(self, row: AlarmRow, value: float | None, now_s: float) -> None:
        self.change(row.alarm, now_s, lambda held: lifecycle.ring_again(replace(held, value=value), "worse"))


def _look_at_s(seen_at_s: float, from_s: float) -> float:
    """The first instant from `from_s` on at which an alarm that was seen is looked at: 45, 60, 75 ... min.

    They hang on when it was seen alone, so that a restart changes none of them.
    """
    later_s = max(0.0, from_s - seen_at_s - STILL_WORSE_AFTER_S)
    return seen_at_s + STILL_WORSE_AFTER_S + ceil(later_s / STILL_WORSE_AGAIN_S) * STILL_WORSE_AGAIN_S
