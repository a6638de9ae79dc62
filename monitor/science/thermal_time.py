"""Thermal time: degree-days and winter chilling, from temperatures at uneven instants or from a day's
extremes.

Instants are seconds since 1970, ascending. A gap longer than `LONGEST_GAP_S` is not bridged, and every sum
says how much of its span was covered. Knows nothing of trees, stages or calendars.
"""

import bisect
import math
from typing import Any, Final, NamedTuple

import numpy as np

from monitor.science.values import FloatArray, Library, Value, evaluate, require, where

#: A gap up to this long is bridged by a straight line. [s]
LONGEST_GAP_S: Final = 10_800.0

#: A day's own temperatures are enough when they cover at least this share of it.
ENOUGH_FRACTION: Final = 0.75

#: Base temperatures that make sense for a plant. [°C]
BASE_RANGE_C: Final = (-20.0, 40.0)

#: Temperatures whose hours count as chilling. [°C] 32 to 45 °F, the classic chilling-hour rule of fruit
#: growing.
CHILLING_RANGE_C: Final = (0.0, 7.2)

#: Upper edges [°C] and weights [-] of the chilling units of an hour, the last weight being that above all
#: edges. Richardson, Seeley and Walker 1974, HortScience 9:331 ("Utah model").
UTAH_EDGES_C: Final = (1.4, 2.4, 9.1, 12.4, 15.9, 18.0)
UTAH_WEIGHTS: Final = (0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0)

SECONDS_A_DAY: Final = 86_400.0
SECONDS_AN_HOUR: Final = 3_600.0


class ThermalTime(NamedTuple):
    """Degree-days of a span, and how much of the span temperatures covered."""

    degree_days_k_d: float
    covered_s: float
    span_s: float
    #: From the span's extremes, for the temperatures covered too little of it.
    estimated: bool = False

    @property
    def covered_fraction(self) -> float:
        """Covered share of the span, 0..1."""
        return self.covered_s / self.span_s


class Chilling(NamedTuple):
    """Chilling of a span by two rules, and how many of its hours had a temperature."""

    chilling_h: float
    utah_units: float
    covered_h: int
    span_h: int


def degree_days(
    observed_at_s: FloatArray,
    temperature_c: FloatArray,
    base_c: float,
    *,
    start_s: float,
    end_s: float,
    upper_c: float | None = None,
    longest_gap_s: float = LONGEST_GAP_S,
) -> ThermalTime:
    """Integral of the temperature's excess over a base, straight lines between the samples. [K d]

    Parameters
    ----------
    observed_at_s
        instants, shape (n,) [s since 1970], ascending
    temperature_c
        temperatures, shape (n,) [°C]; NaN is a missing sample
    base_c
        base temperature [°C], −20..40
    start_s, end_s
        span of the sum [s since 1970]
    upper_c
        what is above counts as if at this temperature (horizontal cut-off) [°C], above the base, up to 60
    longest_gap_s
        a longer gap between samples counts nothing and is not covered [s]

    Raises
    ------
    ValueError
        base or cut-off out of range, a span that does not run forward, instants that do not ascend

    Notes
    -----
    What is missing is not made up: with a covered fraction of 0.9 the sum is that of 0.9 of the span.
    """
    _check_base(base_c, upper_c)
    left_s, right_s, left_c, right_c = _segments(observed_at_s, temperature_c, start_s, end_s, longest_gap_s)
    length_s = right_s - left_s
    excess_k = _mean_excess(left_c - base_c, right_c - base_c)
    if upper_c is not None:
        excess_k = excess_k - _mean_excess(left_c - upper_c, right_c - upper_c)
    total = float(np.sum(excess_k * length_s)) / SECONDS_A_DAY
    return ThermalTime(total, float(length_s.sum()), end_s - start_s)


def day_degree_days(
    observed_at_s: FloatArray,
    temperature_c: FloatArray,
    base_c: float,
    *,
    start_s: float,
    end_s: float,
    upper_c: float | None = None,
    longest_gap_s: float = LONGEST_GAP_S,
) -> ThermalTime:
    """Degree-days of one day: integrated where covered enough, else estimated from the extremes that were
    seen. [K d]

    Parameters and errors as of `degree_days`; the span is the day.

    Notes
    -----
    Below three quarters covered the single sine stands in, marked `estimated`; without two known temperatures
    in the day the sum is NaN. The extremes of a part of a day are a poor guess: the mark must reach whoever
    reads the sum.
    """
    whole = degree_days(
        observed_at_s,
        temperature_c,
        base_c,
        start_s=start_s,
        end_s=end_s,
        upper_c=upper_c,
        longest_gap_s=longest_gap_s,
    )
    if whole.covered_fraction >= ENOUGH_FRACTION:
        return whole
    seen = temperature_c[(observed_at_s >= start_s) & (observed_at_s <= end_s) & ~np.isnan(temperature_c)]
    if seen.size < 2:
        return whole._replace(degree_days_k_d=math.nan, estimated=True)
    a_day = degree_days_single_sine(float(seen.min()), float(seen.max()), base_c, upper_c=upper_c)
    return whole._replace(degree_days_k_d=a_day * whole.span_s / SECONDS_A_DAY, estimated=True)


def degree_days_single_sine(
    minimum_c: Value, maximum_c: Value, base_c: float, *, upper_c: float | None = None
) -> Value:
    """Degree-days of one day from its extremes, the day taken as one wave of a sine. [K d]

    Parameters
    ----------
    minimum_c, maximum_c
        the day's lowest and highest temperature [°C]; NaN where the minimum is above the maximum
    base_c
        base temperature [°C], −20..40
    upper_c
        horizontal cut-off [°C], above the base, up to 60

    Raises
    ------
    ValueError
        base or cut-off out of range

    Notes
    -----
    Baskerville and Emin 1969, Ecology 50:514, doi:10.2307/1933912. About a tenth more than hourly integration
    gives.
    """
    _check_base(base_c, upper_c)

    def formula(lib: Library, minimum_c: Any, maximum_c: Any) -> Any:
        total = _sine_excess(lib, minimum_c, maximum_c, base_c)
        return total if upper_c is None else total - _sine_excess(lib, minimum_c, maximum_c, upper_c)

    return evaluate(formula, minimum_c, maximum_c)


def degree_days_single_triangle(
    minimum_c: Value, maximum_c: Value, base_c: float, *, upper_c: float | None = None
) -> Value:
    """Degree-days of one day from its extremes, straight up and straight down again. [K d]

    Parameters
    ----------
    minimum_c, maximum_c
        the day's lowest and highest temperature [°C]; NaN where the minimum is above the maximum
    base_c
        base temperature [°C], −20..40
    upper_c
        horizontal cut-off [°C], above the base, up to 60

    Raises
    ------
    ValueError
        base or cut-off out of range

    Notes
    -----
    Lindsey and Newman 1956, Ecology 37:812 (from memory). Some hundredths more than hourly integration gives.
    """
    _check_base(base_c, upper_c)

    def formula(lib: Library, minimum_c: Any, maximum_c: Any) -> Any:
        total = _triangle_excess(lib, minimum_c, maximum_c, base_c)
        return total if upper_c is None else total - _triangle_excess(lib, minimum_c, maximum_c, upper_c)

    return evaluate(formula, minimum_c, maximum_c)


def temperature_at(
    instants_s: FloatArray,
    observed_at_s: FloatArray,
    temperature_c: FloatArray,
    *,
    longest_gap_s: float = LONGEST_GAP_S,
) -> FloatArray:
    """Temperatures at given instants, on straight lines between the samples. [°C]

    Parameters
    ----------
    instants_s
        where temperatures are wanted, shape (m,) [s since 1970]
    observed_at_s, temperature_c
        samples, shape (n,) [s since 1970] [°C], ascending; NaN is a missing sample
    longest_gap_s
        NaN inside of longer gaps, and before the first and after the last sample [s]

    Raises
    ------
    ValueError
        instants of samples that do not ascend
    """
    at_s, t_c = _known(observed_at_s, temperature_c)
    if at_s.size == 0:
        return np.full(instants_s.shape, np.nan)
    after = np.searchsorted(at_s, instants_s).clip(1, max(1, at_s.size - 1))
    gap_s = at_s[np.minimum(after, at_s.size - 1)] - at_s[after - 1]
    bridged = (instants_s >= at_s[0]) & (instants_s <= at_s[-1]) & (gap_s <= longest_gap_s)
    return np.where(bridged | np.isin(instants_s, at_s), np.interp(instants_s, at_s, t_c), np.nan)


def chilling(
    observed_at_s: FloatArray,
    temperature_c: FloatArray,
    *,
    start_s: float,
    end_s: float,
    longest_gap_s: float = LONGEST_GAP_S,
) -> Chilling:
    """Chilling hours and Utah chilling units of a span, from its temperatures at every full hour after its
    start.

    Parameters
    ----------
    observed_at_s, temperature_c
        samples, shape (n,) [s since 1970] [°C], ascending; NaN is a missing sample
    start_s, end_s
        span of the sums, the end not included [s since 1970]
    longest_gap_s
        hours inside of a longer gap count nothing and are not covered [s]

    Raises
    ------
    ValueError
        a span that does not run forward, instants that do not ascend
    """
    _check_span(start_s, end_s)
    hours_s = np.arange(start_s, end_s, SECONDS_AN_HOUR)
    hourly_c = temperature_at(hours_s, observed_at_s, temperature_c, longest_gap_s=longest_gap_s)
    known_c = hourly_c[~np.isnan(hourly_c)]
    counted_h, units = chilling_weight(known_c).sum(), utah_weight(known_c).sum()
    return Chilling(float(counted_h), float(units), known_c.size, hours_s.size)


def chilling_weight(temperature_c: Value) -> Value:
    """1 where an hour at a temperature [°C] counts as chilling (0..7.2 °C), 0 elsewhere; NaN in, NaN out."""
    return evaluate(_chilling_weight, temperature_c)


def utah_weight(temperature_c: Value) -> Value:
    """Chilling units of an hour at a temperature [°C]. [-] −1..1; NaN in, NaN out.

    Notes
    -----
    Richardson, Seeley and Walker 1974, HortScience 9:331; the printed classes leave gaps of 0.1 K between
    them, which belong here to the warmer class.
    """
    return evaluate(_utah_weight, temperature_c)


def _check_base(base_c: float, upper_c: float | None) -> None:
    require(base_c, *BASE_RANGE_C, "base temperature of degree-days", "°C")
    if upper_c is not None:
        require(upper_c, base_c, 60.0, "upper cut-off of degree-days", "°C")


def _check_span(start_s: float, end_s: float) -> None:
    if not start_s < end_s:
        raise ValueError(f"the span of a sum must end after it starts: {start_s:.0f} s to {end_s:.0f} s")


def _known(observed_at_s: FloatArray, temperature_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The samples that are not missing."""
    known = ~np.isnan(temperature_c)
    at_s = observed_at_s[known]
    if np.any(np.diff(at_s) < 0.0):
        raise ValueError("the instants of temperatures must ascend")
    return at_s, temperature_c[known]


def _segments(
    observed_at_s: FloatArray,
    temperature_c: FloatArray,
    start_s: float,
    end_s: float,
    longest_gap_s: float,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Ends and end temperatures of the lines between samples, cut to the span, long gaps left out."""
    _check_span(start_s, end_s)
    at_s, t_c = _known(observed_at_s, temperature_c)
    left_s, right_s = np.maximum(at_s[:-1], start_s), np.minimum(at_s[1:], end_s)
    held = (np.diff(at_s) <= longest_gap_s) & (right_s > left_s)
    left_s, right_s = left_s[held], right_s[held]
    if left_s.size == 0:
        return left_s, right_s, left_s, right_s
    return left_s, right_s, np.interp(left_s, at_s, t_c), np.interp(right_s, at_s, t_c)


def _mean_excess(left_k: FloatArray, right_k: FloatArray) -> FloatArray:
    """Mean of max(0, x) along straight lines from left to right."""
    high, low = np.maximum(left_k, right_k), np.minimum(left_k, right_k)
    crossing = (low < 0.0) & (high > 0.0)
    span = np.where(crossing, high - low, 1.0)
    return np.where(crossing, high * high / (2.0 * span), np.maximum(0.0, (high + low) / 2.0))


def _sine_excess(lib: Library, minimum_c: Any, maximum_c: Any, base_c: float) -> Any:
    mean_k, swing_k = (maximum_c + minimum_c) / 2.0 - base_c, (maximum_c - minimum_c) / 2.0
    crossing = (minimum_c < base_c) & (maximum_c > base_c)
    sine = where(lib, crossing, -mean_k / where(lib, crossing, swing_k, 1.0), 0.0)
    cosine = lib.sqrt(1.0 - sine * sine)
    # π/2 − asin(x) = atan2(√(1−x²), x): the angle from where the sine passes the base to its crest
    to_crest = (lib.atan2 if lib is math else lib.arctan2)(cosine, sine)
    partial = (mean_k * to_crest + swing_k * cosine) / math.pi
    return _by_extremes(lib, minimum_c, maximum_c, base_c, partial)


def _triangle_excess(lib: Library, minimum_c: Any, maximum_c: Any, base_c: float) -> Any:
    span_k = where(lib, maximum_c > minimum_c, maximum_c - minimum_c, 1.0)
    return _by_extremes(lib, minimum_c, maximum_c, base_c, (maximum_c - base_c) ** 2 / (2.0 * span_k))


def _by_extremes(lib: Library, minimum_c: Any, maximum_c: Any, base_c: float, partial: Any) -> Any:
    """The partial sum where the day crosses the base, else all of its mean's excess or nothing."""
    above = where(lib, minimum_c >= base_c, (maximum_c + minimum_c) / 2.0 - base_c, partial)
    total = where(lib, maximum_c > base_c, above, 0.0)
    return where(lib, minimum_c <= maximum_c, total, math.nan)


def _chilling_weight(lib: Library, temperature_c: Any) -> Any:
    low_c, high_c = CHILLING_RANGE_C
    counts = where(lib, (temperature_c >= low_c) & (temperature_c <= high_c), 1.0, 0.0)
    return counts + 0.0 * temperature_c


def _utah_weight(lib: Library, temperature_c: Any) -> Any:
    if lib is math:
        known = not math.isnan(temperature_c)
        return UTAH_WEIGHTS[bisect.bisect_left(UTAH_EDGES_C, temperature_c)] if known else math.nan
    weights = np.array(UTAH_WEIGHTS)[np.searchsorted(UTAH_EDGES_C, temperature_c)]
    return np.where(np.isnan(temperature_c), np.nan, weights)
