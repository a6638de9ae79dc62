"""A database of any earlier release is taken along; one of a later release is not touched."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from monitor.errors import NewerSchema, StoreError
from monitor.model import Effects, Quantity
from monitor.store import schema, writing
from monitor.store.queries import Reader
from monitor.store.sqlite import Store
from tests.store.shelf import AT_S, NIGHT, exported, notice, plain, reading


def database_of(version: int, directory: Path) -> sqlite3.Connection:
    """A database as the release with that schema left it, open."""
    directory.mkdir(exist_ok=True)
    db = sqlite3.connect(directory / "aftercare.db", isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    schema.migrate(db, "here", schema.STEPS[:version])
    return db


def test_a_database_of_version_1_gives_all_it_kept(tmp_path: Path) -> None:
    """Its readings are rows, every one of them; they are packed as time goes on, and nothing is lost."""
    readings = tuple(reading(minute, minute) for minute in range(-300, 0))
    with closing(database_of(1, tmp_path)) as db:
        writing.write(db, [NIGHT, Effects(readings=readings)], {})
        writing.put_meta(db, "readings", len(readings) + len(NIGHT.readings))
        writing.put_meta(db, "last_commit_at_s", AT_S)
        assert schema.version_of(db) == 1
    with Store.open(tmp_path, AT_S) as store:
        saved = plain(store.load(0))
        assert saved["rows"].keys() == {"alarm", "learned"}
        assert [found[0] for found in saved["outbox"]] == list(NIGHT.notices)
        assert len(saved["readings"]["bench-a", Quantity.TEMPERATURE_C][0]) == 302
        before = exported(tmp_path)
        for _ in range(10):
            store.commit([], AT_S + 7200 + 60)
        assert exported(tmp_path) == before
        assert store.size()["readings"] == 304
    with closing(sqlite3.connect(tmp_path / "aftercare.db")) as db:
        assert schema.version_of(db) == len(schema.STEPS)
        assert db.execute("SELECT count(*) FROM readings").fetchone() == (0,)


@pytest.mark.parametrize("version", range(len(schema.STEPS) + 1))
def test_every_earlier_version_becomes_the_same_database(tmp_path: Path, version: int) -> None:
    """The tables of a migrated database are those of a fresh one."""
    tables = "SELECT type, name, sql FROM sqlite_master ORDER BY name"
    with (
        closing(database_of(version, tmp_path / "old")) as old,
        closing(database_of(len(schema.STEPS), tmp_path / "new")) as new,
    ):
        assert schema.migrate(old, "here") == len(schema.STEPS) - version
        assert old.execute(tables).fetchall() == new.execute(tables).fetchall()


def test_a_step_that_fails_leaves_the_version_before_it(tmp_path: Path) -> None:
    """Each step and its number are one transaction; what went before stays."""
    good = ("CREATE TABLE one (x)",)
    half = ("CREATE TABLE two (x)", "INSERT INTO two VALUES (1)", "CREATE TABLE one (x)")
    with closing(sqlite3.connect(tmp_path / "db", isolation_level=None)) as db:
        with pytest.raises(sqlite3.OperationalError, match="already exists"):
            schema.migrate(db, "here", (good, half))
        assert schema.version_of(db) == 1
        assert db.execute("SELECT name FROM sqlite_master").fetchall() == [("one",)]
        assert not db.in_transaction
        assert schema.migrate(db, "here", (good, ("CREATE TABLE two (x)",))) == 1


def test_a_newer_database_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    """By the daemon and by whoever only reads, with a hint; the next try is not told `in use`."""
    with closing(database_of(len(schema.STEPS), tmp_path)) as db:
        db.execute(f"PRAGMA user_version = {len(schema.STEPS) + 1}")
    before = (tmp_path / "aftercare.db").read_bytes()
    for _ in range(2):
        with pytest.raises(NewerSchema, match="a newer release of aftercare wrote it") as caught:
            Store.open(tmp_path, AT_S)
        assert "Install that release again" in caught.value.hint
        assert caught.value.exit_status == 1
    with pytest.raises(NewerSchema):
        Reader(tmp_path)
    assert (tmp_path / "aftercare.db").read_bytes() == before


def test_reading_before_the_first_start_says_what_to_do(tmp_path: Path) -> None:
    """And makes no file."""
    with pytest.raises(StoreError, match=r"there is no database yet\. Start `aftercare run` once"):
        Reader(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_reader_of_an_older_database_says_that_it_must_be_migrated(tmp_path: Path) -> None:
    """An upgrade whose daemon has not started yet."""
    with closing(database_of(1, tmp_path)) as db:
        writing.write(db, [Effects(notices=(notice(),))], {})
    with pytest.raises(StoreError, match="an earlier release wrote it"):
        Reader(tmp_path)
