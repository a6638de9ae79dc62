"""Moves an engine through time: calendar jobs and ticks at exactly the instants at which they are due.

Live and replay use the same, so that what happens between two messages is the same for both.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

from monitor.almanac import Almanac
from monitor.engine import Engine
from monitor.model import Calendar, Effects, Event, Message, Started, Tick


def moved(event: Any, at_s: float) -> Any:
    """The same event at a later instant: time never runs back for the engine."""
    return event._replace(at_s=at_s) if isinstance(event, Message) else replace(event, at_s=at_s)


class Driver:
    """An engine and its calendar."""

    def __init__(
        self, engine: Engine, almanac: Almanac, on_job: Callable[[str], None] = lambda job: None
    ) -> None:
        """`on_job` hears the name of every job, for what is done outside the engine."""
        self.engine = engine
        self.almanac = almanac
        self._on_job = on_job
        self._looked_with_s = 0.0

    @property
    def _offset_s(self) -> float:
        return self.engine.scenes.speech.offset_s

    def job_s(self) -> float:
        """The next instant of the calendar [guard time]; the engine keeps its own timers itself."""
        if self._offset_s != self._looked_with_s:
            self._looked_with_s = self._offset_s
            self.almanac.look_again(self.engine.now_s + self._offset_s)
        job = self.almanac.next()
        return float("inf") if job is None else job.at_s - self._offset_s

    def due_s(self) -> float:
        """The next instant at which something happens without a message [guard time]."""
        return min(self.engine.due(), self.job_s())

    def before(self, event: Event) -> Iterator[Effects]:
        """What is due before an event. Nothing is before a start: what came due meanwhile comes after it."""
        if event.at_s >= self.job_s() and not isinstance(event, Started):
            yield from self.advance(event.at_s)

    def advance(self, to_s: float) -> Iterator[Effects]:
        """Everything that is due until an instant, in order; ends with the engine's time at that instant.

        Of a job's dates that were missed, since the program was off or the clock was set, only the last is
        due; dates that come while time passes are due each.
        """
        while (due_s := self.due_s()) <= to_s:
            job = self.almanac.next()
            if job is not None and job.at_s - self._offset_s <= due_s:
                due = self.almanac.take(max(due_s, self.engine.now_s) + self._offset_s) or job
                self._on_job(due.name)
                yield self.engine.handle(Calendar(max(due_s, due.at_s - self._offset_s), due.name, due.date))
            else:
                yield self.engine.handle(Tick(due_s))
