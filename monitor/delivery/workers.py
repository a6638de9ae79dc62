"""Delivering what stands in the outbox: one thread a notifier, and none ever waits for another.

It decides when a notice is tried and gives up waiting for a call that hangs; how to deliver is the notifiers'
business, and what a failure means for people is the engine's, which hears of every attempt. Nothing here is
kept: what is not delivered still stands in the outbox and comes again after the next start.
"""

import logging
import queue
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random
from typing import Protocol

from monitor.clock import monotonic_s
from monitor.delivery.calls import Call
from monitor.delivery.late import LATE_FROM_S, said_late
from monitor.delivery.notifier import Notifier
from monitor.delivery.retries import RetryPlan
from monitor.delivery.rows import Answer, Row, Rows
from monitor.errors import PermanentFailure, TemporaryFailure
from monitor.model import Notice, NoticeKind, Outcome

DEADLINE_S = 60.0
"""A call that lasts longer hangs [real s]; every notifier's own time-out is shorter."""
LONGEST_WAIT_S = 60.0
"""A worker looks around at least this often [real s], should a wake-up ever be lost."""

_log = logging.getLogger(__name__)


class Clock(Protocol):
    """Guard time, which in a demo runs faster than real time."""

    @property
    def rate(self) -> float:
        """Guard seconds in one real second."""

    def now_s(self) -> float:
        """Guard time now [s since 1970]."""

    def real_wait_s(self, until_s: float) -> float:
        """How long to wait in real seconds until the guard instant `until_s`."""


@dataclass(frozen=True, slots=True)
class DrillResult:
    """What became of a drill; `took_s` is in real seconds."""

    notifier: str
    ok: bool
    detail: str
    took_s: float


class Delivery:
    """All workers. Every method may be called from any thread; all but `drill` and `stop` return at once."""

    def __init__(
        self,
        notifiers: Mapping[str, Notifier],
        put: Callable[[Outcome], None],
        clock: Clock,
        random: Random | None = None,
        deadline_s: float = DEADLINE_S,
    ) -> None:
        self._put = put
        self._clock = clock
        self._deadline_s = deadline_s
        plan = RetryPlan(random or Random())  # noqa: S311 - it spreads retries and protects nothing
        self._workers = {
            name: Worker(name, notifier, put, clock, plan, deadline_s) for name, notifier in notifiers.items()
        }

    def send(self, notice: Notice, attempts: int = 0) -> None:
        """Deliver the notice by the notifier that it names; `attempts` were made before. Twice is once."""
        worker = self._workers.get(notice.notifier)
        if worker is not None:
            worker.send(notice, attempts)
            return
        now_s, detail = self._clock.now_s(), f"no notifier {notice.notifier} is configured any more"
        self._put(Outcome(now_s, "delivery", False, detail, notice.notice, notice.notifier, permanent=True))

    def withdraw(self, notice: str, notifier: str) -> bool:
        """Do not try the notice again; False if an attempt is under way, or if it is not here (any more)."""
        worker = self._workers.get(notifier)
        return worker is not None and worker.withdraw(notice)

    def drill(self, notifier: str, notice: Notice) -> DrillResult:
        """Try once, even a way that is closed, and wait for the result: two deadlines at most."""
        began_s = monotonic_s()
        worker = self._workers.get(notifier)
        if worker is None:
            return DrillResult(notifier, False, f"no notifier {notifier} is configured", 0.0)
        try:
            answer = worker.drill(notice).get(timeout=2 * self._deadline_s)
        except queue.Empty:
            answer = TemporaryFailure("it is still busy with other notices")
        detail = "" if answer is None else str(answer)
        return DrillResult(notifier, answer is None, detail, monotonic_s() - began_s)

    def clock_stepped(self, offset_s: float) -> None:
        """People's clock stands `offset_s` ahead of guard time from now on [s]; call it at the start too."""
        for worker in self._workers.values():
            worker.offset_s = offset_s

    def pending(self) -> tuple[tuple[Notice, int], ...]:
        """What is not delivered yet, with how often each was tried."""
        return tuple(row for worker in self._workers.values() for row in worker.pending())

    def alive(self) -> bool:
        """Whether every worker still works."""
        return all(worker.alive() for worker in self._workers.values())

    def stop(self, timeout_s: float) -> tuple[tuple[Notice, int], ...]:
        """Try what is due once more, end within `timeout_s` [real s], and give back what is left."""
        until_s = monotonic_s() + timeout_s
        for worker in self._workers.values():
            worker.stop()
        for worker in self._workers.values():
            worker.join(max(0.0, until_s - monotonic_s()))
        return self.pending()


class Worker:
    """One notifier with its rows and its thread; `offset_s` takes guard time to the time that people read."""

    def __init__(
        self,
        name: str,
        notifier: Notifier,
        put: Callable[[Outcome], None],
        clock: Clock,
        plan: RetryPlan,
        deadline_s: float,
    ) -> None:
        self.offset_s = 0.0
        self._name = name
        self._notifier = notifier
        self._put = put
        self._clock = clock
        self._deadline_s = deadline_s
        # In a demo a moment of real time is minutes of guard time, and that is nobody's delay.
        self._late_from_s = LATE_FROM_S + 2.0 * (clock.rate - 1.0)
        self._changed = threading.Condition()
        self._rows = Rows(plan)
        self._closed: str | None = None
        self._hanging: tuple[Call, Row] | None = None
        self._stopping_at_s: float | None = None
        self._thread = threading.Thread(target=self._run, name=f"delivery-{name}", daemon=True)
        self._thread.start()

    # ---- asked from other threads ----------------------------------------------------------------------

    def send(self, notice: Notice, attempts: int) -> None:
        """Take a notice on, unless it is here already."""
        with self._changed:
            self._rows.add(notice, attempts, self._clock.now_s(), self.offset_s)
            self._changed.notify_all()

    def withdraw(self, notice: str) -> bool:
        """Give a notice up; True if no attempt is under way."""
        with self._changed:
            return self._rows.withdraw(notice)

    def drill(self, notice: Notice) -> "queue.SimpleQueue[Answer]":
        """Try a notice once, before all others; the result comes out of the queue."""
        with self._changed:
            answer = self._rows.add_once(notice, self._clock.now_s())
            self._changed.notify_all()
            return answer

    def pending(self) -> list[tuple[Notice, int]]:
        """The notices still here, with how often each was tried."""
        with self._changed:
            return [(row.notice, row.attempts) for row in self._rows.rows if row.asker is None]

    def alive(self) -> bool:
        """Whether the thread works."""
        return self._thread.is_alive()

    def stop(self) -> None:
        """End once nothing that is due now is left untried."""
        with self._changed:
            self._stopping_at_s = self._clock.now_s()
            self._changed.notify_all()

    def join(self, timeout_s: float) -> None:
        """Wait for the end [real s]."""
        self._thread.join(timeout_s)

    # ---- in the worker's own thread --------------------------------------------------------------------

    def _run(self) -> None:
        while (row := self._next()) is not None:
            self._settle(row, self._attempt(row))
        if self._hanging is None:
            self._close()

    def _next(self) -> Row | None:
        """Wait for a row that is due; None at the end."""
        while True:
            self._hear_of_the_hanging()
            with self._changed:
                now_s = self._clock.now_s()
                stopping = self._stopping_at_s is not None
                row = self._rows.take(now_s if self._stopping_at_s is None else self._stopping_at_s)
                if row is not None or stopping:
                    return row
                if self._hanging is None or not self._hanging[0].done:
                    wait_s = self._clock.real_wait_s(self._rows.next_due_at_s())
                    self._changed.wait(min(wait_s, LONGEST_WAIT_S))

    def _attempt(self, row: Row) -> Answer:
        """Try a row now: what became of it."""
        notice = row.notice
        if self._closed is not None and notice.kind is not NoticeKind.DRILL:
            return PermanentFailure(f"closed until a drill succeeds, since {self._closed}")
        if self._hanging is not None:
            return TemporaryFailure("an earlier attempt still hangs")
        now_s = self._clock.now_s()
        delayed_s = now_s - row.made_at_s
        said = said_late(notice, delayed_s, self._late_from_s)
        at_s = now_s + self.offset_s
        call = Call(
            lambda: self._notifier.deliver(said, delayed_s, at_s), f"call-{self._name}", self._look_around
        )
        if call.wait(self._deadline_s):
            return call.failure
        self._hanging = (call, row)
        return TemporaryFailure(f"no answer within {self._deadline_s:g} s")

    def _settle(self, row: Row, answer: Answer) -> None:
        """Take the result of an attempt into the rows and tell the engine."""
        now_s = self._clock.now_s()
        if isinstance(answer, PermanentFailure) and answer.until_drill:
            self._closed = answer.message
        elif answer is None and row.notice.kind is NoticeKind.DRILL:
            self._closed = None
        with self._changed:
            self._rows.settle(row, answer, now_s)
        permanent = isinstance(answer, PermanentFailure)
        detail = "" if answer is None else str(answer)
        self._put(
            Outcome(now_s, "delivery", answer is None, detail, row.notice.notice, self._name, permanent)
        )

    def _hear_of_the_hanging(self) -> None:
        """A call given up on may have come back; if it delivered after all, that counts."""
        if self._hanging is None or not self._hanging[0].done:
            return
        call, row = self._hanging
        self._hanging = None
        if row.asker is None and not isinstance(call.failure, TemporaryFailure):
            self._settle(row, call.failure)

    def _look_around(self) -> None:
        """A call has come back."""
        with self._changed:
            self._changed.notify_all()

    def _close(self) -> None:
        try:
            self._notifier.close()
        except Exception:  # noqa: BLE001 - the plug-in boundary
            _log.exception("the notifier %s could not be closed", self._name)
