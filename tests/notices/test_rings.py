"""What rang is asked about afterwards, and the answer is kept: over a restart, for eight days."""

from pathlib import Path

import pytest

from monitor.model import Command, Priority
from monitor.notices.rings import Ring, Rings
from tests.engine.house import House

DAY_S = 86400.0


def frost_that_is_over(keep: Path | None = None) -> House:
    """A night alarm at Larch 3, rung as high at nine, over at ten."""
    house = House(keep=keep)
    house.air(3.0, by="20:10")
    house.air(-0.5, by="21:00")
    house.air(4.0, by="22:00")
    return house


def rang(house: House) -> list[tuple[str, str, bool | None, str]]:
    """What rang and is over."""
    rings = house.engine.desk.rings.since(0.0)
    return [(ring.what, str(ring.priority), ring.is_worth, ring.by) for ring in rings]


def say(house: House, **values: object) -> bool:
    """Somebody answers; whether it was taken."""
    effects = house.handle(Command(house.now_s, "worth", values, "ann"))
    return effects.replies[0].ok


def test_what_rang_waits_for_an_answer_once_it_is_over() -> None:
    """Not before: nobody has an answer while it is cold."""
    house = House()
    house.air(3.0, by="20:10")
    house.air(-0.5, by="21:00")
    assert rang(house) == []

    house.air(4.0, by="22:00")
    assert rang(house) == [("frost at Larch 3", "high", None, "")]


def test_an_answer_is_kept_and_may_be_thought_over() -> None:
    """The last one stands."""
    house = frost_that_is_over()
    (ring,) = house.engine.desk.rings.since(0.0)
    assert say(house, episode=ring.episode, worth=False)
    assert say(house, episode=ring.episode, worth=True)

    assert rang(house) == [("frost at Larch 3", "high", True, "ann")]


@pytest.mark.parametrize("values", [{}, {"episode": "none", "worth": True}, {"episode": "", "worth": "yes"}])
def test_an_answer_to_nothing_is_refused(values: dict[str, object]) -> None:
    """And writes nothing."""
    house = frost_that_is_over()
    assert not say(house, **values)

    assert rang(house) == [("frost at Larch 3", "high", None, "")]


def test_it_is_known_after_a_restart(tmp_path: Path) -> None:
    """As every fact of the guard."""
    house = frost_that_is_over(tmp_path)
    try:
        (ring,) = house.engine.desk.rings.since(0.0)
        say(house, episode=ring.episode, worth=True)
        house.restart()

        assert rang(house) == [("frost at Larch 3", "high", True, "ann")]
    finally:
        house.close()


def test_what_never_rang_is_not_asked_about() -> None:
    """The house stays warm."""
    house = House()
    house.air(5.0, by="22:00")

    assert rang(house) == []


def test_after_eight_days_it_is_forgotten() -> None:
    """When the next one is over; its row goes, too."""
    rings = Rings()
    rings.over(Ring("a", "frost at Larch 3", "", Priority.HIGH, 0.0, 100.0))
    rings.take_changed()
    rings.over(Ring("b", "frost at Yew 2", "", Priority.HIGH, 0.0, 100.0 + 8 * DAY_S + 1.0))

    assert [ring.episode for ring in rings.since(0.0)] == ["b"]
    gone = {row.key: row.value is None for row in rings.take_changed()}
    assert gone == {"rang/a": True, "rang/b": False}


def test_a_house_that_rings_without_end_fills_no_memory() -> None:
    """The last two hundred are kept."""
    rings = Rings()
    for number in range(230):
        rings.over(Ring(str(number), "frost at Larch 3", "", Priority.HIGH, 0.0, float(number + 1)))

    assert [ring.episode for ring in rings.since(0.0)] == [str(number) for number in range(30, 230)]
