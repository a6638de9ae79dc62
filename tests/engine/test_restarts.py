"""A restart, an outage: no occurrence is lost or raised twice, no shelf expires, nothing is forgotten.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from pathlib import Path

import pytest

from monitor.model import Outcome
from tests.engine.house import LARCH, LARCH_ALONE, House, clock_time, sensor, settings_of

MAILED = settings_of(
    notifiers={
        "mail": {"type": "email", "host": "127.0.0.1", "from": "a@example.org", "to": ["b@example.org"]},
        "hook": {"type": "webhook", "url": "http://127.0.0.1:9/in", "secret_file": "s"},
        "log": {"type": "journal"},
    }
)


def in_frost(folder: Path, **more: object) -> House:
    """A medium alarm since one minute past eight."""
    house = House(keep=folder, **more)
    house.reading(1.0)
    house.stays(until="20:05")
    house.kinds()
    return house


def test_a_restart_in_a_frost_raises_nothing_anew(tmp_path: Path) -> None:
    """The same occurrence goes on, and nobody is rung for it."""
    house = in_frost(tmp_path)
    house.restart()
    house.stays(until="20:25")

    assert len(house.occurrences()) == 1
    assert house.kinds() == []


def test_a_frost_that_ends_while_nobody_watched_ends_once_it_is_warm_for_a_while(tmp_path: Path) -> None:
    """The end needs readings of its own."""
    house = in_frost(tmp_path)
    house.restart(after_s=500)
    house.reading(4.0)
    assert house.state() == "unacknowledged"
    house.stays(until=house.now_s + 360)

    assert house.steps()[-1] == ("returned-unacknowledged", "returned")
    assert house.kinds() == ["cleared"]


def test_a_delay_that_runs_goes_on_after_a_restart(tmp_path: Path) -> None:
    """One reading below before, one after: two."""
    house = House(keep=tmp_path)
    house.reading(3.0)
    house.reading(1.0, "20:01")
    house.restart()
    house.reading(1.0, "20:02:05")

    assert house.steps() == [("unacknowledged", "condition")]


def test_passing_on_and_repeats_keep_their_time_over_a_restart(tmp_path: Path) -> None:
    """Rung at 20:01; a restart at 20:06; Tom at 20:11, the repeat at 20:31."""
    house = House(keep=tmp_path)
    house.reading(-0.5)
    house.stays(until="20:06")
    house.kinds()
    house.restart()
    house.stays(until="20:32")

    assert [(clock_time(n.at_s), str(n.kind)) for n in house.notices()] == [
        ("20:11:00", "escalation"),
        ("20:31:00", "repeat"),
        ("20:31:00", "repeat"),
    ]


def test_what_was_seen_is_looked_at_at_the_same_times_after_a_restart(tmp_path: Path) -> None:
    """Seen at 20:05: 20:50, 21:05, 21:20, whatever was restarted in between."""
    house = in_frost(tmp_path)
    house.ack(LARCH)
    house.kinds()
    house.stays(until="21:00")
    house.air(0.7, by="21:03")
    house.restart()
    house.air(0.5, by="21:10")

    assert [clock_time(n.at_s) for n in house.notices() if n.kind == "raised"] == ["21:05:00"]


def test_seen_stays_seen_over_a_restart(tmp_path: Path) -> None:
    """Nobody is asked twice."""
    house = in_frost(tmp_path)
    house.ack(LARCH)
    house.kinds()
    house.restart()
    house.stays(until="22:30")

    assert house.state() == "acknowledged"
    assert house.kinds() == []


def test_a_restart_expires_no_shelf(tmp_path: Path) -> None:
    """Quiet for an hour is an hour."""
    house = in_frost(tmp_path)
    house.shelve(LARCH, hours=1.0)
    for minute in (10, 30, 50):
        house.stays(until=f"20:{minute}")
        house.restart()
    assert house.state() == "shelved"
    house.stays(until="21:04:59")
    assert house.state() == "shelved"

    house.stays(until="21:06")
    assert clock_time(house.transitions()[-1].at_s) == "21:05:00"


def test_the_report_knows_what_happened_before_a_restart(tmp_path: Path) -> None:
    """A frost that came and went before midnight stands in the morning's report."""
    house = House(keep=tmp_path, begins="2027-01-14 23:00")
    house.reading(1.0)
    house.stays(until="23:10")
    house.air(4.0, by="23:20")
    house.stays(until="23:30")
    assert house.state() == "returned-unacknowledged"
    house.ack(LARCH)
    house.restart()
    house.stays(until="01-15 06:46")

    (report,) = house.reports
    assert "23:01" in report.text
    assert "Larch 3" in report.text


@pytest.mark.parametrize("minutes", [1, 5])
def test_failing_delivery_is_not_forgotten_by_a_restart(tmp_path: Path, minutes: int) -> None:
    """One more failure after the start is no sign that all is well."""
    house = House(MAILED, keep=tmp_path, delivers=False)
    house.reading(1.0)
    house.stays(until="20:05")
    (rang,) = house.notices()
    for _ in range(3):
        house.stays(until=house.now_s + 60)
        house.delivered(rang, ok=False)
    assert house.state("delivery-failing/site") == "unacknowledged"
    house.restart()
    house.stays(until=house.now_s + 60 * minutes)
    house.delivered(rang, ok=False)

    assert house.steps("delivery-failing/site") == [("unacknowledged", "condition")]


def test_what_waits_for_delivery_is_counted_after_a_restart(tmp_path: Path) -> None:
    """`status` says that a notice is still under way."""
    house = in_frost(tmp_path, delivers=False)
    house.restart()

    pending = {each["notifier"]: each["pending"] for each in house.engine.snapshot().delivery}
    assert pending == {"mail": len(house.notices_seen), "hook": 0, "log": 0}


def test_a_high_notice_that_was_withdrawn_does_not_count_as_lost_for_ever() -> None:
    """Mail was down for the whole frost; once it is back, delivery is fine again."""
    house = House(MAILED, delivers=False)
    house.reading(-1.0)
    house.reading(-1.0, "20:01")
    (rang,) = house.notices()
    house.delivered(rang, ok=False)
    house.air(4.0, by="20:10")
    house.stays(until="20:20")
    assert house.state("delivery-failing/site") == "unacknowledged"
    for notice in house.notices_seen:
        if notice.kind == "cleared" or "delivery" in notice.notice:
            house.handle(Outcome(house.now_s, "delivery", True, "", notice.notice, notice.notifier))

    assert house.state("delivery-failing/site") == "returned-unacknowledged"


def test_a_start_within_the_hour_finds_nothing_that_an_unbroken_run_would_not(tmp_path: Path) -> None:
    """A root-ball below its limit is found at the next look, whether or not there was a start before it."""
    probe = {"bench-a": sensor("bench-a"), "pot-a": sensor("pot-a", place="pot")}
    potted = [entry | {"pot_sensor": "pot-a"} if entry["kind"] == "tree" else entry for entry in LARCH_ALONE]
    house = House(settings_of(probe), potted, keep=tmp_path)
    house.reading(4.0, "20:01")
    house.reading(-9.0, "20:02", "pot-a")
    house.restart(after_s=1.0)
    assert house.occurrences("frozen-root-ball/larch-3") == []

    house.reading(-9.0, "20:05:30", "pot-a")
    (found,) = house.occurrences("frozen-root-ball/larch-3")
    assert found.endswith("@2027-01-14T20:05:00Z")
    house.close()
