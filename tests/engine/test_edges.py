"""At the edge of a limit: at it counts, a hair above it does not.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

import pytest

from tests.engine.house import HARM_C, LARCH, WARN_C, House


@pytest.mark.parametrize(("value_c", "priority"), [(WARN_C, "medium"), (HARM_C, "high")])
def test_air_at_the_milder_limit_is_medium_and_at_the_damage_limit_high(
    value_c: float, priority: str
) -> None:
    """At or below: a limit is the first value that is too cold."""
    house = House()
    house.reading(value_c)
    house.stays(until="20:05")

    assert [str(change.priority) for change in house.transitions(LARCH)] == [priority]


def test_air_a_hair_above_its_limit_is_nothing() -> None:
    """A hundredth of a degree."""
    house = House()
    house.reading(WARN_C + 0.01)
    house.stays(until="20:05")

    assert house.transitions(LARCH) == []


def test_a_notice_says_how_far_the_air_fell_in_the_last_quarter_of_an_hour() -> None:
    """From 3.0 fifteen minutes before to 0.9 now; what was before that does not count."""
    house = House()
    house.reading(9.0)
    house.air(3.0, by="20:15")
    house.air(0.9, by="20:30")

    texts = [notice.text for notice in house.notices()]
    assert any("The air has fallen" in text for text in texts)
    scene = house.engine.scenes.scene("cold")
    assert (round(scene.fell_k or 0.0, 2), scene.fell_over_s) == (2.1, 900.0)
