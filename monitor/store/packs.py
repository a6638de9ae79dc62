"""Readings of one past hour as one compressed block: a fifth of the room of rows, and read back at once.

A reading is a row of `readings` while it is young. Once its hour is over for good the rows of that hour
become one row of `packs`; a late reading is a row again until its hour is packed anew. Whoever reads takes
an hour's pack and its rows together: `read_hour`. What came first stands, here as everywhere.
"""

import sqlite3
import zlib
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.store import rows

HOUR_MS = 3_600_000
GRACE_MS = 3_600_000
"""How long after its end an hour waits for stragglers before it is packed."""

READING = np.dtype(
    [
        ("at_ms", "<i8"),
        ("sensor", "<i4"),
        ("quantity", "u1"),
        ("received_after_ms", "<i8"),
        ("value", "<f8"),
        ("flag", "u1"),
        ("use", "u1"),
    ]
)
"""One reading as columns, in the order of rows.READING_COLUMNS; on disk, so it never changes."""

Block = NDArray[Any]
"""An array of READING."""


def encode(block: Block) -> bytes:
    """The block column after column, since like next to like packs best."""
    return zlib.compress(b"".join(block[name].tobytes() for name in READING.names or ()))


def decode(body: bytes, count: int) -> Block:
    """The block again; an empty one when the bytes are not what was written."""
    try:
        data = zlib.decompress(body)
    except zlib.error:
        return empty()
    if len(data) != count * READING.itemsize:
        return empty()
    block = np.empty(count, READING)
    start = 0
    for name in READING.names or ():
        kind = READING[name]
        block[name] = np.frombuffer(data, kind, count, start)
        start += count * kind.itemsize
    return block


def empty() -> Block:
    """No readings."""
    return np.empty(0, READING)


def block_of(found: list[tuple[Any, ...]]) -> Block:
    """Rows of READING_COLUMNS as a block; NULL is a value that is no number."""
    if any(row[4] is None for row in found):
        found = [(*row[:4], np.nan if row[4] is None else row[4], *row[5:]) for row in found]
    return np.array(found, READING) if found else empty()


def merged(first: Block, later: Block) -> Block:
    """Both, ordered by sensor, quantity and time; where both have the same one, `first` stands."""
    if not len(later):
        return first
    both = np.concatenate((first, later))
    order = np.lexsort((both["at_ms"], both["quantity"], both["sensor"]))
    both = both[order]
    again = np.ones(len(both), bool)
    for name in ("at_ms", "quantity", "sensor"):
        again[1:] &= both[name][1:] == both[name][:-1]
    again[:1] = False
    return both[~again]


def read_hour(db: sqlite3.Connection, hour: int) -> Block:
    """Every reading of one hour [hours since 1970], ordered by sensor, quantity and time."""
    return merged(_packed(db, hour), block_of(_loose(db, hour)))


def hours_between(db: sqlite3.Connection, from_ms: int, to_ms: int) -> Iterator[int]:
    """Hours that hold readings from `from_ms` to before `to_ms`, ascending, each looked up when asked for."""
    hour = from_ms // HOUR_MS
    while True:
        row = db.execute(
            "SELECT min(hour) FROM (SELECT min(hour) AS hour FROM packs WHERE hour >= ? UNION ALL "
            "SELECT min(observed_at_ms) / ? FROM readings WHERE observed_at_ms >= ?)",
            (hour, HOUR_MS, hour * HOUR_MS),
        ).fetchone()
        if row[0] is None or row[0] * HOUR_MS >= to_ms:
            return
        yield row[0]
        hour = row[0] + 1


def pack_oldest(db: sqlite3.Connection, now_ms: int) -> tuple[bool, int]:
    """Pack the oldest hour that is over, inside the caller's transaction.

    Returns whether there was one, and how many readings it lost because they were there twice.
    """
    oldest_ms = db.execute("SELECT min(observed_at_ms) FROM readings").fetchone()[0]
    if oldest_ms is None or (oldest_ms // HOUR_MS + 1) * HOUR_MS + GRACE_MS > now_ms:
        return False, 0
    hour = oldest_ms // HOUR_MS
    loose = block_of(_loose(db, hour))
    packed = _packed(db, hour)
    block = merged(packed, loose)
    db.execute(
        "INSERT OR REPLACE INTO packs (hour, readings, body) VALUES (?, ?, ?)",
        (hour, len(block), encode(block)),
    )
    db.execute("DELETE FROM readings WHERE observed_at_ms < ?", ((hour + 1) * HOUR_MS,))
    return True, len(loose) + len(packed) - len(block)


def _packed(db: sqlite3.Connection, hour: int) -> Block:
    row = db.execute("SELECT body, readings FROM packs WHERE hour = ?", (hour,)).fetchone()
    return empty() if row is None else decode(*row)


def _loose(db: sqlite3.Connection, hour: int) -> list[tuple[Any, ...]]:
    query = f"SELECT {rows.READING_COLUMNS} FROM readings WHERE observed_at_ms >= ? AND observed_at_ms < ?"
    return db.execute(query, (hour * HOUR_MS, (hour + 1) * HOUR_MS)).fetchall()
