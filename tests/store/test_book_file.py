"""The book's file: only whole entries, each on the disk before it counts, mended only where it was torn."""

import json
import os
import stat
from pathlib import Path

import pytest

from monitor.errors import BookError, StoreError
from monitor.store.book_file import BookFile

TREE = {"at": "2026-01-09T10:00:00Z", "kind": "tree", "tree": "larch-3", "name": "Lärche 3"}
WORK = {"at": "2026-01-10T15:00:00Z", "kind": "work", "tree": "larch-3", "work": "heavy-bend"}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the book is."""
    return tmp_path / "book.jsonl"


def test_a_book_that_is_not_there_is_empty(path: Path) -> None:
    """And is not made by looking."""
    assert BookFile(path).load() == ()
    assert not path.exists()


def test_entries_come_back_in_order_and_readable(path: Path) -> None:
    """One compact line each, UTF-8, keys as given, for nobody else to read."""
    book = BookFile(path)
    book.append([TREE])
    book.append([])
    book.append([WORK, TREE])
    assert BookFile(path).load() == (TREE, WORK, TREE)
    assert path.read_text().splitlines()[0] == json.dumps(TREE, ensure_ascii=False, separators=(",", ":"))
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_an_entry_is_synced_before_append_returns(path: Path, monkeypatch) -> None:
    """File and, the first time, its name in the directory."""
    synced: list[str] = []
    real = os.fsync

    def noted(descriptor: int) -> None:
        synced.append(str(Path(f"/proc/self/fd/{descriptor}").readlink()))
        real(descriptor)

    monkeypatch.setattr(os, "fsync", noted)
    BookFile(path).append([TREE])
    BookFile(path).append([WORK])
    assert synced == [str(path), str(path.parent), str(path)]


@pytest.mark.parametrize("tail", ['{"at":"2026-01-1', "\0\0\0\0\0\0", '{"at":"x"}\0\0', "nonsense", '"half'])
def test_a_torn_last_line_is_cut_off(path: Path, tail: str) -> None:
    """What a power cut leaves: half a line, or a tail of zeros."""
    BookFile(path).append([TREE])
    whole = path.read_bytes()
    path.write_bytes(whole + tail.encode())
    book = BookFile(path)
    assert book.load() == (TREE,)
    assert path.read_bytes() == whole
    book.append([WORK])
    assert book.load() == (TREE, WORK)


def test_what_is_cut_off_is_said(path: Path) -> None:
    """With its line and what could be read of it; a second look finds nothing to say."""
    BookFile(path).append([TREE])
    with path.open("a") as file:
        file.write('{"at":"2026-01-1')
    book = BookFile(path)
    book.load()
    assert book.notes == [f'{path}, line 2: it was torn by a power cut and is left out: {{"at":"2026-01-1']
    again = BookFile(path)
    again.load()
    assert again.notes == []


def test_who_only_looks_cuts_nothing(path: Path) -> None:
    """The running daemon owns the file."""
    path.write_text('{"kind":"note"}\n{"torn')
    before = path.read_bytes()
    assert BookFile(path).load(mend=False) == ({"kind": "note"},)
    assert path.read_bytes() == before


def test_a_last_line_typed_without_its_end_counts(path: Path) -> None:
    """Somebody's editor; the next entry starts on a line of its own."""
    path.write_text('{"kind":"note"}')
    book = BookFile(path)
    assert book.load() == ({"kind": "note"},)
    book.append([TREE])
    assert book.load() == ({"kind": "note"}, TREE)
    assert book.notes == []


def test_every_broken_line_in_the_middle_is_named(path: Path) -> None:
    """Nothing is guessed and nothing is changed: a person has to look."""
    path.write_bytes(b'{"kind":"note"}\n\nnot json\n[1]\n{"kind":"note"}\n{"x":"\xff"}\n{"torn')
    before = path.read_bytes()
    with pytest.raises(BookError) as caught:
        BookFile(path).load()
    assert [problem.line for problem in caught.value.problems] == [3, 4, 6]
    assert str(caught.value).splitlines()[0] == (
        f"{path}, line 3: this line is no JSON object. Mend it, or take the line out."
    )
    assert path.read_bytes() == before


def test_all_entries_of_an_append_are_written_or_none(path: Path, monkeypatch) -> None:
    """The disk fills up in the middle: the half that was written is taken back."""
    book = BookFile(path)
    book.append([TREE])
    real = os.write
    calls = []

    def full(descriptor: int, data: bytes) -> int:
        calls.append(len(data))
        if len(calls) > 1:
            raise OSError(28, "No space left on device")
        return real(descriptor, data[:70])

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", full)
        with pytest.raises(StoreError, match="the disk is full"):
            book.append([WORK, WORK])
    assert book.load() == (TREE,)
    assert book.notes == []
    book.append([WORK])
    assert book.load() == (TREE, WORK)


def test_a_book_that_cannot_be_read_is_said_in_one_sentence(path: Path) -> None:
    """A directory in its place."""
    path.mkdir()
    with pytest.raises(StoreError) as caught:
        BookFile(path).load()
    assert str(caught.value).startswith(f"{path}: ")
    with pytest.raises(StoreError):
        BookFile(path).append([TREE])
