"""Is tonight dangerous? When it is said, how often, in which words, and what does not say it."""

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.model import NoticeKind
from monitor.notices.night_words import LowText
from monitor.notices.words import Speech
from tests.engine.house import QUIET, clock_time, instant, tree
from tests.watches.night.garden import LARCH, Garden, Learnt, garden_settings

KIND = "frost-tonight"
EVENING = "18:20:00"
"""Two hours after sunset there, to the five minutes of a look. Independent: ephem gives 16:17:41."""


@pytest.fixture
def garden(cold_house: Learnt, tmp_path: Path) -> Garden:
    """An unheated house in the afternoon before a night that comes under the larch's limit."""
    return cold_house.opened(tmp_path)


def test_it_is_said_two_hours_after_sunset(garden: Garden) -> None:
    """Not by day, and not later."""
    garden.runs("18:15")
    assert garden.rose(KIND) == []

    garden.runs("18:30")
    assert [clock_time(at_s) for at_s in garden.rose(KIND)] == [EVENING]


def test_it_is_said_an_hour_before_quiet_hours_where_that_is_earlier(
    cold_house: Learnt, tmp_path: Path
) -> None:
    """Whoever goes to bed early must still hear it."""
    early = garden_settings(quiet_hours=QUIET | {"from": "18:30"})
    garden = cold_house.opened(tmp_path, settings=early)
    garden.runs("18:00")

    assert [clock_time(at_s) for at_s in garden.rose(KIND)] == ["17:30:00"]


def test_it_says_how_cold_how_sure_and_what_to_do_before_bed(garden: Garden) -> None:
    """The whole notice, once."""
    garden.runs("18:30")

    (notice,) = garden.house.said(KIND, "mail")
    assert notice.subject == "Tonight may be too cold for Larch 3 (chance about 9 in 10) (Cold house)"
    assert "the low is expected between −" in notice.text
    assert "most likely −" in notice.text
    assert "Larch 3: damage likely below 0 °C, chance about 9 in 10" in notice.text
    assert "Before bed: shut vents and door, cover the trees with fleece" in notice.text
    assert "while their branches are not frozen" in notice.text
    assert "wet them tomorrow after 10:00" in notice.text
    assert "No burner or charcoal in a shut house; do not stay inside." in notice.text


def test_the_low_is_expected_at_sunrise_at_the_latest(garden: Garden) -> None:
    """What comes after is the sun's. Independent: ephem gives sunrise at 08:25:10."""
    garden.runs("18:30")
    (line,) = garden.lines()

    low_at_s = datetime.fromisoformat(line["low_at"]).timestamp()
    assert instant("2027-01-16 00:00") < low_at_s <= instant("2027-01-16 08:26")


def test_one_notice_is_enough_for_an_evening(garden: Garden) -> None:
    """Unseen it goes to the next person; it is not repeated while the chance stays what it was."""
    garden.runs("23:00")

    kinds = [(notice.kind, notice.notifier) for notice in garden.house.said(KIND)]
    assert kinds == [(NoticeKind.ACTIVATION, "mail"), (NoticeKind.ESCALATION, "hook")]


def test_it_rings_again_when_danger_has_become_likely(cold_house: Learnt, tmp_path: Path) -> None:
    """A chance of one in four at six is another thing than nine in ten at ten."""
    hardier = tree("Larch 3", "bench-a", -1.5, -2.5)
    garden = cold_house.opened(tmp_path, entries=hardier)
    garden.runs("18:30")
    (first,) = garden.house.said(KIND, "mail")
    assert str(first.priority) == "medium"

    garden.turns_colder(9.0)
    garden.runs("23:55")
    later = garden.house.said(KIND, "mail")[1:]
    assert [(notice.kind, str(notice.priority)) for notice in later] == [(NoticeKind.RAISED, "high")]


def test_a_night_that_is_warm_enough_is_not_spoken_of(cold_house: Learnt, tmp_path: Path) -> None:
    """The same night, a tree that bears it."""
    garden = cold_house.opened(tmp_path, entries=tree("Larch 3", "bench-a", -6.0, -8.0))
    garden.runs("09:00")

    assert garden.rose(KIND) == []


def test_a_heater_that_has_held_every_night_is_trusted(heated_house: Learnt, tmp_path: Path) -> None:
    """With it the low is far above the limit, and nobody is asked to cover trees."""
    garden = heated_house.opened(tmp_path)
    garden.runs("09:00")

    assert garden.rose(KIND) == []


def test_what_was_assumed_of_the_heater_is_said(heated_house: Learnt, tmp_path: Path) -> None:
    """What it holds, and what the night would be without it."""
    garden = heated_house.opened(tmp_path, entries=tree("Larch 3", "bench-a", 4.5, 3.6))
    garden.runs("18:30")

    (notice,) = garden.house.said(KIND, "mail")
    assert "still learning" not in notice.text
    assert "the heater is taken to hold 3.3 °C; without it the low would be about −" in notice.text
    assert "see that the heater has fuel for the whole night and is set high enough" in notice.text


def test_trees_are_named_in_order_of_need(cold_house: Learnt, tmp_path: Path) -> None:
    """The smallest margin first."""
    both = [*tree("Yew 2", "bench-a", -0.5, -1.0), *LARCH]
    garden = cold_house.opened(tmp_path, entries=both)
    garden.runs("18:30")

    (notice,) = garden.house.said(KIND, "mail")
    assert notice.subject.startswith("Tonight may be too cold for Larch 3 and Yew 2")


@pytest.mark.parametrize(
    ("what", "seen_as"),
    [
        ("silent", lambda _: None),
        ("suspect", lambda _: -45.0),
    ],
)
def test_nobody_knows_where_the_evening_has_no_readings(garden: Garden, what: str, seen_as: object) -> None:
    """No forecast is made of nothing; the sensor's own alarm speaks instead."""
    del what
    garden.runs("15:00")
    garden.runs("20:00", seen_as=seen_as)  # type: ignore[arg-type]

    assert garden.lines() == []
    assert garden.rose(KIND) == []
    assert garden.rose("sensor-silent") or garden.rose("sensor-doubtful")


def test_a_probe_that_stands_still_forecasts_nothing(garden: Garden) -> None:
    """Two hours of the same value to the last digit are a dead probe."""
    garden.runs("14:00")
    garden.runs("20:00", seen_as=lambda _: 4.0)

    assert garden.lines() == []


def test_a_retained_value_forecasts_nothing(garden: Garden) -> None:
    """It may be from yesterday."""
    garden.runs("15:00")
    for minute in range(0, 60, 5):
        garden.house.reading(-4.0, f"18:{minute:02d}", retain=True)

    assert garden.lines() == []
    assert garden.rose(KIND) == []


def test_it_is_over_in_the_morning(garden: Garden) -> None:
    """An hour after sunrise there is no tonight any more."""
    garden.runs("10:00")

    row = garden.house.row(f"{KIND}/cold")
    assert row is not None
    assert not row.active


def test_a_low_that_is_known_is_no_range() -> None:
    """A heater that holds, or a morning that is over: one figure, not the same one twice."""
    speech = Speech(ZoneInfo("Europe/London"))

    assert LowText(3.61, 3.6, 3.62, 0.0, 12).said(speech) == "about 3.6 °C"
    assert LowText(-3.1, -1.8, -0.4, 0.0, 12).said(speech).startswith("between −3.1 °C and −0.4 °C")
