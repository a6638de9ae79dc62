"""The book as the guard counts it: people's times become guard time, and nothing in it lies ahead.

People date entries by their clocks; the guard measures everything that lasts in its own time. Once the clock
was set, the two differ: a work dated by people's clocks would lie ahead, and its tree would stand without
limits. What is in the book has happened: it counts from when it was handed in at the latest.
"""

from collections.abc import Mapping
from math import floor
from typing import Any

from monitor.clock import parse_rfc3339, rfc3339
from monitor.trees.book import Book

Values = Mapping[str, Any]

DATED = ("at", "until", "entered_at")
HAPPENED = ("at", "entered_at")


class ToldBook:
    """One book twice: `labels` as people wrote it, `book` in guard time; one where nothing differs."""

    def __init__(self, labels: Book) -> None:
        self.labels = labels
        self.book = labels
        self._offset_s = 0.0
        self._handed_in_s: dict[str, float] = {}
        """Entries that lay ahead when they were handed in, and when that was [guard time]."""
        self._is_one = True

    def load(self, labels: Book, offset_s: float, handed_in_s: Mapping[str, float]) -> None:
        """Take over the book of the files; `offset_s` is wall time minus guard time."""
        self.labels, self._offset_s, self._handed_in_s = labels, offset_s, dict(handed_in_s)
        self._fold()

    def as_json(self) -> dict[str, float]:
        """Plain values for a row: what lay ahead."""
        return dict(self._handed_in_s)

    def settle(self, now_s: float) -> bool:
        """Whether an entry lies ahead of now, and counts from now on; for a start."""
        found = False
        for values in self.labels.entries:
            found |= self._lies_ahead(values, now_s)
        if found:
            self._fold()
        return found

    def add(self, values: Values, now_s: float) -> bool:
        """One checked entry more, handed in now; whether it was dated ahead."""
        if values["id"] in self.labels.by_id:
            return False
        ahead = self._lies_ahead(values, now_s)
        self.labels = self.labels.with_entry(values)
        if self._is_one and not ahead:
            self.book = self.labels
        elif self._is_one:
            self._fold()
        else:
            self.book = self.book.with_entry(self._in_guard_time(values))
        return ahead

    def clock_set(self, offset_s: float, now_s: float) -> None:
        """People's clock was set: their times lie elsewhere in guard time from now on."""
        self._offset_s = offset_s
        for values in self.labels.entries:
            self._lies_ahead(values, now_s)
        self._fold()

    def _lies_ahead(self, values: Values, now_s: float) -> bool:
        if values["id"] in self._handed_in_s or parse_rfc3339(values["at"]) - self._offset_s <= now_s:
            return False
        self._handed_in_s[values["id"]] = floor(now_s * 1000.0) / 1000.0
        return True

    def _fold(self) -> None:
        self._is_one = self._offset_s == 0.0 and not self._handed_in_s
        if self._is_one:
            self.book = self.labels
            return
        entries = [self._in_guard_time(values) for values in self.labels.entries]
        self.book = Book.fold(entries, self.labels.house_of)

    def _in_guard_time(self, values: Values) -> Values:
        """The entry with its times in guard time; what happened did so before it was handed in."""
        latest_s = self._handed_in_s.get(values["id"], float("inf"))
        shifted = dict(values)
        for key in DATED:
            if key in values:
                at_s = parse_rfc3339(values[key]) - self._offset_s
                shifted[key] = rfc3339(min(at_s, latest_s) if key in HAPPENED else at_s)
        if "until" in values and parse_rfc3339(values["until"]) <= parse_rfc3339(values["at"]):
            shifted["until"] = shifted["at"]
        return shifted
