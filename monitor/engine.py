"""The one engine: handle(event) -> Effects. Live and replay differ only in who feeds the events.

Nothing in here asks for the time, touches a disk or a network, or throws dice. Before an event is handled,
every timer that is due comes first, each at its own instant, so that extra ticks change nothing. Durations
run in guard time; a step of the wall clock changes labels only.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

from monitor import memory
from monitor.alarms import lifecycle
from monitor.alarms.lifecycle import Delays
from monitor.model import (
    NOTHING,
    AlarmState,
    Assessment,
    Calendar,
    ClockStep,
    Command,
    Effects,
    Entry,
    Event,
    HourRow,
    Message,
    Outcome,
    Reading,
    Report,
    Row,
    Saved,
    Snapshot,
    Started,
    Tick,
    Use,
)
from monitor.morning import morning_report
from monitor.morning.notices import report_notices
from monitor.notices.drill import weekly_drill
from monitor.readings import Counts
from monitor.resting import MOVES_TREES
from monitor.rooms import Rooms
from monitor.settings import Settings
from monitor.trees.book import Book
from monitor.trees.plans import Plans
from monitor.views import build_snapshot
from monitor.watch import LOOKS_EVERY_S, NOTHING_FOUND, Ground, Watch
from monitor.watches import make_watches

HOUR_S = 3600.0
HOUR_GRACE_S = 60.0
"""An hour is summed up a little after it ended, so that its last readings are in."""
_RAISES = Use.RAISES


class Engine(Rooms):
    """How each event changes what the guard knows."""

    def __init__(
        self,
        settings: Settings,
        plans: Plans,
        watches: Callable[[Ground], tuple[Watch, ...]] = make_watches,
    ) -> None:
        """`watches` other than all there are let a test look at one rule by itself."""
        super().__init__(settings, plans, watches)
        self._site_changed = False
        self._stirred = False
        self._desk_timers: set[str] = set()
        self._handlers: Mapping[type, Callable[[Any], None]] = {
            Tick: lambda event: None,
            Entry: self._entry,
            Command: lambda event: self.commands.handle(event, self.now_s),
            Outcome: self._outcome,
            Calendar: self._calendar,
            ClockStep: self._clock_step,
            Started: self._started,
        }

    # ---- start -----------------------------------------------------------------------------------------

    def load(self, saved: Saved, entries: Iterable[Mapping[str, Any]]) -> None:
        """Take over what was saved, and the book."""
        memory.load(self, saved, entries)

    @property
    def book(self) -> Book:
        """The book as people wrote it, in their own times; what the guard counts by is `told.book`."""
        return self.told.labels

    # ---- the one door ----------------------------------------------------------------------------------

    def handle(self, event: Event) -> Effects:
        """Handle one event; timers that are due come first."""
        at_s = max(self.now_s, event.at_s)
        if self.timers.due_s() <= at_s and type(event) is not Started:
            self._advance(at_s)
        self.now_s = at_s
        if type(event) is Message:
            readings = self.readings.take(event, self.scenes.speech.offset_s)
            touched = False
            for reading in readings:
                touched |= self._reading(reading)
            if not touched and not self._stirred and not self.readings.counts.news:
                return Effects(tuple(readings)) if readings else NOTHING
            self._stirred = True
            self._settle()
            return self._effects(tuple(readings))
        if type(event) is Tick and not self._stirred:
            return NOTHING
        self._stirred = True
        self._handlers[type(event)](event)
        self._settle()
        return self._effects(())

    def due(self) -> float:
        """The next instant at which anything can change without a message [s]; infinity for never."""
        return self.timers.due_s()

    def _advance(self, to_s: float) -> None:
        while (found := self.timers.pop(to_s)) is not None:
            at_s, name = found
            self.now_s = max(self.now_s, at_s)
            if name == "silent":
                self._stirred |= self._silences()
            else:
                self._stirred = True
                self._fire(name)
            self._settle()

    def _silences(self) -> bool:
        """Whether a sensor's deadline has passed; most often they were all heard meanwhile."""
        found = self.silence.fire(self.now_s)
        for assessment in found:
            self._judge(assessment)
            self._stand_for_silence(assessment)
        return bool(found)

    def _stand_for_silence(self, found: Assessment) -> None:
        """A lost link holds back the silences that stood before it; one that outlasts it comes back."""
        now_s = self.now_s
        if found.kind == "broker-lost":
            for sensor in sorted(self.silence.silent):
                name = f"sensor-silent/{sensor}"
                self.occurrences.change(name, now_s, lambda row: lifecycle.suppress(row, "broker-lost"))
        elif self.silence.link_down_at_s is None:
            row = self.board.get(found.kind, found.subject)
            if row.state is AlarmState.SUPPRESSED:
                self.occurrences.step(row, now_s, lambda held: lifecycle.leave_rest(held, "broker-back"))

    def _fire(self, name: str) -> None:
        what, _, key = name.partition(":")
        if what == "hour":
            self._end_hour()
        elif what == "seen":
            self.occurrences.still_worse(key, self.now_s)
        elif what == "rest":
            self.resting.wake(key, self.now_s)
        elif what == "delay":
            self.occurrences.delayed(key, self.now_s)
        elif what == "shelf":
            self.occurrences.change(key, self.now_s, lambda row: lifecycle.leave_rest(row, "shelf-ended"))
        elif what == "starts":
            self._judge(self.troubles.restarting(self.now_s))
        elif what == "look":
            self._look()
        elif what == "unwatched":
            self.standing.look_for_unwatched(self.now_s)
        else:
            self.desk.fire(name, self.now_s)

    def _settle(self) -> None:
        """Notices for the transitions so far, and when the desk wants to be asked again."""
        transitions = self.occurrences.take()
        if not self._stirred and not transitions:
            return
        if transitions:
            self.desk.settle(transitions, self.now_s)
            self.made.transitions.extend(transitions)
        dues = self.desk.dues(self.now_s)
        for name in self._desk_timers - dues.keys():
            self.timers.set(name, None)
        self._desk_timers = set(dues)
        for name, due_s in dues.items():
            self.timers.set(name, due_s)

    def _look(self) -> None:
        """Ask every watch what it finds."""
        for watch in self.watches:
            for found in watch.look(self.now_s):
                self._judge(found)
        self.timers.set("look", (self.now_s // LOOKS_EVERY_S + 1) * LOOKS_EVERY_S)

    def _effects(self, readings: tuple[Reading, ...]) -> Effects:
        self._stirred = False
        notices, outbox, episode_rows = self.desk.take()
        self.deliveries.withdrawn(outbox)
        self.deliveries.sent((*notices, *self.made.notices), self.now_s)
        kept = [found for watch in self.watches if (found := watch.take()) is not NOTHING_FOUND]
        effects = Effects(
            readings=readings,
            transitions=tuple(self.made.transitions),
            notices=(*notices, *self.made.notices),
            outbox=(*self.made.outbox, *outbox),
            forecasts=tuple(line for found in kept for line in found.forecasts),
            wraps=tuple(line for found in kept for line in found.wraps),
            stages=self.standing.take(),
            hours=tuple(self.made.hours),
            rows=(
                *self.board.take_changed(),
                *self.occurrences.take_changed(),
                *episode_rows,
                *self._news_of_the_site(),
                *(row for found in kept for row in found.rows),
            ),
            reports=tuple(self.made.reports),
            replies=tuple(self.made.replies),
        )
        self.made.clear()
        return effects

    def everything(self) -> Effects:
        """Every row there is, for a store that has begun anew."""
        return memory.whole(self)

    def _news_of_the_site(self) -> tuple[Row, ...]:
        """What changed beside alarms, episodes and what was learnt."""
        rows = memory.site_rows(self) if self._site_changed else ()
        self._site_changed = False
        if self.readings.counts.news:
            self.readings.counts.news = False
            rows = (*rows, memory.counts_row(self))
        return rows

    # ---- readings --------------------------------------------------------------------------------------

    def _reading(self, reading: Reading) -> bool:
        """Whether a reading touched anything but the history."""
        heard = self.silence.silent and self._heard(reading)
        if reading.use > _RAISES or not self.guarding.concerns(reading):
            return bool(heard)
        for finding in self.guarding.judge(reading):
            self._judge(finding.assessment, finding.delays)
            self.occurrences.worse_than_seen(finding.assessment, self.now_s)
        self.guarding.rest(reading)
        return True

    def _heard(self, reading: Reading) -> bool:
        """Whether this present reading ended its sensor's silence."""
        if reading.use is not Use.PRESENT or self.readings.fresh_at_s.get(reading.sensor) != self.now_s:
            return False
        heard = self.silence.heard(reading.sensor, self.now_s)
        self._judge(heard)
        return heard is not None

    def _judge(self, found: Assessment | None, delays: Delays | None = None) -> None:
        """One step of one alarm."""
        self.occurrences.judge(found, self.now_s, delays)

    # ---- other events ----------------------------------------------------------------------------------

    def _started(self, event: Started) -> None:
        self.night_log.started(event.last_alive_at_s, event.at_s)
        if event.last_alive_at_s is None:
            self.first_seen_s = event.at_s
        if self.hours_done_to_s is None:
            self.hours_done_to_s = event.at_s // HOUR_S * HOUR_S
        self.told.settle(self.now_s)
        self._end_hour()
        self.silence.start(event.at_s)
        self._follow_rests()
        self.timers.set("look", (event.at_s // LOOKS_EVERY_S + 1) * LOOKS_EVERY_S)
        if event.last_alive_at_s is not None:
            self._was_off(event.last_alive_at_s, event.at_s)
        if not event.clock_trusted:
            self._judge(self.troubles.clock(0.0, self.now_s))
        self._judge(self.troubles.started(self.now_s, event.orderly))
        self.timers.set("starts", self.troubles.calm_at_s())
        self._site_changed = True

    def _was_off(self, from_s: float, to_s: float) -> None:
        """Time that nobody watched; a second such time is news even while the first is not seen yet."""
        found = self.silence.was_off(from_s, to_s)
        if found is None:
            return
        self.scenes.off_span = (from_s, to_s)
        before = self.board.get(found.kind, found.subject)
        self._judge(found)
        if before.active and before.priority.rank >= found.priority.rank:
            anew = partial(lifecycle.ring_anew, because="again")
            self.occurrences.change(before.alarm, self.now_s, anew)

    def _entry(self, event: Entry) -> None:
        self._site_changed |= self.told.add(event.values, self.now_s)
        self._refresh()
        if event.values["kind"] in {"rest", "void"}:
            self._follow_rests()
        if event.values["kind"] in MOVES_TREES:
            self.resting.shorten(self.told.book, self.now_s)
        self._met_anew()

    def _met_anew(self) -> None:
        """What is known now meets what the book says now."""
        for sensor in self.settings.sensors:
            self._look_again(sensor)
        for watch in self.watches:
            for found in watch.changed(self.now_s):
                self._judge(found)

    def _follow_rests(self) -> None:
        self.resting.follow(self.told.book, self.settings.sensors, self.now_s)
        self._site_changed = True

    def _look_again(self, sensor: str) -> None:
        """New limits meet the value that is known, not only the next one."""
        reading = self.surroundings.latest(sensor)
        if reading is not None and self.surroundings.is_fresh(sensor, self.now_s):
            for finding in self.guarding.judge(reading):
                row = self.board.get(finding.assessment.kind, finding.assessment.subject)
                if not row.waits and not row.active:
                    self._judge(finding.assessment, finding.delays)

    def _refresh(self) -> None:
        """Stages and limits anew, and what follows from them."""
        label_s = self.scenes.label_s(self.now_s)
        self._site_changed |= self.standing.refresh(self.told.book, self.now_s, label_s)

    def _outcome(self, event: Outcome) -> None:
        if event.part == "broker":
            if event.ok:
                self._judge(self.silence.link_up(self.now_s))
            else:
                self.silence.link_down(self.now_s, event.detail)
            self._site_changed = True
        elif event.part == "store":
            self.store_trouble = "" if event.ok else event.detail
            self._judge(self.troubles.store(event.ok, self.now_s))
        elif event.part == "note":
            self.notes.append(event.detail)
            self.readings.counts.news = True
        elif event.part == "delivery":
            self._delivery(event)

    def _delivery(self, event: Outcome) -> None:
        self.made.outbox.append(self.deliveries.heard(event, self.scenes.label_s(self.now_s)))
        if event.ok:
            self.desk.delivered(event.notice, event.notifier)
        self._judge(self.troubles.delivery(event, self.now_s))
        self._site_changed = True

    def _calendar(self, event: Calendar) -> None:
        if event.job == "drill" and event.date != self.drilled:
            self.drilled, self._site_changed = event.date, True
            site, label_s = self.settings.site.name, self.scenes.label_s(self.now_s)
            self.made.notices.extend(weekly_drill(site, self.settings.notifiers, label_s, event.date))
        if event.job == "report" and event.date not in self.reports:
            report = self.report(event.date, is_sent=True)
            self.reports[event.date] = report.text
            self.made.reports.append(report)
            self.notes.clear()
            self.readings.counts = Counts(news=True)
            self.made.notices.extend(report_notices(self.settings, report, self.scenes.label_s(self.now_s)))

    def report(self, for_date: str, is_sent: bool = False) -> Report:
        """The morning report of a local date as of now; `is_sent` if it goes out by the calendar."""
        self.surroundings.for_show = not is_sent
        try:
            return morning_report(self, for_date, is_sent)
        finally:
            self.surroundings.for_show = False

    def _clock_step(self, event: ClockStep) -> None:
        self.night_log.stepped(event.offset_s - self.scenes.speech.offset_s, self.now_s)
        self.set_offset(event.offset_s)
        self.told.clock_set(event.offset_s, self.now_s)
        self._refresh()
        self._met_anew()
        self._judge(self.troubles.clock(self.scenes.label_s(self.now_s), self.now_s))
        self._site_changed = True

    def set_offset(self, offset_s: float) -> None:
        """Wall time minus guard time, from now on."""
        self.scenes.speech = replace(self.scenes.speech, offset_s=offset_s)
        self.desk.speech = self.scenes.speech

    # ---- hours -----------------------------------------------------------------------------------------

    def _end_hour(self) -> None:
        """Sum up every hour that has ended, then stages and limits anew."""
        done_to_s = self.hours_done_to_s
        if done_to_s is None:
            done_to_s = self.now_s // HOUR_S * HOUR_S
        fresh: list[HourRow] = []
        while done_to_s + HOUR_S + HOUR_GRACE_S <= self.now_s:
            rows = [self.readings.history.hour_row(name, done_to_s) for name in self.settings.sensors]
            fresh.extend(row for row in rows if row.covered_s > 0)
            done_to_s += HOUR_S
        has_ended = done_to_s != self.hours_done_to_s
        self.hours_done_to_s = done_to_s
        self.made.hours.extend(fresh)
        self.occurrences.forget_old(self.now_s)
        self.guarding.thermal.add(fresh)
        self.hours.add(fresh)
        self._refresh()
        for watch in self.watches:
            for found in watch.hour(self.now_s, fresh):
                if has_ended:  # a start within the hour must find nothing that an unbroken run had not
                    self._judge(found)
        self.timers.set("hour", done_to_s + HOUR_S + HOUR_GRACE_S)
        self._site_changed = True

    # ---- what others may see -----------------------------------------------------------------------------

    def snapshot(self) -> Snapshot:
        """What the guard sees now."""
        self.surroundings.for_show = True
        try:
            return build_snapshot(self)
        finally:
            self.surroundings.for_show = False
