"""Reads back at start what the guard must know, in bulk; it changes nothing."""

import contextlib
import json
import sqlite3
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from monitor.model import HourRow, Quantity, Saved, Use
from monitor.store import packs, rows

_SERIES_STEP = 8
"""Room for quantities below one sensor in a series number."""


def load(db: sqlite3.Connection, history_from_s: float, hours_from_s: float = 0.0) -> Saved:
    """All that the engine starts from: readings, and hourly rows, from those instants on [s since 1970]."""
    sensors = sensor_names(db)
    return Saved(
        rows=_memory(db),
        readings=_readings(db, history_from_s, sensors),
        hours=_hours(db, hours_from_s, sensors),
        outbox=_outbox(db),
        reports=tuple(row[0] for row in db.execute("SELECT date FROM reports ORDER BY date")),
        digests=tuple(
            (topic, bytes(digest))
            for topic, digest in db.execute("SELECT topic, digest FROM digests ORDER BY id")
        ),
        last_commit_at_s=meta(db, "last_commit_at_s"),
        occurrences=occurrences(db, history_from_s),
    )


def sensor_names(db: sqlite3.Connection) -> dict[int, str]:
    """Every sensor that ever reported, by its number here."""
    return dict(db.execute("SELECT id, name FROM sensors").fetchall())


def meta(db: sqlite3.Connection, key: str) -> float | None:
    """One figure about the database as a whole."""
    row = db.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
    return None if row is None else float(row[0])


def _hours(db: sqlite3.Connection, from_s: float, sensors: Mapping[int, str]) -> tuple[HourRow, ...]:
    query = f"SELECT {rows.HOUR_COLUMNS} FROM hours WHERE hour_at_ms >= ? ORDER BY hour_at_ms, sensor"
    return tuple(rows.hour_of(row, sensors) for row in db.execute(query, (rows.to_ms(from_s),)))


def _memory(db: sqlite3.Connection) -> dict[str, dict[str, Mapping[str, Any]]]:
    memory: dict[str, dict[str, Mapping[str, Any]]] = {}
    for room, key, value in db.execute("SELECT room, key, value FROM memory ORDER BY room, key"):
        # One row that rotted must not keep the guard from starting: what it stood for comes up anew.
        with contextlib.suppress(ValueError):
            memory.setdefault(room, {})[key] = json.loads(value)
    return memory


def _outbox(db: sqlite3.Connection) -> tuple[Any, ...]:
    query = (
        f"SELECT coalesce(calendar, ''), coalesce(pictures, ''), attempts, {rows.NOTICE_COLUMNS} "
        "FROM notices LEFT JOIN enclosures USING (notice) WHERE status = 'pending' ORDER BY id"
    )
    return tuple(
        (replace(rows.notice_of(row[3:]), calendar=row[0], pictures=row[1]), row[2])
        for row in db.execute(query)
    )


def _readings(
    db: sqlite3.Connection, from_s: float, sensors: Mapping[int, str]
) -> dict[tuple[str, Quantity], tuple[Any, Any, Any]]:
    """Arrays a (sensor, quantity); readings that may only be shown are no history."""
    at_ms, series, value, flag = _columns(db, rows.to_ms(from_s))
    if not len(series):
        return {}
    # Hours come in order and each is in order within a series: a stable sort by series is all it takes.
    order = np.argsort(series, kind="stable")
    numbers, starts = np.unique(series[order], return_index=True)
    found = {}
    for number, part in zip(numbers.tolist(), np.split(order, starts[1:]), strict=True):
        sensor, quantity = divmod(number, _SERIES_STEP)
        if sensor in sensors:
            key = (sensors[sensor], rows.QUANTITIES[quantity])
            found[key] = (at_ms[part] / 1000.0, value[part], flag[part])
    return found


def _columns(db: sqlite3.Connection, from_ms: int) -> tuple[Any, Any, Any, Any]:
    """Instant, series number, value and flag of every reading that counts, hour after hour."""
    parts: list[tuple[Any, Any, Any, Any]] = [
        (np.empty(0, "i8"), np.empty(0, "i4"), np.empty(0, "f8"), np.empty(0, "u1"))
    ]
    for hour in packs.hours_between(db, from_ms, rows.to_ms(rows.EVER_S)):
        block = packs.read_hour(db, hour)
        block = block[(block["at_ms"] >= from_ms) & (block["use"] < Use.SHOWN)]
        series = block["sensor"] * _SERIES_STEP + block["quantity"]
        parts.append((block["at_ms"], series, block["value"], block["flag"]))
    at_ms, series, value, flag = (np.concatenate(column) for column in zip(*parts, strict=True))
    return at_ms, series, value, flag


def occurrences(db: sqlite3.Connection, from_s: float) -> tuple[Mapping[str, Any], ...]:
    """Every occurrence with a transition since then, in order of its first, and how it stands."""
    query = (
        f"SELECT {rows.TRANSITION_COLUMNS} FROM transitions WHERE occurrence IN "
        "(SELECT occurrence FROM transitions WHERE at_ms >= ?) ORDER BY id"
    )
    found: dict[str, dict[str, Any]] = {}
    for row in db.execute(query, (rows.to_ms(from_s),)):
        transition = rows.transition_of(row)
        known = found.setdefault(
            transition.occurrence,
            {
                "alarm": transition.alarm,
                "kind": transition.kind,
                "subject": transition.subject,
                "occurrence": transition.occurrence,
                "from_at_s": transition.at_s,
                "priority": str(transition.priority),
            },
        )
        known.update(last_at_s=transition.at_s, state=str(transition.to_state), seq=transition.seq)
        if transition.priority == "high":
            known["priority"] = "high"
    return tuple(found.values())
