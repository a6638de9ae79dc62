"""Opens the database file: for the one writer, or read-only; and says whether it is sound."""

import contextlib
import os
import sqlite3
from pathlib import Path
from urllib.parse import quote

from monitor.errors import StoreError
from monitor.store import schema
from monitor.store.rescue import beside
from monitor.store.trouble import is_damage, store_error

NAME = "aftercare.db"
_BUSY_S = 0.5
"""How long to wait for a foreign lock: short, since nothing is guarded meanwhile."""
_WAL_LIMIT_BYTES = 8 << 20
_CHECKED_WHOLE_BYTES = 64 << 20


class Damaged(Exception):
    """The file is no sound database; only this package sees it."""


def open_writer(path: Path) -> sqlite3.Connection:
    """The one connection that writes and checkpoints; Damaged, NewerSchema or StoreError otherwise."""
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))
        with contextlib.suppress(PermissionError):
            path.chmod(0o600)
    except OSError as error:
        raise store_error(path, error) from error
    try:
        return _ready(path)
    except sqlite3.Error as error:
        if is_damage(error):
            raise Damaged(str(error)) from error
        raise store_error(path, error) from error
    except OSError as error:
        raise store_error(path, error) from error


def open_reader(path: Path) -> sqlite3.Connection:
    """A connection that can only read and never checkpoints; StoreError when there is nothing to read."""
    if not path.exists():
        raise StoreError(f"{path}: there is no database yet.", "Start `aftercare run` once.")
    try:
        return _read_only(path, "ro")
    except sqlite3.Error as error:
        # A disk that became read-only after a clean end has no log and lets none be made: nobody writes.
        if beside(path, "-wal").exists():
            raise store_error(path, error) from error
    try:
        return _read_only(path, "ro&immutable=1")
    except sqlite3.Error as error:
        raise store_error(path, error) from error


def _read_only(path: Path, mode: str) -> sqlite3.Connection:
    db = _connect(path, mode)
    try:
        db.execute("PRAGMA query_only = 1")
        version = schema.version_of(db)
        schema.refuse_newer(version, str(path))
        schema.refuse_older(version, str(path))
    except (sqlite3.Error, StoreError):
        db.close()
        raise
    return db


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    return sqlite3.connect(
        f"file:{quote(str(path))}?mode={mode}",
        uri=True,
        timeout=_BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )


def _ready(path: Path) -> sqlite3.Connection:
    db = _connect(path, "rw")
    try:
        _prepare(db, path)
    except BaseException:
        db.close()
        raise
    return db


def _prepare(db: sqlite3.Connection, path: Path) -> None:
    schema.refuse_newer(schema.version_of(db), str(path))
    # A big file is read whole by the nightly check: the guard must not wait for that at a start.
    is_big = path.stat().st_size > _CHECKED_WHOLE_BYTES
    if not is_sound(db, spare="packs" if is_big else ""):
        raise Damaged(f"{path}: it fails its check")
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute(f"PRAGMA journal_size_limit = {_WAL_LIMIT_BYTES}")
    db.execute("PRAGMA temp_store = MEMORY")
    schema.migrate(db, str(path))


def is_sound(db: sqlite3.Connection, spare: str = "") -> bool:
    """SQLite's own quick check, of every page or of every table but one to spare."""
    try:
        if not spare:
            return _passes(db, "PRAGMA quick_check(1)")
        tables = db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        return all(_passes(db, f"PRAGMA quick_check('{name}')") for (name,) in tables if name != spare)
    except sqlite3.Error as error:
        if is_damage(error):
            return False
        raise


def _passes(db: sqlite3.Connection, check: str) -> bool:
    return bool(db.execute(check).fetchone()[0] == "ok")
