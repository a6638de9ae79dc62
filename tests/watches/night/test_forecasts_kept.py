"""Forecasts: kept as a stream, scored the next morning beside three rivals, learnt from trusted nights."""

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.model import Message
from tests.engine.house import instant, tree
from tests.watches.night.garden import COLD_HOUSE, LARCH, Garden, Learnt, garden_settings

TOPIC = "weather/low"
THAT_NIGHT = ("2027-01-15 18:20", "2027-01-16 09:25")


@pytest.fixture
def garden(cold_house: Learnt, tmp_path: Path) -> Garden:
    """An unheated house after a fortnight of learning."""
    return cold_house.opened(tmp_path)


def skill(garden: Garden, sensor: str = "bench-a") -> Mapping[str, Any]:
    """How the forecasts of one place did, as page and command line are told."""
    return next(row for row in garden.house.engine.snapshot().more["skill"] if row["sensor"] == sensor)


def known_of(garden: Garden, sensor: str = "bench-a") -> Mapping[str, Any]:
    """What was learnt of one place, as it is kept."""
    return garden.house.learned()[f"nights/{sensor}"]


# ---- the stream --------------------------------------------------------------------------------------------


def test_every_hour_from_the_evening_to_the_morning_is_a_line(garden: Garden) -> None:
    """Bench and air outside; the first two hours after sunset, the last before the night is over."""
    garden.runs("12:00")

    for sensor in ("bench-a", "yard"):
        issued = [datetime.fromisoformat(line["issued_at"]).timestamp() for line in garden.lines(sensor)]
        assert issued[0] == instant("2027-01-15 18:20")
        assert {later - earlier for earlier, later in pairwise(issued)} == {3600.0}
        assert len(issued) == 16
        assert {line["night"] for line in garden.lines(sensor)} == {"2027-01-15"}


def test_a_line_has_quantiles_an_hour_and_a_chance_for_each_limit(garden: Garden) -> None:
    """All that page, report and other programs read."""
    garden.runs("18:30")
    (line,) = garden.lines()

    low_c = line["low_c"]
    assert low_c["p10"] < low_c["p50"] < low_c["p90"]
    assert datetime.fromisoformat(line["low_at"]).timestamp() > instant("2027-01-15 18:20")
    assert [below["limit_c"] for below in line["below"]] == [1.5, 0.0]
    assert line["below"][0]["chance"] >= line["below"][1]["chance"] > 0.0
    assert line["nights_learned"] >= 10


def test_every_limit_in_force_there_has_its_chance(cold_house: Learnt, tmp_path: Path) -> None:
    """Of all trees at the sensor; a limit that is entered by night counts from the next hour on."""
    garden = cold_house.opened(tmp_path, entries=[*LARCH, *tree("Yew 2", "bench-a", -1.0, -2.0)])
    garden.runs("18:30")
    garden.house.entry("limit", tree="yew-2", limit="low_harm_c", value=-5.0, reason="hardy after all")
    garden.runs("19:30")

    first, second = garden.lines()
    assert [below["limit_c"] for below in first["below"]] == [1.5, 0.0, -1.0, -2.0]
    assert [below["limit_c"] for below in second["below"]] == [1.5, 0.0, -1.0, -5.0]


def test_as_the_night_goes_on_the_band_narrows(garden: Garden) -> None:
    """And never claims a low above what has been."""
    garden.runs("09:20")

    widths = [line["low_c"]["p90"] - line["low_c"]["p10"] for line in garden.lines()]
    assert widths[-1] < 0.5 < widths[0]
    lowest_c = min(air_c for at_s, air_c in garden.truth if at_s <= instant("2027-01-16 09:20"))
    assert garden.lines()[-1]["low_c"]["p50"] == pytest.approx(lowest_c, abs=0.3)


# ---- the next morning --------------------------------------------------------------------------------------


def test_what_was_said_is_scored_against_what_came(garden: Garden) -> None:
    """One more night in the count; the error is that of the first line."""
    garden.runs("18:30")
    before = skill(garden)["nights"]
    said_c = garden.lines()[0]["low_c"]["p50"]
    garden.runs("10:00")

    begins_s, ends_s = (instant(text) for text in THAT_NIGHT)
    low_c = min(air_c for at_s, air_c in garden.truth if begins_s <= at_s <= ends_s)
    assert skill(garden)["nights"] == before + 1
    scored = known_of(garden)["scores"][-1]
    assert scored[0] == "2027-01-15"
    assert scored[3] == pytest.approx(said_c, abs=0.001)
    assert scored[-1] == pytest.approx(low_c, abs=0.2)


def test_three_honest_rivals_stand_beside_it(garden: Garden) -> None:
    """This evening's temperature, last night's low, this evening less the usual fall."""
    garden.runs("10:00")

    figures = skill(garden)
    assert set(figures["rivals_k"]) == {"evening_c", "last_low_c", "usual_fall_c"}
    assert all(math.isfinite(error_k) and error_k > 0 for error_k in figures["rivals_k"].values())
    assert figures["nights"] >= 10
    assert figures["enough"]


def test_the_rivals_are_what_they_say(garden: Garden) -> None:
    """Counted here from the true air of the evening before and of this evening."""
    garden.runs("10:00")
    garden.runs("2027-01-17 10:00")

    at = dict(garden.truth)
    scored = known_of(garden)["scores"][-1]
    evening_c, last_low_c = scored[5], scored[6]
    begins_s, ends_s = (instant(text) for text in THAT_NIGHT)
    before_c = min(air_c for at_s, air_c in garden.truth if begins_s <= at_s <= ends_s)
    assert evening_c == pytest.approx(at[instant("2027-01-16 18:20")], abs=0.3)
    assert last_low_c == pytest.approx(before_c, abs=0.2)


def test_the_report_says_how_good_the_forecasts_were_and_of_how_many_nights(garden: Garden) -> None:
    """A figure without its n, and without a rival's beside it, is no figure."""
    garden.runs("07:00")

    text = " ".join(garden.house.reports[-1].text.split())
    assert "How good the last forecasts were" in text
    assert "bench-a: of the last 13 nights" in text
    assert "this evening less the usual fall would have been" in text


# ---- learning ----------------------------------------------------------------------------------------------


def test_a_new_place_says_that_it_is_learning(tmp_path: Path) -> None:
    """The evening less three degrees, widely; and so it is said."""
    garden = Garden(garden_settings(), begins="2027-01-15 13:00", keep=tmp_path)
    garden.runs("18:30")

    (line,) = garden.lines()
    assert line["method"] == "learning"
    assert line["nights_learned"] == 0
    assert line["low_c"]["p90"] - line["low_c"]["p10"] > 4.0
    text = garden.house.said("frost-tonight")[0].text
    assert "(rough: I am still learning this place, 0 nights so far)" in text


def test_after_ten_nights_it_has_learnt(tmp_path: Path) -> None:
    """Not before."""
    garden = Garden(garden_settings(), keep=tmp_path, entries=tree("Pine 1", "bench-a", -10.0, -12.0))
    for day in range(3, 15):
        garden.runs(f"2027-01-{day:02d} 12:00")

    methods = {line["nights_learned"]: line["method"] for line in garden.lines("yard")}
    assert [methods[nights] for nights in range(12)] == ["learning"] * 10 + ["ridge"] * 2


def test_nights_of_a_thermostat_teach_only_how_cold_it_was_not(heated_house: Learnt, tmp_path: Path) -> None:
    """The low that a heater holds is no low of the house: without it the night is expected far below."""
    garden = heated_house.opened(tmp_path)
    garden.runs("10:00")

    nights = known_of(garden)["memory"]["nights"]
    assert all(night["held"] for night in nights)
    (fact, *_) = garden.lines()
    assert fact["low_c"]["p50"] == pytest.approx(3.4, abs=0.3)


def test_the_low_without_the_heater_is_shown_beside_it(heated_house: Learnt, tmp_path: Path) -> None:
    """It stands far under what the heater holds."""
    garden = heated_house.opened(tmp_path)
    garden.runs("18:30")

    (tonight,) = (f for f in garden.house.engine.snapshot().more["tonight"] if f["sensor"] == "bench-a")
    assert tonight["heater_holds_c"] == pytest.approx(3.4, abs=0.3)
    assert tonight["free_low_c"] < tonight["heater_holds_c"] - 2.0


def test_a_house_whose_heater_has_held_ten_nights_is_not_called_new(
    heated_house: Learnt, tmp_path: Path
) -> None:
    """They teach what the heater lets it come to."""
    garden = heated_house.opened(tmp_path)
    garden.runs("18:30")

    assert garden.lines()[0]["method"] == "heater"
    assert garden.lines()[0]["nights_learned"] >= 10


@pytest.mark.parametrize(
    ("what", "seen_as"),
    [
        ("suspect: impossible values", lambda _: -45.0),
        ("stale: nothing came", lambda _: None),
        ("frozen: the same value for hours", lambda _: 2.0),
    ],
)
def test_a_night_that_cannot_be_trusted_teaches_nothing(garden: Garden, what: str, seen_as: Any) -> None:
    """Neither nights nor the house's response; the next evening's forecast is none the worse."""
    del what
    before = known_of(garden)
    garden.runs("17:30")
    garden.runs("2027-01-16 11:00", seen_as=seen_as)

    after = known_of(garden)
    assert after["memory"] == before["memory"]
    assert after["response"] == before["response"]


@pytest.mark.parametrize("yard_as", [lambda _: None, lambda _: 3.0], ids=["silent", "frozen"])
def test_a_sensor_outside_that_cannot_be_trusted_is_not_followed(garden: Garden, yard_as: Any) -> None:
    """The bench is foretold by its own nights; the night teaches nothing of how the house follows."""
    before = known_of(garden)
    garden.runs("2027-01-16 11:00", yard_as=yard_as)

    assert garden.lines("yard") == []
    assert "house" not in {line["method"] for line in garden.lines()}
    assert len(garden.lines()) == 16
    assert known_of(garden)["response"] == before["response"]
    assert len(known_of(garden)["memory"]["nights"]) == len(before["memory"]["nights"]) + 1


def test_a_retained_value_teaches_nothing(garden: Garden) -> None:
    """A night of them is no night."""
    before = known_of(garden)
    garden.runs("17:30")
    for hour in range(18, 24):
        garden.house.reading(-9.0, f"{hour}:30", retain=True)
    garden.house.passes("2027-01-16 11:00")

    assert known_of(garden)["memory"] == before["memory"]


def test_a_place_without_a_sensor_outside_forecasts_by_its_own_nights(tmp_path: Path) -> None:
    """It says less of the coming hours, and no worse than the usual fall."""
    garden = Garden(garden_settings(outdoor=False), keep=tmp_path, plan=COLD_HOUSE)
    for day in range(3, 16):
        garden.runs(f"2027-01-{day:02d} 12:00")

    assert {line["sensor"] for line in garden.house.forecast_lines} == {"bench-a"}
    assert {line["method"] for line in garden.lines()} <= {"learning", "ridge", "usual-fall", "regression"}
    assert skill(garden)["error_k"] <= skill(garden)["rivals_k"]["usual_fall_c"] + 0.3


# ---- a weather service -------------------------------------------------------------------------------------


def served(tmp_path: Path, low_of: Any) -> Garden:
    """A fortnight and more in which a service says each evening what `low_of(true low)` makes of it."""
    settings = garden_settings(house={"forecast_topic": TOPIC})
    garden = Garden(settings, keep=tmp_path, entries=tree("Pine 1", "bench-a", -10.0, -12.0))
    for day in range(2, 16):
        garden.runs(f"2027-01-{day:02d} 17:00")
        evening_s, ends_s = instant(f"2027-01-{day:02d} 18:20"), instant(f"2027-01-{day + 1:02d} 09:25")
        night_s = np.arange(evening_s, ends_s, 300.0)
        said_c = low_of(day, min(garden.outside(float(at_s)) for at_s in night_s))
        garden.house.handle(Message(garden.house.now_s, TOPIC, f"{said_c:.1f}".encode()))
    garden.runs("18:30")
    return garden


def test_a_good_weather_service_is_listened_to(tmp_path: Path) -> None:
    """It was right within a few tenths for a fortnight: tonight's low outside is nearly what it says."""
    garden = served(tmp_path, lambda day, low_c: low_c - (3.0 if day == 15 else 0.0))
    without = served(tmp_path / "without", lambda day, low_c: low_c)

    told = garden.lines("yard")[-1]["low_c"]["p50"]
    usual = without.lines("yard")[-1]["low_c"]["p50"]
    assert usual - told == pytest.approx(3.0, abs=0.8)


def test_a_bad_weather_service_is_hardly_listened_to(tmp_path: Path) -> None:
    """It was four degrees off, now up, now down: the place's own nights say more."""
    off_k = {day: 4.0 if day % 2 else -4.0 for day in range(2, 16)}
    wrong = served(tmp_path, lambda day, low_c: low_c + off_k[day])
    worse = served(tmp_path / "worse", lambda day, low_c: low_c + (off_k | {15: 0.0})[day])

    moved = wrong.lines("yard")[-1]["low_c"]["p50"] - worse.lines("yard")[-1]["low_c"]["p50"]
    assert abs(moved) < 1.0


def test_what_a_service_said_before_its_message_was_kept_says_nothing(tmp_path: Path) -> None:
    """A retained message is of unknown age, and words are no number."""
    settings = garden_settings(house={"forecast_topic": TOPIC})
    garden = Garden(settings, begins="2027-01-15 13:00", keep=tmp_path)
    garden.house.handle(Message(garden.house.now_s, TOPIC, b"-20", retain=True))
    garden.house.handle(Message(garden.house.now_s, TOPIC, b"cold"))
    garden.runs("18:30")

    assert garden.lines("yard")[0]["low_c"]["p50"] > -5.0


def test_what_is_shown_never_promises_more_than_is_there_already(tmp_path: Path) -> None:
    """A heater dies between two hours: within ten minutes the outlook is no warmer than the air, and no
    point."""
    plan = replace(COLD_HOUSE, heater_w=3000.0)
    garden = Garden(garden_settings(4.0), plan=plan, begins="2027-01-14 13:00", keep=tmp_path)
    garden.turns_colder(8.0)
    garden.runs("2027-01-15 02:00")
    for until in ("02:45", "03:15", "04:10"):
        garden.runs(f"2027-01-15 {until}", heater=False)
        shown = {each["sensor"]: each for each in garden.house.engine.snapshot().more["tonight"]}["bench-a"]
        assert shown["low_c"]["p50"] < garden.air + 0.5
        assert shown["low_c"]["p10"] < shown["low_c"]["p90"] - 0.5
