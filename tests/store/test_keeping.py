"""What is committed comes back, once, and as it was: a real database file each."""

import math
import stat
from pathlib import Path

import numpy as np
import pytest

from monitor.errors import StateInUse, StoreError
from monitor.model import Effects, Flag, Quantity, Row, Use
from monitor.store.queries import Reader
from monitor.store.sqlite import Store
from tests.store.shelf import AT_S, NIGHT, change, hour, notice, plain, reading, transition


@pytest.fixture
def directory(tmp_path: Path) -> Path:
    """A state directory that is not there yet."""
    return tmp_path / "state"


def test_a_fresh_state_directory_is_private_and_empty(directory: Path) -> None:
    """0700 and 0600; published: nothing, it is design 3.6."""
    with Store.open(directory, AT_S) as store:
        store.commit([], AT_S)
        assert plain(store.load(0))["last_commit_at_s"] == AT_S
        modes = {file.name: stat.S_IMODE(file.stat().st_mode) for file in directory.iterdir()}
    assert stat.S_IMODE(directory.stat().st_mode) == 0o700
    assert modes == {"aftercare.db": 0o600, "aftercare.db-wal": 0o600, "aftercare.db-shm": 0o600}


def test_a_directory_open_to_others_is_closed_to_them(directory: Path) -> None:
    """State made by hand with a lax mask becomes private at the next start."""
    directory.mkdir(mode=0o755)
    (directory / "aftercare.db").touch(0o644)
    Store.open(directory, AT_S).close()
    assert stat.S_IMODE(directory.stat().st_mode) == 0o700
    assert stat.S_IMODE((directory / "aftercare.db").stat().st_mode) == 0o600


def test_everything_committed_is_there_after_a_restart(directory: Path) -> None:
    """Rows, hours, reports, notices and digests word for word; readings as ascending arrays."""
    with Store.open(directory, AT_S) as store:
        store.commit([NIGHT], AT_S + 300, [("heather/cold/bench-a", b"\x00\x01")])
    with Store.open(directory, AT_S) as store:
        saved = store.load(AT_S)
    assert saved.rows["alarm"] == {NIGHT.rows[0].key: NIGHT.rows[0].value}
    assert saved.rows["learned"] == {"cold": {"rate_per_h": 0.1 + 0.2, "nights": [1, 2]}}
    assert saved.hours == NIGHT.hours
    assert saved.outbox == tuple((notice, 0) for notice in NIGHT.notices)
    assert saved.reports == ("2026-11-30",)
    assert saved.digests == (("heather/cold/bench-a", b"\x00\x01"),)
    assert saved.last_commit_at_s == AT_S + 300
    t, value, flag = saved.readings["bench-a", Quantity.TEMPERATURE_C]
    assert (t.dtype, value.dtype, flag.dtype) == (np.float64, np.float64, np.uint8)
    assert (t.tolist(), value.tolist(), flag.tolist()) == ([AT_S, AT_S + 120], [1.25, 0.1 + 0.2], [1, 1])
    assert set(saved.readings) == {
        ("bench-a", Quantity.TEMPERATURE_C),
        ("bench-a", Quantity.RELATIVE_HUMIDITY_PCT),
        ("yard", Quantity.TEMPERATURE_C),
    }


def test_committing_the_same_twice_changes_nothing(directory: Path) -> None:
    """Also across a restart, and with an outbox that had moved on in the same batch."""
    batch = [NIGHT, Effects(outbox=(change("pending", AT_S + 5, "no route"), change("sent", AT_S + 9)))]
    with Store.open(directory, AT_S) as store:
        store.commit(batch, AT_S + 300)
        before = plain(store.load(0))
        store.commit(batch, AT_S + 300)
        assert plain(store.load(0)) == before
        assert store.size()["readings"] == len(NIGHT.readings)
    with Store.open(directory, AT_S) as store:
        store.commit(batch, AT_S + 300)
        assert plain(store.load(0)) == before


def test_of_two_values_at_one_instant_the_first_stands(directory: Path) -> None:
    """Design 7; whether the second comes in the same commit or in a later one."""
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(readings=(reading(0, 1.0), reading(0, 2.0)))], AT_S)
        store.commit([Effects(readings=(reading(0, 3.0),))], AT_S)
        assert store.load(0).readings["bench-a", Quantity.TEMPERATURE_C][1].tolist() == [1.0]


def test_late_readings_come_back_in_order_of_time(directory: Path) -> None:
    """A backlog of yesterday between readings of today, hours apart."""
    with Store.open(directory, AT_S) as store:
        for minute in (600, -60, 0, -1440, 59.5, -61):
            store.commit([Effects(readings=(reading(minute, minute, use=Use.HISTORY),))], AT_S + 36_000)
        values = store.load(0).readings["bench-a", Quantity.TEMPERATURE_C][1].tolist()
    assert values == [-1440, -61, -60, 0, 59.5, 600]


def test_history_starts_where_it_is_asked_to(directory: Path) -> None:
    """The instant itself belongs to it; from for ever on nothing does."""
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(readings=tuple(reading(m, m) for m in range(4)))], AT_S)
        assert store.load(AT_S + 60).readings["bench-a", Quantity.TEMPERATURE_C][1].tolist() == [1, 2, 3]
        assert store.load(float("inf")).readings == {}


def test_readings_of_unknown_age_are_kept_but_are_no_history(directory: Path) -> None:
    """Shown, never counted (design 7)."""
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(readings=(reading(0, use=Use.SHOWN),))], AT_S)
        assert store.load(0).readings == {}
        assert store.size()["readings"] == 1


def test_a_value_that_is_no_number_comes_back_as_none_of_them(directory: Path) -> None:
    """A failed reading may hold NaN or infinity."""
    failed = (reading(0, math.nan, flag=Flag.FAIL), reading(1, math.inf, flag=Flag.FAIL))
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(readings=failed)], AT_S)
        value = store.load(0).readings["bench-a", Quantity.TEMPERATURE_C][1]
    assert math.isnan(value[0])
    assert value[1] == math.inf


def test_a_row_is_changed_and_deleted(directory: Path) -> None:
    """Later rows stand for earlier ones, also within one commit."""
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(rows=(Row("site", "a", {"n": 1}), Row("site", "b", {"n": 1})))], AT_S)
        store.commit(
            [Effects(rows=(Row("site", "a", {"n": 2}),)), Effects(rows=(Row("site", "a", {"n": 3}),))], AT_S
        )
        assert store.load(0).rows == {"site": {"a": {"n": 3}, "b": {"n": 1}}}
        store.commit([Effects(rows=(Row("site", "a", None), Row("site", "b", None)))], AT_S)
        assert store.load(0).rows == {}


def test_an_hour_computed_anew_replaces_the_old_one(directory: Path) -> None:
    """A late reading changes an hour that was kept already."""
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(hours=(hour(mean_c=1.0),))], AT_S)
        store.commit([Effects(hours=(hour(mean_c=2.0), hour(AT_S - 3600)))], AT_S)
        assert store.load(0).hours == (hour(AT_S - 3600), hour(mean_c=2.0))
        assert store.load(0, hours_from_s=AT_S).hours == (hour(mean_c=2.0),)


def test_a_notice_waits_in_the_outbox_until_it_is_sent_failed_or_withdrawn(directory: Path) -> None:
    """Tries are counted, order is that of making, and other notifiers' rows are left alone."""
    made = [notice(name) for name in ("n3", "n1", "n2", "n0")]
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(notices=(*made, notice("n1", "hook")))], AT_S)
        changes = (
            change("pending", AT_S + 1, "no route", "n1"),
            change("pending", AT_S + 6, "no route", "n1"),
            change("sent", AT_S + 2, name="n3"),
            change("failed", AT_S + 3, "550 unknown", "n2"),
            change("withdrawn", AT_S + 4, name="n0"),
            change("sent", AT_S + 4, name="never made"),
        )
        store.commit([Effects(outbox=changes)], AT_S)
        assert store.load(0).outbox == ((made[1], 2), (notice("n1", "hook"), 0))


def test_a_step_of_the_clock_does_not_bring_a_sent_notice_back(directory: Path) -> None:
    """Labels may run backwards; what is done with stays done with."""
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(notices=(notice(),), outbox=(change("pending", AT_S + 3600),))], AT_S)
        store.commit([Effects(outbox=(change("sent", AT_S),))], AT_S)
        store.commit([Effects(outbox=(change("pending", AT_S + 1),))], AT_S)
        assert store.load(0).outbox == ()


def test_the_last_thousand_digests_are_kept_in_order(directory: Path) -> None:
    """The same message twice is there twice: each is ignored once."""
    pairs = [("heather/yard", b"%d" % (number // 2)) for number in range(1200)]
    with Store.open(directory, AT_S) as store:
        for start in range(0, 1200, 300):
            store.commit([], AT_S, pairs[start : start + 300])
        assert store.load(0).digests == tuple(pairs[-1000:])
        store.commit([], AT_S, pairs)
        assert store.load(0).digests == tuple(pairs[-1000:])


def test_occurrences_since_the_history_say_how_they_stand(directory: Path) -> None:
    """One an occurrence, with the highest priority it had; those that ended before are left out."""
    old = transition(occurrence="low-temperature/larch-3@0", at_s=AT_S - 86_400)
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(transitions=(old,)), NIGHT], AT_S)
        found = store.load(AT_S).occurrences
    assert len(found) == 1
    assert found[0]["occurrence"] == "low-temperature/larch-3@1"
    assert (found[0]["state"], found[0]["seq"], found[0]["priority"]) == ("acknowledged", 2, "high")


def test_pruning_goes_in_steps_and_leaves_hours_and_alarms(directory: Path) -> None:
    """Readings before the instant's hour go; the hourly rows and all that was said stay for ever."""
    readings = tuple(reading(-60.0 * h - m, m) for h in range(1, 11) for m in range(0, 60, 10))
    with Store.open(directory, AT_S) as store:
        store.commit([NIGHT, Effects(readings=readings)], AT_S)
        for _ in range(4):
            store.commit([], AT_S)
        steps = []
        while gone := store.prune(AT_S - 3600, at_most=10):
            steps.append(gone)
        assert sum(steps) == 59
        assert max(steps) < 20
        assert store.size()["readings"] == len(NIGHT.readings) + 1
        assert len(store.load(0).hours) == 2
        assert store.load(0).occurrences


def test_the_count_of_readings_outlasts_a_restart(directory: Path) -> None:
    """`status` shows it without counting rows."""
    with Store.open(directory, AT_S) as store:
        store.commit([NIGHT], AT_S)
    with Store.open(directory, AT_S) as store:
        store.commit([Effects(readings=(reading(5),))], AT_S)
        assert store.size()["readings"] == len(NIGHT.readings) + 1


def test_figures_for_status_are_all_there(directory: Path) -> None:
    """What lies in the state directory, and what room is left."""
    (directory / "recording").mkdir(parents=True)
    (directory / "recording" / "2026-11-30.jsonl").write_bytes(b"x" * 100)
    (directory / "aftercare.db.broken-2026-11-29T03-00-00").write_bytes(b"x" * 200)
    with Store.open(directory, AT_S) as store:
        store.commit([NIGHT], AT_S)
        size = store.size()
    assert (size["recording_bytes"], size["set_aside_bytes"]) == (100, 200)
    assert size["free_bytes"] > 0
    assert size["failing"] == ""
    assert size["sqlite"].count(".") == 2


def test_a_state_directory_may_have_any_name(tmp_path: Path, monkeypatch) -> None:
    """Blanks, signs that mean something in an address, other scripts; and a relative path."""
    monkeypatch.chdir(tmp_path)
    directory = Path("cold house ?a=1#%25 ü")
    with Store.open(directory, AT_S) as store:
        store.commit([NIGHT], AT_S)
    (directory / "aftercare.db").write_bytes(b"noise" * 1000)
    with Store.open(directory, AT_S) as store:
        assert "it was damaged" in store.notes[0]
    with Reader(directory) as reader:
        assert reader.report() is None


def test_one_rotten_row_of_memory_does_not_keep_the_guard_from_starting(directory: Path) -> None:
    """The other rows are there."""
    with Store.open(directory, AT_S) as store:
        store.commit([NIGHT], AT_S)
        assert store._db is not None
        store._db.execute("UPDATE memory SET value = '{\"sta' WHERE room = 'learned'")
        assert store.load(0).rows.keys() >= {"alarm"}


def test_the_log_is_cut_at_a_checkpoint(directory: Path) -> None:
    """Figures of `status` in bytes."""
    with Store.open(directory, AT_S) as store:
        store.commit([NIGHT], AT_S)
        assert store.size()["wal_bytes"] > 0
        store.checkpoint()
        assert store.size()["wal_bytes"] == 0
        assert store.size()["database_bytes"] > 4096
        assert store.is_sound()


def test_a_second_daemon_is_told_that_the_state_is_in_use(directory: Path) -> None:
    """And may have it as soon as the first is gone."""
    first = Store.open(directory, AT_S)
    with pytest.raises(StateInUse, match="already guards with this state directory"):
        Store.open(directory, AT_S)
    first.commit([NIGHT], AT_S)
    first.close()
    with Store.open(directory, AT_S) as second:
        assert second.load(0).last_commit_at_s == AT_S


def test_a_path_that_is_no_directory_is_refused_in_one_sentence(tmp_path: Path) -> None:
    """Nothing else about the place keeps the guard from starting, but a parent that cannot be made."""
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="it is not a directory"):
        Store.open(tmp_path / "file", AT_S)
    with pytest.raises(StoreError) as caught:
        Store.open(tmp_path / "file" / "state", AT_S)
    assert "\n" not in str(caught.value)


def test_what_cannot_be_saved_as_json_is_a_fault_and_leaves_nothing_behind(directory: Path) -> None:
    """A fault of ours, not of the disk: it is raised as it is, and the transaction is undone."""
    bad = NIGHT._replace(rows=(Row("site", "a", {"x": object()}),))
    with Store.open(directory, AT_S) as store:
        with pytest.raises(TypeError):
            store.commit([bad], AT_S)
        assert plain(store.load(0))["readings"] == {}
        store.commit([NIGHT], AT_S)
        assert store.load(0).reports == ("2026-11-30",)
