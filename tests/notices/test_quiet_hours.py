"""Quiet hours hold what can wait and nothing else.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from pathlib import Path

import pytest

from monitor.notices import quiet
from monitor.settings import QuietHours
from tests.engine.house import (
    CALLS,
    LARCH,
    LARCH_ALONE,
    QUIET,
    ZONE,
    House,
    clock_time,
    instant,
    settings_of,
    tree,
)

QUIET_NIGHT = settings_of(quiet_hours=QUIET)
NO_REPORT = settings_of(quiet_hours=QUIET, calls=CALLS[:1])
FAR_FROM_HARM = tree("Larch 3", "bench-a", 1.5, -9.0)


def held(settings: object = QUIET_NIGHT, **more: object) -> House:
    """A medium alarm since twenty to eleven; it hardly moves, and is far from harm."""
    house = House(settings, FAR_FROM_HARM, begins="2027-01-14 22:00", **more)  # type: ignore[arg-type]
    house.reading(1.6)
    house.air(1.45, by="23:00")
    house.stays(until="23:30")
    assert house.state() == "unacknowledged"
    return house


def test_medium_is_held_when_no_tree_is_expected_to_reach_harm() -> None:
    """It can wait until morning; the alarm itself stands at once."""
    house = held()

    assert house.kinds() == []


def test_outside_quiet_hours_medium_rings_at_once() -> None:
    """Ten past ten in the evening."""
    house = House(QUIET_NIGHT, FAR_FROM_HARM, begins="2027-01-14 22:00")
    house.reading(1.2, "22:10")
    house.reading(1.2, "22:11")

    assert [(n.kind, n.priority) for n in house.notices()] == [("activation", "medium")]


def test_medium_goes_at_once_and_as_high_when_harm_is_expected_before_morning() -> None:
    """One degree and falling one degree an hour at eleven: harm at midnight."""
    house = House(QUIET_NIGHT, LARCH_ALONE, begins="2027-01-14 22:00")
    house.reading(2.5)
    house.air(1.4, by="23:06")
    house.air(1.3, by="23:12")

    rang = house.notices()[0]
    assert (rang.kind, rang.priority) == ("activation", "high")
    assert house.transitions()[0].priority == "medium"


@pytest.mark.parametrize(("harm_c", "goes"), [(-6.4, True), (-8.4, False)])
def test_what_counts_is_the_end_of_the_quiet_hours_plus_the_way_to_the_house(
    harm_c: float, goes: bool
) -> None:
    """One kelvin an hour from 1.4 at 22:36: −6.4 comes at 06:24, −8.4 at 08:24; Ann stands there by 07:00."""
    house = House(QUIET_NIGHT, tree("Larch 3", "bench-a", 1.5, harm_c), begins="2027-01-14 21:00")
    house.reading(3.0)
    house.air(1.4, by="22:36")
    house.air(1.3, by="22:42")

    assert house.state() == "unacknowledged"
    assert bool(house.notices()) is goes


def test_any_tree_of_the_house_that_is_on_the_way_to_harm_counts() -> None:
    """The alarm is Larch 3's; it is Yew 2 that will not last the night."""
    house = House(
        QUIET_NIGHT, [*FAR_FROM_HARM, *tree("Yew 2", "bench-a", None, 0.5)], begins="2027-01-14 22:00"
    )
    house.reading(3.0)
    house.air(1.3, by="23:10")

    assert [n.priority for n in house.notices()] == ["high"]


def test_high_is_never_held() -> None:
    """Damage is likely: now."""
    house = House(QUIET_NIGHT, LARCH_ALONE, begins="2027-01-15 02:00")
    house.reading(-0.5)
    house.reading(-0.5, "02:01")

    assert [(clock_time(n.at_s), str(n.priority)) for n in house.notices()] == [("02:01:00", "high")]


def test_a_held_alarm_that_rises_to_high_rings_at_once() -> None:
    """Held is not forgotten."""
    house = held()
    house.air(-9.2, by="01:00")

    rang = house.notices()
    assert rang[0].priority == "high"


def test_a_held_alarm_goes_as_soon_as_harm_comes_into_sight() -> None:
    """It was steady at eleven; at two it falls two degrees an hour."""
    house = held()
    house.stays(until="02:00")
    assert house.kinds() == []
    house.air(-1.0, by="03:00")

    (rang,) = house.notices("frost", "mail")[:1]
    assert (rang.kind, rang.priority) == ("activation", "high")
    assert "02:05" <= clock_time(rang.at_s) <= "02:45"


def test_held_alarms_go_with_the_report() -> None:
    """06:45: it stands in there, and nothing rings beside it."""
    house = held()
    house.stays(until="07:30")

    assert house.kinds() == []
    (report,) = house.notices("report")
    assert clock_time(report.at_s) == "06:45:00"
    assert "Larch 3" in report.text


def test_where_no_call_tells_the_report_held_alarms_go_at_the_end_of_the_quiet_hours() -> None:
    """06:30, if it still stands."""
    house = held(NO_REPORT)
    house.stays(until="06:40")

    (rang,) = house.notices()
    assert (rang.kind, rang.priority, clock_time(rang.at_s)) == ("activation", "medium", "06:30:00")


def test_what_was_held_and_is_over_by_then_is_one_notice_that_says_both() -> None:
    """Nobody was woken for it; they hear of it all the same."""
    house = held(NO_REPORT)
    house.air(4.0, by="02:00")
    house.stays(until="06:29")
    assert house.kinds() == []
    house.stays(until="06:40")

    (both,) = house.notices()
    assert (both.kind, clock_time(both.at_s), both.notifier) == ("cleared", "06:30:00", "mail")
    assert "is over" in both.text
    assert "22:4" in both.text
    assert "–00:" in both.text


def test_what_comes_up_after_the_days_report_does_not_wait_for_tomorrows() -> None:
    """The report goes at six, quiet hours end at half past six, and it froze at ten past."""
    early = settings_of(
        quiet_hours=QUIET,
        site={
            "name": "Heather Bank",
            "timezone": "Europe/London",
            "latitude_deg": 54.6,
            "longitude_deg": -3.1,
            "report_at": "06:00",
        },
    )
    house = House(early, FAR_FROM_HARM, begins="2027-01-15 05:00")
    house.reading(3.0)
    house.stays(until="06:09")
    house.reading(1.2, "06:10")
    house.reading(1.2, "06:11")
    house.stays(until="06:40")

    assert [(str(n.kind), clock_time(n.at_s)) for n in house.notices()] == [("activation", "06:30:00")]


def test_a_held_alarm_that_somebody_saw_on_the_page_does_not_ring_in_the_morning() -> None:
    """They know."""
    house = held(NO_REPORT)
    house.ack(LARCH)
    house.stays(until="07:00")

    assert house.kinds() == []


def test_repeats_of_a_medium_alarm_are_not_sent_in_quiet_hours() -> None:
    """Rung at ten past ten; the repeats at 22:41, 23:11, 00:11 wait for nobody."""
    house = House(QUIET_NIGHT, FAR_FROM_HARM, begins="2027-01-14 22:00")
    house.reading(1.2, "22:10")
    house.reading(1.2, "22:11")
    house.kinds()
    house.stays(until="06:00")

    assert house.kinds() == []


def test_a_restart_in_the_quiet_hours_forgets_nothing_that_is_held(tmp_path: Path) -> None:
    """Held before, told at half past six."""
    house = held(NO_REPORT, keep=tmp_path)
    house.restart()
    house.stays(until="06:40")

    assert [(str(n.kind), clock_time(n.at_s)) for n in house.notices()] == [("activation", "06:30:00")]


def test_quiet_hours_follow_peoples_clocks_when_those_are_set() -> None:
    """Set an hour on at five: half past six is what the clock shows then."""
    house = held(NO_REPORT)
    house.stays(until="05:00")
    house.clock_steps(3600)
    house.stays(until="06:40")

    (rang,) = house.notices()
    assert "06:30:00" <= clock_time(rang.at_s) <= "06:35:00"


# ---- the hours themselves ----------------------------------------------------------------------------------

NIGHT = QuietHours.model_validate({"from": "22:30", "to": "06:30"})
NOON = QuietHours.model_validate({"from": "12:00", "to": "14:00"})


@pytest.mark.parametrize(
    ("hours", "at", "ends"),
    [
        (NIGHT, "01-14 22:29", None),
        (NIGHT, "01-14 22:30", "01-15 06:30"),
        (NIGHT, "01-15 06:29", "01-15 06:30"),
        (NIGHT, "01-15 06:30", None),
        (NOON, "01-15 11:59", None),
        (NOON, "01-15 13:00", "01-15 14:00"),
        (NIGHT, "03-27 23:00", "03-28 06:30"),  # clocks go forward in this night: seven hours and a half
        (NIGHT, "10-30 23:00", "10-31 06:30"),  # and back in this one: eight and a half
    ],
)
def test_quiet_hours_are_local_times_over_midnight_and_both_clock_changes(
    hours: QuietHours, at: str, ends: str | None
) -> None:
    """The end is what clocks on the wall show. Clocks change on 28 March and 31 October 2027."""
    expected = None if ends is None else instant(ends)

    assert quiet.ends_at_s(hours, instant(at), ZONE) == expected


def test_the_nights_of_the_clock_changes_have_an_hour_less_and_more() -> None:
    """independent: the zone's own offsets (tz database by zoneinfo)."""
    spring = quiet.ends_at_s(NIGHT, instant("03-27 22:30"), ZONE)
    autumn = quiet.ends_at_s(NIGHT, instant("10-30 22:30"), ZONE)

    assert spring is not None
    assert autumn is not None
    assert spring - instant("03-27 22:30") == 7 * 3600
    assert autumn - instant("10-30 22:30") == 9 * 3600


def test_without_quiet_hours_nothing_is_held() -> None:
    """The default."""
    assert quiet.ends_at_s(None, instant("01-15 03:00"), ZONE) is None
