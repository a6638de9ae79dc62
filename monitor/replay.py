"""The same engine over a recording: messages at the instants they arrived, entries when they were entered.

Nothing of the live program but the engine, its calendar and a sink; every notice counts as delivered at once.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

from monitor.almanac import Almanac
from monitor.clock import parse_rfc3339
from monitor.drive import Driver
from monitor.engine import Engine
from monitor.model import NOTHING, Effects, Entry, Event, Outcome, Saved, Started
from monitor.settings import Settings
from monitor.trees.book import Book
from monitor.trees.plans import Plans

FLUSH_EVERY = 1_000


class Sink(Protocol):
    """Where a replay puts what comes out."""

    def commit(self, effects: Sequence[Effects], at_s: float) -> None:
        """Write it."""
        ...


def replay(
    settings: Settings,
    plans: Plans,
    events: Iterable[Event],
    entries: Sequence[Mapping[str, Any]],
    sink: Sink,
    until_s: float | None = None,
    progress: Callable[[float], None] = lambda at_s: None,
) -> Engine:
    """Run everything through a fresh engine; returns it as it stands at the end."""
    engine = Engine(settings, plans)
    driver = Driver(engine, Almanac(settings))
    run = _Run(driver, sink)
    started = False
    waiting = entry_events(engine.book.house_of, entries)
    for event in events:
        if not started:
            _begin(driver, run, event, [entry.values for entry in waiting if entry.at_s <= event.at_s])
            waiting = [entry for entry in waiting if entry.at_s > event.at_s]
            started = True
        while waiting and run.guard_s(waiting[0]) <= event.at_s:
            run.write(waiting.pop(0))
        if not isinstance(event, Started) or engine.now_s < event.at_s:
            run.step(event)
        progress(event.at_s)
    for entry in waiting:
        if until_s is None or run.guard_s(entry) <= until_s:
            run.write(entry)
    if started and until_s is not None:
        run.advance(until_s)
    run.flush()
    return engine


def entry_events(house_of: Mapping[str, str], entries: Sequence[Mapping[str, Any]]) -> list[Entry]:
    """Entries as events: handed over when they were entered, else at their own time."""
    known = Book.fold(entries, house_of).entries
    events = [Entry(parse_rfc3339(e.get("entered_at") or e["at"]), e) for e in known]
    return sorted(events, key=lambda event: event.at_s)


def _begin(driver: Driver, run: "_Run", first: Event, known: Sequence[Mapping[str, Any]]) -> None:
    """The guard starts with the first event, knowing what was written down before."""
    driver.engine.load(Saved(), known)
    driver.almanac.start(first.at_s)
    run.handle(first if isinstance(first, Started) else Started(first.at_s))


class _Run:
    """One replay under way."""

    def __init__(self, driver: Driver, sink: Sink) -> None:
        self._driver = driver
        self._engine = driver.engine
        self._sink = sink
        self._held: list[Effects] = []

    def step(self, event: Event) -> None:
        """What is due before an event, then the event; before a start, until it was last alive."""
        if type(event) is Started and event.last_alive_at_s is not None:
            self.advance(event.last_alive_at_s)
        if event.at_s >= self._driver.job_s():
            for effects in self._driver.before(event):
                self._hold(effects)
        self._hold(self._engine.handle(event))

    def guard_s(self, entry: Entry) -> float:
        """When an entry was handed in; the book knows that by people's clocks [guard time]."""
        return max(entry.at_s - self._engine.scenes.speech.offset_s, self._engine.now_s)

    def write(self, entry: Entry) -> None:
        """One entry at its time."""
        self.step(replace(entry, at_s=self.guard_s(entry)))

    def advance(self, to_s: float) -> None:
        """Time passes."""
        for effects in self._driver.advance(to_s):
            self._hold(effects)

    def handle(self, event: Event) -> None:
        """One event."""
        self._hold(self._engine.handle(event))

    def _hold(self, effects: Effects) -> None:
        if effects is NOTHING:
            return
        self._held.append(effects)
        for notice in effects.notices:
            delivered = Outcome(
                self._engine.now_s, "delivery", True, notice=notice.notice, notifier=notice.notifier
            )
            self._held.append(self._engine.handle(delivered))
        if len(self._held) >= FLUSH_EVERY:
            self.flush()

    def flush(self) -> None:
        """Hand what is held to the sink."""
        if self._held:
            self._sink.commit(self._held, self._engine.now_s)
            self._held.clear()
