"""The same engine over a recording: messages at the instants they arrived, entries when they were entered.

Nothing of the live program but the engine, its calendar and a sink; every notice counts as delivered at once.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Protocol

from monitor.almanac import Almanac
from monitor.drive import Driver
from monitor.engine import Engine
from monitor.model import NOTHING, Effects, Event, Outcome, Saved, Started
from monitor.settings import Settings
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
    waiting = engine.entries_until(entries)
    for event in events:
        if not started:
            _begin(driver, run, event, [entry.values for entry in waiting if entry.at_s <= event.at_s])
            waiting = [entry for entry in waiting if entry.at_s > event.at_s]
            started = True
        while waiting and waiting[0].at_s <= event.at_s:
            run.step(waiting.pop(0))
        if not isinstance(event, Started) or engine.now_s < event.at_s:
            run.step(event)
        progress(event.at_s)
    for entry in waiting if until_s is None else [e for e in waiting if e.at_s <= until_s]:
        run.step(entry)
    if started and until_s is not None:
        run.advance(until_s)
    run.flush()
    return engine


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
        """Whatever is due before an event, then the event."""
        for effects in self._driver.before(event):
            self._hold(effects)
        self.handle(event)

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
