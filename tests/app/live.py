"""A real guard without a broker: its clocks and its queue are the test's, everything else is as it runs.

with Live(folder) as live:
    live.reading("bench-a", 0.5, after_s=60)
    ...
live.transitions(), live.replayed()
"""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

from monitor.app import Ask, Guard
from monitor.model import Effects, Message, Notice, Outcome, Transition
from monitor.replay import replay
from monitor.settings import Settings
from monitor.store.book_file import BookFile
from monitor.store.queries import Reader
from monitor.store.recording import read_recording
from monitor.store.sqlite import Store
from monitor.testing import ManualClock, RecordingNotifier
from monitor.trees.plans import load_plans
from tests.engine.house import instant, settings_of
from tests.support.waiting import until


class Wall:
    """People's clock: guard time and an offset that a test may step."""

    def __init__(self, clock: ManualClock) -> None:
        self._clock = clock
        self.offset_s = 0.0

    def __call__(self) -> float:
        return round(self._clock.now_s() + self.offset_s, 3)


class Live:
    """One guard under way, and those before it on the same state directory."""

    def __init__(
        self, folder: Path, settings: Settings | None = None, begins: str = "2027-01-14 20:00"
    ) -> None:
        self.folder = folder
        self.settings = settings or settings_of(("bench-a", "bench-b"))
        self.clock = ManualClock(instant(begins))
        self.notifiers = {name: RecordingNotifier() for name in self.settings.notifiers}
        self._wall = Wall(self.clock)
        self.start()

    def start(self) -> None:
        """Open the state directory and begin to watch."""
        store = Store.open(self.folder, self._wall())
        self.guard = Guard(self.settings, load_plans(None), store, self.clock, dict(self.notifiers))
        self.guard._wall_s = self._wall
        self.guard.intake.start = lambda: None  # type: ignore[method-assign]
        self.guard.start()
        self.pass_once()

    def stop(self) -> None:
        """An orderly end."""
        self.guard._finish()

    def kill(self) -> None:
        """`kill -9` as far as one process can: nothing more is handled or committed."""
        self.guard.delivery.stop(1.0)
        self.guard._recorder._release()
        self.guard.store._drop()
        self.guard.store.lock.release()

    def pass_once(self, after_s: float = 0.0) -> None:
        """Time passes and the guard makes a pass."""
        self.clock.advance(after_s)
        self.guard.one_pass()

    def passes(self, for_s: float, every_s: float = 5.0) -> None:
        """Passes as the loop makes them, five seconds apart at most."""
        for _ in range(int(for_s // every_s)):
            self.pass_once(every_s)

    def put(self, item: Any) -> None:
        """Something comes in; the guard takes it in its next pass."""
        self.guard._queue.put(item)

    def reading(self, sensor: str, value_c: float, after_s: float = 60.0, **more: Any) -> None:
        """A message arrives, and the guard makes a pass."""
        self.passes(after_s)
        payload = json.dumps({"t": value_c}).encode()
        topic = self.settings.sensors[sensor].topic
        self.put(Message(self.clock.now_s(), topic, payload, **more))
        self.pass_once()

    def link(self, up: bool) -> None:
        """The connection comes or goes."""
        self.put(Outcome(self.clock.now_s(), "broker", up, "" if up else "connection refused"))
        self.pass_once()

    def ask(self, name: str, values: Any, by: str = "ann") -> Any:
        """Somebody asks; the answer."""
        ask = Ask(name, values, by)
        self.put(ask)
        self.pass_once()
        return ask.answer.get(timeout=5.0)

    def write(self, **entry: Any) -> None:
        """Somebody writes into the book."""
        reply = self.ask("entries", [entry])
        assert reply.ok, reply.message

    def clock_steps(self, by_s: float) -> None:
        """Somebody sets the computer's clock."""
        self._wall.offset_s += by_s
        self.pass_once()

    def delivered(self) -> None:
        """Wait until everything that was sent is delivered and the guard has heard of it."""

        def idle() -> bool:
            self.pass_once()
            return not self.guard.engine.deliveries.waiting

        until(idle, 5.0, "delivery")

    # ---- what came of it -----------------------------------------------------------------------------------

    def transitions(self) -> list[Transition]:
        """Every transition that was kept."""
        with Reader(self.folder) as reader:
            return list(reader.transitions())

    def notices(self) -> list[Notice]:
        """Every notice that was kept."""
        with Reader(self.folder) as reader:
            return [sent.notice for sent in reader.notices()]

    def replayed(self) -> "Replayed":
        """The same engine over this guard's own recording and book."""
        found = Replayed()
        entries: Sequence[Mapping[str, Any]] = BookFile(self.folder / "book.jsonl").load()
        events = read_recording(self.folder / "recording")
        replay(self.settings, load_plans(None), events, entries, found, until_s=self.clock.now_s())
        return found

    def __enter__(self) -> "Live":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


class Replayed:
    """What a replay gave."""

    def __init__(self) -> None:
        self.transitions: list[Transition] = []
        self.notices: list[Notice] = []

    def commit(self, effects: Sequence[Effects], at_s: float) -> None:
        """Where the replay puts it."""
        for each in effects:
            self.transitions += each.transitions
            self.notices += each.notices
