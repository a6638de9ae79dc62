"""The state directory's database with its one writer: everything the guard keeps, one transaction a commit.

Owned by the guard thread. A commit that fails raises one sentence and leaves the database as it was; the
next one tries again, opening the file anew where that may help. It knows nothing of what it keeps.
"""

import contextlib
import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from monitor.errors import NewerSchema, StoreError
from monitor.model import Effects, Saved
from monitor.store import database, loading, packs, rescue, rows, writing
from monitor.store.backup import backup_state
from monitor.store.database import Damaged
from monitor.store.lock import StateLock
from monitor.store.trouble import is_damage, primary_code, store_error

_PACK_AGAIN_S = 60.0
_KEEPS_CONNECTION = frozenset({sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})


class Store:
    """One state directory; made by `open`, ended by `close`."""

    def __init__(self, directory: Path, lock: StateLock, now_s: float) -> None:
        self.directory = directory.absolute()
        self.path = self.directory / database.NAME
        self.lock = lock
        self.notes: list[str] = []
        """Sentences about what was found and done on opening, oldest first."""
        self.failing = ""
        """Why the last attempt to open or commit failed; empty while all is well."""
        self.begun_afresh = 0
        """How often, since it was opened, it became another database: then all must be saved again."""
        self._now_s = now_s
        self._db: sqlite3.Connection | None = None
        self._inode = (0, 0)
        self._sensor_ids: dict[str, int] = {}
        self._is_damaged = False
        self._is_other = False
        self._readings = 0
        self._pack_at_s = float("-inf")

    @classmethod
    def open(cls, directory: Path, now_s: float) -> Self:
        """Own the state directory, making it if need be (0700).

        Raises StoreError only when the path cannot be a directory, StateInUse when another process owns it,
        NewerSchema when a later release wrote it. A full or read-only disk does not raise: `failing` says
        so, `load` gives what can be read, and each commit tries again.
        """
        _make_directory(directory)
        store = cls(directory, StateLock.take(directory), now_s)
        try:
            store._connect()
        except NewerSchema:
            store.lock.release()
            raise
        except StoreError as error:
            store.failing = str(error)
        store._is_other, store.begun_afresh = store._db is None, 0
        return store

    def load(self, history_from_s: float, hours_from_s: float | None = None) -> Saved:
        """What the engine starts from: readings, and hourly rows, from those instants on [s since 1970].

        Never raises: what cannot be read is not there, and `failing` or `notes` say so.
        """
        since_s = (history_from_s, 0.0 if hours_from_s is None else hours_from_s)
        saved = self._try_load(*since_s)
        if saved is None and self._is_damaged:
            with contextlib.suppress(StoreError):
                self._connect()
                saved = self._try_load(*since_s)
        return saved or Saved()

    def _try_load(self, history_from_s: float, hours_from_s: float) -> Saved | None:
        try:
            if self._db is not None:
                return loading.load(self._db, history_from_s, hours_from_s)
            with contextlib.closing(database.open_reader(self.path)) as db:
                return loading.load(db, history_from_s, hours_from_s)
        except sqlite3.Error as error:
            self.failing = str(store_error(self.path, error))
            self._back_out(error)
        except StoreError as error:
            self.failing = str(error)
        return None

    def commit(
        self, effects: Sequence[Effects], at_s: float, digests: Sequence[tuple[str, bytes]] = ()
    ) -> None:
        """Keep everything or nothing of it, synced to the disk; `at_s` is the instant of the commit.

        Raises StoreError in one sentence; the same effects may then be committed again. Effects that were
        kept already change nothing.
        """
        self._now_s = at_s
        with self._transaction() as db:
            added = writing.write(db, effects, self._sensor_ids)
            writing.keep_digests(db, digests)
            writing.put_meta(db, "last_commit_at_s", at_s)
            writing.put_meta(db, "readings", self._readings + added)
        self._readings += added
        self._pack()

    def _pack(self) -> None:
        """Pack one hour that is over, if there is one; what goes wrong is put off to a later commit."""
        if self._now_s < self._pack_at_s:
            return
        self._pack_at_s = self._now_s + _PACK_AGAIN_S
        try:
            with self._transaction() as db:
                found, twice = packs.pack_oldest(db, rows.to_ms(self._now_s))
                if found:
                    writing.put_meta(db, "readings", self._readings - twice)
        except StoreError:
            self.failing = ""  # the commit itself was kept
            return
        if found:
            self._readings, self._pack_at_s = self._readings - twice, self._now_s

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        try:
            db = self._ready()
            db.execute("BEGIN IMMEDIATE")
            yield db
            db.execute("COMMIT")
        except StoreError as error:
            self.failing = str(error)
            raise
        except sqlite3.Error as error:
            trouble = store_error(self.path, error)
            self.failing = str(trouble)
            self._back_out(error)
            raise trouble from error
        except BaseException:
            self._back_out(None)
            raise
        self.failing = ""

    def _back_out(self, error: sqlite3.Error | None) -> None:
        """Undo the transaction; forget a connection that may not recover by itself."""
        self._sensor_ids.clear()
        self._is_damaged = error is not None and is_damage(error)
        if self._db is None:
            return
        with contextlib.suppress(sqlite3.Error):
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
        if error is not None and primary_code(error) not in _KEEPS_CONNECTION:
            self._drop()
        else:
            self._know_sensors(self._db)

    def _ready(self) -> sqlite3.Connection:
        """The connection to the file that is really there."""
        if self._db is not None and not self._is_there():
            self.notes.append(f"{self.path}: it vanished while in use.")
            self._drop()
            self._is_other = True
        return self._db or self._connect()

    def _is_there(self) -> bool:
        try:
            found = self.path.stat()
        except OSError:
            return False
        return (found.st_dev, found.st_ino) == self._inode

    def _connect(self) -> sqlite3.Connection:
        if not self.lock.is_of(self.directory):
            self._own_anew()
        try:
            if self._is_damaged:
                raise Damaged
            db = database.open_writer(self.path)
        except Damaged:
            db = self._begin_afresh()
        try:
            found = self.path.stat()
        except OSError as error:
            db.close()
            raise store_error(self.path, error) from error
        self._db, self._inode = db, (found.st_dev, found.st_ino)
        self._know_sensors(db)
        self._readings = int(loading.meta(db, "readings") or 0)
        self.failing = ""
        self.begun_afresh += self._is_other
        self._is_other = False
        return db

    def _own_anew(self) -> None:
        """Another directory stands under the name now, and another guard may own it."""
        owned = StateLock.take(self.directory)
        self.lock.release()
        self.lock = owned

    def _begin_afresh(self) -> sqlite3.Connection:
        aside = rescue.set_aside(self.path, self._now_s)
        db = database.open_writer(self.path)
        self._is_damaged, self._is_other = False, True
        lost = rescue.salvage(db, aside)
        self.notes.append(f"{self.path}: it was damaged and is kept as {aside.name}. {lost}")
        return db

    def _know_sensors(self, db: sqlite3.Connection) -> None:
        with contextlib.suppress(sqlite3.Error):
            self._sensor_ids = {name: number for number, name in loading.sensor_names(db).items()}

    def _drop(self) -> None:
        if self._db is not None:
            with contextlib.suppress(sqlite3.Error):
                self._db.close()
            self._db = None

    def is_sound(self) -> bool | None:
        """Whether every page of the database is sound; None where it cannot be looked at. From any thread."""
        try:
            with contextlib.closing(database.open_reader(self.path)) as db:
                return database.is_sound(db)
        except StoreError:
            return None
        except sqlite3.Error as error:
            return False if is_damage(error) else None

    def distrust(self) -> None:
        """The database was found damaged: the next commit sets it aside and begins afresh."""
        self._is_damaged = True
        self._drop()

    def checkpoint(self) -> None:
        """Take the write-ahead log into the database and cut it; a reader in the way only puts it off."""
        with self._said() as db:
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def prune(self, before_s: float, at_most: int = 20_000) -> int:
        """Drop the oldest readings before an instant, `at_most` of them; returns how many went.

        The caller asks again until nothing goes, and asks only while the clock is trusted.
        """
        with self._transaction() as db:
            gone = writing.prune(db, before_s, at_most)
            writing.put_meta(db, "readings", self._readings - gone)
        self._readings -= gone
        return gone

    def backup(self, path: Path) -> None:
        """Write a consistent copy of database and book; see `store/backup.py`, which needs no Store."""
        backup_state(self.directory, path)

    @contextmanager
    def _said(self) -> Iterator[sqlite3.Connection]:
        if self._db is None:
            raise StoreError(f"{self.path}: it is not open.", self.failing)
        try:
            yield self._db
        except sqlite3.Error as error:
            if is_damage(error):
                self._drop()
            raise store_error(self.path, error) from error

    def size(self) -> Mapping[str, Any]:
        """Figures for `status`: bytes of each part and bytes free on the disk, and how many readings."""
        return {
            "database_bytes": _bytes_of(self.directory, database.NAME),
            "wal_bytes": _bytes_of(self.directory, f"{database.NAME}-wal"),
            "set_aside_bytes": _bytes_of(self.directory, f"{database.NAME}.broken-*"),
            "recording_bytes": _bytes_of(self.directory, "recording/*"),
            "free_bytes": _free_bytes(self.directory),
            "readings": self._readings,
            "failing": self.failing,
            "sqlite": sqlite3.sqlite_version,
        }

    def close(self) -> None:
        """Close the database (which takes its log in) and let others own the directory."""
        self._drop()
        self.lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _bytes_of(directory: Path, pattern: str) -> int:
    total = 0
    with contextlib.suppress(OSError):
        for file in directory.glob(pattern):
            total += file.stat().st_size
    return total


def _free_bytes(directory: Path) -> int | None:
    try:
        disk = os.statvfs(directory)
    except OSError:
        return None
    return disk.f_bavail * disk.f_frsize


def _make_directory(directory: Path) -> None:
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
        with contextlib.suppress(OSError):
            if directory.stat().st_mode & 0o077:
                directory.chmod(0o700)
    except FileExistsError as error:
        raise StoreError(
            f"{directory}: it is not a directory.", "Name another in `state.directory`."
        ) from error
    except OSError as error:
        raise store_error(directory, error) from error
