"""The key that signs what the page hands out: made once, kept in the state directory, readable by us only."""

import contextlib
import os
import secrets
from pathlib import Path

NAME = "page-key"
BYTES = 32


def page_key(state_directory: Path) -> bytes:
    """The key; where it cannot be kept, one that lasts until the next start."""
    path = state_directory / NAME
    known = _read(path)
    if known is not None:
        return known
    made = secrets.token_bytes(BYTES)
    with contextlib.suppress(OSError):
        _keep(path, made)
    return _read(path) or made


def _read(path: Path) -> bytes | None:
    try:
        found = path.read_bytes()
    except OSError:
        return None
    return found if len(found) == BYTES else None


def _keep(path: Path, key: bytes) -> None:
    """Whole or not at all; where two make one at once, the first stands for both."""
    beside = path.with_name(f"{NAME}.{secrets.token_hex(4)}")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    try:
        os.write(handle, key)
        os.fsync(handle)
        if path.exists() and _read(path) is None:
            path.unlink()  # torn by a crash: nobody can have used it
        with contextlib.suppress(FileExistsError):
            os.link(beside, path)
    finally:
        os.close(handle)
        beside.unlink(missing_ok=True)
