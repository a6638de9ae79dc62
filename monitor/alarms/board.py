"""The board: every alarm that is not at rest in `normal`, and the changed rows since the last look."""

from collections.abc import Iterator, Mapping
from typing import Any

from monitor.alarms import lifecycle
from monitor.alarms.lifecycle import AlarmRow, Change, Delays
from monitor.model import AlarmState, Assessment, Row


class Board:
    """Holds the rows and steps them; a row that is normal and waits for nothing is forgotten."""

    def __init__(self) -> None:
        self._rows: dict[str, AlarmRow] = {}
        self._changed: set[str] = set()

    def load(self, rows: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over the rows that were saved."""
        self._rows = {alarm: AlarmRow.from_json(dict(value)) for alarm, value in rows.items()}

    def get(self, kind: str, subject: str) -> AlarmRow:
        """The row of one alarm; a fresh one where nothing is known."""
        return self._rows.get(f"{kind}/{subject}") or AlarmRow(kind, subject)

    def by_name(self, alarm: str) -> AlarmRow | None:
        """The row with that name, if it is held."""
        return self._rows.get(alarm)

    def __iter__(self) -> Iterator[AlarmRow]:
        """Rows in the order they came up, the same before and after a restart."""
        return iter(sorted(self._rows.values(), key=_came_up))

    def standing(self) -> tuple[AlarmRow, ...]:
        """Rows that a person should see: anything but normal."""
        return tuple(row for row in self if row.state is not AlarmState.NORMAL)

    def assess(self, found: Assessment, delays: Delays) -> tuple[AlarmRow, Change | None]:
        """One step of one alarm: its row afterwards, also where the board forgets it, and what changed."""
        row = self.get(found.kind, found.subject)
        after, change = lifecycle.step(row, found, delays)
        self.put(row, after)
        return after, change

    def put(self, before: AlarmRow, after: AlarmRow) -> None:
        """Keep a row; one that is normal and waits for nothing is dropped."""
        if after is before or after == before:
            return
        self._changed.add(after.alarm)
        if after.state is AlarmState.NORMAL and not after.active and not after.waits:
            self._rows.pop(after.alarm, None)
        else:
            self._rows[after.alarm] = after

    def mark(self, row: AlarmRow) -> None:
        """A row that knows its last change in place of the same row without; only where it is held."""
        if row.alarm in self._rows:
            self._changed.add(row.alarm)
            self._rows[row.alarm] = row

    def rows(self) -> tuple[Row, ...]:
        """Every row there is."""
        return tuple(Row("alarm", alarm, row.as_json()) for alarm, row in sorted(self._rows.items()))

    def take_changed(self) -> tuple[Row, ...]:
        """Rows changed since the last call, for the store."""
        if not self._changed:
            return ()
        rows = tuple(
            Row("alarm", alarm, self._rows[alarm].as_json() if alarm in self._rows else None)
            for alarm in sorted(self._changed)
        )
        self._changed.clear()
        return rows


def _came_up(row: AlarmRow) -> tuple[float, str]:
    return (float("inf") if row.since_at_s is None else row.since_at_s, row.alarm)
