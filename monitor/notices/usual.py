"""The usual does not ring: what came up in each of the last nights, no worse, is a line of the report.

Only alarms of a tree's air at medium are ever usual: one that became urgent in a night has not been harmless
in it, and what foretells (frost tonight, too much sun) asks for something that must be done each time.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta, tzinfo
from typing import Any

from monitor.alarms.lifecycle import AlarmRow
from monitor.clock import local
from monitor.model import Priority, Row, Transition

KINDS = frozenset({"low-temperature", "high-temperature", "dry-air"})
OF_THE_NIGHT = frozenset({"low-temperature"})
NIGHTS = 3
"""In so many nights on end before this one; judgement."""
KEPT_DAYS = 14
HALF_A_DAY_S = 43_200.0
ROW = "usual"


@dataclass(frozen=True, slots=True)
class Kept:
    """Of one alarm: the nights in which it came up and stayed medium; the last that rang nobody."""

    nights: tuple[str, ...] = ()
    unrung: str = ""


class Usual:
    """What came up in which nights."""

    def __init__(self, zone: tzinfo) -> None:
        self._zone = zone
        self._kept: dict[str, Kept] = {}
        self._changed = False

    def load(self, row: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over the row that was saved."""
        self._kept = {alarm: Kept(tuple(each["nights"]), each["unrung"]) for alarm, each in row.items()}

    def note(self, change: Transition) -> None:
        """An alarm came up, or became more urgent."""
        if change.kind not in KINDS:
            return
        night, kept = self._night(change.kind, change.at_s), self._kept.get(change.alarm, Kept())
        earliest = (night - timedelta(days=KEPT_DAYS)).isoformat()
        nights = {each for each in kept.nights if each >= earliest} | {night.isoformat()}
        if change.priority is Priority.HIGH:
            nights.discard(night.isoformat())
        self._put(change.alarm, replace(kept, nights=tuple(sorted(nights))))

    def are_usual(self, rows: Sequence[AlarmRow], label_s: float) -> bool:
        """Whether all of these have just come up as in each of the last nights."""
        return bool(rows) and all(self._is_usual(row, label_s) for row in rows)

    def _is_usual(self, row: AlarmRow, label_s: float) -> bool:
        if row.kind not in KINDS or row.priority is Priority.HIGH or row.seq != 1:
            return False
        tonight = self._night(row.kind, label_s)
        before = {(tonight - timedelta(days=back)).isoformat() for back in range(1, NIGHTS + 1)}
        return before <= set(self._kept.get(row.alarm, Kept()).nights)

    def leave_unrung(self, rows: Sequence[AlarmRow]) -> None:
        """These were told to nobody; the report says so."""
        for row in rows:
            self._put(row.alarm, replace(self._kept.get(row.alarm, Kept()), unrung=row.occurrence))

    def was_unrung(self, row: AlarmRow) -> bool:
        """Whether an occurrence was told to nobody since it was the usual."""
        return (
            row.priority is not Priority.HIGH and self._kept.get(row.alarm, Kept()).unrung == row.occurrence
        )

    def _night(self, kind: str, label_s: float) -> date:
        """The local date; of what comes by night the date on which the night began."""
        return local(label_s - (HALF_A_DAY_S if kind in OF_THE_NIGHT else 0.0), self._zone).date()

    def _put(self, alarm: str, kept: Kept) -> None:
        if self._kept.get(alarm) != kept:
            self._kept[alarm] = kept
            self._changed = True

    def rows(self) -> tuple[Row, ...]:
        """The one row there is."""
        kept = {
            alarm: {"nights": list(each.nights), "unrung": each.unrung} for alarm, each in self._kept.items()
        }
        return (Row("episode", ROW, kept),) if kept else ()

    def take_changed(self) -> tuple[Row, ...]:
        """The row, if it changed since the last call."""
        changed, self._changed = self._changed, False
        return self.rows() if changed else ()
