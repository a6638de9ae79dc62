"""The program's own troubles: delivery, storage, clock, restarts (rules of the design)."""

from pathlib import Path

from monitor.model import Outcome, Priority, Started
from tests.engine.house import House, settings_of

FAILING, STORAGE = "delivery-failing/site", "storage-failing/site"
CLOCK, RESTARTING = "clock-doubtful/site", "restarting/site"


def mailing() -> House:
    """A house whose notifiers reach people; the journal is only a record."""
    notifiers = {"mail": {"type": "email"}, "hook": {"type": "webhook"}, "log": {"type": "journal"}}
    return House(settings=settings_of(notifiers=notifiers), delivers=False)


def fails(
    house: House, at_s: float, notifier: str = "mail", notice: str = "n", permanent: bool = False
) -> None:
    """One attempt that failed."""
    house.handle(Outcome(at_s, "delivery", False, "no answer", notice, notifier, permanent))


def test_three_failures_over_a_minute_are_a_failing_delivery() -> None:
    """Two are bad luck, three within seconds are one bad moment."""
    house = mailing()
    begin_s = house.now_s
    for after_s in (0, 5, 20):
        fails(house, begin_s + after_s)
    assert house.state(FAILING) == "normal"

    fails(house, begin_s + 65)
    assert house.state(FAILING) == "unacknowledged"
    assert house.row(FAILING).priority is Priority.MEDIUM  # type: ignore[union-attr]


def test_a_permanent_failure_counts_at_once() -> None:
    """It will not get better by itself."""
    house = mailing()
    fails(house, house.now_s + 1, permanent=True)

    assert house.state(FAILING) == "unacknowledged"


def test_a_record_that_fails_is_no_failing_delivery() -> None:
    """`journal` and `cap` reach nobody anyway."""
    house = mailing()
    fails(house, house.now_s + 1, notifier="log", permanent=True)

    assert house.state(FAILING) == "normal"


def test_a_failing_delivery_is_over_when_that_way_works_again() -> None:
    """A success is the end of it."""
    house = mailing()
    fails(house, house.now_s + 1, permanent=True)
    house.handle(Outcome(house.now_s + 60, "delivery", True, "", "n2", "mail"))

    assert house.state(FAILING) == "returned-unacknowledged"


def test_an_urgent_notice_that_reaches_nobody_goes_by_any_other_way_left() -> None:
    """All of a high call have failed: high, to whoever is not failing."""
    house = mailing()
    house.air(-1.0, by="20:10")
    (notice,) = [n for n in house.notices("frost") if n.priority is Priority.HIGH][:1]
    assert notice.notifier == "mail"
    fails(house, house.now_s + 1, notice=notice.notice)

    row = house.row(FAILING)
    assert row is not None
    assert row.priority is Priority.HIGH
    said = [n for n in house.notices_seen if "delivery-failing/site" in n.alarms]
    assert {n.notifier for n in said} == {"hook"}


def test_a_store_that_does_not_keep_is_said_and_ends_by_itself() -> None:
    """Guarding goes on from memory."""
    house = House()
    house.handle(Outcome(house.now_s + 1, "store", False, "the disk is full"))
    assert house.state(STORAGE) == "unacknowledged"
    assert "the disk is full" in house.transitions(STORAGE)[0].cause

    house.handle(Outcome(house.now_s + 1, "store", True))
    assert house.state(STORAGE) == "returned-unacknowledged"


def test_a_clock_before_the_release_is_doubtful_until_it_is_set() -> None:
    """1970 cannot be right; guarding goes on."""
    house = House()
    house.handle(Started(house.now_s + 1, house.now_s, clock_trusted=False))
    assert house.state(CLOCK) == "unacknowledged"

    house.clock_steps(3.0)
    assert house.state(CLOCK) == "returned-unacknowledged"


def test_three_starts_in_an_hour_are_said_and_forgotten_an_hour_later(tmp_path: Path) -> None:
    """Two are an upgrade."""
    house = House(keep=tmp_path / "state")
    house.restart(after_s=60)
    assert house.state(RESTARTING) == "normal"

    house.restart(after_s=60)
    assert house.state(RESTARTING) == "unacknowledged"

    house.passes(house.now_s + 3700)
    assert house.state(RESTARTING) == "returned-unacknowledged"
    house.close()


def test_starts_after_an_orderly_end_are_no_trouble(tmp_path: Path) -> None:
    """An evening of changing the settings."""
    house = House(keep=tmp_path / "state", orderly=True)
    for _ in range(5):
        house.restart(after_s=60)

    assert house.transitions(RESTARTING) == []
    house.close()
