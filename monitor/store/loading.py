"""Reads back at start what the guard must know, in bulk; it changes nothing."""

import json
import sqlite3
from collections.abc import Mapping
from typing import Any

import numpy as np

from monitor.model import Quantity, Saved, Use
from monitor.store import rows

_READING = np.dtype([("at_ms", "i8"), ("series", "i4"), ("value", "f8"), ("flag", "u1")])
_SERIES_STEP = 8
"""Room for quantities below one sensor in a series number."""


def load(db: sqlite3.Connection, history_from_s: float) -> Saved:
    """All that the engine starts from; readings from `history_from_s` on [s since 1970]."""
    sensors = sensor_names(db)
    return Saved(
        rows=_memory(db),
        readings=_readings(db, history_from_s, sensors),
        hours=tuple(
            rows.hour_of(row, sensors)
            for row in db.execute(f"SELECT {rows.HOUR_COLUMNS} FROM hours ORDER BY hour_at_ms, sensor")
        ),
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


def _memory(db: sqlite3.Connection) -> dict[str, dict[str, Mapping[str, Any]]]:
    memory: dict[str, dict[str, Mapping[str, Any]]] = {}
    for room, key, value in db.execute("SELECT room, key, value FROM memory ORDER BY room, key"):
        memory.setdefault(room, {})[key] = json.loads(value)
    return memory


def _outbox(db: sqlite3.Connection) -> tuple[Any, ...]:
    query = f"SELECT attempts, {rows.NOTICE_COLUMNS} FROM notices WHERE status = 'pending' ORDER BY id"
    return tuple((rows.notice_of(row[1:]), row[0]) for row in db.execute(query))


def _readings(
    db: sqlite3.Connection, from_s: float, sensors: Mapping[int, str]
) -> dict[tuple[str, Quantity], tuple[Any, Any, Any]]:
    """Arrays a (sensor, quantity); readings that may only be shown are no history."""
    found = np.fromiter(
        db.execute(
            f"SELECT observed_at_ms, sensor * {_SERIES_STEP} + quantity, value, flag FROM readings "
            "WHERE observed_at_ms >= ? AND use < ? ORDER BY observed_at_ms",
            (rows.to_ms(from_s), int(Use.SHOWN)),
        ),
        dtype=_READING,
    )
    order = np.argsort(found["series"], kind="stable")
    found = found[order]
    numbers, starts = np.unique(found["series"], return_index=True)
    ends = np.append(starts[1:], len(found))
    series = {}
    for number, start, end in zip(numbers.tolist(), starts.tolist(), ends.tolist(), strict=True):
        part = found[start:end]
        sensor, quantity = divmod(number, _SERIES_STEP)
        series[sensors[sensor], rows.QUANTITIES[quantity]] = (
            part["at_ms"] / 1000.0,
            part["value"].copy(),
            part["flag"].copy(),
        )
    return series


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
