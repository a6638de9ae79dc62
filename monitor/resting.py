"""Sensors that a person took out of service: until they are back their values are shown, and do nothing.

A sensor that lies in melting ice or in a warm hand says nothing about the bench. The `rest` entries of the
book are the truth; the rows of the sensor's alarms keep until when, in guard time, so that no start and no
set clock ends a rest. While a tree depends on a sensor it rests for a day at most, whatever the book says.
"""

from collections.abc import Mapping, MutableSet
from typing import Any

from monitor.alarms import lifecycle
from monitor.alarms.board import Board
from monitor.model import AlarmState
from monitor.occurrences import Occurrences
from monitor.silence import Silence
from monitor.timers import Timers
from monitor.trees.book import Book, Rest
from monitor.trees.rules import LONGEST_REST_S

OF_SENSORS = ("sensor-silent", "sensor-doubtful", "battery-low")
"""Alarms about a sensor itself; the first of them stands for the rest in the list of alarms."""
MOVES_TREES = frozenset({"tree", "move"})


class Resting:
    """Which sensors are at rest, and until when."""

    def __init__(
        self, sensors: MutableSet[str], occurrences: Occurrences, silence: Silence, timers: Timers
    ) -> None:
        """`sensors` is the set of those at rest, shared with whoever must not listen to them."""
        self.sensors = sensors
        self._occurrences = occurrences
        self._silence = silence
        self._timers = timers
        self._followed: dict[str, str] = {}
        """The rest entry that was followed last, a sensor: each is followed once."""

    def load(self, board: Board, kept: Mapping[str, str], known: Mapping[str, Any]) -> None:
        """Take over what was known before a restart; `known` are the configured sensors."""
        self._followed = dict(kept)
        for row in board:
            if row.kind == OF_SENSORS[0] and row.state is AlarmState.OUT_OF_SERVICE and row.subject in known:
                self.sensors.add(row.subject)
                self._timers.set(f"rest:{row.subject}", row.shelved_until_s)

    def as_json(self) -> dict[str, str]:
        """Plain values for a row."""
        return dict(self._followed)

    def until_s(self, sensor: str) -> float | None:
        """Until when a sensor rests [guard time]; None for one in service."""
        row = self._occurrences.board.by_name(f"{OF_SENSORS[0]}/{sensor}")
        return row.shelved_until_s if row is not None and sensor in self.sensors else None

    def follow(self, book: Book, sensors: Mapping[str, Any], now_s: float) -> None:
        """Rests of the book (in guard time) that were not followed yet."""
        for sensor in sensors:
            rest = book.rests.get(sensor)
            entry = rest.entry if rest is not None else ""
            if self._followed.get(sensor, "") == entry:
                continue
            until_s = now_s if rest is None else min(rest.until_s, _longest_s(book, rest))
            if rest is not None and until_s > now_s and rest.until_s > rest.at_s:
                self._put_to_rest(sensor, now_s, until_s, rest.by)
            elif sensor in self.sensors:
                self.wake(sensor, now_s)
            self._followed[sensor] = entry

    def shorten(self, book: Book, now_s: float) -> None:
        """A tree was brought to a sensor at rest: from now on a day is the longest."""
        for sensor in sorted(self.sensors):
            row = self._occurrences.board.get(OF_SENSORS[0], sensor)
            latest_s = now_s + LONGEST_REST_S if _depend(book, sensor) else float("inf")
            if row.shelved_until_s is not None and latest_s < row.shelved_until_s:
                self._put_to_rest(sensor, now_s, latest_s, row.shelved_by)

    def _put_to_rest(self, sensor: str, now_s: float, until_s: float, by: str) -> None:
        self.sensors.add(sensor)
        self._silence.left(sensor)
        for kind in OF_SENSORS:
            row = self._occurrences.board.get(kind, sensor)
            if kind == OF_SENSORS[0] or row.state is not AlarmState.NORMAL:
                self._occurrences.step(row, now_s, lambda held: lifecycle.rest(held, now_s, until_s, by))
        self._timers.set(f"rest:{sensor}", until_s)

    def wake(self, sensor: str, now_s: float) -> None:
        """Back in service: it has its usual time to be heard again."""
        self.sensors.discard(sensor)
        self._timers.set(f"rest:{sensor}", None)
        for kind in OF_SENSORS:
            name = f"{kind}/{sensor}"
            row = self._occurrences.board.by_name(name)
            if row is not None and row.state is AlarmState.OUT_OF_SERVICE:
                self._occurrences.change(name, now_s, lambda held: lifecycle.leave_rest(held, "rest-ended"))
        self._silence.back(sensor, now_s)


def _depend(book: Book, sensor: str) -> bool:
    """Whether any tree depends on a sensor."""
    return any(sensor in (tree.sensor, tree.pot_sensor) for tree in book.standing.values())


def _longest_s(book: Book, rest: Rest) -> float:
    """The latest instant at which a rest may end [guard time]."""
    return rest.at_s + LONGEST_REST_S if _depend(book, rest.sensor) else float("inf")
