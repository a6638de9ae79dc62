"""What the guard does for its own store by the calendar, and the weekly drill, in a guard as it runs."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from monitor import upkeep
from monitor.checkup import status_line
from monitor.errors import PermanentFailure
from monitor.model import Notice, NoticeKind
from monitor.upkeep import Upkeep
from tests.app.live import Live
from tests.engine.house import instant, settings_of

STORAGE = "storage-failing/site"


@pytest.fixture
def live(tmp_path: Path) -> Iterator[Live]:
    """A guard that began on a Thursday evening."""
    kinds = {"mail": "email", "hook": "webhook", "log": "journal"}
    notifiers = {name: {"type": kind} for name, kind in kinds.items()}
    with Live(tmp_path, settings_of(("bench-a", "bench-b"), notifiers=notifiers)) as running:
        running.write(kind="tree", tree="larch-3", name="Larch 3", sensor="bench-a")
        yield running


def leap(live: Live, to: str) -> None:
    """Guard time jumps to a local time; one pass."""
    live.pass_once(instant(to) - live.clock.now_s())


def drills(live: Live) -> list[tuple[str, str]]:
    """(notice, notifier) of every drill that went out."""
    return [(n.notice, n.notifier) for n in live.notices() if n.kind is NoticeKind.DRILL]


def standing(live: Live) -> bool:
    """Whether the alarm about the store stands."""
    row = live.guard.engine.board.by_name(STORAGE)
    return row is not None and row.active


# ---- the weekly drill ------------------------------------------------------------------------------------


def test_a_drill_goes_through_every_notifier_once_a_week(live: Live) -> None:
    """Saturday at eleven, each way that is configured, also those that only keep a record."""
    for day in range(15, 30):
        leap(live, f"01-{day} 10:59")
        leap(live, f"01-{day} 11:01")
    live.delivered()

    names = list(live.settings.notifiers)
    assert drills(live) == [(f"drill.2027-01-{day}", name) for day in (16, 23) for name in names]
    arrived = [n.notice for n in live.notifiers["mail"].delivered if n.kind is NoticeKind.DRILL]
    assert arrived == ["drill.2027-01-16", "drill.2027-01-23"]


def test_a_week_has_one_drill_over_restarts_and_set_clocks(live: Live) -> None:
    """Started again after it, and the clock set back before it: not again."""
    leap(live, "01-16 11:01")
    live.stop()
    live.start()
    live.clock_steps(-3600.0)
    live.passes(4000.0, every_s=500.0)

    assert len(drills(live)) == len(live.settings.notifiers)


def test_a_drill_that_does_not_get_through_is_an_alarm(live: Live) -> None:
    """An expired password is found on a Saturday noon, not in a night of frost."""

    def refused(notice: Notice) -> None:
        raise PermanentFailure("535 authentication failed")

    live.notifiers["mail"].answer = refused
    leap(live, "01-16 11:01")
    live.delivered()

    row = live.guard.engine.board.by_name("delivery-failing/site")
    assert row is not None
    assert row.active


# ---- the nightly check -----------------------------------------------------------------------------------


def checked(live: Live, night: str) -> None:
    """Let the nightly check run and be heard."""
    leap(live, f"{night} 00:41")
    live.guard._upkeep.wait(10.0)
    live.pass_once(1.0)
    live.pass_once(1.0)


def test_every_night_a_sound_database_has_its_log_cut(live: Live) -> None:
    """The log is taken in and is empty afterwards; no word is said."""
    live.reading("bench-a", 4.0)
    live.guard._commit()
    assert (live.folder / "aftercare.db-wal").stat().st_size > 0
    leap(live, "01-15 00:41")
    live.guard._upkeep.wait(10.0)
    live.guard._upkeep.turn(live.clock.now_s(), live.clock.now_s())

    assert (live.folder / "aftercare.db-wal").stat().st_size == 0
    assert not standing(live)
    assert live.guard.engine.notes == []


def test_damage_that_nobody_ran_into_is_found_at_night(live: Live) -> None:
    """A page that no commit touches is rotten: set aside, begun afresh, said; it goes on with all rows."""
    live.reading("bench-a", 4.0)
    live.guard._commit()
    live.guard.store.checkpoint()
    with closing(sqlite3.connect(live.folder / "aftercare.db")) as db:
        page, size = (
            db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'enclosures'").fetchone()[0],
            db.execute("PRAGMA page_size").fetchone()[0],
        )
    with (live.folder / "aftercare.db").open("r+b") as file:
        file.seek((page - 1) * size)
        file.write(b"\xff" * size)
    live.reading("bench-a", 4.1)
    live.guard._commit()
    assert not standing(live)
    checked(live, "01-15")

    assert list(live.folder.glob("aftercare.db.broken-*"))
    assert any("it was damaged and is kept as" in note for note in live.guard.engine.notes)
    assert live.guard.store.is_sound()
    live.reading("bench-a", 4.2)
    live.guard._commit()
    assert not live.guard.store.failing


def test_a_log_that_grows_beyond_its_bound_is_an_alarm_until_it_is_cut(
    live: Live, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program that holds a view of the database open keeps the log from being taken in."""
    monkeypatch.setattr(upkeep, "WAL_AT_MOST_BYTES", 200_000)
    monkeypatch.setattr(upkeep, "SIZE_EVERY_S", 0.0)
    with closing(sqlite3.connect(live.folder / "aftercare.db")) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM memory").fetchone()
        for minute in range(60):
            live.reading("bench-a", 4.0 + minute % 5 / 10)
            live.guard._commit()
            if standing(live):
                break
        assert standing(live)
        assert "another program holds the database open" in live.guard.engine.store_trouble
        assert not live.guard.store.failing
    live.guard.store.checkpoint()
    live.pass_once(5.0)

    assert not standing(live)


# ---- pruning ---------------------------------------------------------------------------------------------


class Shelf:
    """A store that counts."""

    def __init__(self) -> None:
        self.pruned_before_s: list[float] = []
        self.left = 3

    def prune(self, before_s: float) -> int:
        """One step of three."""
        self.pruned_before_s.append(before_s)
        self.left -= 1
        return max(0, self.left)

    def checkpoint(self) -> None:
        """Nothing to do."""

    def is_sound(self) -> bool | None:
        """It is."""
        return True

    def distrust(self) -> None:
        """It never must."""

    def size(self) -> dict[str, int]:
        """Nothing."""
        return {}


def test_pruning_goes_in_steps_until_nothing_is_left() -> None:
    """One step a turn, so that no reading waits for it."""
    shelf = Shelf()
    tending = Upkeep(shelf, keep_days=400)
    tending.job("prune")
    now_s = instant("2027-06-01 12:05")
    for _ in range(6):
        tending.turn(now_s, now_s)

    assert shelf.pruned_before_s == [now_s - 400 * 86400.0] * 3


def test_with_a_clock_that_cannot_be_right_nothing_is_pruned() -> None:
    """1970: what is old is not known."""
    shelf = Shelf()
    tending = Upkeep(shelf, keep_days=400)
    tending.job("prune")
    tending.turn(instant("2027-06-01 12:05"), 1000.0)

    assert shelf.pruned_before_s == []


def test_a_jump_of_the_clock_into_the_future_prunes_nothing(live: Live) -> None:
    """Age is counted in guard time: a clock set ten years ahead by mistake makes no reading old."""
    live.reading("bench-a", 4.0)
    live.guard._commit()
    kept = live.guard.store.size()["readings"]
    live.clock_steps(10 * 365 * 86400.0)
    live.passes(60.0)
    live.guard._upkeep.job("prune")
    live.passes(60.0)

    assert live.guard.store.size()["readings"] == kept > 0


# ---- the line for the service manager --------------------------------------------------------------------


def test_the_managers_line_says_what_is_heard_and_what_stands(live: Live) -> None:
    """`systemctl status` shows it."""
    live.reading("bench-a", 4.0)
    live.guard._show(live.clock.now_s(), at_once=True)
    assert status_line(live.guard.snapshot) == "1 of 2 sensors heard; 1 tree; no alarm stands"

    live.passes(300.0)
    live.guard._show(live.clock.now_s(), at_once=True)
    assert status_line(live.guard.snapshot) == "0 of 2 sensors heard; 1 tree; 2 alarms stand"
