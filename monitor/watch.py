"""A watch looks at slow things: tonight's frost, the heater, wraps, sensors that disagree. One seam for all.

Every five minutes of guard time, and at the end of every hour, the engine asks each watch what it finds; the
board and the desk do the rest. A watch gets the `Ground` it stands on once, keeps its learnt state as named
rows, and never asks for the time.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol

from monitor.alarms.board import Board
from monitor.conditions import HourlyRows, Surroundings
from monitor.guarding import Guarding
from monitor.history import History
from monitor.model import Assessment, HourRow, Row
from monitor.notices.words import Reason, Speech
from monitor.service_lows import ServiceLows
from monitor.settings import Settings
from monitor.silence import Silence
from monitor.trees.book import Book
from monitor.trees.plans import Plans

LOOKS_EVERY_S = 300.0


@dataclass(frozen=True, slots=True)
class Ground:
    """What a watch may look at; `book` and `speech` give what holds now."""

    settings: Settings
    plans: Plans
    history: History
    surroundings: Surroundings
    guarding: Guarding
    silence: Silence
    board: Board
    book: Callable[[], Book]
    speech: Callable[[], Speech]
    hours: HourlyRows = field(default_factory=HourlyRows)
    """Hourly rows, as far back as the oldest work or wrap; an hour that has just ended is in it."""
    service_lows: ServiceLows = field(default_factory=lambda: ServiceLows({}))
    """What a weather service says of the coming night."""

    def deadband(self, kind: str, usual: float) -> float:
        """By how much a number must have come back for a kind of alarm to be over."""
        own = self.settings.alarms.get(kind)
        return usual if own is None or own.deadband is None else own.deadband

    def label_s(self, at_s: float) -> float:
        """The wall time of a guard instant."""
        return round(at_s + self.speech().offset_s, 3)


class Found(NamedTuple):
    """Lines of streams and changed rows (table `learned`) since they were last taken."""

    forecasts: tuple[Mapping[str, Any], ...] = ()
    wraps: tuple[Mapping[str, Any], ...] = ()
    rows: tuple[Row, ...] = ()


NOTHING_FOUND = Found()


class Watch(Protocol):
    """One watch."""

    KINDS: frozenset[str]
    """Alarm kinds that it finds, and gives reasons for."""

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over its rows; keys that are not its own are left alone."""
        ...

    def look(self, now_s: float) -> Iterable[Assessment]:
        """What it finds now, every five minutes; hold times and deadband are its own business."""
        ...

    def hour(self, now_s: float, hours: Sequence[HourRow]) -> Iterable[Assessment]:
        """An hour has ended; `hours` are its rows (several hours after an outage)."""
        ...

    def changed(self, now_s: float) -> Iterable[Assessment]:
        """The book has changed."""
        ...

    def reason(self, kind: str, subject: str) -> Reason:
        """Cause, consequence and action of one of its alarms now."""
        ...

    def take(self) -> Found:
        """What is to be kept, since the last call."""
        ...

    def rows(self) -> tuple[Row, ...]:
        """Every learnt row there is, for a store that has begun anew."""
        ...

    def facts(self) -> Mapping[str, Any]:
        """Plain values for snapshot and report, under keys of its own."""
        ...
