"""What a disk, a power cut or another program can do to the store: it fails visibly, and it recovers.

Real files and real processes; `tests/store/child.py` is what runs in a process of its own.
"""

import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from monitor.errors import StateInUse, StoreError
from monitor.model import Effects, Quantity
from monitor.store.queries import Reader
from monitor.store.sqlite import Store
from tests.store.child import at_s, commit_on, numbered, standing
from tests.store.shelf import AT_S, NIGHT, exported, plain, reading

CHECKOUT = Path(__file__).resolve().parents[2]


def child(what: str, directory: Path) -> subprocess.Popen[str]:
    """One of the jobs of `child.py`, running."""
    environment = dict(os.environ, PYTHONPATH=os.pathsep.join([*sys.path, str(CHECKOUT)]))
    command = [sys.executable, "-P", "-m", "tests.store.child", what, str(directory)]
    return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)


def outcome(what: str, directory: Path) -> Any:
    """What one of the jobs printed."""
    process = child(what, directory)
    text, _ = process.communicate(timeout=120)
    assert process.returncode == 0
    return json.loads(text)


def consistent(state: dict[str, float]) -> float:
    """How many commits every stream shows; they must agree."""
    counts = {state[key] for key in ("commits", "rows", "readings", "transitions", "notices", "digests")}
    assert len(counts) == 1, state
    assert state["pending"] == min(1, state["commits"])
    return counts.pop()


# ---- a process that dies ------------------------------------------------------------------------------


def test_kill_9_in_mid_commit_leaves_the_state_before_or_after_it(tmp_path: Path) -> None:
    """25 writers killed at moments of chance: all streams agree, and nothing that was told is lost."""
    found = outcome("killed", tmp_path)["found"]
    assert len(found) == 25
    for one in found:
        commits = consistent(one["state"])
        assert one["said"] <= commits <= one["said"] + 1
        assert one["state"]["notes"] == 0
    assert found[-1]["state"]["commits"] > 25


def test_a_power_cut_leaves_a_whole_number_of_commits(tmp_path: Path) -> None:
    """The write-ahead log torn at any byte, its rest missing, zero or old: only whole commits count."""
    origin = tmp_path / "origin"
    kept: list[tuple[int, bytes]] = []

    def note(number: int) -> None:
        kept.append((number + 1, (origin / "aftercare.db-wal").read_bytes()))

    commit_on(origin, 0, lambda number: None, stop=1)
    database = (origin / "aftercare.db").read_bytes()
    commit_on(origin, 1, note, stop=20)
    log = kept[-1][1]
    chance = random.Random(11)
    for number, length in enumerate(chance.randrange(len(log) + 1) for _ in range(30)):
        torn = tmp_path / f"torn-{number}"
        torn.mkdir(0o700)
        (torn / "aftercare.db").write_bytes(database)
        rest = (b"", bytes(len(log) - length), os.urandom(len(log) - length))[number % 3]
        (torn / "aftercare.db-wal").write_bytes(log[:length] + rest)
        whole = max((commits for commits, until in kept if len(until) <= length), default=1)
        state = standing(torn)
        assert consistent(state) in (whole, whole + 1)
        assert state["notes"] == 0


def test_the_lock_of_a_killed_daemon_is_free_at_once(tmp_path: Path) -> None:
    """Another process owns the directory, and is told of in a sentence; after `kill -9` nobody does."""
    process = child("holds", tmp_path)
    assert process.stdout is not None
    assert process.stdout.readline() == "{}\n"
    with pytest.raises(StateInUse, match="another aftercare already guards"):
        Store.open(tmp_path, AT_S)
    process.kill()
    process.wait()
    process.stdout.close()
    with Store.open(tmp_path, AT_S) as store:
        store.commit([NIGHT], AT_S)


# ---- a disk that takes nothing ------------------------------------------------------------------------


def test_no_room_on_the_disk_is_said_and_passes(tmp_path: Path) -> None:
    """Database, book and recording in one process that may not write more; then it may."""
    result = outcome("disk-full", tmp_path)
    assert len(result["sentences"]) == 3
    for sentence in result["sentences"]:
        assert sentence.startswith(str(tmp_path))
        assert "\n" not in sentence
    assert "the disk is full" in result["sentences"][1]
    assert "the disk is full" in result["sentences"][2]
    assert result["failing"] == result["sentences"][0]
    assert result["after"] == ""
    state = result["state"]
    assert state["commits"] == state["transitions"] == state["readings"] == result["commits"]
    assert result["book"] == 1
    assert result["recorded"] == 21


def test_a_full_database_fails_whole_and_goes_on_when_there_is_room(tmp_path: Path) -> None:
    """SQLITE_FULL itself, by a limit on pages: the same connection goes on, the failed commit is repeated."""
    with Store.open(tmp_path, AT_S) as store:
        store.commit([NIGHT], AT_S)
        before = plain(store.load(0))
        assert store._db is not None
        store._db.execute("PRAGMA max_page_count = 40")
        large = Effects(readings=tuple(reading(m, m) for m in range(8000)), rows=NIGHT.rows)
        for _ in range(2):
            with pytest.raises(StoreError, match="the disk is full"):
                store.commit([large], AT_S + 60)
            assert "the disk is full" in store.failing
            assert plain(store.load(0)) == before
        store._db.execute("PRAGMA max_page_count = 100000")
        store.commit([large], AT_S + 60)
        assert store.failing == ""
        assert len(store.load(0).readings["bench-a", Quantity.TEMPERATURE_C][0]) == 8000
        assert store.begun_afresh == 0


@pytest.mark.parametrize("end", ["clean", "crash"])
def test_a_read_only_state_directory_is_read_and_guarded_from_memory(tmp_path: Path, end: str) -> None:
    """After a clean end (no log file) and after a crash (one to be read): told, loaded, recovered from."""
    commit_on(tmp_path, 0, lambda number: None, stop=3)
    if end == "crash":
        with Store.open(tmp_path, AT_S) as store:
            store.commit([], at_s(2))
            copies = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
        for name, data in copies.items():
            (tmp_path / name).write_bytes(data)
    result = outcome("without-rights", tmp_path)
    assert "it cannot be written" in result["failing"]
    assert "it cannot be written" in result["sentence"]
    assert result["loaded"]["alarm"]["low-temperature/larch-3"] == {"seq": 2}
    assert result["after"] == ""
    assert result["state"]["commits"] == result["state"]["transitions"] == 4


def test_a_database_that_vanishes_is_begun_anew_and_said(tmp_path: Path) -> None:
    """A disk pulled out and put back empty: writes into nowhere are noticed."""
    directory = tmp_path / "state"
    with Store.open(directory, AT_S) as store:
        store.commit([NIGHT], AT_S)
        shutil.rmtree(directory)
        for _ in range(2):
            with pytest.raises(StoreError, match="it is not there any more"):
                store.commit([NIGHT], AT_S)
        directory.mkdir(0o700)
        store.commit([NIGHT], AT_S + 60)
        assert store.begun_afresh == 1
        assert store.notes == [f"{directory / 'aftercare.db'}: it vanished while in use."]
        assert store.load(0).reports == ("2026-11-30",)


def test_a_directory_put_back_under_the_name_is_owned_anew(tmp_path: Path) -> None:
    """The lock went with the old directory: whoever came first to the new one has it."""
    directory = tmp_path / "state"
    with Store.open(directory, AT_S) as store:
        directory.rename(tmp_path / "pulled out")
        with Store.open(directory, AT_S) as other:
            with pytest.raises(StateInUse):
                store.commit([NIGHT], AT_S)
            other.commit([NIGHT], AT_S)
        store.commit([NIGHT], AT_S + 60)
        with pytest.raises(StateInUse):
            Store.open(directory, AT_S)


# ---- other programs -----------------------------------------------------------------------------------


def test_a_lock_of_another_program_is_said_and_passes(tmp_path: Path) -> None:
    """Somebody has a transaction open on the file; the guard waits half a second at most."""
    with Store.open(tmp_path, AT_S) as store:
        with closing(sqlite3.connect(tmp_path / "aftercare.db", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(StoreError, match="another program holds it locked"):
                store.commit([NIGHT], AT_S)
            assert store.load(0).reports == ()
            other.execute("ROLLBACK")
            store.commit([NIGHT], AT_S)
        assert store.load(0).reports == ("2026-11-30",)


def test_a_database_locked_at_the_start_does_not_keep_the_guard_from_starting(tmp_path: Path) -> None:
    """It is opened as soon as it is free, and then everything must be saved again."""
    Store.open(tmp_path, AT_S).close()
    with closing(sqlite3.connect(tmp_path / "aftercare.db", isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode = EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        store = Store.open(tmp_path, AT_S)
        assert "another program holds it locked" in store.failing
        with pytest.raises(StoreError, match="another program holds it locked"):
            store.commit([NIGHT], AT_S)
        other.execute("ROLLBACK")
    with store:
        store.commit([NIGHT], AT_S)
        assert store.failing == ""
        assert store.begun_afresh == 1


def test_a_slow_reader_neither_blocks_commits_nor_the_checkpoint(tmp_path: Path) -> None:
    """It sees its own moment until it is done; the log is cut after that."""
    with Store.open(tmp_path, AT_S) as store, Reader(tmp_path) as reader:
        store.commit([numbered(0)], at_s(0))
        reader._db.execute("BEGIN")
        assert len(list(reader.transitions())) == 1
        store.commit([numbered(1)], at_s(1))
        store.checkpoint()
        assert store.size()["wal_bytes"] > 0
        assert len(list(reader.transitions())) == 1
        reader._db.execute("COMMIT")
        store.checkpoint()
        assert store.size()["wal_bytes"] == 0
        assert len(list(reader.transitions())) == 2


def test_a_reader_that_closes_last_leaves_the_log_to_the_writer(tmp_path: Path) -> None:
    """Only the writer may checkpoint (the WAL-reset fault of SQLite before 3.51.3 needs two that do)."""
    with Store.open(tmp_path, AT_S) as store:
        store.commit([NIGHT], AT_S)
        wal = (tmp_path / "aftercare.db-wal").stat().st_size
        with Reader(tmp_path) as reader:
            with pytest.raises(sqlite3.OperationalError, match="readonly"):
                reader._db.execute("DELETE FROM notices")
            assert reader.report() is not None
        assert (tmp_path / "aftercare.db-wal").stat().st_size == wal


# ---- a file that is broken ----------------------------------------------------------------------------


def full_state(directory: Path) -> Path:
    """A closed database with a good many pages, hours packed and hours not."""
    with Store.open(directory, AT_S) as store:
        store.commit([NIGHT], AT_S)
        for number in range(40):
            store.commit([numbered(number)], at_s(number))
    return directory / "aftercare.db"


def forget_pages(store: Store) -> None:
    """As if the connection had read other pages meanwhile."""
    assert store._db is not None
    store._db.execute("PRAGMA cache_size = 0")
    store._db.execute("PRAGMA shrink_memory")


def garbage_header(data: bytes) -> bytes:
    """The first page is noise."""
    return os.urandom(4096) + data[4096:]


def garbage_everywhere(data: bytes) -> bytes:
    """All but the first page is noise."""
    return data[:4096] + os.urandom(len(data) - 4096)


def truncated(data: bytes) -> bytes:
    """The second half is missing."""
    return data[: len(data) // 2 // 4096 * 4096 + 100]


def text(data: bytes) -> bytes:
    """Another file under that name."""
    return b"this is no database\n" * 1000


@pytest.mark.parametrize("spoil", [garbage_header, garbage_everywhere, truncated, text])
def test_a_broken_database_is_kept_aside_and_a_fresh_one_begun(tmp_path: Path, spoil: Any) -> None:
    """Said in `notes`, with a dated name; the guard goes on at once, and the next start finds it sound."""
    path = full_state(tmp_path)
    broken = spoil(path.read_bytes())
    path.write_bytes(broken)
    with Store.open(tmp_path, AT_S + 86_400) as store:
        assert len(store.notes) == 1
        assert "it was damaged and is kept as aftercare.db.broken-2026-12-01T03-00-00" in store.notes[0]
        assert store.begun_afresh == 0
        store.load(0)
        store.commit([NIGHT], AT_S + 86_400)
    assert (tmp_path / "aftercare.db.broken-2026-12-01T03-00-00").read_bytes() == broken
    with Store.open(tmp_path, AT_S + 86_400) as store:
        assert store.notes == []
        assert store.load(0).last_commit_at_s == AT_S + 86_400
        assert store.is_sound()


def test_what_is_sound_in_a_broken_database_is_taken_over(tmp_path: Path) -> None:
    """A page of past alarms is noise; how the alarms stand, the outbox and the readings are not lost."""
    path = full_state(tmp_path)
    before = exported(tmp_path)
    with closing(sqlite3.connect(path)) as db:
        root = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'transitions'").fetchone()[0]
        with Store.open(tmp_path, AT_S) as store:
            saved = plain(store.load(0))
    with path.open("r+b") as file:
        file.seek((root - 1) * 4096)
        file.write(os.urandom(4096))
    with Store.open(tmp_path, AT_S) as store:
        assert store.notes[0].endswith("Lost: past alarms.")
        found = plain(store.load(0))
    assert found | {"occurrences": ()} == saved | {"occurrences": ()}
    after = exported(tmp_path)
    assert after.pop("alarms") == []
    assert after == {what: lines for what, lines in before.items() if what != "alarms"}


def test_two_broken_databases_of_one_second_get_two_names(tmp_path: Path) -> None:
    """Nothing that was set aside is written over."""
    for name in ("", "-2", "-3"):
        (tmp_path / "aftercare.db").write_bytes(b"noise" * 1000 + name.encode())
        Store.open(tmp_path, AT_S).close()
        aside = tmp_path / f"aftercare.db.broken-2026-11-30T03-00-00{name}"
        assert aside.read_bytes().endswith(b"noise" + name.encode())


def test_of_many_broken_databases_the_newest_three_stay(tmp_path: Path) -> None:
    """A card that breaks it every night must not be filled by what was set aside."""
    for night in range(5):
        (tmp_path / "aftercare.db").write_bytes(b"noise %d" % night)
        Store.open(tmp_path, AT_S + night * 86_400.0).close()
    kept = sorted(path.read_bytes() for path in tmp_path.glob("aftercare.db.broken-*"))

    assert kept == [b"noise 2", b"noise 3", b"noise 4"]


def test_damage_that_comes_while_running_fails_once_and_is_then_begun_afresh(tmp_path: Path) -> None:
    """The card goes bad under the guard: one sentence, then a fresh database that must be told everything."""
    with Store.open(tmp_path, AT_S) as store:
        for number in range(40):
            store.commit([numbered(number)], at_s(number))
        store.checkpoint()
        with (tmp_path / "aftercare.db").open("r+b") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(4096)
            file.write(os.urandom(size - 4096))
        forget_pages(store)
        sentences = []
        for number in range(40, 60):
            try:
                store.commit([numbered(number)], at_s(number))
            except StoreError as error:
                sentences.append(str(error))
        assert len(sentences) == 1
        assert "it is damaged. It is set aside and begun afresh" in sentences[0]
        assert store.begun_afresh == 1
        assert len(store.notes) == 1
        assert store.failing == ""


def test_damage_that_only_loading_finds_is_begun_afresh_too(tmp_path: Path) -> None:
    """A big database is not read whole at the start: what the short check spares, loading meets."""
    path = full_state(tmp_path)
    with Store.open(tmp_path, AT_S) as store:
        assert store._db is not None
        root = store._db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'hours'").fetchone()[0]
        store.checkpoint()
        with path.open("r+b") as file:
            file.seek((root - 1) * 4096)
            file.write(os.urandom(4096))
        forget_pages(store)
        saved = store.load(0)
        assert store.begun_afresh == 1
        assert store.notes[0].endswith("Lost: hourly figures.")
    assert saved.hours == ()
    assert saved.rows["alarm"]["low-temperature/larch-3"] == {"seq": 39}


def test_an_empty_file_is_a_fresh_database(tmp_path: Path) -> None:
    """A crash between making the file and its first page."""
    (tmp_path / "aftercare.db").touch()
    with Store.open(tmp_path, AT_S) as store:
        store.commit([NIGHT], AT_S)
        assert store.notes == []
