"""The disk fails: full, read-only, locked, truncated, rotten, or written by a later release.

In each the guard goes on: a frost that comes meanwhile is told from memory, and nothing of it is lost after.
"""

import json
import os
import resource
import sqlite3
import stat
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from monitor.model import NoticeKind
from tests.faults.figures import measured
from tests.faults.house import (
    COLD_C,
    FROST_C,
    JOURNAL,
    LARCH,
    STORAGE,
    WARM_C,
    House,
    guarded,
    heard,
    told,
    webhook,
)
from tests.support.broker import Mosquitto
from tests.support.servers import HttpServer
from tests.support.waiting import until


@pytest.fixture(scope="module")
def hook() -> Iterator[HttpServer]:
    """Where notices go."""
    with HttpServer() as server:
        yield server


def ways(hook: HttpServer) -> str:
    """Everything is told by the webhook and written down."""
    return webhook("hook", hook.url) + told("hook") + JOURNAL


@pytest.fixture(scope="module")
def house(folder: Path, broker: Mosquitto, hook: HttpServer) -> Iterator[House]:
    """One house for all faults that come while it runs; each leaves it well and warm."""
    with guarded(folder, broker.port, ways=ways(hook)) as house:
        yield house


@contextmanager
def full(house: House) -> Iterator[None]:
    """No file may grow any more."""
    limit = resource.RLIMIT_FSIZE
    _, hard = resource.prlimit(house.process.pid, limit)
    resource.prlimit(house.process.pid, limit, (4096, hard))
    try:
        yield
    finally:
        resource.prlimit(house.process.pid, limit, (hard, hard))


@contextmanager
def locked(house: House) -> Iterator[None]:
    """Another program holds the database."""
    with closing(sqlite3.connect(house.state / "aftercare.db", timeout=10.0)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield
        other.rollback()


@pytest.mark.parametrize(
    ("broken", "words"),
    [(full, "the disk"), (locked, "another program holds it locked")],
    ids=["full", "locked"],
)
def test_a_disk_that_takes_nothing(
    tmp_path: Path, own_broker: Mosquitto, broken: Callable[[House], Iterator[None]], words: str
) -> None:
    """Said with its reason; a frost is told from memory, within its usual time; then all is kept."""
    with HttpServer() as hook, guarded(tmp_path, own_broker.port, ways=ways(hook)) as house:
        with broken(house):
            assert words in house.rises(STORAGE)["cause"]
            began_s = time.monotonic()
            house.air["bench-a"] = FROST_C
            house.rises(LARCH)
            until(lambda: _told(hook, 0, b"Larch 3"), 15.0, "the frost, told from memory")
            measured("from frost to its notice while nothing can be kept [s]", time.monotonic() - began_s)
            assert house.occurrences(LARCH) == []
        house.ends(STORAGE)
        until(lambda: house.occurrences(LARCH), 10.0, "the occurrence in the store")
        seqs = [(c.occurrence, c.seq) for c in house.transitions("low-temperature")]
        measured("occurrences lost over a disk that took nothing", 1 - len(house.occurrences(LARCH)))
        measured("occurrences doubled over a disk that took nothing", len(seqs) - len(set(seqs)))
        assert len(house.occurrences(LARCH)) == 1
        assert len(seqs) == len(set(seqs))
        assert len(house.occurrences(STORAGE)) == 1


def test_alerts_from_memory_keep_to_the_rate(tmp_path: Path, own_broker: Mosquitto) -> None:
    """Alarms that come and go while nothing can be kept: five notices in ten minutes by each way."""
    with HttpServer() as hook:
        quick = {"ways": ways(hook), "on_delay_s": 0, "off_delay_s": 0}
        with guarded(tmp_path, own_broker.port, **quick) as house, locked(house):
            house.rises(STORAGE)
            for _ in range(3):
                house.air.update({"bench-a": COLD_C, "bench-b": COLD_C})
                house.rises(LARCH)
                house.air.update({"bench-a": WARM_C, "bench-b": WARM_C})
                house.ends(LARCH)
            said = [json.loads(request.body)["data"] for request in hook.requests]
        assert "What happens is not kept" in said[0]["subject"]
        assert 2 <= len(said) <= 5, [(each["kind"], each["subject"]) for each in said]


def test_a_state_that_is_read_only_from_the_start(
    tmp_path: Path, own_broker: Mosquitto, hook: HttpServer
) -> None:
    """It guards from memory and calls; once it may write, it keeps."""
    with House(tmp_path, own_broker.port, ways=ways(hook)) as house:
        house.order("humble", "yes")
        house.state.chmod(0o500)
        house.start()
        cause = house.rises(STORAGE)["cause"]
        assert "it cannot be written" in cause
        told_before = len(hook.requests)
        house.air["bench-a"] = FROST_C
        house.rises(LARCH)
        until(lambda: _told(hook, told_before, b"Larch 3"), 15.0, "the frost, told from memory")
        assert not (house.state / "aftercare.db").exists()
        house.state.chmod(0o700)
        house.ends(STORAGE)
        until(lambda: len(house.occurrences(LARCH)) == 1, 10.0, "the occurrence in the store")


def test_a_socket_that_cannot_be_made(tmp_path: Path, own_broker: Mosquitto) -> None:
    """Nobody can ask it anything; it guards and calls all the same, and says in its log what is missing."""
    with HttpServer() as hook, House(tmp_path, own_broker.port, ways=ways(hook)) as house:
        (tmp_path / "run").rmdir()
        (tmp_path / "run").write_text("in the way")
        house.air["bench-a"] = FROST_C
        house.start()
        until(lambda: _told(hook, 0, b"Larch 3"), 20.0, "the frost")
        assert "The socket is not served" in house.said()
        assert house.status() == {}
        assert house.end() == 0
        (tmp_path / "run").unlink()
        house.start()
        house.rises(LARCH)


def rot(path: Path) -> None:
    """A page that nobody has looked at since becomes nonsense, as a worn card makes it."""
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        page = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'enclosures'").fetchone()[0]
        size = db.execute("PRAGMA page_size").fetchone()[0]
    with path.open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xff" * size)


def truncate(path: Path) -> None:
    """Half of it is gone."""
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    os.truncate(path, path.stat().st_size // 2)


@pytest.mark.parametrize("damage", [rot, truncate])
def test_a_database_that_is_damaged(
    tmp_path: Path, own_broker: Mosquitto, hook: HttpServer, damage: Callable[[Path], None]
) -> None:
    """Found at the next start: set aside and said; begun afresh, and the frost is known on."""
    with guarded(tmp_path, own_broker.port, ways=ways(hook)) as house:
        house.air["bench-a"] = FROST_C
        house.rises(LARCH)
        house.kill()
        damage(house.state / "aftercare.db")
        measured("restart to guarding [s]", house.start())
        said = until(lambda: [s for s in house.status().get("unknown", ()) if "damaged" in s], 10.0, "a word")
        assert "it was damaged and is kept as aftercare.db.broken-" in said[0]
        assert len(list(house.state.glob("aftercare.db.broken-*"))) >= 1
        house.rises(LARCH)
        until(lambda: heard(house) == 2, 10.0, "both sensors")
        assert house.standing().keys() == {LARCH}
        until(lambda: house.occurrences(LARCH), 10.0, "the frost in the new database")
        if damage is rot:
            assert len(house.occurrences(LARCH)) == 1


def test_a_database_of_a_later_release(house: House) -> None:
    """One sentence, status 1, not a byte changed; the release that fits goes on where it was."""
    assert house.end() == 0
    path = house.state / "aftercare.db"
    with closing(sqlite3.connect(path)) as db:
        (version,) = db.execute("PRAGMA user_version").fetchone()
        db.execute("PRAGMA user_version = 99")
    before = path.read_bytes()
    process = house.launch()
    assert process.wait(30.0) == 1
    assert "aftercare.db" in house.said().splitlines()[-1]
    assert "Traceback" not in house.said()
    assert path.read_bytes() == before
    with closing(sqlite3.connect(path)) as db:
        db.execute(f"PRAGMA user_version = {version}")
    measured("restart to guarding [s]", house.start())
    until(lambda: heard(house) == 2, 10.0, "both sensors")


def test_two_daemons_on_one_state(house: House) -> None:
    """The second ends at once with one sentence; the first guards on; killed, it leaves the state free."""
    second = house.launch()
    assert second.wait(30.0) == 1
    assert "another aftercare already guards with this state directory" in house.said().splitlines()[-1]
    until(lambda: heard(house) == 2, 10.0, "the first one's sensors")
    house.kill()
    measured("restart to guarding [s]", house.start())
    until(lambda: heard(house) == 2, 10.0, "both sensors")


def test_a_power_cut_in_the_middle_of_writing(house: House) -> None:
    """Half a frame of the log, half a line of book and recording: cut off, said, and nothing else is lost."""
    house.air["bench-a"] = FROST_C
    house.rises(LARCH)
    frosts = until(lambda: house.occurrences(LARCH), 10.0, "the frost in the store")
    entries = len(house._socket.get("/api/book"))
    house.kill()
    with (house.state / "aftercare.db-wal").open("ab") as log:
        log.write(os.urandom(3000))
    with (house.state / "book.jsonl").open("ab") as book:
        book.write(b'{"at":"2026-12-01T10:00:00Z","kind":"no')
    (recording,) = (house.state / "recording").glob("*.jsonl")
    with recording.open("ab") as lines:
        lines.write(b'{"received_at":"2026-12-')
    measured("restart to guarding [s]", house.start())
    until(lambda: any("torn by a power cut" in s for s in house.status()["unknown"]), 10.0, "a word")
    house.rises(LARCH)
    measured("occurrences lost over a power cut", 0 if set(frosts) <= set(house.occurrences(LARCH)) else 1)
    measured("occurrences doubled over a power cut", len(house.occurrences(LARCH)) - len(frosts))
    assert house.occurrences(LARCH) == frosts
    assert len(house._socket.get("/api/book")) == entries
    house.air["bench-a"] = WARM_C
    house.ends(LARCH)


def test_what_is_kept_is_closed_to_others_and_its_size_is_shown(house: House) -> None:
    """State 0700, files 0600, socket 0660; `aftercare status` says how much there is, and what may come."""
    assert stat.S_IMODE(house.state.stat().st_mode) == 0o700
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in house.state.iterdir() if path.is_file()}
    assert set(modes.values()) == {0o600}, modes
    assert stat.S_IMODE((house.folder / "run" / "aftercare.sock").stat().st_mode) == 0o660
    sizes = house.status()["storage"]
    assert sizes["database_bytes"] > 0 < sizes["free_bytes"]
    assert {"wal_bytes", "recording_bytes", "set_aside_bytes", "failing"} <= sizes.keys()
    done = subprocess.run(
        [sys.executable, "-P", "-m", "monitor.cli.entry", "status", "--config", str(house.config)],
        check=True, capture_output=True, text=True, env={**os.environ, **house.runtime},
    )  # fmt: skip
    assert "room left on the disk" in done.stdout


def _told(hook: HttpServer, begun: int, words: bytes) -> bool:
    kind = NoticeKind.ACTIVATION.value.encode()
    return any(words in request.body and kind in request.body for request in hook.requests[begun:])
