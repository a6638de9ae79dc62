"""Turns what SQLite and the file system complain of into one sentence a person can act on."""

import errno
import sqlite3
from pathlib import Path

from monitor.errors import StoreError

_FULL = ("the disk is full", "Make room on it; what could not be kept is named in the report.")
_READ_ONLY = ("it cannot be written", "Look whether the disk has become read-only, and whose file it is.")
_LOCKED = ("another program holds it locked", "End that program; nothing else may write here.")
_DAMAGED = ("it is damaged", "It is set aside and begun afresh; look at the disk or card.")
_GONE = ("it cannot be opened", "Look whether its folder is there, and whose it is.")
_SICK = ("the disk does not answer", "Look at the disk or card, and at its cable or holder.")

_BY_SQLITE_CODE = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_BUSY: _LOCKED,
    sqlite3.SQLITE_LOCKED: _LOCKED,
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: _DAMAGED,
    sqlite3.SQLITE_CANTOPEN: _GONE,
    sqlite3.SQLITE_IOERR: _SICK,
}
_BY_ERRNO = {
    errno.ENOSPC: _FULL,
    errno.EDQUOT: _FULL,
    errno.EFBIG: _FULL,
    errno.EROFS: _READ_ONLY,
    errno.EACCES: _READ_ONLY,
    errno.EPERM: _READ_ONLY,
    errno.EIO: _SICK,
    errno.ENOENT: ("it is not there any more", "Look whether the disk that holds it is still in place."),
}


def primary_code(error: sqlite3.Error) -> int:
    """SQLite's primary result code, 0 where the library gave none."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


def is_damage(error: sqlite3.Error) -> bool:
    """Whether the file itself is broken, so that trying again cannot help."""
    return primary_code(error) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def store_error(path: Path, error: sqlite3.Error | OSError) -> StoreError:
    """One sentence with the file, what is wrong and what to do."""
    known = (
        _BY_ERRNO.get(error.errno or 0)
        if isinstance(error, OSError)
        else _BY_SQLITE_CODE.get(primary_code(error))
    )
    what, hint = known or (str(error), "")
    return StoreError(f"{path}: {what}.", hint)
