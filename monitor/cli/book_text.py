"""Reads a book file that somebody names: what is no entry is refused with its line, before anything runs."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from monitor.errors import BookError, Problem, UsageError
from monitor.store.book_file import BookFile
from monitor.trees.entries import normalised


def read_book(path: Path, say: Callable[[str], None]) -> list[Mapping[str, Any]]:
    """The entries of a book file; a torn last line is left out and told to `say`.

    BookError lists every line that is no entry. What an entry names is not looked at: a sensor may have left
    the configuration since.
    """
    if not path.is_file():
        raise UsageError(f"{path}: there is no such book.", "Name a file that `aftercare book export` wrote.")
    file = BookFile(path)
    entries = list(file.load(mend=False))
    for note in file.notes:
        say(note)
    problems: list[Problem] = []
    numbers = [number for number, line in _lines(path) if line.strip()]
    for number, entry in zip(numbers, entries, strict=False):
        known, found = normalised(entry)
        if "at" not in known and not found:
            found = [Problem("", "is missing.", "at", hint="Say when it was done.")]
        problems += [Problem(str(path), each.message, each.key, number, each.hint) for each in found]
    if problems:
        raise BookError(problems)
    return list(entries)


def _lines(path: Path) -> list[tuple[int, bytes]]:
    return list(enumerate(path.read_bytes().split(b"\n"), start=1))
