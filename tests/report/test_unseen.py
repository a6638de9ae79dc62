"""What was not seen is said: silence, doubt, restarts, the clock; and times are told so that nobody errs."""

from dataclasses import replace
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from monitor.notices.words import Speech
from monitor.report.facts import HouseNight
from monitor.report.times import Times, lasted
from monitor.report.wording import apart
from tests.report.facts import ZONE, at, facts, report, sensor, tree


def not_seen(**changes: object) -> tuple[str, ...]:
    """The lines of a report."""
    return report(**changes).not_seen


def in_house(*sensors: object) -> tuple[HouseNight, ...]:
    """The Cold house with these sensors."""
    return (HouseNight("cold", "Cold house", tuple(sensors)),)  # type: ignore[arg-type]


def test_a_silence_is_told_with_the_sensors_that_shared_it() -> None:
    """Within a few minutes it is the same; an open one has no end."""
    one, other = (at("17 01:10"), at("17 05:20")), (at("17 01:12"), at("17 05:21"))
    open_ = (at("17 06:00"), at("17 06:45"))

    assert not_seen(
        houses=in_house(sensor("a", gaps=(one,)), sensor("b", gaps=(other,)), sensor("c", gaps=(open_,)))
    ) == ("a and b: nothing 01:10–05:20 (4 h 10 min)", "c: nothing since 06:00 (45 min)")


def test_short_gaps_are_one_line() -> None:
    """Nobody reads a list of four minutes."""
    gaps = tuple((at(f"17 0{hour}:00"), at(f"17 0{hour}:04")) for hour in range(1, 6))

    assert not_seen(houses=in_house(sensor(gaps=gaps))) == ("bench-a: short gaps, 20 min in all at most",)


def test_doubt_lateness_and_bad_messages_are_told() -> None:
    """Each with its count."""
    assert not_seen(
        houses=in_house(sensor(doubtful=12)),
        late_readings=1,
        future_readings=3,
        unknown=("4 messages on heather/x could not be read (no number)",),
    ) == (
        "bench-a: 12 of 885 readings are doubtful (jumps, stuck or impossible values)",
        "1 reading came too late to guard by, but not too late to keep",
        "3 readings had a time in the future and did not count",
        "4 messages on heather/x could not be read (no number)",
    )


def test_restarts_and_the_clock_are_told() -> None:
    """A moment's restart is no outage; a step of the clock is named."""
    assert not_seen(
        off=((at("17 01:00"), at("17 01:00") + 8.0), (at("17 02:10"), at("17 02:40"))),
        clock_steps=((at("17 03:00"), -3600.0), (at("17 03:05"), 12.0)),
    ) == (
        "I was off 02:10–02:40 (30 min); nobody watched",
        "I was started again once, off for moments only",
        "the clock was set back by 1 h at 03:00; nothing was lost by it",
        "the clock was set forward by 12 s at 03:05; nothing was lost by it",
    )


def test_an_outage_is_not_told_again_for_every_sensor() -> None:
    """Nobody listened: that the sensors were silent says nothing."""
    gap = (at("17 02:09"), at("17 05:41"))

    assert not_seen(houses=in_house(sensor(gaps=(gap,))), off=((at("17 02:10"), at("17 05:40")),)) == (
        "I was off 02:10–05:40 (3 h 30 min); nobody watched",
    )


def test_a_late_report_says_so_only_when_it_is_sent() -> None:
    """Asked for at noon it is not late."""
    noon = {"at_s": at("17 12:10")}

    assert report(**noon).remarks == ("This report is 5 h 25 min late: it was due at 06:45.",)
    assert report(**noon, is_sent=False).remarks == ()
    assert report(at_s=at("17 06:50")).remarks == ()


def test_nobody_outside_listening_is_said_at_the_foot() -> None:
    """Every day, and never as if the night had not been seen."""
    said = report(has_liveness=False)

    assert said.foot[0] == "No report by 07:30 means that I am not running."
    assert "a power cut will be silent" in said.foot[1]
    assert said.verdict.startswith("A quiet night")


@pytest.mark.parametrize(
    ("instant", "said"),
    [
        ("17 03:30", "03:30"),
        ("16 22:10", "22:10"),
        ("16 09:10", "yesterday 09:10"),
        ("15 22:10", "Fri 15 Jan 22:10"),
    ],
)
def test_a_time_without_a_day_is_of_this_night(instant: str, said: str) -> None:
    """From yesterday noon on."""
    times = Times(Speech(ZONE), date(2027, 1, 17), at("16 16:00"), at("17 06:45"))

    assert times.time(at(instant)) == said


@pytest.mark.parametrize(
    ("day", "zones"),
    [(date(2027, 3, 28), ("GMT", "BST")), (date(2027, 10, 31), ("BST", "GMT"))],
)
def test_on_the_night_of_a_clock_change_each_time_says_which_it_is(day: date, zones: tuple[str, str]) -> None:
    """Published: the UK's clocks change at 01:00 UTC on 28 March and 31 October 2027 (last Sundays)."""
    change_s = datetime.combine(day, time(1), UTC).timestamp()
    times = Times(Speech(ZoneInfo("Europe/London")), day, change_s - 9 * 3600.0, change_s + 5 * 3600.0)

    assert times.zones == zones
    assert times.time(change_s - 60.0).endswith(zones[0])
    assert times.time(change_s).endswith(zones[1])


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (20, "1 min"),
        (3120, "52 min"),
        (5520, "1 h 32 min"),
        (7200, "2 h"),
        (50400, "14 h"),
        (260000, "3 days"),
    ],
)
def test_a_span_is_told_as_people_do(seconds: float, said: str) -> None:
    """Minutes while they matter."""
    assert lasted(seconds) == said


def test_fahrenheit_is_for_people_who_ask_for_it() -> None:
    """Independent: 9/5 and 32; a small difference is not told as none."""
    speech = replace(facts().speech, show="fahrenheit")

    said = report(speech=speech, trees=(tree(low_c=-1.2),))

    assert said.verdict == "Frost reached Larch 3: 30 °F at 03:30, damage likely below 32 °F."
    assert said.night[0].rows[0].lowest == "39 °F"
    assert apart(speech, 0.2) == "less than 1 degree"
    assert apart(speech, 1.0) == "2 degrees"


def test_a_sensor_that_knows_whole_degrees_is_not_told_finer() -> None:
    """`4 °C`, not `4.0 °C`; in Fahrenheit degrees are whole anyway."""
    coarse = sensor(low_c=4.0, high_c=7.0, whole_degrees=True)
    (row,) = report(houses=in_house(coarse)).night[0].rows
    (fine,) = report(houses=in_house(sensor(low_c=4.0))).night[0].rows

    assert (row.lowest, row.highest) == ("4 °C", "7 °C")
    assert fine.lowest == "4.0 °C"
