"""An hour of a sensor as one row, kept for ever: means over time, degree-hours, wetness."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.history import History
from monitor.model import Flag, Quantity, Reading
from monitor.settings import Sensor

T, RH = Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT
HOUR_S = 1_800_000_000.0


def hour(temperature=(), humidity=(), hour_at_s=HOUR_S, flag=Flag.GOOD, **keys):
    """The row of an hour from (seconds into it, value) pairs."""
    kept = History({"bench": Sensor(**({"house": "cold", "topic": "heather/cold/bench"} | keys))})
    for quantity, pairs in ((T, temperature), (RH, humidity)):
        for at_s, value in sorted(pairs):
            kept.append(Reading("bench", quantity, value, HOUR_S + at_s, HOUR_S + at_s, flag))
    return kept.hour_row("bench", hour_at_s)


def minutes(*values):
    """Values of a minute each, over and over, for the whole hour."""
    return [(60.0 * step, values[step % len(values)]) for step in range(60)]


def test_a_steady_hour_is_what_it_was():
    """`published`: the deficit at 10 °C and 80 % is 1.228 kPa x 0.2 (FAO-56 table 2.3: 1.228), to 0.2 %."""
    row = hour(minutes(10.0), minutes(80.0))

    assert (row.sensor, row.hour_at_s, row.covered_s) == ("bench", HOUR_S, 3600.0)
    assert (row.temperature_mean_c, row.temperature_min_c, row.temperature_max_c) == (10.0, 10.0, 10.0)
    assert row.relative_humidity_mean_pct == pytest.approx(80.0)
    assert row.vpd_mean_kpa == pytest.approx(0.2456, rel=2e-3)
    assert (row.above_5_c_k_h, row.below_0_c_k_h, row.wet_s) == (5.0, 0.0, 0.0)


def test_a_mean_is_over_time_and_not_over_samples():
    """Worked by hand: 0 °C for fifty minutes, then ten readings in ten minutes at 6 °C; a mean of 1.0."""
    row = hour([(0, 0.0), (3000, 6.0), *((3000 + 60 * step, 6.0) for step in range(1, 10))], every_s=1200)

    assert row.temperature_mean_c == pytest.approx(1.0)
    assert (row.above_5_c_k_h, row.below_0_c_k_h) == (pytest.approx(1 / 6), 0.0)


def test_a_reading_stands_for_three_intervals_at_most():
    """Worked by hand: 3 × 60 s of 3600; what nobody saw is not covered."""
    row = hour([(600, -4.0)])

    assert row.covered_s == 180.0
    assert row.below_0_c_k_h == pytest.approx(4.0 * 180 / 3600)
    assert row.temperature_mean_c == -4.0


def test_a_sensor_that_reports_on_change_stands_for_its_longest_gap():
    """What the settings promise is believed."""
    assert hour([(600, -4.0)], longest_gap_s=3600).covered_s == 3000.0


def test_what_stands_at_the_begin_counts_from_there():
    """The last reading of the hour before, as long as it may stand."""
    row = hour([(-60, 2.0), (60, 4.0), (120, 4.0)])

    assert row.temperature_mean_c == pytest.approx((2.0 * 60 + 4.0 * 240) / 300)
    assert (row.temperature_min_c, row.temperature_max_c) == (4.0, 4.0)


def test_without_a_reading_in_the_hour_the_standing_one_is_its_extreme():
    """Two minutes that were seen."""
    row = hour([(-60, 2.0)])

    assert (row.covered_s, row.temperature_min_c, row.temperature_max_c) == (120.0, 2.0, 2.0)


def test_an_hour_that_nobody_saw_says_so():
    """None is not zero."""
    row = hour()

    assert row.covered_s == 0.0
    assert {
        row.temperature_mean_c,
        row.temperature_min_c,
        row.vpd_mean_kpa,
        row.wet_s,
        row.above_5_c_k_h,
    } == {None}


def test_humidity_alone_covers_nothing_but_counts_wetness():
    """Coverage is of temperature."""
    row = hour(humidity=minutes(95.0))

    assert (row.covered_s, row.wet_s, row.temperature_mean_c, row.vpd_mean_kpa) == (0.0, 3600.0, None, None)


@pytest.mark.parametrize(("humidity", "wet_s"), [(89.9, 0.0), (90.0, 3600.0), (100.0, 3600.0)])
def test_leaves_are_wet_from_ninety_percent(humidity, wet_s):
    """Common practice, no source."""
    assert hour(minutes(5.0), minutes(humidity)).wet_s == wet_s


def test_humidity_beyond_saturation_is_saturation():
    """A drifted probe makes no negative deficit."""
    row = hour(minutes(5.0), minutes(103.0), flag=Flag.SUSPECT)

    assert (row.relative_humidity_mean_pct, row.relative_humidity_max_pct, row.vpd_mean_kpa) == (
        100.0,
        100.0,
        0.0,
    )


def test_suspect_readings_count_and_failed_ones_do_not():
    """A door that opened was real."""
    assert hour([(0, -3.0)], flag=Flag.SUSPECT).covered_s == 180.0
    assert hour([(0, 85.0)], flag=Flag.FAIL).covered_s == 0.0


def test_quantities_that_come_at_different_instants_are_held_together():
    """The deficit needs both, and has it as long as both stand."""
    apart = hour([(at_s, 10.0) for at_s, _ in minutes(0)], [(at_s + 30, 80.0) for at_s, _ in minutes(0)])
    together = hour(minutes(10.0), minutes(80.0))

    assert apart.vpd_mean_kpa == pytest.approx(together.vpd_mean_kpa)


def test_the_deficit_is_averaged_and_not_its_causes():
    """`published`: FAO-56 example 3: at 24.5 and 15 °C 3.075 and 1.705 kPa, in the mean 2.39 and not 2.30."""
    row = hour(minutes(24.5, 15.0), minutes(0.001))

    assert row.vpd_mean_kpa == pytest.approx(2.39, abs=0.005)


@given(
    st.lists(
        st.tuples(st.integers(-300, 3900), st.integers(-100, 300)),
        max_size=40,
        unique_by=lambda pair: pair[0],
    )
)
def test_a_row_is_what_a_table_of_seconds_gives(pairs):
    """`independent`: pandas, each second filled with the last value of at most 180 s."""
    pairs = [(at_s, tenths / 10) for at_s, tenths in pairs]
    row = hour(pairs)
    seconds = (
        pd.Series(dict(pairs), dtype=float).reindex(range(-300, 3900)).ffill(limit=179).loc[0:3599].dropna()
    )

    assert row.covered_s == len(seconds)
    if len(seconds):
        assert row.temperature_mean_c == pytest.approx(seconds.mean(), abs=1e-9)
        assert row.above_5_c_k_h == pytest.approx((seconds - 5).clip(lower=0).sum() / 3600, abs=1e-9)
        assert row.below_0_c_k_h == pytest.approx((-seconds).clip(lower=0).sum() / 3600, abs=1e-9)
    made = [value for at_s, value in pairs if 0 <= at_s < 3600]
    if made:
        assert (row.temperature_min_c, row.temperature_max_c) == (min(made), max(made))


def test_a_day_of_degree_hours_is_the_integral():
    """`independent`: the integral of a sine in closed form; minute readings, tolerance half a minute's slope.

    5 + 6 sin(2πt/24 h) above 5 °C is 12 h x 6 x 2/π = 45.84 K h.
    """
    kept = History({"bench": Sensor(house="cold", topic="t")})
    for minute in range(-5, 1440):
        at_s = HOUR_S + 60.0 * minute
        kept.append(Reading("bench", T, 5 + 6 * math.sin(2 * math.pi * minute / 1440), at_s, at_s, Flag.GOOD))
    rows = [kept.hour_row("bench", HOUR_S + 3600.0 * number) for number in range(24)]

    assert sum(row.above_5_c_k_h for row in rows) == pytest.approx(12 * 6 * 2 / math.pi, abs=0.02)
    assert np.mean([row.temperature_mean_c for row in rows]) == pytest.approx(5.0, abs=0.002)
    assert all(row.covered_s == 3600.0 for row in rows)


@given(
    st.lists(
        st.tuples(st.integers(-900, 3900), st.floats(-20, 40), st.sampled_from([Flag.GOOD, Flag.FAIL])),
        max_size=40,
        unique_by=lambda one: one[0],
    )
)
def test_the_mean_alone_is_that_of_the_whole_row(rows):
    """For whoever wants nothing else, and often; gaps, failures and the edges of the hour included."""
    kept = History({"bench": Sensor(house="cold", topic="heather/cold/bench")})
    for at_s, value, flag in sorted(rows):
        kept.append(Reading("bench", T, value, HOUR_S + at_s, HOUR_S + at_s, flag))
    mean_c = kept.hour_mean_c("bench", HOUR_S)
    row_c = kept.hour_row("bench", HOUR_S).temperature_mean_c

    assert (mean_c is None) == (row_c is None)
    assert mean_c is None or mean_c == pytest.approx(row_c, abs=1e-9)
