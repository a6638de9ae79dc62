"""The database's tables as numbered steps; a step that has been released is never edited, only followed.

Instants are whole milliseconds (`..._ms`): those of readings and hours on the guard's axis, those of what
people read (transitions, notices, streams, reports) as the engine labelled them.
`readings` is ordered by time first, so that a commit touches one page of it, however many sensors there are;
it holds the young ones, those of hours gone by are in `packs` (see `store/packs.py`).
"""

import sqlite3
from collections.abc import Sequence

from monitor.errors import NewerSchema, StoreError

STEPS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE meta (key TEXT PRIMARY KEY, value) WITHOUT ROWID",
        "CREATE TABLE sensors (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE)",
        """CREATE TABLE readings (
            observed_at_ms INTEGER NOT NULL, sensor INTEGER NOT NULL, quantity INTEGER NOT NULL,
            received_after_ms INTEGER NOT NULL, value REAL, flag INTEGER NOT NULL, use INTEGER NOT NULL,
            PRIMARY KEY (observed_at_ms, sensor, quantity)) WITHOUT ROWID""",
        """CREATE TABLE hours (
            hour_at_ms INTEGER NOT NULL, sensor INTEGER NOT NULL, covered_s REAL NOT NULL,
            temperature_mean_c REAL, temperature_min_c REAL, temperature_max_c REAL,
            relative_humidity_mean_pct REAL, relative_humidity_min_pct REAL, relative_humidity_max_pct REAL,
            vpd_mean_kpa REAL, above_5_c_k_h REAL, below_0_c_k_h REAL, wet_s REAL,
            PRIMARY KEY (hour_at_ms, sensor)) WITHOUT ROWID""",
        """CREATE TABLE transitions (
            id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, alarm TEXT NOT NULL, kind TEXT NOT NULL,
            subject TEXT NOT NULL, occurrence TEXT NOT NULL, seq INTEGER NOT NULL, from_state TEXT NOT NULL,
            to_state TEXT NOT NULL, priority TEXT NOT NULL, value REAL, limit_value REAL,
            quality TEXT NOT NULL, respond_within_s REAL, cause TEXT NOT NULL, consequence TEXT NOT NULL,
            action TEXT NOT NULL, because TEXT NOT NULL, UNIQUE (occurrence, seq))""",
        "CREATE INDEX transitions_at ON transitions (at_ms)",
        """CREATE TABLE notices (
            id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, notice TEXT NOT NULL, notifier TEXT NOT NULL,
            kind TEXT NOT NULL, priority TEXT NOT NULL, subject TEXT NOT NULL, text TEXT NOT NULL,
            html TEXT NOT NULL, alarms TEXT NOT NULL, occurrences TEXT NOT NULL, details TEXT NOT NULL,
            status TEXT NOT NULL DEFAULT 'pending', attempts INTEGER NOT NULL DEFAULT 0,
            changed_at_ms INTEGER, last_error TEXT NOT NULL DEFAULT '', UNIQUE (notice, notifier))""",
        "CREATE INDEX notices_at ON notices (at_ms)",
        "CREATE INDEX notices_pending ON notices (id) WHERE status = 'pending'",
        """CREATE TABLE streams (
            id INTEGER PRIMARY KEY, stream TEXT NOT NULL, at_ms INTEGER NOT NULL, key TEXT NOT NULL,
            value TEXT NOT NULL, UNIQUE (stream, at_ms, key))""",
        """CREATE TABLE reports (
            date TEXT PRIMARY KEY, at_ms INTEGER NOT NULL, subject TEXT NOT NULL, text TEXT NOT NULL,
            html TEXT NOT NULL) WITHOUT ROWID""",
        """CREATE TABLE memory (
            room TEXT NOT NULL, key TEXT NOT NULL, value TEXT NOT NULL,
            PRIMARY KEY (room, key)) WITHOUT ROWID""",
        "CREATE TABLE digests (id INTEGER PRIMARY KEY, topic TEXT NOT NULL, digest BLOB NOT NULL)",
    ),
    (
        "CREATE TABLE packs (hour INTEGER PRIMARY KEY, readings INTEGER NOT NULL, body BLOB NOT NULL)",
        """CREATE TABLE tries (
            notice TEXT NOT NULL, notifier TEXT NOT NULL, at_ms INTEGER NOT NULL, status TEXT NOT NULL,
            detail TEXT NOT NULL, PRIMARY KEY (notice, notifier, at_ms, status)) WITHOUT ROWID""",
    ),
    (
        """CREATE TABLE enclosures (
            notice TEXT PRIMARY KEY, calendar TEXT NOT NULL, pictures TEXT NOT NULL) WITHOUT ROWID""",
    ),
)


def version_of(db: sqlite3.Connection) -> int:
    """The step that the database stands at; 0 for a fresh one."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def refuse_newer(version: int, place: str, steps: Sequence[Sequence[str]] = STEPS) -> None:
    """NewerSchema when a later release wrote the database, since this one could only harm it."""
    if version > len(steps):
        raise NewerSchema(
            f"{place}: a newer release of aftercare wrote it (schema {version}, known here: {len(steps)}).",
            "Install that release again, or restore the backup made before the upgrade.",
        )


def refuse_older(version: int, place: str) -> None:
    """StoreError when the database lacks steps that only the daemon may take."""
    if version == 0:
        raise StoreError(f"{place}: there is nothing in this database yet.", "Start `aftercare run` once.")
    if version < len(STEPS):
        raise StoreError(
            f"{place}: an earlier release wrote it (schema {version}, needed here: {len(STEPS)}).",
            "Start `aftercare run` once: it takes the database along.",
        )


def migrate(db: sqlite3.Connection, place: str, steps: Sequence[Sequence[str]] = STEPS) -> int:
    """Take every missing step, each with its number in one transaction; returns how many."""
    start = version_of(db)
    refuse_newer(start, place, steps)
    for number in range(start, len(steps)):
        db.execute("BEGIN IMMEDIATE")
        try:
            for statement in steps[number]:
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {number + 1}")
            db.execute("COMMIT")
        except sqlite3.Error:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise
    return len(steps) - start
