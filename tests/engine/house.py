"""A small guarded house for tests: an engine, what it is told at which local time, and what it said.

    house = House()
    house.air(-0.5, by="23:00")        # a reading a minute, in a straight line from the last value
    house.ack("low-temperature/larch-3", by="ann")
    house.notices("frost")             # everything said about frost since it was last asked for

Times are local times of the site (Europe/London): "23:00" is the next such time, "01-15 06:45" names the
day, 2027 unless said otherwise. The driver is the one that live guard and replay use.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from monitor.alarms.lifecycle import AlarmRow
from monitor.almanac import Almanac
from monitor.drive import Driver
from monitor.engine import Engine
from monitor.model import (
    ClockStep,
    Command,
    Effects,
    Entry,
    Message,
    Notice,
    NoticeKind,
    OutboxChange,
    Outcome,
    Reading,
    Reply,
    Report,
    Saved,
    Started,
    Tick,
    Transition,
)
from monitor.settings import Settings
from monitor.store.sqlite import Store
from monitor.trees.book import Book, check_entry
from monitor.trees.plans import load_plans
from monitor.watch import Ground, Watch
from monitor.watches.air import DryAirWatch
from monitor.watches.recovery import recovery_watches
from monitor.watches.sensors import SensorWatch

ZONE = ZoneInfo("Europe/London")
BEGINS = "2027-01-14 20:00"
LARCH, YEW, PINE = "low-temperature/larch-3", "low-temperature/yew-2", "low-temperature/pine-1"
WARN_C, HARM_C = 1.5, 0.0
"""Larch 3, where a test says nothing else."""

CALLS: tuple[Mapping[str, Any], ...] = (
    {"tell": ["high", "medium"], "who": ["ann"], "pass_on_after_s": 600, "pass_on_to": ["tom"]},
    {"tell": ["low", "report"], "who": ["ann"]},
)
QUIET = {"from": "22:30", "to": "06:30"}


def instant(text: str, zone: ZoneInfo = ZONE) -> float:
    """`2027-01-14 20:00` or `01-14 20:00`, local, as seconds since 1970."""
    full = text if len(text.split("-")) == 3 else f"2027-{text}"
    return datetime.fromisoformat(full).replace(tzinfo=zone).timestamp()


def sensor(name: str, every_s: float = 60.0, **more: Any) -> dict[str, Any]:
    """A sensor on a bench of the cold house that may send a time of its own."""
    pointers = {"temperature_c": "/t", "relative_humidity_pct": "/rh", "observed_at": "/at"}
    return {"house": "cold", "topic": f"t/{name}", "payload": "json", "every_s": every_s} | pointers | more


def settings_of(sensors: Sequence[str] | Mapping[str, Any] = ("bench-a",), **changes: Any) -> Settings:
    """The invented installation; `changes` stand in place of its parts."""
    given = sensors if isinstance(sensors, Mapping) else {name: sensor(name) for name in sensors}
    parts: dict[str, Any] = {
        "site": {
            "name": "Heather Bank",
            "timezone": "Europe/London",
            "latitude_deg": 54.6,
            "longitude_deg": -3.1,
        },
        "houses": {"cold": {"name": "Cold house"}},
        "sensors": given,
        "notifiers": {name: {"type": "journal"} for name in ("mail", "hook", "log")},
        "people": {
            "ann": {"reach_s": 1800, "notifiers": ["mail"]},
            "tom": {"reach_s": 600, "notifiers": ["hook"]},
        },
        "calls": CALLS,
    }
    return Settings.model_validate(parts | changes)


def tree(
    name: str, at_sensor: str | None, warn_c: float | None, harm_c: float | None
) -> list[dict[str, Any]]:
    """Entries for a tree with limits of its own, so that no plan moves them: `Larch 3` -> `larch-3`."""
    at, known = "2027-01-01T10:00:00Z", name.lower().replace(" ", "-")
    placed = {"sensor": at_sensor} if at_sensor else {}
    entries: list[dict[str, Any]] = [{"at": at, "kind": "tree", "tree": known, "name": name, **placed}]
    for key, value in (("low_warn_c", warn_c), ("low_harm_c", harm_c)):
        if value is not None:
            limit = {"kind": "limit", "tree": known, "limit": key, "value": value, "reason": "to test"}
            entries.append({"at": at, **limit})
    return entries


LARCH_ALONE = tree("Larch 3", "bench-a", WARN_C, HARM_C)


def plain_watches(ground: Ground) -> tuple[Watch, ...]:
    """All but what looks ahead into the night, so that a rule stands by itself."""
    return (SensorWatch(ground), DryAirWatch(ground), *recovery_watches(ground))


@dataclass
class House:
    """One engine under way. `keep` is a state directory: with one, the house can be `restart`ed."""

    settings: Settings = field(default_factory=settings_of)
    entries: Sequence[Mapping[str, Any]] = field(default_factory=lambda: LARCH_ALONE)
    begins: str = BEGINS
    keep: Path | None = None
    delivers: bool = True
    """Whether every notice counts as delivered at once."""
    watches: Callable[[Ground], tuple[Watch, ...]] = plain_watches
    entries_count_twice: bool = False
    """Whether every entry is handed in a second time."""

    orderly: bool = False
    """Whether a `restart` counts as an end that somebody asked for."""

    def __post_init__(self) -> None:
        self.start_s = instant(self.begins)
        self.transitions_seen: list[Transition] = []
        self.notices_seen: list[Notice] = []
        self.readings: list[Reading] = []
        self.outbox: list[OutboxChange] = []
        self.reports: list[Report] = []
        self.wrap_lines: list[Mapping[str, Any]] = []
        self.forecast_lines: list[Mapping[str, Any]] = []
        self.replies: list[Reply] = []
        self._asked: dict[str, int] = {}
        self._value: dict[str, float] = {}
        self._uncommitted: list[Effects] = []
        self._streams: tuple[list[Any], ...] = (
            self.transitions_seen,
            self.notices_seen,
            self.readings,
            self.outbox,
            self.reports,
        )
        self._kept = [0] * len(self._streams)
        self._open(self.start_s, [dict(entry) for entry in self.entries])

    # ---- start and restart ---------------------------------------------------------------------------------

    def _open(self, now_s: float, book: Sequence[Mapping[str, Any]]) -> None:
        """What the guard does when it starts."""
        self._store = Store.open(self.keep, now_s) if self.keep else None
        saved = self._store.load(0.0) if self._store else Saved()
        self.engine = Engine(self.settings, load_plans(None), self.watches)
        self.engine.load(saved, book)
        self.driver = Driver(self.engine, Almanac(self.settings))
        self.driver.almanac.done("report", saved.reports)
        last_s = saved.last_commit_at_s
        self.driver.almanac.start((now_s if last_s is None else last_s) + self.offset_s)
        self.handle(Started(now_s, last_s, orderly=self.orderly))
        self.passes(now_s)

    def restart(
        self,
        after_s: float = 2.0,
        settings: Settings | None = None,
        book: Sequence[Mapping[str, Any]] | None = None,
    ) -> None:
        """Commit, end, and start again some seconds later, perhaps with other settings or another book."""
        assert self._store is not None, "only a house with a state directory can start again"
        self.commit()
        self._store.close()
        self.settings = settings or self.settings
        self._open(self.now_s + after_s, self.engine.book.entries if book is None else book)

    def learned(self) -> Mapping[str, Mapping[str, Any]]:
        """What the engine has learnt, as it is kept in the state directory."""
        assert self._store is not None, "only a house with a state directory keeps what it learns"
        self.commit()
        return self._store.load(0.0).rows["learned"]

    def commit(self) -> None:
        """Keep what was handled so far."""
        if self._store is not None:
            self._store.commit(self._uncommitted, self.now_s)
        self._committed_at_s = self.now_s
        self._uncommitted.clear()
        self._kept = [len(stream) for stream in self._streams]

    def crash(self) -> None:
        """`kill -9` and a start at once: whatever was not committed never happened."""
        assert self._store is not None, "only a house with a state directory can start again"
        for stream, kept in zip(self._streams, self._kept, strict=True):
            del stream[kept:]
        self._uncommitted.clear()
        self._store.close()
        self._open(self._committed_at_s, self.engine.book.entries)

    def __del__(self) -> None:
        if getattr(self, "_store", None) is not None:
            self._store.close()

    def close(self) -> None:
        """Let the state directory go."""
        self.commit()
        if self._store is not None:
            self._store.close()

    # ---- time ----------------------------------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        """Guard time."""
        return self.engine.now_s

    @property
    def offset_s(self) -> float:
        """Wall time minus guard time."""
        return self.engine.scenes.speech.offset_s

    def at(self, text: str) -> float:
        """The next instant [guard time] at which people's clocks show this local time."""
        if "-" in text:
            return instant(text) - self.offset_s
        label = datetime.fromtimestamp(self.now_s + self.offset_s, ZONE)
        hour, minute, *second = (int(part) for part in text.split(":"))
        found = label.replace(hour=hour, minute=minute, second=second[0] if second else 0, microsecond=0)
        if found < label:
            found += timedelta(days=1)
        return found.timestamp() - self.offset_s

    def passes(self, until: str | float) -> None:
        """Time passes without a message."""
        until_s = self.at(until) if isinstance(until, str) else until
        for effects in self.driver.advance(until_s):
            self.take(effects)
        self.take(self.engine.handle(Tick(until_s)))

    def handle(self, event: Any) -> Effects:
        """One event, after everything that is due before it."""
        for effects in self.driver.before(event):
            self.take(effects)
        effects = self.engine.handle(event)
        self.take(effects)
        return effects

    def take(self, effects: Effects) -> None:
        """What one event changed; every notice counts as delivered where `delivers` says so."""
        self._uncommitted.append(effects)
        self.transitions_seen += effects.transitions
        self.notices_seen += effects.notices
        self.readings += effects.readings
        self.outbox += effects.outbox
        self.reports += effects.reports
        self.wrap_lines += effects.wraps
        self.forecast_lines += effects.forecasts
        self.replies += effects.replies
        if self.delivers:
            for notice in effects.notices:
                self.delivered(notice)

    def delivered(self, notice: Notice, ok: bool = True) -> None:
        """A notifier carried a notice, or could not."""
        detail = "" if ok else "no answer"
        self.take(
            self.engine.handle(
                Outcome(self.now_s, "delivery", ok, detail, notice=notice.notice, notifier=notice.notifier)
            )
        )

    # ---- what happens --------------------------------------------------------------------------------------

    def reading(
        self,
        value_c: float | None,
        at: str | float | None = None,
        by: str = "bench-a",
        *,
        observed: float | None = None,
        retain: bool = False,
        rh_pct: float | None = None,
    ) -> Effects:
        """One message; `observed` is a time of the sensor's own [guard time]."""
        at_s = self.now_s if at is None else self.at(at) if isinstance(at, str) else at
        body = {"t": value_c, "rh": rh_pct, "at": None if observed is None else observed + self.offset_s}
        payload = json.dumps({key: value for key, value in body.items() if value is not None}).encode()
        topic = self.settings.sensors[by].topic
        if value_c is not None and not retain:
            self._value[by] = value_c
        return self.handle(Message(at_s, topic, payload, retain=retain))

    def air(self, to_c: float | Mapping[str, float], by: str | float, every_s: float = 60.0) -> None:
        """All sensors report, each in a straight line from its last value to `to_c`; the last at `by`."""
        until_s = self.at(by) if isinstance(by, str) else by
        begin_s = self.now_s
        goals = dict(to_c) if isinstance(to_c, Mapping) else dict.fromkeys(self.settings.sensors, to_c)
        first = {name: self._value.get(name, goals.get(name, 6.0)) for name in self.settings.sensors}
        steps = max(1, round((until_s - begin_s) / every_s))
        for step in range(1, steps + 1):
            at_s = begin_s + (until_s - begin_s) * step / steps
            for name, before in first.items():
                goal = goals.get(name, before)
                self.reading(round(before + (goal - before) * step / steps, 3), at_s, name)

    def stays(self, until: str | float) -> None:
        """All sensors go on reporting what they did last."""
        self.air({}, until)

    def ack(self, *alarms: str, by: str = "ann") -> Reply:
        """Somebody says "I have seen it"."""
        return self._command("ack", {"alarms": list(alarms)}, by)

    def shelve(self, alarm: str, hours: float) -> Reply:
        """Somebody wants quiet."""
        return self._command("shelve", {"alarms": [alarm], "for_s": hours * 3600.0}, "ann")

    def _command(self, name: str, values: Mapping[str, Any], by: str) -> Reply:
        self.handle(Command(self.now_s, name, values, by, len(self.replies) + 1))
        return self.replies[-1]

    def entry(self, kind: str, **values: Any) -> None:
        """Somebody writes into the book."""
        label_s, settings = self.now_s + self.offset_s, self.settings
        given = {"kind": kind, **values}
        checked = check_entry(given, self.engine.book, settings.sensors, settings.houses, label_s)
        self.handle(Entry(self.now_s, checked))
        if self.entries_count_twice:
            self.handle(Entry(self.now_s, checked))

    def written(self, values: Mapping[str, Any]) -> None:
        """A checked entry comes as it is, whatever its time."""
        (entry,) = Book.fold([values]).entries
        self.handle(Entry(self.now_s, entry))

    def link(self, up: bool, at: str | None = None) -> None:
        """The connection to the broker comes or goes."""
        at_s = self.now_s if at is None else self.at(at)
        self.handle(Outcome(at_s, "broker", up, "" if up else "connection refused"))

    def clock_steps(self, by_s: float) -> None:
        """Somebody sets the clock of the computer."""
        self.handle(ClockStep(self.now_s, self.offset_s + by_s))

    # ---- what was said -------------------------------------------------------------------------------------

    def row(self, alarm: str = LARCH) -> AlarmRow | None:
        """An alarm as it stands; None where it is normal."""
        return self.engine.board.by_name(alarm)

    def state(self, alarm: str = LARCH) -> str:
        """The state of an alarm."""
        row = self.row(alarm)
        return "normal" if row is None else str(row.state)

    def notices(self, about: str = "frost", notifier: str | None = None) -> list[Notice]:
        """Notices of one family of causes since this was last asked for; `report` for reports."""
        key, found = f"{about}/{notifier}", self.said(about, notifier)
        begin, self._asked[key] = self._asked.get(key, 0), len(found)
        return found[begin:]

    def said(self, about: str = "frost", notifier: str | None = None) -> list[Notice]:
        """All notices of one family of causes so far."""
        return [
            notice
            for notice in self.notices_seen
            if notifier in (None, notice.notifier) and _family(notice) == about
        ]

    def kinds(self, about: str = "frost", notifier: str | None = None) -> list[str]:
        """The kinds of those notices."""
        return [str(notice.kind) for notice in self.notices(about, notifier)]

    def transitions(self, alarm: str = LARCH) -> list[Transition]:
        """Every transition of an alarm so far."""
        return [change for change in self.transitions_seen if change.alarm == alarm]

    def steps(self, alarm: str = LARCH) -> list[tuple[str, str]]:
        """Every transition of an alarm as (state, because)."""
        return [(str(change.to_state), change.because) for change in self.transitions(alarm)]

    def occurrences(self, alarm: str = LARCH) -> list[str]:
        """The occurrences of an alarm so far, each once."""
        return list(dict.fromkeys(change.occurrence for change in self.transitions(alarm)))


def _family(notice: Notice) -> str:
    if notice.kind is NoticeKind.REPORT:
        return "report"
    return notice.notice.split(".")[1]


def clock_time(at_s: float) -> str:
    """A guard instant as local time of day."""
    return datetime.fromtimestamp(at_s, ZONE).strftime("%H:%M:%S")
