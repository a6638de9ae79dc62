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
    with contextlib.suppress(OSError):
        found = path.read_bytes()
        if len(found) == BYTES:
            return found
    made = secrets.token_bytes(BYTES)
    with contextlib.suppress(OSError):
        _write(path, made)
        return path.read_bytes()
    return made


def _write(path: Path, key: bytes) -> None:
    """Whole or not at all."""
    beside = path.with_name(f"{NAME}.new")
    handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o600)
    try:
        os.write(handle, key)
        os.fsync(handle)
    finally:
        os.close(handle)
    beside.replace(path)
