"""The clock is set, the day changes, the program was off: labels follow, durations do not, one report a date.

Every expected value is a rule of this program's own, but for the dates on which summer time begins and ends.
"""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.engine.house import LARCH, House, clock_time, instant, settings_of

HOUR_S = 3600.0


def dates(house: House) -> list[str]:
    """The dates of the reports so far."""
    return [report.date for report in house.reports]


def site(report_at: str) -> dict[str, object]:
    """The site with another hour for its report."""
    return {
        "name": "Heather Bank",
        "timezone": "Europe/London",
        "latitude_deg": 54.6,
        "longitude_deg": -3.1,
        "report_at": report_at,
    }


# ---- steps of the clock ------------------------------------------------------------------------------------


@pytest.mark.parametrize("step_s", [HOUR_S, -HOUR_S, 40 * 86400.0, -40 * 86400.0])
def test_a_step_of_the_clock_changes_labels_and_no_duration(step_s: float) -> None:
    """Repeats, passing on, delays: all as without the step; only what people read moves."""

    def night(with_step: bool) -> list[tuple[float, str, str]]:
        house = House(begins="2027-01-14 09:00")
        house.reading(1.0)
        house.reading(1.0, house.now_s + 30)
        if with_step:
            house.clock_steps(step_s)
        begin_s = house.now_s
        house.air(-0.5, by=begin_s + 1800)
        house.stays(until=begin_s + 3 * HOUR_S)
        house.air(4.0, by=begin_s + 4 * HOUR_S)
        moved_s = step_s if with_step else 0.0
        return [(t.at_s - moved_s, t.to_state, t.because) for t in house.transitions()] + [
            (n.at_s - moved_s, n.kind, n.notifier) for n in house.notices()
        ]

    assert night(with_step=True) == night(with_step=False)


def test_a_step_loses_no_occurrence_and_raises_none_twice() -> None:
    """The frost goes on through both directions."""
    house = House()
    house.reading(1.0)
    house.stays(until="20:05")
    for step_s in (HOUR_S, -2 * HOUR_S, HOUR_S):
        house.clock_steps(step_s)
        house.stays(until=house.now_s + 600)

    assert house.steps() == [("unacknowledged", "condition")]
    assert len(house.occurrences()) == 1


@pytest.mark.parametrize("step_s", [2 * HOUR_S, -2 * HOUR_S])
def test_a_step_expires_no_shelf(step_s: float) -> None:
    """Quiet for an hour is an hour of guard time."""
    house = House()
    house.reading(1.0)
    house.stays(until="20:05")
    house.shelve(LARCH, hours=1.0)
    until_s = house.now_s + HOUR_S
    house.clock_steps(step_s)
    house.stays(until=until_s - 1)
    assert house.state() == "shelved"

    house.stays(until=until_s + 61)
    assert house.steps()[-1] == ("unacknowledged", "shelf-ended")


def test_readings_with_a_time_of_their_own_are_as_fresh_after_the_step_as_before() -> None:
    """The sensor's clock was right, ours was two hours behind: the step mends that."""
    house = House()
    for minute in range(5):
        house.reading(4.0, house.now_s + 60, observed=house.now_s + 60 + 2 * HOUR_S - 5)
        assert house.readings == [], minute
    house.clock_steps(2 * HOUR_S)
    house.reading(4.0, house.now_s + 60, observed=house.now_s + 55)

    assert [reading.observed_at_s for reading in house.readings] == [house.now_s - 5]


def test_labels_after_a_step_are_peoples_time() -> None:
    """Transitions and notices carry what the clock on the wall shows."""
    house = House()
    house.reading(3.0)
    house.clock_steps(HOUR_S)
    house.air(1.0, by=house.now_s + 300)

    (change,) = house.transitions()
    assert change.at_s == house.now_s + HOUR_S - 60 or change.at_s <= house.now_s + HOUR_S
    assert "21:0" in house.notices()[0].text
    assert change.at_s > house.now_s


# ---- one report a local date -------------------------------------------------------------------------------


def test_the_report_comes_once_a_day_at_its_local_time() -> None:
    """Four days."""
    house = House(entries=())
    house.passes(until="01-18 12:00")

    assert dates(house) == ["2027-01-15", "2027-01-16", "2027-01-17", "2027-01-18"]
    assert {clock_time(report.at_s) for report in house.reports} == {"06:45:00"}
    assert house.kinds("report") == ["report"] * 4


@pytest.mark.parametrize("minute", ["06:44", "06:46"])
def test_a_restart_around_its_time_neither_loses_nor_doubles_it(tmp_path: Path, minute: str) -> None:
    """Before or after."""
    house = House(keep=tmp_path, entries=(), begins="2027-01-15 06:00")
    house.passes(until=minute)
    house.restart(after_s=120)
    house.restart(after_s=1)
    house.passes(until="12:00")

    assert dates(house) == ["2027-01-15"]


def test_a_step_forward_over_its_time_brings_it_at_once_and_not_again() -> None:
    """06:00 becomes 07:00."""
    house = House(entries=(), begins="2027-01-15 06:00")
    house.clock_steps(HOUR_S)
    house.passes(until=house.now_s + 1)
    assert dates(house) == ["2027-01-15"]

    house.clock_steps(-HOUR_S)
    house.passes(until="01-16 06:44")
    assert dates(house) == ["2027-01-15"]
    house.passes(until="01-16 06:45")
    assert dates(house) == ["2027-01-15", "2027-01-16"]


def test_a_step_back_over_its_time_does_not_bring_it_twice() -> None:
    """07:00 becomes 06:00: 06:45 comes again, the report does not."""
    house = House(entries=(), begins="2027-01-15 06:30")
    house.passes(until="07:00")
    house.clock_steps(-HOUR_S)
    house.passes(until="12:00")

    assert dates(house) == ["2027-01-15"]


@pytest.mark.parametrize("ahead_days", [1, 400])
def test_a_clock_that_was_far_ahead_for_a_while_costs_no_report_afterwards(ahead_days: int) -> None:
    """A wrong clock is put right: the next mornings have their reports again, each date once."""
    house = House(entries=(), begins="2027-01-15 12:00")
    house.clock_steps(ahead_days * 86400.0)
    house.passes(until=house.now_s + 60)
    house.clock_steps(-ahead_days * 86400.0)
    house.passes(until="01-19 12:00")

    assert dates(house)[-3:] == ["2027-01-17", "2027-01-18", "2027-01-19"]
    assert len(set(dates(house))) == len(dates(house))


def test_the_wrong_future_stays_forgotten_over_a_restart(tmp_path: Path) -> None:
    """The store knows a report of next year; tomorrow's comes all the same."""
    house = House(keep=tmp_path, entries=(), begins="2027-01-15 12:00")
    house.clock_steps(400 * 86400.0)
    house.passes(until=house.now_s + 60)
    house.passes(until=house.now_s + 86400)
    house.clock_steps(-400 * 86400.0)
    house.restart()
    house.passes(until="01-18 12:00")

    assert dates(house)[-2:] == ["2027-01-17", "2027-01-18"]


def test_after_an_outage_over_its_time_the_report_comes_late(tmp_path: Path) -> None:
    """Off from five to nine: at nine, for today, and it says what was not seen."""
    house = House(keep=tmp_path, begins="2027-01-15 04:00")
    house.air(4.0, by="05:00")
    house.restart(after_s=4 * HOUR_S)
    house.stays(until="09:05")

    assert dates(house) == ["2027-01-15"]
    assert "09:00" <= clock_time(house.reports[0].at_s) < "09:02"
    assert "05:00" in house.reports[0].text


def test_after_an_outage_of_days_only_the_last_report_comes() -> None:
    """Nobody wants four of them at once."""
    house = House(entries=())
    house.passes(until="01-15 05:00")
    house.clock_steps(3 * 86400.0 + 5 * HOUR_S)
    house.passes(until=house.now_s + 60)

    assert dates(house) == ["2027-01-18"]


def test_a_first_start_after_its_time_waits_for_tomorrow() -> None:
    """There was no night to report on."""
    house = House(entries=(), begins="2027-01-15 07:00")
    house.passes(until="01-15 23:00")
    assert dates(house) == []

    house.passes(until="01-16 07:00")
    assert dates(house) == ["2027-01-16"]


# ---- summer time: last Sunday of March 01:00 UTC to last Sunday of October 01:00 UTC (published: Directive
# 2000/84/EC, articles 2 and 3; the Summer Time Order 2002 for Great Britain). 2027: 28 March, 31 October.


@pytest.mark.parametrize(
    ("begins", "ends", "change", "utc"),
    [
        ("2027-03-26 12:00", "03-29 12:00", "2027-03-28", ["06:45", "05:45", "05:45"]),
        ("2027-10-29 12:00", "11-01 12:00", "2027-10-31", ["05:45", "06:45", "06:45"]),
    ],
)
def test_both_changes_of_summer_time_have_one_report_a_date_at_its_local_time(
    begins: str, ends: str, change: str, utc: list[str]
) -> None:
    """06:45 on the wall, before, on and after the day."""
    house = House(entries=(), begins=begins)
    house.passes(until=ends)

    assert dates(house)[1] == change
    assert len(dates(house)) == len(set(dates(house))) == 3
    assert {clock_time(report.at_s) for report in house.reports} == {"06:45:00"}
    assert [datetime.fromtimestamp(r.at_s, UTC).strftime("%H:%M") for r in house.reports] == utc


@pytest.mark.parametrize("report_at", ["01:00", "01:30", "01:59", "02:00"])
@pytest.mark.parametrize(
    ("begins", "ends", "expected"),
    [
        ("2027-03-27 12:00", "03-29 12:00", ["2027-03-28", "2027-03-29"]),
        ("2027-10-30 12:00", "11-01 12:00", ["2027-10-31", "2027-11-01"]),
    ],
)
def test_a_report_time_that_is_skipped_or_comes_twice_gives_one_report_that_date(
    report_at: str, begins: str, ends: str, expected: list[str]
) -> None:
    """01:30 does not exist on 28 March and exists twice on 31 October."""
    house = House(settings_of(site=site(report_at)), (), begins=begins)
    house.passes(until=ends)

    assert dates(house) == expected


def test_summer_time_changes_no_duration() -> None:
    """A frost over the hour that is skipped: the repeat comes thirty minutes after the ring."""
    house = House(begins="2027-03-28 00:30")
    house.reading(1.0)
    house.stays(until=house.now_s + 3 * HOUR_S)

    at_s = [n.at_s for n in house.notices() if n.kind in ("activation", "repeat")]
    assert [at - at_s[0] for at in at_s] == [0, 1800, 3600, 7200]
    assert instant("03-28 02:30") - instant("03-28 00:30") == HOUR_S
