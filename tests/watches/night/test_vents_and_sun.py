"""Vents before the frost and before the sun: when it is said, and what looks like it and is not."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from tests.engine.house import clock_time, instant, tree
from tests.watches.night.garden import LARCH, Garden, Learnt, garden_settings

VENTS, SUN = "vents-open", "sun-ahead"
SUNSET, DUSK = instant("2027-01-15 16:18"), instant("2027-01-15 16:58")
"""Independent: ephem, for the site; dusk is the sun six degrees down."""


@pytest.fixture
def garden(cold_house: Learnt, tmp_path: Path) -> Garden:
    """A house without a heater in the afternoon before a cold night."""
    return cold_house.opened(tmp_path)


# ---- vents open --------------------------------------------------------------------------------------------


def test_open_vents_are_told_of_before_dusk(garden: Garden) -> None:
    """The air follows the wind outside, and the night will be cold."""
    garden.runs("17:30", vents=True)

    (rose_s,) = garden.rose(VENTS)
    assert SUNSET - 2 * 3600.0 <= rose_s <= DUSK


def test_it_says_inside_outside_tonight_and_until_when(garden: Garden) -> None:
    """One errand."""
    garden.runs("17:30", vents=True)

    notice = garden.house.said(VENTS)[0]
    assert notice.subject.startswith("Vents or door seem to be open: inside ")
    assert "the house follows faster than when it is shut" in notice.text
    assert "tonight's low is expected about −" in notice.text
    assert "Larch 3 is tender below 1.5 °C" in notice.text
    assert "Shut vents and door before 17:" in notice.text


def test_it_stands_until_they_are_shut(garden: Garden) -> None:
    """Not until the wind drops for a moment."""
    garden.runs("18:00", vents=True)
    row = garden.house.row(f"{VENTS}/cold")
    assert row is not None
    assert row.active

    garden.runs("21:00")
    row = garden.house.row(f"{VENTS}/cold")
    assert row is None or not row.active


def test_a_shut_house_is_left_in_peace(garden: Garden) -> None:
    """Cloud, weak sun, and a house that is hardly warmer than the air outside."""
    garden.runs("20:00")

    assert garden.rose(VENTS) == []


def test_a_visit_is_no_open_vent(garden: Garden) -> None:
    """Ten minutes with the door open."""
    garden.runs("15:40")
    garden.runs("15:50", door=True)
    garden.runs("20:00")

    assert garden.rose(VENTS) == []


def test_vents_may_stay_open_before_a_mild_night(cold_house: Learnt, tmp_path: Path) -> None:
    """Where no tree asks for a limit that the night comes near."""
    garden = cold_house.opened(tmp_path, entries=tree("Pine 1", "bench-a", -10.0, -12.0))
    garden.runs("20:00", vents=True)

    assert garden.rose(VENTS) == []


def test_nothing_is_said_of_vents_where_the_air_outside_is_not_known(
    cold_house: Learnt, tmp_path: Path
) -> None:
    """A cold bench may have many causes."""
    garden = cold_house.opened(tmp_path, settings=garden_settings(outdoor=False))
    garden.runs("20:00", vents=True)

    assert garden.rose(VENTS) == []


def test_a_bench_that_falls_silent_does_not_shut_the_vents(garden: Garden) -> None:
    """Unknown is not shut."""
    garden.runs("17:30", vents=True)
    garden.runs("19:30", seen_as=lambda _: None)

    row = garden.house.row(f"{VENTS}/cold")
    assert row is not None
    assert row.active


# ---- sun ahead ---------------------------------------------------------------------------------------------


def warm_limit(high_c: float, harm_c: float = 0.0) -> Sequence[dict[str, Any]]:
    """Larch 3 with a limit for warmth as well."""
    at = "2027-01-01T10:00:00Z"
    limit = {"kind": "limit", "tree": "larch-3", "limit": "high_warn_c", "value": high_c, "reason": "to test"}
    return [*tree("Larch 3", "bench-a", harm_c + 1.5, harm_c), {"at": at, **limit}]


def sunny(cold_house: Learnt, folder: Path, **changes: Any) -> Garden:
    """The night is over and the sun comes up as it did on no day before."""
    garden = cold_house.opened(folder, entries=warm_limit(12.0), **changes)
    garden.runs("07:00")
    garden.clear = 4.0
    return garden


def test_heat_is_told_of_an_hour_before_it_is_there(cold_house: Learnt, tmp_path: Path) -> None:
    """By how the morning warms, with the vents shut."""
    garden = sunny(cold_house, tmp_path)
    garden.runs("15:00")

    (rose_s,) = garden.rose(SUN)
    hot_s = next(at_s for at_s, air_c in garden.truth if air_c >= 12.0)
    assert hot_s - rose_s >= 3600.0


def test_it_says_until_when_to_open_and_to_shut(cold_house: Learnt, tmp_path: Path) -> None:
    """Open before it is hot, shut before the frost."""
    garden = sunny(cold_house, tmp_path)
    garden.runs("12:00")

    text = garden.house.said("heat")[0].text
    assert "The sun will bring the house to about 1" in text
    assert "Larch 3 should stay under 12 °C" in text
    assert "Open the vents by 1" in text
    assert "shut them by 14:" in text


def test_a_dull_morning_says_nothing(cold_house: Learnt, tmp_path: Path) -> None:
    """The same limit, no sun to speak of."""
    garden = cold_house.opened(tmp_path, entries=warm_limit(12.0))
    garden.runs("15:00")

    assert garden.rose(SUN) == []


def test_nobody_is_told_to_open_the_vents_into_frost(cold_house: Learnt, tmp_path: Path) -> None:
    """Colder outside than the tenderest tree may have: heat is the smaller harm."""
    garden = cold_house.opened(tmp_path, entries=warm_limit(12.0))
    garden.turns_colder(12.0)
    garden.runs("07:00")
    garden.clear = 8.0
    garden.runs("15:00")

    assert max(air_c for at_s, air_c in garden.truth if at_s > instant("2027-01-16 09:00")) > 12.0
    assert garden.rose(SUN) == []


def test_sun_on_a_bench_in_doubt_says_nothing(cold_house: Learnt, tmp_path: Path) -> None:
    """A probe that stands still knows of no morning."""
    garden = sunny(cold_house, tmp_path)
    garden.runs("15:00", seen_as=lambda _: 4.0)

    assert garden.rose(SUN) == []


def test_it_is_over_at_noon(cold_house: Learnt, tmp_path: Path) -> None:
    """From then on the heat speaks for itself."""
    garden = sunny(cold_house, tmp_path)
    garden.runs("12:45")

    row = garden.house.row(f"{SUN}/cold")
    assert garden.rose(SUN)
    assert row is None or not row.active, clock_time(garden.house.now_s)


# ---- sun, then frost ---------------------------------------------------------------------------------------


def bent() -> Sequence[dict[str, Any]]:
    """A larch bent two days ago."""
    work = {"kind": "work", "tree": "larch-3", "work": "heavy-bend"}
    return [*LARCH[:1], {"at": "2027-01-13T10:00:00Z", **work}]


def test_a_fresh_bend_that_had_sun_is_named_before_the_frost(cold_house: Learnt, tmp_path: Path) -> None:
    """Above ten degrees by day, under minus three by night."""
    garden = cold_house.opened(tmp_path, entries=bent())
    garden.clear = 9.0
    garden.runs("16:00")
    garden.clear = 0.6
    garden.turns_colder(14.0)
    garden.runs("18:30")

    assert max(air_c for _, air_c in garden.truth) > 10.0
    text = garden.house.said("frost-tonight")[0].text
    assert "Larch 3 had sun by day and frost will follow: shade the south-west side tomorrow" in text


def test_a_dull_day_before_the_frost_asks_for_no_shade(cold_house: Learnt, tmp_path: Path) -> None:
    """The same frost."""
    garden = cold_house.opened(tmp_path, entries=bent())
    garden.runs("16:00")
    garden.turns_colder(14.0)
    garden.runs("18:30")

    assert "shade the south-west side" not in garden.house.said("frost-tonight")[0].text
