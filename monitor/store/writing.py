"""Puts effects into the database's tables, inside a transaction that somebody else began.

Everything here may be done twice: rows that are there already stay as they are.
"""

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from monitor.model import Effects, HourRow, OutboxChange, Reading, Row
from monitor.store import packs, rows
from monitor.store.lines import instant_s

DIGESTS_KEPT = 1000
CALENDARS_KEPT = 10
"""Of reports: whoever has not had one by then has had a newer one."""
_TRIED = ("pending", "sent", "failed")


def write(
    db: sqlite3.Connection,
    effects: Sequence[Effects],
    sensor_ids: dict[str, int],
) -> int:
    """Every stream of the effects; returns how many readings were new. `sensor_ids` learns new sensors."""
    readings = [reading for effect in effects for reading in effect.readings]
    hours = [hour for effect in effects for hour in effect.hours]
    _know_sensors(db, readings, hours, sensor_ids)
    added = _insert_readings(db, readings, sensor_ids)
    if hours:
        marks = ", ".join("?" * 13)
        db.executemany(
            f"INSERT OR REPLACE INTO hours ({rows.HOUR_COLUMNS}) VALUES ({marks})",
            [rows.hour_row(hour, sensor_ids) for hour in hours],
        )
    for effect in effects:
        _write_rare(db, effect)
    return added


def _know_sensors(
    db: sqlite3.Connection, readings: Iterable[Reading], hours: Iterable[HourRow], ids: dict[str, int]
) -> None:
    names = {reading.sensor for reading in readings} | {hour.sensor for hour in hours}
    for name in sorted(names - ids.keys()):
        db.execute("INSERT OR IGNORE INTO sensors (name) VALUES (?)", (name,))
        ids[name] = db.execute("SELECT id FROM sensors WHERE name = ?", (name,)).fetchone()[0]


def _insert_readings(db: sqlite3.Connection, readings: Sequence[Reading], ids: Mapping[str, int]) -> int:
    if not readings:
        return 0
    cursor = db.executemany(
        f"INSERT OR IGNORE INTO readings ({rows.READING_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)",
        [rows.reading_row(reading, ids) for reading in readings],
    )
    return cursor.rowcount


def _write_rare(db: sqlite3.Connection, effect: Effects) -> None:
    for transition in effect.transitions:
        _insert(db, "transitions", rows.TRANSITION_COLUMNS, rows.transition_row(transition))
    for notice in effect.notices:
        _insert(db, "notices", rows.NOTICE_COLUMNS, rows.notice_row(notice))
    for change in effect.outbox:
        _change_outbox(db, change)
    for stream, at_key, keys, values in (
        ("forecasts", "issued_at", ("night", "sensor", "method"), effect.forecasts),
        ("wraps", "at", ("tree", "wrap"), effect.wraps),
        ("stages", "at", ("tree", "work", "stage"), effect.stages),
    ):
        for value in values:
            key = rows.to_json([value.get(name) for name in keys])
            at_ms = rows.to_ms(instant_s(value, at_key) or 0.0)
            _insert(db, "streams", "stream, at_ms, key, value", (stream, at_ms, key, rows.to_json(value)))
    for report in effect.reports:
        as_sent = (report.date, rows.to_ms(report.at_s), report.subject, report.text, report.html)
        _insert(db, "reports", "date, at_ms, subject, text, html", as_sent)
        if report.calendar or report.pictures:
            enclosed = (report.notice, report.calendar, report.pictures)
            _insert(db, "enclosures", "notice, calendar, pictures", enclosed)
            db.execute(
                "UPDATE enclosures SET calendar = '' WHERE calendar <> '' AND notice NOT IN "
                "(SELECT notice FROM enclosures ORDER BY notice DESC LIMIT ?)",
                (CALENDARS_KEPT,),
            )
    for changed in effect.rows:
        _remember(db, changed)


def _insert(db: sqlite3.Connection, table: str, columns: str, row: tuple[Any, ...]) -> None:
    marks = ", ".join("?" * len(row))
    db.execute(f"INSERT OR IGNORE INTO {table} ({columns}) VALUES ({marks})", row)


def _change_outbox(db: sqlite3.Connection, change: OutboxChange) -> None:
    """Write one change down, once, and follow it; what is done with does not become pending again."""
    at_ms = rows.to_ms(change.at_s)
    new = db.execute(
        "INSERT OR IGNORE INTO tries (notice, notifier, at_ms, status, detail) VALUES (?, ?, ?, ?, ?)",
        (change.notice, change.notifier, at_ms, change.status, change.detail),
    ).rowcount
    if new:
        db.execute(
            "UPDATE notices SET attempts = attempts + ?, last_error = ?, changed_at_ms = ?, "
            "status = CASE WHEN ? = 'pending' THEN status ELSE ? END WHERE notice = ? AND notifier = ?",
            (
                change.status in _TRIED, change.detail, at_ms, change.status, change.status,
                change.notice, change.notifier,
            ),
        )  # fmt: skip


def _remember(db: sqlite3.Connection, row: Row) -> None:
    if row.value is None:
        db.execute("DELETE FROM memory WHERE room = ? AND key = ?", (row.table, row.key))
    else:
        db.execute(
            "INSERT INTO memory (room, key, value) VALUES (?, ?, ?) "
            "ON CONFLICT (room, key) DO UPDATE SET value = excluded.value",
            (row.table, row.key, rows.to_json(row.value)),
        )


def keep_digests(db: sqlite3.Connection, digests: Sequence[tuple[str, bytes]]) -> None:
    """Add to the last 1,000 committed messages and forget those before them."""
    if digests:
        db.executemany("INSERT INTO digests (topic, digest) VALUES (?, ?)", digests[-DIGESTS_KEPT:])
        db.execute("DELETE FROM digests WHERE id <= (SELECT max(id) FROM digests) - ?", (DIGESTS_KEPT,))


def put_meta(db: sqlite3.Connection, key: str, value: float) -> None:
    """Set one figure about the database as a whole."""
    db.execute(
        "INSERT INTO meta (key, value) VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value",
        (key, value),
    )


def prune(db: sqlite3.Connection, before_s: float, at_most: int) -> int:
    """Delete the oldest hours that ended by an instant, about `at_most` readings; returns how many went."""
    end_hour = int(before_s // 3600)
    gone = 0
    for hour in packs.hours_between(db, 0, end_hour * packs.HOUR_MS):
        end_ms = (hour + 1) * packs.HOUR_MS
        packed = db.execute("SELECT readings FROM packs WHERE hour = ?", (hour,)).fetchone()
        db.execute("DELETE FROM packs WHERE hour = ?", (hour,))
        gone += db.execute("DELETE FROM readings WHERE observed_at_ms < ?", (end_ms,)).rowcount
        gone += packed[0] if packed else 0
        if gone >= at_most:
            break
    return gone
