"""Is harm near? The time that is left by the house's own cooling, and what must not be taken for it."""

from pathlib import Path

import pytest

from tests.engine.house import clock_time, tree
from tests.watches.night.garden import Garden, Learnt, garden_settings

KIND = "cooling-fast"


@pytest.fixture
def cold(cold_house: Learnt, tmp_path: Path) -> Garden:
    """An unheated house before a night that comes under the larch's limit."""
    garden = cold_house.opened(tmp_path)
    garden.turns_colder(3.0)
    return garden


@pytest.fixture
def heated(heated_house: Learnt, tmp_path: Path) -> Garden:
    """A house that a heater holds at four degrees in a cold night."""
    garden = heated_house.opened(tmp_path)
    garden.turns_colder(4.0)
    return garden


def reached_s(garden: Garden, limit_c: float = 0.0) -> float:
    """When the true air first came to a limit."""
    return next(at_s for at_s, air_c in garden.truth if air_c <= limit_c)


def test_it_comes_while_there_is_still_time_to_walk_over(cold: Garden) -> None:
    """Ann needs half an hour; the air is at the limit an hour after she was told, give or take."""
    cold.runs("02:00")

    (rose_s,) = cold.rose(KIND)
    assert 1800.0 < reached_s(cold) - rose_s < 2 * 3600.0


def test_it_becomes_urgent_when_less_time_is_left_than_the_way_takes(cold: Garden) -> None:
    """Medium first; high before harm, with half an hour and a quarter left at most."""
    cold.runs("02:00")

    steps = [t for t in cold.house.transitions_seen if t.kind == KIND and t.because != "returned"]
    assert [str(step.priority) for step in steps] == ["medium", "high"]
    assert 0.0 < reached_s(cold) - steps[1].at_s <= 45 * 60.0


def test_whoever_lives_further_away_is_told_sooner(cold_house: Learnt, tmp_path: Path) -> None:
    """The time that the person on call needs counts."""
    told = []
    for reach_s in (600, 5400):
        people = {"ann": {"reach_s": reach_s, "notifiers": ["mail"]}}
        calls = [{"tell": ["high", "medium", "low", "report"], "who": ["ann"]}]
        garden = cold_house.opened(
            tmp_path / str(reach_s), settings=garden_settings(people=people, calls=calls)
        )
        garden.turns_colder(3.0)
        garden.runs("02:00")
        told.append(garden.rose(KIND)[0])

    assert told[1] < told[0]


def test_it_says_when_how_sure_and_what_to_do(heated: Garden) -> None:
    """An hour with its doubt; the heater first where there is one."""
    heated.runs("01:00")
    heated.runs("05:00", heater=False)

    reason = next(t for t in heated.house.transitions_seen if t.kind == KIND)
    assert reason.cause.startswith("the air at Larch 3 is ")
    assert "and falling fast" in reason.cause
    assert "by how this house cools it is at 0 °C about 0" in reason.consequence
    assert ", chance " in reason.consequence
    assert reason.action.startswith("See whether the heater runs (bottle empty? switch? fuse?)")
    assert "No burner or charcoal in a shut house" in reason.action


def test_the_hour_it_names_is_right_to_half_an_hour(cold: Garden) -> None:
    """Against the air that came, as said when it rose."""
    cold.runs("02:00")

    said = next(t for t in cold.house.transitions_seen if t.kind == KIND).consequence
    named_s = cold.house.at(f"2027-01-15 {said.split('about ')[1][:5]}")
    assert abs(named_s - reached_s(cold)) <= 1800.0, (said, clock_time(reached_s(cold)))


def test_the_heaters_cycling_does_not_ring(heated: Garden) -> None:
    """Between two bursts of heat the air falls ten degrees an hour; the heater turns it every time."""
    heated.runs("09:00")

    assert heated.rose(KIND) == []


@pytest.mark.parametrize("opened", ["15:30", "19:00", "23:30"])
def test_a_door_does_not_ring(heated: Garden, opened: str) -> None:
    """Eight minutes of cold air from outside."""
    heated.runs(opened)
    heated.runs(f"{opened[:3]}{int(opened[3:]) + 10:02d}", door=True)
    heated.runs("09:00")

    assert heated.rose(KIND) == []


def test_readings_in_doubt_do_not_ring(heated: Garden) -> None:
    """A probe that jumps, and one that falls impossibly fast."""
    heated.runs("02:00")
    wild = iter([-14.0, None, 1.0, None, -14.0, None, None, None, None, None, None, None])
    heated.runs("03:00", seen_as=lambda seen_c: next(wild) or seen_c)
    heated.runs("09:00")

    assert heated.rose(KIND) == []


def test_it_yields_to_the_frost_itself(cold: Garden) -> None:
    """Once harm is there, how fast it was coming is no news."""
    cold.runs("03:00")

    row = cold.house.row(f"{KIND}/larch-3")
    frost = cold.house.row()
    assert frost is not None
    assert str(frost.priority) == "high"
    assert row is not None
    assert not row.active


def test_silence_does_not_end_it(cold: Garden) -> None:
    """No reading is not a warmer one."""
    cold.runs("22:30")
    assert cold.rose(KIND)
    cold.runs("22:55", seen_as=lambda _: None)

    row = cold.house.row(f"{KIND}/larch-3")
    assert row is not None
    assert row.active


def test_a_retained_warm_value_does_not_end_it(cold: Garden) -> None:
    """It is of unknown age."""
    cold.runs("22:30")
    cold.house.reading(6.0, retain=True)
    cold.house.passes("22:36")

    row = cold.house.row(f"{KIND}/larch-3")
    assert row is not None
    assert row.active


def test_a_tree_far_above_its_limit_does_not_ring(cold_house: Learnt, tmp_path: Path) -> None:
    """The same fall, a hardy tree."""
    garden = cold_house.opened(tmp_path, entries=tree("Pine 1", "bench-a", -10.0, -12.0))
    garden.turns_colder(3.0)
    garden.runs("09:00")

    assert garden.rose(KIND) == []


def test_a_new_house_is_guarded_from_its_first_night(tmp_path: Path) -> None:
    """Nothing is learnt yet: the fall of the last hour must do."""
    garden = Garden(garden_settings(), begins="2027-01-15 13:00", keep=tmp_path)
    garden.turns_colder(6.0)
    garden.runs("09:00")

    assert garden.rose(KIND)
    assert garden.rose(KIND)[0] < reached_s(garden)


def test_no_settings_of_a_person_are_needed(cold_house: Learnt, tmp_path: Path) -> None:
    """Without people the way is taken to be what is usual."""
    bare = garden_settings(people={}, calls=[{"tell": ["high", "medium", "low"], "who": ["log"]}])
    garden = cold_house.opened(tmp_path, settings=bare)
    garden.turns_colder(3.0)
    garden.runs("02:00")

    assert garden.rose(KIND)
