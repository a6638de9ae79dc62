"""The usual does not ring: the same thing night after night is a line of the report; the unusual rings.

Three nights on end are judgement; every expected value is a rule of this program's own.
"""

from pathlib import Path
from typing import Any

from tests.engine.house import LARCH, LARCH_ALONE, PINE, House, sensor, settings_of, tree

SETTINGS = settings_of({"bench-a": sensor("bench-a", every_s=300.0)})


def cold_nights(nights: int, low_c: float = 1.0, **more: Any) -> House:
    """Nights that come to the same low, above the damage limit of Larch 3 and below its milder limit."""
    house = House(more.pop("settings", SETTINGS), begins="2027-01-10 12:00", **more)
    house.reading(8.0)
    for day in range(10, 10 + nights):
        night(house, day, low_c)
    return house


def night(house: House, day: int, low_c: float) -> None:
    """Slowly down until midnight, there until six, and warm by noon."""
    for value_c, at in (
        (2.5, f"01-{day} 20:00"),
        (low_c, f"01-{day + 1} 00:00"),
        (low_c, f"01-{day + 1} 06:00"),
    ):
        house.air(value_c, by=at, every_s=300.0)
    house.air(8.0, by=f"01-{day + 1} 12:00", every_s=300.0)


def rang(house: House) -> list[str]:
    """Notices about frost that a person heard since this was last asked."""
    return [str(notice.kind) for notice in house.notices("frost", "mail") if str(notice.kind) == "activation"]


def test_three_nights_alike_ring_and_the_fourth_is_a_line_of_the_report() -> None:
    """Whoever was told three times knows their house."""
    house = cold_nights(3)
    assert rang(house) == ["activation"] * 3
    night(house, 13, 1.0)

    assert rang(house) == []
    assert house.steps(LARCH)[-2:] == [
        ("unacknowledged", "condition"),
        ("returned-unacknowledged", "returned"),
    ]
    assert "as in the nights before, so it rang nobody" in " ".join(house.reports[-1].text.split())


def test_a_night_that_is_colder_than_usual_rings_as_it_becomes_urgent() -> None:
    """At the damage limit, named or not."""
    house = cold_nights(3)
    rang(house)
    night(house, 13, -0.5)

    said = house.notices("frost", "mail") + house.said("frost", "mail")[-1:]
    assert any(str(notice.priority) == "high" for notice in said)


def test_the_usual_rings_when_harm_is_expected_soon() -> None:
    """The same limit, and falling fast."""
    house = cold_nights(3)
    rang(house)
    house.air(3.0, by="01-13 20:00", every_s=300.0)
    house.air(1.2, by="01-13 20:40", every_s=300.0)

    assert rang(house) == ["activation"]


def test_a_tree_of_which_nobody_was_told_rings() -> None:
    """It is another thing than the one that was usual."""
    house = cold_nights(3)
    rang(house)
    for entry in tree("Pine 1", "bench-a", 1.5, -2.0):
        house.entry(**{key: value for key, value in entry.items() if key != "at"})
    night(house, 13, 1.0)

    assert rang(house) == ["activation"]
    assert PINE in house.said("frost", "mail")[-1].alarms


def test_after_a_mild_night_it_is_not_the_usual_any_more() -> None:
    """Night after night means without a night between."""
    house = cold_nights(3)
    night(house, 13, 4.0)
    rang(house)
    night(house, 14, 1.0)

    assert rang(house) == ["activation"]


def test_nights_in_which_it_became_urgent_do_not_make_it_usual() -> None:
    """They were not harmless: the early word of them is needed."""
    house = cold_nights(3, low_c=-0.5)
    rang(house)
    night(house, 13, 1.0)

    assert rang(house) == ["activation"]


def test_what_is_usual_is_known_over_a_restart(tmp_path: Path) -> None:
    """It is part of what is kept."""
    house = cold_nights(3, keep=tmp_path)
    rang(house)
    house.restart()
    night(house, 13, 1.0)

    assert rang(house) == []
    house.close()


def test_the_usual_that_rang_nobody_is_over_without_a_word() -> None:
    """Who heard nothing of its beginning needs not hear of its end."""
    house = cold_nights(3, entries=LARCH_ALONE)
    house.notices("frost")
    night(house, 13, 1.0)

    assert house.notices("frost") == []
