"""Sets a broken database aside and saves from it, table by table, what is still sound."""

import contextlib
import sqlite3
from collections.abc import Sequence
from pathlib import Path

from monitor.clock import rfc3339
from monitor.store import schema
from monitor.store.trouble import store_error

_WORDS = {
    "sensors": "",
    "memory": "how the alarms stood",
    "notices": "notices",
    "tries": "how notices were sent",
    "transitions": "past alarms",
    "reports": "past reports",
    "enclosures": "the pictures of past reports",
    "hours": "hourly figures",
    "readings": "the latest readings",
    "packs": "readings of past hours",
    "streams": "forecasts, wraps and stages",
    "meta": "",
    "digests": "",
}
"""Tables in the order in which they are saved, and what a person calls them."""
ASIDE_AT_MOST = 3
_NEED_SENSORS = ("hours", "readings", "packs")


def set_aside(path: Path, now_s: float) -> Path:
    """Rename the database and what belongs to it to a dated name; StoreError when that cannot be done."""
    stamp = rfc3339(now_s)[:19].replace(":", "-")
    aside, number = beside(path, f".broken-{stamp}"), 2
    while aside.exists():
        aside, number = beside(path, f".broken-{stamp}-{number}"), number + 1
    try:
        for ending in ("-wal", "-shm", ""):
            with contextlib.suppress(FileNotFoundError):
                beside(path, ending).rename(beside(aside, ending))
    except OSError as error:
        raise store_error(path, error) from error
    _forget_oldest(path, aside)
    return aside


def _forget_oldest(path: Path, newest: Path) -> None:
    """A card that breaks the database again and again must not be filled by what was set aside."""
    found = set(path.parent.glob(f"{path.name}.broken-*")) - {newest}
    older = sorted(each for each in found if not each.name.endswith(("-wal", "-shm")))
    for each in older[: max(0, len(older) + 1 - ASIDE_AT_MOST)]:
        for ending in ("-wal", "-shm", ""):
            with contextlib.suppress(OSError):
                beside(each, ending).unlink()


def beside(path: Path, ending: str) -> Path:
    """The path with more at the end of its name."""
    return path.with_name(path.name + ending)


def salvage(fresh: sqlite3.Connection, aside: Path) -> str:
    """Copy every sound table of the broken database; returns one sentence about what is lost."""
    try:
        fresh.execute("ATTACH ? AS broken", (f"{aside.as_uri()}?mode=ro",))
    except sqlite3.Error:
        return "Nothing of it could be read."
    try:
        copied = _copy_all(fresh)
    finally:
        fresh.execute("DETACH broken")
    lost = [words for table, words in _WORDS.items() if words and table not in copied]
    if not copied:
        return "Nothing of it could be read."
    return f"Lost: {', '.join(lost)}." if lost else "Everything in it could be read and was taken over."


def _copy_all(fresh: sqlite3.Connection) -> Sequence[str]:
    copied: list[str] = []
    try:
        version = fresh.execute("PRAGMA broken.user_version").fetchone()[0]
    except sqlite3.Error:
        return copied
    if version != schema.version_of(fresh):
        return copied
    for table in _WORDS:
        if (table not in _NEED_SENSORS or "sensors" in copied) and _copy(fresh, table):
            copied.append(table)
    return copied


def _copy(fresh: sqlite3.Connection, table: str) -> bool:
    try:
        if fresh.execute(f"PRAGMA broken.quick_check('{table}')").fetchone()[0] != "ok":
            return False
        fresh.execute("BEGIN IMMEDIATE")
        fresh.execute(f"INSERT OR REPLACE INTO main.{table} SELECT * FROM broken.{table}")
        fresh.execute("COMMIT")
    except sqlite3.Error:
        with contextlib.suppress(sqlite3.Error):
            if fresh.in_transaction:
                fresh.execute("ROLLBACK")
        return False
    return True
