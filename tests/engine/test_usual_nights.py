"""What is entered is held against what the house came to in the last nights.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from monitor.usual_nights import against_the_house
from tests.engine.house import House, settings_of, tree

YEW_FAR_BELOW = tree("Yew 2", "bench-a", -3.0, -6.0)


def after_nights(low_c: float, nights: int = 6) -> House:
    """A house that came to the same low in each of some nights; nobody cared, the yew is hardy."""
    house = House(settings_of({"bench-a": SLOW}), YEW_FAR_BELOW, begins="2027-01-10 12:00")
    for day in range(11, 11 + nights):
        house.air(low_c, by=f"01-{day} 06:00", every_s=600.0)
        house.air(6.0, by=f"01-{day} 12:00", every_s=600.0)
    return house


SLOW = {
    "house": "cold", "topic": "t/bench-a", "payload": "json", "every_s": 600,
    "temperature_c": "/t", "relative_humidity_pct": "/rh", "observed_at": "/at",
}  # fmt: skip


def test_a_limit_that_the_house_never_holds_is_said_as_it_is_entered() -> None:
    """Before the first night of alarms, not after the second week."""
    house = after_nights(-0.5)
    house.entry("limit", tree="yew-2", limit="low_harm_c", value=0.0, reason="bent hard")

    (said,) = against_the_house(house.engine, house.engine.book.entries[-1])
    assert said.startswith("Cold house fell to 0 °C or below in 6 of the last 6 nights, and damage to Yew 2")
    assert said.endswith("Move the tree, heat, or accept a lower limit with your reason.")


def test_work_that_asks_for_more_than_the_house_holds_is_said() -> None:
    """A fresh heavy bend in a house that freezes every night."""
    house = after_nights(-2.0)
    house.entry("tree", tree="larch-3", name="Larch 3", sensor="bench-a")
    house.entry("work", tree="larch-3", work="heavy-bend")

    (said,) = against_the_house(house.engine, house.engine.book.entries[-1])
    assert said.startswith("Cold house fell to ")
    assert "damage to Larch 3 is likely there" in said


def test_a_house_that_holds_it_says_nothing() -> None:
    """Six nights at four degrees."""
    house = after_nights(4.0)
    house.entry("tree", tree="larch-3", name="Larch 3", sensor="bench-a")
    house.entry("work", tree="larch-3", work="light-wiring")

    assert against_the_house(house.engine, house.engine.book.entries[-1]) == []


def test_what_asks_for_no_warmth_is_not_answered_so() -> None:
    """A note."""
    house = after_nights(-2.0)
    house.entry("limit", tree="yew-2", limit="low_harm_c", value=0.0, reason="bent hard")
    house.entry("note", tree="yew-2", note="snow on the roof")

    assert against_the_house(house.engine, house.engine.book.entries[-1]) == []
