"""One owner for one state directory: an advisory lock that the kernel drops when its process ends.

The lock sits on the directory itself, so that it can be had on a full or read-only disk, and so that
tidying files away cannot let a second owner in.
"""

import contextlib
import fcntl
import os
from pathlib import Path
from types import TracebackType
from typing import Self

from monitor.errors import StateInUse
from monitor.store.trouble import store_error


class StateLock:
    """Held from `take` until `release`; usable as a context manager."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    @classmethod
    def take(cls, directory: Path) -> Self:
        """Own the directory; StateInUse when somebody else does, StoreError when it cannot be opened."""
        try:
            descriptor = os.open(directory, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        except OSError as error:
            raise store_error(directory, error) from error
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            os.close(descriptor)
            raise StateInUse(
                f"{directory}: another aftercare already guards with this state directory.",
                "Stop that one first, or give this one a directory of its own.",
            ) from error
        return cls(descriptor)

    def is_of(self, directory: Path) -> bool:
        """Whether the directory of that name is still the one that is owned."""
        try:
            there, owned = directory.stat(), os.fstat(self._descriptor)
        except OSError:
            return False
        return (there.st_dev, there.st_ino) == (owned.st_dev, owned.st_ino)

    def release(self) -> None:
        """Let others in; releasing twice does no harm."""
        if self._descriptor >= 0:
            with contextlib.suppress(OSError):
                os.close(self._descriptor)
            self._descriptor = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()
