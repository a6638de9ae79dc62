"""A consistent copy of a state directory's database and book in one tar file, also while the daemon runs."""

import os
import sqlite3
import tarfile
import tempfile
from contextlib import closing
from pathlib import Path

from monitor.store import book_file, database
from monitor.store.trouble import store_error


def backup_state(directory: Path, path: Path) -> None:
    """Write `path` (0600, replaced whole or not at all) with `aftercare.db` and `book.jsonl`.

    The database is copied before the book, so that the book may know more than the database but never
    less. A name ending in `gz` is gzipped. Raises StoreError in one sentence.
    """
    try:
        with tempfile.TemporaryDirectory(prefix=".aftercare-", dir=path.parent) as folder:
            half = Path(folder) / "backup.tar"
            with tarfile.open(half, "w:gz" if path.name.endswith("gz") else "w") as archive:
                copied = _copy_of_database(directory / database.NAME, Path(folder))
                for file, name in ((copied, database.NAME), (directory / book_file.NAME, book_file.NAME)):
                    if file is not None and file.exists():
                        archive.add(file, name, filter=_private)
            with half.open("rb") as written:
                os.fchmod(written.fileno(), 0o600)
                os.fsync(written.fileno())
            half.replace(path)
        book_file.sync_directory(path.parent)
    except sqlite3.Error as error:
        raise store_error(directory / database.NAME, error) from error
    except OSError as error:
        raise store_error(path, error) from error


def _copy_of_database(path: Path, folder: Path) -> Path | None:
    if not path.exists():
        return None
    copy = folder / database.NAME
    with closing(database.open_reader(path)) as db:
        db.execute(
            "PRAGMA query_only = 0"
        )  # the copy is a new file; this connection still cannot write its own
        db.execute("VACUUM INTO ?", (str(copy),))
    return copy


def _private(member: tarfile.TarInfo) -> tarfile.TarInfo:
    member.mode = 0o600
    return member
