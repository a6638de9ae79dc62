"""People date the book by their clocks, the guard by its own time: no set clock leaves a tree without limits.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from pathlib import Path
from typing import Any

import pytest

from monitor.clock import parse_rfc3339, rfc3339
from monitor.told_book import ToldBook
from monitor.trees.book import Book
from tests.engine.house import LARCH, House

DAY_S = 86_400.0
LARCH_ENTRY = {"at": "2027-01-10T10:00:00Z", "kind": "tree", "tree": "larch-3", "sensor": "bench-a"}


def new_house(**more: Any) -> House:
    """Larch 3 at its bench, nothing done to it yet."""
    house = House(entries=[LARCH_ENTRY], **more)
    house.air(4.0, by="20:01")
    return house


def held(house: House) -> bool:
    """Whether the frost limits of a fresh heavy bend hold for Larch 3."""
    return "low_harm_c" in house.engine.guarding.trees["larch-3"].limits


@pytest.mark.parametrize("by_s", [3 * 3600.0, 700 * DAY_S, -3 * 3600.0])
def test_work_entered_after_the_clock_was_set_holds_at_once(by_s: float) -> None:
    """A small computer starts hours behind, and is set once the network is there."""
    house = new_house()
    house.clock_steps(by_s)
    house.entry("work", tree="larch-3", work="heavy-bend")
    assert held(house)

    house.air(-3.0, by=house.now_s + 1800.0)
    assert house.state(LARCH) == "unacknowledged"


def test_work_of_the_last_days_holds_while_the_clock_is_days_behind() -> None:
    """After a power cut without a network: what is in the book has happened."""
    house = new_house()
    house.entry("work", tree="larch-3", work="heavy-bend")
    house.clock_steps(-5 * DAY_S)

    assert held(house)
    assert house.engine.guarding.trees["larch-3"].stages[0].day == 0


def test_work_dated_by_hand_while_the_clock_cannot_be_right_holds_at_once() -> None:
    """`--at` says when it was; the guard learns later when that is."""
    house = new_house(begins="2027-01-14 20:00")
    house.clock_steps(-3000 * DAY_S)
    work = {"kind": "work", "tree": "larch-3", "work": "heavy-bend", "at": "2027-01-14T15:00:00Z"}
    house.written(work)
    assert held(house)

    house.clock_steps(0.0 - house.offset_s)
    assert held(house)
    assert house.engine.guarding.trees["larch-3"].tree.works[0].at_s == parse_rfc3339("2027-01-14T15:00:00Z")


def test_days_are_counted_by_peoples_time_once_the_clock_is_right() -> None:
    """Bent two days ago, says the grower, whatever the guard's own time was meanwhile."""
    house = new_house()
    house.clock_steps(10 * DAY_S)
    at = rfc3339(house.now_s + house.offset_s - 2 * DAY_S)
    house.entry("work", tree="larch-3", work="heavy-bend", at=at)

    assert house.engine.guarding.trees["larch-3"].stages[0].day == 2


def test_a_duty_is_by_peoples_time(tmp_path: Path) -> None:
    """Tom from now until tomorrow, and the clock three hours ahead of the guard."""
    house = new_house()
    house.clock_steps(3 * 3600.0)
    house.entry("duty", person="tom", until=rfc3339(house.now_s + house.offset_s + DAY_S))
    assert house.engine.scenes.duty() == ("tom",)

    house.passes(house.now_s + DAY_S - 10.0)
    assert house.engine.scenes.duty() == ("tom",)
    house.passes(house.now_s + 20.0)
    assert house.engine.scenes.duty() == ()


def test_a_restart_remembers_when_what_lay_ahead_was_handed_in(tmp_path: Path) -> None:
    """So that days and delays go on as if nothing had been."""
    house = new_house(keep=tmp_path)
    house.entry("work", tree="larch-3", work="heavy-bend")
    house.clock_steps(-5 * DAY_S)
    began_s = house.engine.guarding.trees["larch-3"].tree.works[0].at_s
    house.restart(after_s=3600.0)

    assert house.engine.guarding.trees["larch-3"].tree.works[0].at_s == began_s
    house.close()


def test_the_book_that_people_see_stays_as_they_wrote_it() -> None:
    """Page and command line show people's own times."""
    house = new_house()
    house.clock_steps(3 * 3600.0)
    house.entry("work", tree="larch-3", work="heavy-bend")

    written = house.engine.book.trees["larch-3"].works[0].at_s
    assert written == pytest.approx(house.now_s + house.offset_s, abs=0.001)


def test_one_book_is_kept_where_nothing_differs() -> None:
    """No second fold while the clocks agree."""
    told = ToldBook(Book.fold([LARCH_ENTRY]))
    told.settle(parse_rfc3339("2027-02-01T00:00:00Z"))
    assert told.book is told.labels
