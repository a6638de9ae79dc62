"""Where the daemon and the command line meet: the path of the socket."""

import hashlib
import tempfile
from collections.abc import Mapping
from pathlib import Path

NAME = "aftercare.sock"
LONGEST = 100
"""Paths of sockets longer than about 104 bytes are refused by some systems."""


def socket_path(state_directory: Path, environ: Mapping[str, str]) -> Path:
    """`$RUNTIME_DIRECTORY` (its first path), else the state directory, else a short folder for that state."""
    runtime = environ.get("RUNTIME_DIRECTORY", "").split(":")[0]
    path = (Path(runtime) if runtime else state_directory.absolute()) / NAME
    if len(str(path).encode()) <= LONGEST:
        return path
    short = hashlib.sha256(str(path).encode()).hexdigest()[:12]
    return Path(tempfile.gettempdir()) / f"aftercare-{short}" / NAME
