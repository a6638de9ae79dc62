"""The heater: out, too small, or only cycling. Houses are made (`garden.py`), the guard is real."""

from pathlib import Path

import pytest

from tests.engine.house import clock_time
from tests.watches.night.conftest import HEATED_HOUSE
from tests.watches.night.garden import Garden, Learnt, garden_settings, too_small

KIND = "heater-not-holding"


@pytest.fixture
def garden(heated_house: Learnt, tmp_path: Path) -> Garden:
    """A heated house in the evening of a cold night."""
    opened = heated_house.opened(tmp_path)
    opened.turns_colder(3.0)
    opened.runs("01:00")
    return opened


def test_a_heater_that_goes_out_is_found_within_a_quarter_of_an_hour(garden: Garden) -> None:
    """From when the thermostat first calls in vain; the guard sees the air only every five minutes."""
    garden.runs("03:00", heater=False)

    (rose_s,) = garden.rose(KIND)
    assert garden.called_s is not None
    assert rose_s - garden.called_s <= 900.0


def test_in_a_new_house_a_plain_rule_finds_it(tmp_path: Path) -> None:
    """Nothing is learnt: a degree and a half under its setting for twenty minutes, and still falling."""
    garden = Garden(garden_settings(4.0), plan=HEATED_HOUSE, begins="2027-01-15 13:00", keep=tmp_path)
    garden.turns_colder(4.0)
    garden.runs("01:00")
    assert garden.rose(KIND) == []

    garden.runs("04:00", heater=False)
    (rose_s,) = garden.rose(KIND)
    under_s = next(at_s for at_s, air_c in garden.truth if air_c <= 2.5)
    assert 1200.0 <= rose_s - under_s <= 2100.0


def test_one_low_reading_decides_nothing(garden: Garden) -> None:
    """It may be a draught; the next readings are as always. Nor does it when it comes again later."""
    values = iter([1.0, None, None, 1.0, None, None])
    garden.runs("01:30", seen_as=lambda seen_c: next(values) or seen_c)
    garden.runs("03:00")

    assert garden.rose(KIND) == []
    assert garden.rose("cooling-fast") == []


def test_it_says_fuel_first_and_who_is_next(garden: Garden) -> None:
    """Somebody at three in the morning must know what to look at."""
    garden.house.entry("note", house="cold", note="new gas bottle on Sunday")
    garden.runs("02:00", heater=False)

    first = garden.house.said("frost")[0]
    assert str(first.priority) == "high"
    assert first.subject.startswith(f"The heater has not held since {clock_time(garden.rose(KIND)[0])[:5]}")
    assert "it is set to 4 °C" in first.text
    assert "Next: Larch 3 at 0 °C about" in first.text
    assert "What to do: Bottle empty? Look at the fuel first" in first.text
    assert "You wrote: “new gas bottle on Sunday”." in first.text
    assert first.text.rstrip().endswith("No burner or charcoal in a shut house; do not stay inside.")


def test_it_does_not_ring_while_the_thermostat_cycles(garden: Garden) -> None:
    """Half a degree up and down all night is how a heater works."""
    garden.runs("09:00")

    assert garden.rose(KIND) == []


def test_it_does_not_ring_for_a_door_in_the_evening(garden: Garden) -> None:
    """Ten minutes of cold air, and the heater fills it up again."""
    garden.runs("18:00")
    garden.runs("18:10", door=True)
    garden.runs("21:00")

    assert garden.rose(KIND) == []


def test_it_does_not_ring_for_readings_in_doubt(garden: Garden) -> None:
    """A probe that jumps to minus fourteen and back says nothing of the heater."""
    values = iter([None, -14.0, None, None, -14.0, None])
    garden.runs("01:30", seen_as=lambda seen_c: next(values) or seen_c)
    garden.runs("03:00")

    assert garden.rose(KIND) == []


def test_it_ends_when_the_house_is_back_in_its_usual_band(garden: Garden) -> None:
    """And says so once."""
    garden.runs("02:00", heater=False)
    garden.runs("05:00")

    row = garden.house.row(f"{KIND}/cold")
    assert row is not None
    assert not row.active


def test_no_readings_do_not_end_it(garden: Garden) -> None:
    """A sensor that falls silent while the heater is out leaves the alarm as it is."""
    garden.runs("02:00", heater=False)
    garden.runs("04:00", seen_as=lambda _: None)

    row = garden.house.row(f"{KIND}/cold")
    assert row is not None
    assert row.active


def test_a_warm_value_that_a_retained_message_repeats_does_not_end_it(garden: Garden) -> None:
    """It may be from yesterday."""
    garden.runs("02:00", heater=False)
    for minute in range(5, 40, 5):
        garden.house.reading(4.5, f"02:{minute:02d}", retain=True)

    row = garden.house.row(f"{KIND}/cold")
    assert row is not None
    assert row.active


def test_a_house_that_is_set_lower_is_not_failing(garden: Garden) -> None:
    """The book stands over the settings."""
    garden.house.entry("heater", house="cold", setpoint_c=0.5)
    garden.plan = garden.plan_at(0.5)
    garden.runs("07:00")

    assert garden.rose(KIND) == []


def test_a_heater_that_is_too_small_for_the_night_is_said_differently(
    heated_house: Learnt, tmp_path: Path
) -> None:
    """It runs without a break and the air still falls: the bottle is not empty."""
    garden = heated_house.opened(tmp_path)
    garden.plan = too_small(garden.plan)
    garden.turns_colder(8.0)
    garden.runs("07:00")

    texts = [notice.text for notice in garden.house.said("frost")]
    assert any("The heater runs but is too small for tonight" in text for text in texts)
    assert any("Lose less heat: shut vents and door" in text for text in texts)
    assert not any("Bottle empty?" in text for text in texts)


def test_it_does_not_ask_for_a_heater_in_a_house_without_one(cold_house: Learnt, tmp_path: Path) -> None:
    """Nothing to fail."""
    garden = cold_house.opened(tmp_path)
    garden.turns_colder(4.0)
    garden.runs("07:00")

    assert garden.rose(KIND) == []
