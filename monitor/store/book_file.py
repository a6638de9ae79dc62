"""The book on disk: one JSON object a line, only ever appended to, each addition synced before it counts.

It knows nothing of what an entry means; a person may read the file and mend it with an editor.
"""

import contextlib
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from monitor.errors import BookError, Problem
from monitor.store.lines import dumps
from monitor.store.trouble import store_error

NAME = "book.jsonl"


class BookFile:
    """`book.jsonl` (0600); `notes` says in sentences what had to be mended."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.notes: list[str] = []

    def load(self, mend: bool = True) -> tuple[dict[str, Any], ...]:
        """Every entry in order; none when there is no file yet.

        A last line that a power cut tore is left out, said in `notes` and, with `mend`, cut off the file.
        Raises BookError with the line of anything else that is no JSON object, StoreError when the file
        cannot be read.
        """
        try:
            data = self.path.read_bytes()
        except FileNotFoundError:
            return ()
        except OSError as error:
            raise store_error(self.path, error) from error
        whole, tail = data[: data.rfind(b"\n") + 1], data[data.rfind(b"\n") + 1 :]
        entries, problems = _parsed(self.path, whole)
        if problems:
            raise BookError(problems)
        if tail.strip(b"\0 \t\r"):
            entries += self._tail(tail, len(whole), whole.count(b"\n") + 1, mend)
        elif tail and mend:
            self._cut(len(whole))
        return tuple(entries)

    def _tail(self, tail: bytes, start: int, number: int, mend: bool) -> list[dict[str, Any]]:
        """A last line without its end: an entry typed by hand, or the torn half of one."""
        entry = _entry(tail)
        if entry is not None:
            if mend:
                self._write(b"\n")
            return [entry]
        shown = tail[:60].decode("utf-8", "replace")
        self.notes.append(f"{self.path}, line {number}: it was torn by a power cut and is left out: {shown}")
        if mend:
            self._cut(start)
        return []

    def append(self, entries: Sequence[Mapping[str, Any]]) -> None:
        """Write all the entries or none of them, and sync; StoreError when the disk does not take them."""
        if entries:
            self._write("".join(dumps(entry) + "\n" for entry in entries).encode())

    def _write(self, data: bytes) -> None:
        is_new = not self.path.exists()
        try:
            descriptor = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise store_error(self.path, error) from error
        start = os.fstat(descriptor).st_size
        try:
            write_whole(descriptor, data)
            os.fsync(descriptor)
            if is_new:
                sync_directory(self.path.parent)
        except OSError as error:
            # Half an entry must not stay: the next one would be glued to it.
            with contextlib.suppress(OSError):
                os.ftruncate(descriptor, start)
            raise store_error(self.path, error) from error
        finally:
            os.close(descriptor)

    def _cut(self, length: int) -> None:
        try:
            with self.path.open("r+b") as file:
                file.truncate(length)
                os.fsync(file.fileno())
        except OSError as error:
            self.notes.append(str(store_error(self.path, error)))


def _parsed(path: Path, whole: bytes) -> tuple[list[dict[str, Any]], list[Problem]]:
    entries: list[dict[str, Any]] = []
    problems: list[Problem] = []
    for number, line in enumerate(whole.split(b"\n")[:-1], start=1):
        if not line.strip():
            continue
        entry = _entry(line)
        if entry is None:
            message = "this line is no JSON object."
            problems.append(Problem(str(path), message, line=number, hint="Mend it, or take the line out."))
        else:
            entries.append(entry)
    return entries, problems


def _entry(line: bytes) -> dict[str, Any] | None:
    try:
        entry = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return entry if isinstance(entry, dict) else None


def write_whole(descriptor: int, data: bytes) -> None:
    """Write every byte, however many calls that takes; OSError when the disk takes no more."""
    view = memoryview(data)
    while view:
        view = view[os.write(descriptor, view) :]


def sync_directory(directory: Path) -> None:
    """Make a new or renamed name in the directory outlast a power cut."""
    descriptor = os.open(directory, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
