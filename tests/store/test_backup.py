"""A copy of database and book, made while the guard writes, that can be put back."""

import stat
import tarfile
import threading
from pathlib import Path

import pytest

from monitor.errors import StoreError
from monitor.store.backup import backup_state
from monitor.store.book_file import BookFile
from monitor.store.sqlite import Store
from tests.store.child import at_s, numbered, standing
from tests.store.shelf import AT_S, NIGHT, plain


def put_back(backup: Path, directory: Path) -> None:
    """What the run book says: unpack it into an empty state directory."""
    directory.mkdir(0o700)
    with tarfile.open(backup) as archive:
        archive.extractall(directory, filter="data")


@pytest.mark.parametrize("name", ["monday.tar", "monday.tar.gz"])
def test_a_backup_put_back_gives_everything(tmp_path: Path, name: str) -> None:
    """Database and book, private, with nothing else beside it."""
    with Store.open(tmp_path / "state", AT_S) as store:
        store.commit([NIGHT], AT_S)
        BookFile(tmp_path / "state" / "book.jsonl").append([{"kind": "note"}])
        (tmp_path / "backups").mkdir()
        store.backup(tmp_path / "backups" / name)
        saved = plain(store.load(0))
    assert [file.name for file in (tmp_path / "backups").iterdir()] == [name]
    assert stat.S_IMODE((tmp_path / "backups" / name).stat().st_mode) == 0o600
    put_back(tmp_path / "backups" / name, tmp_path / "again")
    with Store.open(tmp_path / "again", AT_S) as store:
        assert plain(store.load(0)) == saved
        assert store.notes == []
    assert BookFile(tmp_path / "again" / "book.jsonl").load() == ({"kind": "note"},)
    assert stat.S_IMODE((tmp_path / "again" / "aftercare.db").stat().st_mode) == 0o600


def test_a_backup_beside_a_writing_guard_is_one_moment_of_it(tmp_path: Path) -> None:
    """All streams of the copy agree, however many commits went on meanwhile."""
    made = threading.Event()
    failed: list[StoreError] = []

    def copy() -> None:
        try:
            for number in range(5):
                backup_state(tmp_path / "state", tmp_path / f"{number}.tar")
        except StoreError as error:
            failed.append(error)
        finally:
            made.set()

    with Store.open(tmp_path / "state", AT_S) as store:
        store.commit([numbered(0)], at_s(0), [("heather/yard", b"0")])
        thread = threading.Thread(target=copy)
        thread.start()
        number = 0
        while not made.is_set() or number < 3:
            number += 1
            store.commit([numbered(number)], at_s(number), [("heather/yard", b"%d" % number)])
        thread.join()
    assert failed == []
    for copied in range(5):
        put_back(tmp_path / f"{copied}.tar", tmp_path / f"again-{copied}")
        state = standing(tmp_path / f"again-{copied}")
        counts = {state[key] for key in ("commits", "rows", "readings", "transitions", "notices")}
        assert len(counts) == 1


def test_a_backup_replaces_an_older_one_whole_or_not_at_all(tmp_path: Path) -> None:
    """A failure leaves the old one, and no rest of a new one."""
    with Store.open(tmp_path / "state", AT_S) as store:
        store.commit([NIGHT], AT_S)
        backup_state(tmp_path / "state", tmp_path / "b.tar")
        old = (tmp_path / "b.tar").read_bytes()
    data = bytearray((tmp_path / "state" / "aftercare.db").read_bytes())
    data[4096:] = b"\xa5" * (len(data) - 4096)
    (tmp_path / "state" / "aftercare.db").write_bytes(data)
    with pytest.raises(StoreError, match="it is damaged"):
        backup_state(tmp_path / "state", tmp_path / "b.tar")
    assert (tmp_path / "b.tar").read_bytes() == old
    assert sorted(file.name for file in tmp_path.iterdir()) == ["b.tar", "state"]


def test_a_backup_into_nowhere_is_said_in_one_sentence(tmp_path: Path) -> None:
    """A folder that is not there."""
    with Store.open(tmp_path / "state", AT_S) as store:
        store.commit([NIGHT], AT_S)
        with pytest.raises(StoreError) as caught:
            store.backup(tmp_path / "nowhere" / "b.tar")
    assert str(caught.value).startswith(f"{tmp_path / 'nowhere' / 'b.tar'}: it is not there")


def test_a_state_without_database_still_gives_its_book(tmp_path: Path) -> None:
    """Trees entered before the first start."""
    BookFile(tmp_path / "book.jsonl").append([{"kind": "note"}])
    (tmp_path / "out").mkdir()
    backup_state(tmp_path, tmp_path / "out" / "b.tar")
    with tarfile.open(tmp_path / "out" / "b.tar") as archive:
        assert archive.getnames() == ["book.jsonl"]
