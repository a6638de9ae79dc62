"""Looks things up for the page, the report and `export`: read-only, page by page, never in the writer's way.

Each page of rows is a statement of its own, so that a slow reader holds no snapshot and the write-ahead log
can be cut behind it. It gives values back as they were saved; `store/lines.py` makes lines of them.
"""

import json
import sqlite3
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self

import numpy as np

from monitor.model import HourRow, Notice, Quantity, Reading, Report, Transition
from monitor.store import lines, packs, rows
from monitor.store.database import NAME, open_reader
from monitor.store.trouble import store_error

_PAGE_ROWS = 5000
EXPORTS = ("readings", "alarms", "notices", "forecasts", "wraps", "stages")
"""What `export_lines` can give; file names of design 3.5 without their ending."""


class SentNotice(NamedTuple):
    """A notice and how it stands: `pending`, `sent`, `failed` or `withdrawn`."""

    notice: Notice
    status: str
    attempts: int
    last_error: str


class Reader:
    """Read-only access to a state directory's database, beside a running daemon or without one.

    Spans are from `from_s` to before `to_s` [s since 1970]. Every method may raise StoreError.
    """

    def __init__(self, directory: Path) -> None:
        self._path = directory / NAME
        self._db = open_reader(self._path)

    def readings(
        self, from_s: float = 0.0, to_s: float = rows.EVER_S, sensor: str | None = None
    ) -> Iterator[Reading]:
        """Readings in order of time, then of when the sensor was first seen, then of quantity."""
        names = self._sensors()
        for block in self._blocks(from_s, to_s, sensor):
            order = np.lexsort((block["quantity"], block["sensor"], block["at_ms"]))
            for row in block[order].tolist():
                yield rows.reading_of(row, names)

    def series(self, sensor: str, quantity: Quantity, from_s: float, to_s: float) -> tuple[Any, Any, Any]:
        """Arrays of one sensor: observed_at_s (float64), value (float64), flag (uint8), ascending."""
        number = rows.QUANTITY_IDS[quantity]
        blocks = [block[block["quantity"] == number] for block in self._blocks(from_s, to_s, sensor)]
        found = np.concatenate([packs.empty(), *blocks])
        return found["at_ms"] / 1000.0, found["value"].copy(), found["flag"].copy()

    def series_of_all(
        self, quantity: Quantity, from_s: float, to_s: float
    ) -> dict[str, tuple[Any, Any, Any]]:
        """The same for every sensor that sent something; each hour is unpacked once."""
        number, names = rows.QUANTITY_IDS[quantity], self._sensors()
        blocks = [block[block["quantity"] == number] for block in self._blocks(from_s, to_s, None)]
        found = np.concatenate([packs.empty(), *blocks])
        parts = {names[each]: found[found["sensor"] == each] for each in np.unique(found["sensor"]).tolist()}
        return {
            name: (part["at_ms"] / 1000.0, part["value"].copy(), part["flag"].copy())
            for name, part in parts.items()
        }

    def _blocks(self, from_s: float, to_s: float, sensor: str | None) -> Iterator[packs.Block]:
        """The readings hour by hour, each hour as it stands at one instant."""
        from_ms, to_ms = rows.to_ms(from_s), rows.to_ms(to_s)
        wanted = [number for number, name in self._sensors().items() if name == sensor]
        try:
            for hour in packs.hours_between(self._db, from_ms, to_ms):
                self._db.execute("BEGIN")
                block = packs.read_hour(self._db, hour)
                self._db.execute("COMMIT")
                inside = (block["at_ms"] >= from_ms) & (block["at_ms"] < to_ms)
                yield (
                    block[inside & np.isin(block["sensor"], wanted)] if sensor is not None else block[inside]
                )
        except sqlite3.Error as error:
            raise store_error(self._path, error) from error

    def hours(
        self, from_s: float = 0.0, to_s: float = rows.EVER_S, sensor: str | None = None
    ) -> Iterator[HourRow]:
        """Hourly rows in order of time, then sensor."""
        sensors = self._sensors()
        query = (
            f"SELECT {rows.HOUR_COLUMNS} FROM hours WHERE (hour_at_ms, sensor) > (?, ?) AND hour_at_ms < ? "
            f"ORDER BY hour_at_ms, sensor LIMIT {_PAGE_ROWS}"
        )
        after: tuple[int, int] = (rows.to_ms(from_s), -1)
        while page := self._all(query, (*after, rows.to_ms(to_s))):
            for row in page:
                if sensor is None or sensors[row[1]] == sensor:
                    yield rows.hour_of(row, sensors)
            after = page[-1][:2]

    def transitions(self, from_s: float = 0.0, to_s: float = rows.EVER_S) -> Iterator[Transition]:
        """Alarm transitions in the order in which they came."""
        for row in self._by_id("transitions", rows.TRANSITION_COLUMNS, from_s, to_s):
            yield rows.transition_of(row)

    def notices(self, from_s: float = 0.0, to_s: float = rows.EVER_S) -> Iterator[SentNotice]:
        """Notices in the order in which they were made, each for one notifier, with how it stands."""
        columns = f"status, attempts, last_error, {rows.NOTICE_COLUMNS}"
        for row in self._by_id("notices", columns, from_s, to_s):
            yield SentNotice(rows.notice_of(row[3:]), *row[:3])

    def stream(
        self, name: str, from_s: float = 0.0, to_s: float = rows.EVER_S
    ) -> Iterator[Mapping[str, Any]]:
        """`forecasts`, `wraps` or `stages` as they were saved, in order."""
        for row in self._by_id("streams", "value", from_s, to_s, "AND stream = ?", (name,)):
            yield json.loads(row[0])

    def report(self, date: str | None = None) -> Report | None:
        """The report of a local date as it was sent, or the newest; None when there is none."""
        query = (
            "SELECT at_ms, date, subject, text, html, coalesce(calendar, ''), coalesce(pictures, '') "
            "FROM reports LEFT JOIN enclosures ON notice = 'report.' || date WHERE ? IS NULL OR date = ? "
        )
        found = self._all(query + "ORDER BY date DESC LIMIT 1", (date, date))
        return Report(found[0][0] / 1000, *found[0][1:]) if found else None

    def report_dates(self) -> tuple[str, ...]:
        """The local dates of all reports, oldest first."""
        return tuple(row[0] for row in self._all("SELECT date FROM reports ORDER BY date", ()))

    def export_lines(
        self, what: str, from_s: float = 0.0, to_s: float = rows.EVER_S, label_offset_s: float = 0.0
    ) -> Iterator[dict[str, Any]]:
        """One of EXPORTS as the lines that a replay writes, between two labels.

        Only readings are kept in guard time, so only they need `label_offset_s`.
        """
        if what == "readings":
            found = self.readings(from_s - label_offset_s, to_s - label_offset_s)
            return (lines.reading_line(value, label_offset_s) for value in found)
        if what == "alarms":
            return (lines.transition_line(value) for value in self.transitions(from_s, to_s))
        if what == "notices":
            return (lines.notice_line(value.notice) for value in self.notices(from_s, to_s))
        line = {"forecasts": lines.forecast_line, "wraps": lines.wrap_line, "stages": lines.stage_line}[what]
        return (line(value) for value in self.stream(what, from_s, to_s))

    def label_offset_s(self) -> float:
        """How far people's clock stood ahead of guard time at the last commit [s]."""
        found = self._all("SELECT value FROM memory WHERE room = 'site' AND key = 'engine'", ())
        return float(json.loads(found[0][0]).get("offset_s", 0.0)) if found else 0.0

    def _by_id(
        self,
        table: str,
        columns: str,
        from_s: float,
        to_s: float,
        more: str = "",
        values: tuple[Any, ...] = (),
    ) -> Iterator[tuple[Any, ...]]:
        query = (
            f"SELECT id, {columns} FROM {table} WHERE id > ? AND at_ms >= ? AND at_ms < ? {more} "
            f"ORDER BY id LIMIT {_PAGE_ROWS}"
        )
        after = -1
        while page := self._all(query, (after, rows.to_ms(from_s), rows.to_ms(to_s), *values)):
            for row in page:
                yield row[1:]
            after = page[-1][0]

    def _sensors(self) -> dict[int, str]:
        return dict(self._all("SELECT id, name FROM sensors", ()))

    def _all(self, query: str, values: tuple[Any, ...]) -> list[Any]:
        try:
            return self._db.execute(query, values).fetchall()
        except sqlite3.Error as error:
            raise store_error(self._path, error) from error

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
