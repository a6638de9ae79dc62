"""What a reading may do: suspect, late, retained, future and failed ones, and duplicates.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

import pytest

from monitor.model import Flag, Quantity, Use
from tests.engine.house import HARM_C, LARCH, WARN_C, House, sensor, settings_of

TEMPERATURE = Quantity.TEMPERATURE_C


def in_frost() -> House:
    """A medium alarm stands since a quarter past eight."""
    house = House()
    house.reading(2.5)
    house.air(1.0, by="20:15")
    assert house.steps() == [("unacknowledged", "condition")]
    return house


# ---- suspect ---------------------------------------------------------------------------------------------


def test_a_suspect_low_reading_still_warns_and_is_marked() -> None:
    """A fall of eight degrees in a minute is doubtful, and no reason to stay silent."""
    house = House()
    house.reading(7.0)
    house.stays(until="20:05")
    house.reading(-1.0, "20:06")
    house.reading(-5.0, "20:07")
    house.reading(-9.0, "20:08")

    first = house.transitions()[0]
    assert (first.kind, first.quality, first.priority) == ("low-temperature", "suspect", "high")
    assert "doubtful" in first.cause
    assert "doubtful" in house.notices()[0].text


def test_suspect_readings_never_clear() -> None:
    """Sixty degrees under glass in January is no proof that the frost is over."""
    house = in_frost()
    house.reading(60.0, "20:16")
    house.stays(until="21:30")

    assert {reading.flag for reading in house.readings[-60:]} == {Flag.SUSPECT}
    assert house.state() == "unacknowledged"


@pytest.mark.parametrize("unusable", [60.0, -127.0, 85.0, 200.0])
def test_a_reading_that_cannot_clear_does_not_keep_the_next_good_one_from_it(unusable: float) -> None:
    """After one unusable value the place is looked at anew: good, mild readings end the alarm."""
    house = in_frost()
    house.reading(unusable, "20:16")
    house.reading(4.0, "20:17")
    house.stays(until="20:40")

    assert house.state() == "returned-unacknowledged"


def test_a_failed_reading_does_not_hide_the_frost_that_follows() -> None:
    """A sensor's "not read" of -127 is nothing; -1 after it is frost, and rings within two readings."""
    house = House()
    house.reading(3.0)
    house.reading(-127.0, "20:01")
    house.reading(-1.0, "20:10")
    house.reading(-1.1, "20:11")

    assert [change.priority for change in house.transitions()] == ["high"]


@pytest.mark.parametrize("sentinel", [85.0, -127.0])
def test_what_a_thermometer_says_that_was_not_read_fails_and_raises_nothing(sentinel: float) -> None:
    """Power-on value and "no answer" of common one-wire sensors (their data sheets, from memory)."""
    house = House()
    for minute in range(5):
        house.reading(sentinel, house.now_s + 60 * (minute > 0))

    assert {reading.flag for reading in house.readings} == {Flag.FAIL}
    assert house.steps() == []


def test_a_failed_reading_is_not_what_the_air_is_now() -> None:
    """Notices, page and "seen" go by the last value that can be one."""
    house = in_frost()
    house.reading(-127.0, "20:16")
    house.ack(LARCH)

    row = house.row()
    assert row is not None
    assert row.seen_value == 1.0
    assert house.engine.surroundings.reaches_at_s("bench-a", HARM_C, house.now_s) != house.now_s


# ---- late, future, retained, double ----------------------------------------------------------------------


def test_late_readings_are_history_and_never_clear() -> None:
    """A store-and-forward receiver empties its memory: six mild minutes of before the frost."""
    house = in_frost()
    for minute in range(6):
        house.reading(5.0, house.now_s + 1, observed=house.start_s - 1800 + 60 * minute)

    assert {reading.use for reading in house.readings[-6:]} == {Use.HISTORY}
    assert house.state() == "unacknowledged"


def test_late_readings_never_raise() -> None:
    """A frost of an hour ago is for the record; nobody is woken for it now."""
    house = House()
    house.reading(5.0)
    for minute in range(6):
        house.reading(-5.0, house.now_s + 1, observed=house.start_s - 3600 + 60 * minute)

    assert house.steps() == []


@pytest.mark.parametrize(("age_s", "use"), [(299.0, Use.PRESENT), (301.0, Use.HISTORY)])
def test_late_means_older_than_three_intervals_and_at_least_five_minutes(age_s: float, use: Use) -> None:
    """Three intervals of a minute are less than five minutes, so five minutes count."""
    house = House()
    house.reading(5.0, observed=house.now_s - age_s)

    assert house.readings[0].use is use


@pytest.mark.parametrize(("age_s", "use"), [(899.0, Use.PRESENT), (901.0, Use.HISTORY)])
def test_a_slow_sensor_may_be_three_intervals_old(age_s: float, use: Use) -> None:
    """Every five minutes: a quarter of an hour."""
    house = House(settings_of({"bench-a": sensor("bench-a", 300.0)}))
    house.reading(5.0, observed=house.now_s - age_s)

    assert house.readings[0].use is use


def test_a_reading_from_the_future_fails() -> None:
    """More than five minutes ahead: shown, flagged, and nothing else."""
    house = House()
    for second in range(5):
        house.reading(-9.0, house.now_s + second, observed=house.now_s + 400 + second)

    assert house.readings == []
    assert house.engine.readings.shown[("bench-a", TEMPERATURE)].flag is Flag.FAIL
    assert house.engine.readings.counts.future == 5
    assert house.steps() == []


def test_a_retained_reading_with_its_own_recent_time_raises_but_never_clears() -> None:
    """What the broker kept may be the only warning there is; it is no proof that all is well."""
    house = House()
    for second in (1, 2):
        house.reading(-2.0, house.now_s + 61, observed=house.now_s + 60 + second, retain=True)
    assert [(t.priority, t.quality) for t in house.transitions()] == [("high", "retained")]

    for second in range(12):
        house.reading(5.0, house.now_s + 60, observed=house.now_s + 59 + second / 100, retain=True)
    assert house.state() == "unacknowledged"


def test_a_retained_reading_without_a_time_of_its_own_is_only_shown() -> None:
    """It may be a week old."""
    house = House()
    for _ in range(5):
        house.reading(-9.0, house.now_s + 60, retain=True)

    assert house.readings == []
    assert house.engine.readings.shown[("bench-a", TEMPERATURE)].value == -9.0
    assert house.steps() == []


def test_a_retained_reading_is_no_sign_of_life() -> None:
    """The sensor may be dead for days; the broker still has its last word."""
    house = House()
    house.reading(5.0)
    house.reading(5.0, "20:02", observed=house.now_s + 60, retain=True)
    house.passes(until="20:04")

    assert house.state("sensor-silent/bench-a") == "unacknowledged"


def test_the_same_reading_twice_is_one_and_of_two_values_the_first_stands() -> None:
    """Duplicates are ignored; a second value for the same instant is counted."""
    house = House()
    observed = house.now_s
    for value in (5.0, 5.0, 4.0):
        house.reading(value, observed=observed)

    assert [reading.value for reading in house.readings] == [5.0]
    assert house.engine.readings.counts.duplicates == 2
    assert house.engine.readings.history.conflicts == 1


def test_without_a_time_of_its_own_a_reading_takes_its_arrival() -> None:
    """Arrival is when the guard had it."""
    house = House()
    house.reading(5.0, "20:07:30")

    assert house.readings[0].observed_at_s == house.at("20:07:30")


def test_one_bad_payload_is_counted_and_harms_nothing() -> None:
    """Garbage between good readings: kept for the report, never fatal."""
    house = House()
    house.reading(5.0)
    house.reading(None, "20:01")
    house.reading(4.9, "20:02")

    assert [reading.value for reading in house.readings] == [5.0, 4.9]


# ---- one reading, delays ---------------------------------------------------------------------------------


def test_one_reading_at_harm_raises_where_readings_are_rare() -> None:
    """Every ten minutes: waiting for a second one would cost too much. It says that it is one reading."""
    house = House(settings_of({"bench-a": sensor("bench-a", 600.0)}))
    house.reading(3.0)
    house.reading(HARM_C, "20:10")

    first = house.transitions()[0]
    assert (first.priority, first.quality) == ("high", "one reading")
    assert "one reading" in first.cause
    assert "one reading" in house.notices()[0].text


def test_one_reading_at_the_milder_limit_waits_for_another() -> None:
    """Only harm is that urgent."""
    house = House(settings_of({"bench-a": sensor("bench-a", 600.0)}))
    house.reading(3.0)
    house.reading(WARN_C, "20:10")
    assert house.steps() == []

    house.reading(WARN_C, "20:20")
    assert house.steps() == [("unacknowledged", "condition")]


def test_one_reading_in_a_usual_stream_is_not_enough() -> None:
    """Every minute: two readings and a minute."""
    house = House()
    house.reading(2.0)
    house.reading(-0.5, "20:01")
    assert house.steps() == []

    house.reading(-0.6, "20:02")
    assert [change.priority for change in house.transitions()] == ["high"]


def test_an_alarm_ends_only_after_the_deadband_and_its_delay() -> None:
    """Half a degree above the milder limit for five minutes; a limit touched again starts anew."""
    house = in_frost()
    house.reading(1.95, "20:16")
    house.stays(until="21:00")
    assert house.state() == "unacknowledged", "within the deadband"

    house.reading(2.1, "21:01")
    house.stays(until="21:05")
    assert house.state() == "unacknowledged", "five minutes are not over"

    house.stays(until="21:06")
    assert house.steps()[-1] == ("returned-unacknowledged", "returned")


# ---- a subject that left ---------------------------------------------------------------------------------


def test_an_open_alarm_whose_tree_left_ends_as_removed() -> None:
    """Sold in the middle of a frost."""
    house = in_frost()
    house.entry("leave", tree="larch-3", reason="sold")

    assert house.steps()[-1] == ("normal", "removed")
    assert house.kinds() == ["activation", "cleared"]


def test_an_open_alarm_whose_tree_was_voided_ends_as_removed() -> None:
    """It was the wrong tree: it never was."""
    house = in_frost()
    first = house.engine.book.entries[0]
    house.entry("void", entry=first["id"], reason="wrong tree")

    assert house.steps()[-1] == ("normal", "removed")


def test_an_open_alarm_whose_limit_is_no_longer_held_ends_as_removed() -> None:
    """Both limits voided: nothing is left that could ever clear it."""
    house = in_frost()
    for entry in house.engine.book.entries[1:3]:
        house.entry("void", entry=entry["id"], reason="not needed any more")

    assert house.steps()[-1] == ("normal", "removed")
