"""Degree-days and chilling against worked figures, an airport's winter, and what every sum must satisfy."""

import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from monitor.science.thermal_time import (
    chilling,
    chilling_weight,
    day_degree_days,
    degree_days,
    degree_days_single_sine,
    degree_days_single_triangle,
    temperature_at,
    utah_weight,
)
from tests.support.airport import weather

DAY_S = 86_400.0
HOUR_S = 3_600.0

temperatures = st.floats(-20.0, 40.0)


@pytest.fixture(scope="module")
def airport() -> tuple[np.ndarray, np.ndarray]:
    """Open data.

    Hourly temperatures [°C] at EWR, January to April 2013, and their instants [s since 1970].
    """
    rows = weather[(weather.origin == "EWR") & (weather.month <= 4)].sort_values("time_hour")
    at_s = np.array([datetime.fromisoformat(text).timestamp() for text in rows.time_hour])
    return at_s, (rows.temp.to_numpy() - 32.0) / 1.8


@pytest.mark.parametrize(
    ("minimum_c", "maximum_c", "base_c", "triangle_k_d", "sine_k_d"),
    [
        (2.0, 12.0, 5.0, 2.450, 2.721),
        (-3.0, 9.0, 5.0, 0.667, 1.017),
        (0.0, 4.0, 5.0, 0.0, 0.0),
        (6.0, 14.0, 5.0, 5.0, 5.0),
        (-2.0, 16.0, 0.0, 7.111, 7.286),
        (5.0, 25.0, 10.0, 5.625, 6.090),
    ],
)
def test_a_day_from_its_extremes(
    minimum_c: float, maximum_c: float, base_c: float, triangle_k_d: float, sine_k_d: float
) -> None:
    """Independent: a table worked out by separate code, the sine by numerical quadrature too.

    Three decimals.
    """
    assert degree_days_single_triangle(minimum_c, maximum_c, base_c) == pytest.approx(triangle_k_d, abs=5e-4)
    assert degree_days_single_sine(minimum_c, maximum_c, base_c) == pytest.approx(sine_k_d, abs=5e-4)


def test_a_hot_day_counts_only_up_to_the_cut_off() -> None:
    """Independent.

    10..34 °C over 5 °C with a horizontal cut-off at 30 °C gives 16.295, without 17 (separate code).
    """
    assert degree_days_single_sine(10.0, 34.0, 5.0, upper_c=30.0) == pytest.approx(16.295, abs=5e-4)
    assert degree_days_single_sine(10.0, 34.0, 5.0) == pytest.approx(17.0, abs=1e-9)


@settings(deadline=None)
@given(temperatures, st.floats(0.0, 25.0), st.floats(-10.0, 30.0))
def test_the_formulas_are_the_integrals_of_their_curves(
    minimum_c: float, swing_k: float, base_c: float
) -> None:
    """Independent: the drawn-out sine and triangle of a day, integrated sample by sample."""
    at_s = np.linspace(0.0, DAY_S, 2_881)
    sine_c = minimum_c + swing_k * (1.0 - np.cos(2.0 * math.pi * at_s / DAY_S)) / 2.0
    triangle_c = minimum_c + swing_k * (1.0 - np.abs(2.0 * at_s / DAY_S - 1.0))
    whole = {"start_s": 0.0, "end_s": DAY_S}
    maximum_c = minimum_c + swing_k

    assert degree_days_single_sine(minimum_c, maximum_c, base_c) == pytest.approx(
        degree_days(at_s, sine_c, base_c, **whole).degree_days_k_d, abs=1e-4
    )
    assert degree_days_single_triangle(minimum_c, maximum_c, base_c) == pytest.approx(
        degree_days(at_s, triangle_c, base_c, **whole).degree_days_k_d, abs=1e-4
    )


def test_a_winter_at_an_airport_by_four_methods(airport) -> None:
    """Independent: EWR, January to April 2013, base 5 °C, 119 UTC days, by a separate script over the same
    data.

    Hourly means 291.5; average method 282.9 (for scale), triangle 310.6, sine 322.8 K d. Straight lines
    between the hours instead of steps make 0.3 K d.
    """
    at_s, t_c = airport
    integrated = triangle = sine = 0.0
    for day in range(1, 120):
        start_s = datetime(2013, 1, 1, tzinfo=UTC).timestamp() + day * DAY_S
        day_c = t_c[(at_s >= start_s) & (at_s < start_s + DAY_S)]
        low_c, high_c = float(day_c.min()), float(day_c.max())
        integrated += day_degree_days(at_s, t_c, 5.0, start_s=start_s, end_s=start_s + DAY_S).degree_days_k_d
        triangle += degree_days_single_triangle(low_c, high_c, 5.0)
        sine += degree_days_single_sine(low_c, high_c, 5.0)

    assert integrated == pytest.approx(291.5, abs=0.4)
    assert triangle == pytest.approx(310.6, abs=0.05)
    assert sine == pytest.approx(322.8, abs=0.05)


def test_a_winter_at_an_airport_has_its_chilling(airport) -> None:
    """Independent: EWR, January to April 2013, by a separate script: 2,874 h, 1424 of chilling, 1284.5 units.

    The rule for chilling hours is 0..7.2 °C; the units are those of Richardson, Seeley and Walker 1974.
    """
    _, t_c = airport

    assert t_c.size == 2_874
    assert chilling_weight(t_c).sum() == 1_424
    assert utah_weight(t_c).sum() == 1_284.5


def test_chilling_bridges_short_gaps_only(airport) -> None:
    """The same winter from its instants.

    The few missing hours are filled in, and the sum says how many it knew.
    """
    at_s, t_c = airport
    total = chilling(at_s, t_c, start_s=float(at_s[0]), end_s=float(at_s[-1]) + HOUR_S)

    assert total.span_h == 2_878
    assert total.covered_h == 2_878
    assert total.chilling_h == pytest.approx(1_424, abs=4)
    assert total.utah_units == pytest.approx(1_284.5, abs=4)
    holed = chilling(at_s, t_c, start_s=float(at_s[0]), end_s=float(at_s[-1]) + HOUR_S, longest_gap_s=HOUR_S)
    assert holed.covered_h == 2_874
    assert (holed.chilling_h, holed.utah_units) == (1_424.0, 1_284.5)


@pytest.mark.parametrize(
    ("temperature_c", "units"),
    [
        (-5.0, 0.0),
        (1.4, 0.0),
        (1.5, 0.5),
        (2.4, 0.5),
        (2.5, 1.0),
        (9.1, 1.0),
        (9.2, 0.5),
        (12.4, 0.5),
        (12.5, 0.0),
        (15.9, 0.0),
        (16.0, -0.5),
        (18.0, -0.5),
        (18.1, -1.0),
    ],
)
def test_the_classes_of_the_utah_model(temperature_c: float, units: float) -> None:
    """Published: Richardson, Seeley and Walker 1974, HortScience 9:331, both edges of every class."""
    assert utah_weight(temperature_c) == units
    assert utah_weight(np.array([temperature_c])).tolist() == [units]


@pytest.mark.parametrize(("temperature_c", "counts"), [(-0.1, 0.0), (0.0, 1.0), (7.2, 1.0), (7.3, 0.0)])
def test_the_edges_of_a_chilling_hour(temperature_c: float, counts: float) -> None:
    """Published: 0..7.2 °C (32..45 °F), the classic rule."""
    assert chilling_weight(temperature_c) == counts
    assert chilling_weight(np.array([temperature_c])).tolist() == [counts]


def test_a_line_through_the_base_counts_its_upper_part() -> None:
    """By hand: from 3 to 9 °C in a day, base 5: 16 h above it with a mean excess of 2 K, 4/3 K d."""
    total = degree_days(
        np.array([0.0, DAY_S]), np.array([3.0, 9.0]), 5.0, start_s=0.0, end_s=DAY_S, longest_gap_s=DAY_S
    )

    assert total.degree_days_k_d == pytest.approx(4.0 / 3.0, rel=1e-12)
    assert total.covered_fraction == 1.0
    assert not total.estimated


def test_the_cut_off_takes_the_top_off_a_line() -> None:
    """By hand: 10 °C all day, base 5, cut off at 8: 3 K d."""
    at_s = np.arange(0.0, DAY_S + 1.0, HOUR_S)
    total = degree_days(at_s, np.full(25, 10.0), 5.0, start_s=0.0, end_s=DAY_S, upper_c=8.0)

    assert total.degree_days_k_d == pytest.approx(3.0, rel=1e-12)


def test_a_long_gap_counts_nothing_and_is_said() -> None:
    """A night without data is not bridged: of 24 h at 15 °C, base 5, with 6 h missing, 18 h are counted."""
    at_s = np.arange(0.0, DAY_S + 1.0, HOUR_S)
    kept = (at_s <= 6 * HOUR_S) | (at_s >= 12 * HOUR_S)
    total = degree_days(at_s[kept], np.full(kept.sum(), 15.0), 5.0, start_s=0.0, end_s=DAY_S)

    assert total.degree_days_k_d == pytest.approx(7.5, rel=1e-12)
    assert total.covered_fraction == pytest.approx(0.75)


def test_a_gap_of_three_hours_is_bridged_and_one_second_more_is_not() -> None:
    """Both sides of the longest gap."""
    for gap_s, covered_s in ((10_800.0, 10_800.0), (10_801.0, 0.0)):
        total = degree_days(np.array([0.0, gap_s]), np.array([6.0, 6.0]), 5.0, start_s=0.0, end_s=DAY_S)
        assert total.covered_s == covered_s


def test_missing_samples_are_gaps() -> None:
    """NaN between two samples is bridged like any gap, and does not spoil the sum."""
    at_s, t_c = np.array([0.0, HOUR_S, 2 * HOUR_S]), np.array([29.0, math.nan, 29.0])
    total = degree_days(at_s, t_c, 5.0, start_s=0.0, end_s=2 * HOUR_S)

    assert total.degree_days_k_d == pytest.approx(2.0, rel=1e-12)


@pytest.mark.parametrize(("at_s", "t_c"), [([], []), ([5.0], [20.0]), ([5.0, 6.0], [math.nan, math.nan])])
def test_without_samples_nothing_is_covered(at_s: list[float], t_c: list[float]) -> None:
    """Nothing, one sample or only missing ones: no degree-days, and no claim to have covered anything."""
    total = degree_days(np.array(at_s), np.array(t_c), 5.0, start_s=0.0, end_s=DAY_S)

    assert total == (0.0, 0.0, DAY_S, False)
    unknown = day_degree_days(np.array(at_s), np.array(t_c), 5.0, start_s=0.0, end_s=DAY_S)
    assert math.isnan(unknown.degree_days_k_d)
    assert unknown.estimated


def test_a_day_with_too_few_samples_is_estimated_from_its_extremes_and_marked() -> None:
    """Below three quarters covered the sine of the extremes stands in.

    At three quarters the integral does.
    """
    at_s = np.arange(0.0, DAY_S + 1.0, HOUR_S)
    t_c = np.linspace(2.0, 12.0, 25)
    some = at_s >= 12 * HOUR_S
    few = day_degree_days(at_s[some], t_c[some], 5.0, start_s=0.0, end_s=DAY_S)

    assert few.estimated
    assert few.degree_days_k_d == pytest.approx(degree_days_single_sine(7.0, 12.0, 5.0))
    assert few.covered_fraction == pytest.approx(0.5)
    enough = at_s >= 6 * HOUR_S
    assert not day_degree_days(at_s[enough], t_c[enough], 5.0, start_s=0.0, end_s=DAY_S).estimated


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(1.0, 20_000.0), temperatures), min_size=2, max_size=40),
    st.floats(0.0, 1.0),
    st.floats(-10.0, 20.0),
)
def test_a_span_is_the_sum_of_its_parts(samples, cut: float, base_c: float) -> None:
    """Property: degree-days and coverage of two spans that meet add up to those of the whole, gaps or not."""
    steps_s, t_c = (np.array(column) for column in zip(*samples, strict=True))
    at_s = np.cumsum(steps_s)
    end_s = float(at_s[-1]) + 100.0
    cut_s = cut * end_s
    assume(0.0 < cut_s < end_s)
    whole = degree_days(at_s, t_c, base_c, start_s=0.0, end_s=end_s)
    first = degree_days(at_s, t_c, base_c, start_s=0.0, end_s=cut_s)
    second = degree_days(at_s, t_c, base_c, start_s=cut_s, end_s=end_s)

    assert first.degree_days_k_d + second.degree_days_k_d == pytest.approx(whole.degree_days_k_d, abs=1e-9)
    assert first.covered_s + second.covered_s == pytest.approx(whole.covered_s, abs=1e-6)


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(1.0, 20_000.0), temperatures), min_size=2, max_size=40),
    st.floats(-10.0, 20.0),
)
def test_a_higher_base_never_counts_more(samples, base_c: float) -> None:
    """Property: monotone in the base, never negative, never covering more than the span."""
    steps_s, t_c = (np.array(column) for column in zip(*samples, strict=True))
    at_s = np.cumsum(steps_s)
    span = {"start_s": 0.0, "end_s": float(at_s[-1]) + 1.0}
    lower, higher = degree_days(at_s, t_c, base_c, **span), degree_days(at_s, t_c, base_c + 1.0, **span)

    assert lower.degree_days_k_d >= higher.degree_days_k_d >= 0.0
    assert lower.covered_s <= lower.span_s


@settings(deadline=None)
@given(temperatures, temperatures, st.floats(-10.0, 20.0))
def test_one_day_and_an_array_of_it_are_the_same(minimum_c: float, maximum_c: float, base_c: float) -> None:
    """Property: scalar equals vector; a minimum above the maximum is NaN in both.

    Numbers give a plain float.
    """
    for function in (degree_days_single_sine, degree_days_single_triangle):
        one = function(minimum_c, maximum_c, base_c)
        many = function(np.array([minimum_c, 0.0]), np.array([maximum_c, 10.0]), base_c)

        assert type(one) is float
        assert many[0] == pytest.approx(one, rel=1e-12, abs=1e-12, nan_ok=True)
        assert math.isnan(one) == (minimum_c > maximum_c)


def test_a_missing_extreme_is_not_a_number() -> None:
    """NaN in, NaN out; also for the weights of an hour."""
    for function in (degree_days_single_sine, degree_days_single_triangle):
        assert math.isnan(function(math.nan, 10.0, 5.0))
        assert np.isnan(function(np.array([math.nan, 0.0]), np.array([10.0, math.nan]), 5.0)).all()
    for weight in (utah_weight, chilling_weight):
        assert math.isnan(weight(math.nan))
        assert np.isnan(weight(np.array([math.nan, 5.0]))).tolist() == [True, False]


def test_temperatures_between_samples_lie_on_the_line_and_nowhere_else() -> None:
    """By hand.

    Inside, on samples, in a long gap, before the first, after the last, beside a lonely sample.
    """
    at_s, t_c = np.array([0.0, HOUR_S, 10 * HOUR_S]), np.array([0.0, 6.0, 8.0])
    wanted_s = np.array([-1.0, 0.0, HOUR_S / 2, HOUR_S, 5 * HOUR_S, 10 * HOUR_S, 11 * HOUR_S])

    found_c = temperature_at(wanted_s, at_s, t_c)

    expected_c = [math.nan, 0.0, 3.0, 6.0, math.nan, 8.0, math.nan]
    assert found_c.tolist() == pytest.approx(expected_c, nan_ok=True)
    assert temperature_at(np.array([5.0, 6.0]), np.array([5.0]), np.array([1.0])).tolist() == pytest.approx(
        [1.0, math.nan], nan_ok=True
    )
    assert np.isnan(temperature_at(wanted_s, np.array([]), np.array([]))).all()


@pytest.mark.parametrize("base_c", [-21.0, 41.0, math.nan])
def test_a_base_that_no_plant_has_is_refused(base_c: float) -> None:
    """A configured base out of range is refused and named, as is a cut-off below the base."""
    nothing = np.array([])
    for refused in (
        lambda: degree_days(nothing, nothing, base_c, start_s=0.0, end_s=1.0),
        lambda: degree_days_single_sine(0.0, 10.0, base_c),
        lambda: degree_days_single_triangle(0.0, 10.0, base_c),
    ):
        with pytest.raises(ValueError, match="base temperature of degree-days"):
            refused()
    with pytest.raises(ValueError, match="upper cut-off of degree-days"):
        degree_days_single_sine(0.0, 10.0, 5.0, upper_c=4.0)


def test_a_span_that_runs_backwards_and_instants_that_jump_are_refused() -> None:
    """What would give a silent nonsense sum is refused."""
    nothing = np.array([])
    with pytest.raises(ValueError, match="end after it starts"):
        degree_days(nothing, nothing, 5.0, start_s=1.0, end_s=1.0)
    with pytest.raises(ValueError, match="end after it starts"):
        chilling(nothing, nothing, start_s=1.0, end_s=0.0)
    with pytest.raises(ValueError, match="must ascend"):
        degree_days(np.array([5.0, 4.0]), np.array([1.0, 1.0]), 5.0, start_s=0.0, end_s=10.0)
