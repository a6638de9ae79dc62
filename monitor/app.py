"""Puts it together: the guard loop, the one thread that decides, and all that feeds it or listens to it.

The only place where engine, store, intake, delivery and page meet. MQTT thread: stamps and queues. Guard
thread: handles in order, commits once, answers, publishes a frozen snapshot. A worker a notifier. Nobody else
writes.
"""

import contextlib
import queue
import threading
from collections.abc import Mapping
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from monitor import clock, service
from monitor.almanac import Almanac
from monitor.asking import Ask
from monitor.checkup import Checkup, status_line
from monitor.clock import GuardClock
from monitor.delivery import create_notifiers
from monitor.delivery.notifier import Notifier
from monitor.delivery.workers import Delivery, DrillResult
from monitor.drive import Driver, moved
from monitor.engine import Engine
from monitor.errors import AftercareError, BookError, NotRunning, StoreError
from monitor.guarding import GuardedTree, labelled
from monitor.intake.mqtt import Intake
from monitor.keeping import Keeping
from monitor.liveness import SignOfLife
from monitor.model import (
    NOTHING,
    ClockStep,
    Command,
    Effects,
    Entry,
    Message,
    Outcome,
    Reply,
    Report,
    Row,
    Snapshot,
    Started,
)
from monitor.notices.drill import drill_notice
from monitor.notices.words import Speech
from monitor.report.illustrator import Illustrator
from monitor.settings import Settings, read_secret, secret_path
from monitor.start import guard_time_at_start, hours_needed_from_s
from monitor.store.book_file import BookFile
from monitor.store.queries import Reader
from monitor.store.recorder import Recorder
from monitor.store.sqlite import Store
from monitor.telling import Teller
from monitor.trees.book import Book
from monitor.trees.handing_in import handed_in
from monitor.trees.plans import Plans, load_plans
from monitor.trees.remarks import remarks
from monitor.upkeep import Upkeep
from monitor.usual_nights import against_the_house

PASS_AT_LEAST_EVERY_S = 5.0
DRAIN_AT_MOST = 250
WAITING_AT_MOST = 2_000
"""Messages at QoS 0 that may wait; of the others the broker sends no more than we allow it to."""
CLOCK_STEP_S = 2.0
SNAPSHOT_EVERY_S = 1.0
HISTORY_S = 14 * 86400.0
STOP_WITHIN_S = 8.0
FAR_S = 1e9
ENDED = Row("site", "ended", {"orderly": True})
"""Kept at an orderly end and taken away by the next start."""


class Guard:
    """One installation at work; made by `open_guard`, run by `run`, asked by page and command line."""

    def __init__(
        self,
        settings: Settings,
        plans: Plans,
        store: Store,
        guard_clock: GuardClock,
        notifiers: Mapping[str, Notifier] | None = None,
    ) -> None:
        self.settings = settings
        self.store = store
        self.clock = guard_clock
        self._wall_s = clock.wall_s
        self._queue: queue.SimpleQueue[Message | Outcome | Ask] = queue.SimpleQueue()
        self.engine = Engine(settings, plans)
        self.plans = plans
        self._book_file = BookFile(store.directory / "book.jsonl")
        self._recorder = Recorder(
            store.directory / "recording", settings.site.zone, settings.recording.keep_days
        )
        self.intake = Intake(
            settings.broker,
            self.engine.readings.topics,
            lambda name: secret_path(settings, name),
            self._let_in,
            guard_clock.now_s,
        )
        self._keeping = Keeping(store, self.intake.acknowledge)
        if notifiers is None:
            notifiers = create_notifiers(settings, lambda name: read_secret(settings, name))
        self.delivery = Delivery(notifiers, self._queue.put, guard_clock)
        showing = {name for name, each in notifiers.items() if getattr(each, "SHOWS_PICTURES", False)}
        self._illustrator = Illustrator(showing, self.delivery.send)
        self._upkeep = Upkeep(store, settings.state.keep_days)
        self._driver = Driver(self.engine, Almanac(settings), self._upkeep.job)
        self._asks: dict[int, Ask] = {}
        self._tickets = 0
        self._turned_away = 0
        self._recorder_said = ""
        self._store_said = ""
        self._notes_said = 0
        self._begun_afresh = store.begun_afresh
        self._to_send: list[Effects] = []
        self._stopping = threading.Event()
        self._snapshot = Snapshot(0.0, settings.site.name, guarding=False)
        self._snapshot_at_s = 0.0
        self._is_unshown = False
        self._line_said = ""
        self.checkup = Checkup(settings, self.engine, self._keeping, guard_clock)
        self._teller = Teller(
            self.intake, settings.broker.client_id, lambda: self._snapshot, lambda: self.book.left, self._note
        )
        self._sign_of_life = None
        if settings.liveness is not None:
            self._sign_of_life = SignOfLife(settings.liveness, lambda: self.checkup.health, self._note)

    # ---- for other threads -----------------------------------------------------------------------------

    @property
    def snapshot(self) -> Snapshot:
        """What the guard saw a moment ago."""
        return self._snapshot

    @property
    def book(self) -> Book:
        """The book as it stands: a frozen value."""
        return self.engine.book

    @property
    def trees(self) -> Mapping[str, GuardedTree]:
        """Every tree that has not left, with what holds for it, dated by people's clocks: frozen values."""
        trees, offset_s = self.engine.guarding.trees, self.speech.offset_s
        if offset_s == 0.0:
            return trees
        dated = self.book.trees
        return {name: labelled(each, dated[name], offset_s) for name, each in trees.items() if name in dated}

    @property
    def speech(self) -> Speech:
        """How instants of guard time and temperatures are said."""
        return self.engine.scenes.speech

    def label_s(self) -> float:
        """What people's clocks show now [s since 1970]."""
        return round(self.clock.now_s() + self.speech.offset_s, 3)

    def ask(self, name: str, values: Any = None, by: str = "", within_s: float = 10.0) -> Reply:
        """Hand in a command (`ack`, `shelve`, `resume`) or `entries` and wait until it is committed."""
        ask = Ask(name, values if values is not None else {}, by)
        self._queue.put(ask)
        try:
            return ask.answer.get(timeout=within_s)
        except queue.Empty:
            raise NotRunning(
                "The guard did not answer in time.", "Is the machine overloaded? Try again."
            ) from None

    def drill(self, notifier: str) -> DrillResult:
        """A test notice through one notifier, from the calling thread."""
        label_s = self.engine.scenes.label_s(self.clock.now_s())
        notice = drill_notice(self.settings.site.name, notifier, label_s)
        return self.delivery.drill(notifier, notice)

    def book_entries(self) -> list[Mapping[str, Any]]:
        """Every entry of the book, as it stands."""
        return list(self.engine.book.entries)

    def report(self, date: str) -> Mapping[str, Any] | None:
        """The report of a local date as it was sent; without a date the newest, or a first one as of now."""
        found: Report | None = None
        with contextlib.suppress(StoreError), Reader(self.store.directory) as reader:
            found = reader.report(date or None)
        if found is None and not date:
            found = self.ask("report", {"date": self.today()}).value
        return None if found is None else asdict(found)

    def today(self) -> str:
        """The site's local date."""
        return clock.local(self.label_s(), self.settings.site.zone).date().isoformat()

    def stop(self) -> None:
        """Ask the loop to end in order."""
        self._stopping.set()
        self._queue.put(Outcome(self.clock.now_s(), "stop", True))

    # ---- the loop --------------------------------------------------------------------------------------

    def start(self) -> None:
        """Take over what was saved and begin to watch."""
        now_s = self.clock.now_s()
        entries = self._book_file.load()
        saved = self.store.load(now_s - HISTORY_S, hours_needed_from_s(entries, now_s))
        self.engine.load(saved, entries)
        self._keeping.load(saved.digests)
        self.delivery.clock_stepped(self.engine.scenes.speech.offset_s)
        for notice, attempts in saved.outbox:
            self._illustrator.send(notice, attempts)
        self._driver.almanac.done("report", saved.reports)
        wall_from_s = now_s if saved.last_commit_at_s is None else saved.last_commit_at_s
        self._driver.almanac.start(wall_from_s + self.engine.scenes.speech.offset_s)
        trusted, orderly = clock.is_trusted(self._wall_s()), ENDED.key in saved.rows.get("site", {})
        self._handle(Started(now_s, saved.last_commit_at_s, trusted, orderly))
        self._keeping.hold(Effects(rows=(replace(ENDED, value=None),)))
        self._keeping.hurry()
        self._look_at_clock(now_s)
        for note in self._book_file.notes:
            self._handle(Outcome(now_s, "note", True, note))
        self._say_of_store()
        if self._turned_away:
            self._turned_away, count = 0, self._turned_away
            self._note(f"{count} messages came faster than I could take them, and were turned away")
        self._show(now_s)
        self.intake.start()

    def run(self) -> None:
        """Until `stop`: pass after pass."""
        self.start()
        service.notify("READY=1")
        self._teller.start()
        if self._sign_of_life is not None:
            self._sign_of_life.start()
        while not self._stopping.is_set():
            self.one_pass()
        self._finish()

    def one_pass(self) -> None:
        """Take what is queued, handle it in order, do what is due, commit once, answer, show."""
        wait_s = min(
            SNAPSHOT_EVERY_S if self._is_unshown else PASS_AT_LEAST_EVERY_S,
            self.clock.real_wait_s(self._driver.due_s()),
            self._keeping.wait_s(),
        )
        for item in self._drain(wait_s):
            self._take(item)
            self._is_unshown = True
        now_s = self.clock.now_s()
        self._look_at_clock(now_s)
        for effects in self._driver.advance(now_s):
            self._hold(effects)
        if self._keeping.is_due(self._queue.empty()):
            self._commit()
        if self._upkeep.turn(now_s, self._wall_s()):
            self._keeping.hurry()
        self._say_of_store()
        if self._turned_away:
            self._turned_away, count = 0, self._turned_away
            self._note(f"{count} messages came faster than I could take them, and were turned away")
        self._show(now_s)
        if self.checkup.look():
            service.notify("WATCHDOG=1")
            self._tell_manager()

    def _let_in(self, item: Message | Outcome) -> None:
        """What the network thread brings. In a flood, what nobody holds back (QoS 0) is turned away."""
        if type(item) is Message and not item.qos and self._queue.qsize() >= WAITING_AT_MOST:
            self._turned_away += 1
            return
        self._queue.put(item)

    def _drain(self, wait_s: float) -> list[Message | Outcome | Ask]:
        items: list[Message | Outcome | Ask] = []
        with contextlib.suppress(queue.Empty):
            items.append(self._queue.get(timeout=max(0.001, wait_s)))
            while len(items) < DRAIN_AT_MOST:
                items.append(self._queue.get_nowait())
        return items

    def _take(self, item: Message | Outcome | Ask) -> None:
        if type(item) is Message:
            if self._keeping.comes_again(item):
                self._keeping.hold(NOTHING, item)
            else:
                self._handle(item)
        elif type(item) is Ask:
            self._asked(item)
        elif type(item) is Outcome and item.part != "stop":
            self.checkup.heard(item)
            self._handle(item)
            if item.part == "broker":
                self._keeping.hurry()

    def _handle(self, event: Any) -> None:
        """Record the event with the time at which the engine takes it, and hold its effects."""
        for effects in self._driver.before(event):
            self._hold(effects)
        if event.at_s < self.engine.now_s:
            event = moved(event, self.engine.now_s)
        self._recorder.record(event)
        effects = self.engine.handle(event)
        self._hold(effects, event if type(event) is Message else None)

    def _hold(self, effects: Effects, message: Message | None = None) -> None:
        self._keeping.hold(effects, message)
        if effects is not NOTHING and effects.urgent:
            self._to_send.append(effects)

    def _commit(self) -> None:
        """One commit; then notices go out, withdrawn ones are called back, and whoever asked is answered."""
        self._recover_memory()
        self._keeping.commit(self.engine.now_s)
        self._record()
        sending, self._to_send = self._to_send, []
        for effects in sending:
            for change in effects.outbox:
                if change.status == "withdrawn":
                    self.delivery.withdraw(change.notice, change.notifier)
            for notice in effects.notices:
                self._illustrator.send(notice)
            for reply in effects.replies:
                self._answer(reply)
        self._say_of_store()

    def _say_of_store(self) -> None:
        """That the store cannot be relied on, or can again; and once each what it found and did."""
        trouble = self._keeping.failing or self._upkeep.trouble
        if bool(trouble) != bool(self._store_said):
            self._handle(Outcome(self.engine.now_s, "store", not trouble, trouble))
        self._store_said = trouble
        notes, self._notes_said = self.store.notes[self._notes_said :], len(self.store.notes)
        for note in notes:
            self._handle(Outcome(self.engine.now_s, "note", True, note))

    def _tell_manager(self) -> None:
        """One line for whoever asks the service manager, when there is something new to say."""
        line = status_line(self._snapshot)
        if line != self._line_said:
            self._line_said = line
            service.notify(f"STATUS={line}")

    def _record(self) -> None:
        """Write the recording; that it fails is said once, and never stops the guard."""
        self._recorder.flush()
        if self._recorder.failing and not self._recorder_said:
            self._handle(Outcome(self.engine.now_s, "note", False, self._recorder.failing))
        self._recorder_said = self._recorder.failing

    def _recover_memory(self) -> None:
        """A store that had to begin anew gets the engine's whole memory again."""
        if self.store.begun_afresh != self._begun_afresh:
            self._begun_afresh = self.store.begun_afresh
            self._keeping.hold(self.engine.everything())

    def _answer(self, reply: Reply) -> None:
        ask = self._asks.pop(reply.ticket, None)
        if ask is not None:
            self._show(self.engine.now_s, at_once=True)
            ask.answer.put(reply)

    def _show(self, now_s: float, at_once: bool = False) -> None:
        """A new snapshot once a second; whoever is answered finds the answer in it."""
        real_s = clock.monotonic_s()
        is_due = real_s - self._snapshot_at_s >= SNAPSHOT_EVERY_S or self._snapshot.at_s == 0.0
        if at_once or is_due:
            self._snapshot = replace(self.engine.snapshot(), storage=self._upkeep.sizes)
            self._snapshot_at_s = real_s
            self._is_unshown = False

    def _note(self, text: str) -> None:
        """Something for the next report, from any thread."""
        self._queue.put(Outcome(self.clock.now_s(), "note", False, text))

    def _look_at_clock(self, now_s: float) -> None:
        """Wall time against guard time: a step changes labels, never durations."""
        if self.clock.rate != 1.0:
            return
        offset_s = self._wall_s() - now_s
        if abs(offset_s - self.engine.scenes.speech.offset_s) > CLOCK_STEP_S:
            self._handle(ClockStep(now_s, round(offset_s, 3)))
            self.delivery.clock_stepped(offset_s)

    # ---- asks --------------------------------------------------------------------------------------------

    def _asked(self, ask: Ask) -> None:
        self._tickets += 1
        self._asks[self._tickets] = ask
        now_s = self.clock.now_s()
        if ask.name == "entries":
            self._entries(ask, self._tickets, now_s)
        elif ask.name == "report":
            self._answer(Reply(self._tickets, True, self.engine.report(ask.values["date"])))
        else:
            self._handle(Command(now_s, ask.name, ask.values, ask.by, self._tickets))

    def _entries(self, ask: Ask, ticket: int, now_s: float) -> None:
        """Check, append and sync, then handle; all of them or none."""
        label_s = self.engine.scenes.label_s(now_s)
        try:
            checked = handed_in(ask.values, ask.by, label_s, self.engine.book, self.settings, self.plans)
            self._book_file.append(checked)
        except (BookError, StoreError) as error:
            self._answer(Reply(ticket, False, message=str(error)))
            return
        said: list[str] = []
        for entry in checked:
            tree = self.engine.guarding.trees.get(entry.get("tree", ""))
            self._handle(Entry(now_s, entry))
            said += remarks(entry, self.engine.book, self.plans, tree.stages if tree is not None else ())
            said += against_the_house(self.engine, entry)
        self._commit()
        self._answer(Reply(ticket, True, {"entries": checked, "remarks": said}))

    # ---- end ---------------------------------------------------------------------------------------------

    def _finish(self) -> None:
        """Stop the intake, handle what is queued, commit, give the notices a moment, close."""
        service.notify("STOPPING=1")
        if self._sign_of_life is not None:
            self._sign_of_life.stop()
        self._teller.stop()
        self.intake.stop()
        for item in self._drain(0.001):
            self._take(item)
        self._commit()
        self.delivery.stop(STOP_WITHIN_S / 2)
        for item in self._drain(0.001):
            self._take(item)
        self._keeping.hold(Effects(rows=(ENDED,)))
        self._commit()
        self._recorder.close()
        self.store.close()


def open_guard(
    settings: Settings,
    rate: float = 1.0,
    started_at_s: float | None = None,
    notifiers: Mapping[str, Notifier] | None = None,
) -> Guard:
    """Own the state directory and make everything; raises what keeps the guard from starting.

    `rate`, `started_at_s` and `notifiers` are for the demo and for tests: guard time that runs faster, from
    another instant, with notices that go elsewhere.
    """
    wall_now_s = clock.wall_s()
    plans = load_plans(settings.plans)
    store = Store.open(Path(settings.state.directory), wall_now_s)
    try:
        saved = store.load(wall_now_s + FAR_S, wall_now_s + FAR_S)
        offset_s = saved.rows.get("site", {}).get("engine", {}).get("offset_s", 0.0)
        begin_s = started_at_s
        if begin_s is None:
            entries = BookFile(store.directory / "book.jsonl").load(mend=False)
            begin_s = guard_time_at_start(saved.last_commit_at_s, offset_s, wall_now_s, entries)
        return Guard(settings, plans, store, GuardClock(begin_s, rate), notifiers)
    except AftercareError:
        store.close()
        raise
