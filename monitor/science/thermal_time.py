"""Thermal time: degree-days and winter chilling from temperatures at uneven instants, or from a day's extremes.

Instants are seconds since 1970. A gap longer than `LONGEST_GAP_S` is not bridged; every sum says how much of its
span was covered. Knows nothing of trees or stages.
"""

import math
from typing import Any, Final, NamedTuple

import numpy as np

from monitor.science.values import FloatArray, Library, Value, evaluate, require, where

#: A gap up to this long is bridged by a straight line. [s]
LONGEST_GAP_S: Final = 10_800.0

#: A day's sum stands when at least this share of the day was covered.
ENOUGH_FRACTION: Final = 0.75

#: Lowest and highest base temperature that makes sense for a plant. [°C]
BASE_RANGE_C: Final = (-20.0, 40.0)

SECONDS_A_DAY: Final = 86_400.0


class ThermalTime(NamedTuple):
    """A sum over a span, and the share of the span that temperatures covered."""

    degree_days_k_d: float
    covered_s: float
    span_s: float

    @property
    def covered_fraction(self) -> float:
        """Covered share of the span, 0..1."""
        return self.covered_s / self.span_s


def degree_days(
    observed_at_s: FloatArray,
    temperature_c: FloatArray,
    base_c: float,
    *,
    start_s: float,
    end_s: float,
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
    longest_gap_s
        a longer gap between samples counts nothing and is not covered [s]

    Raises
    ------
    ValueError
        base out of range, or a span that does not run forward

    Notes
    -----
    What is missing is not made up: with a covered fraction of 0.9 the sum is that of 0.9 of the span.
    """
    require(base_c, *BASE_RANGE_C, "base temperature of degree-days", "°C")
    if not start_s < end_s:
        raise ValueError("the span of a sum must end after it starts")
    known = ~np.isnan(temperature_c)
    at_s, t_c = observed_at_s[known], temperature_c[known]
    left_s, right_s = np.maximum(at_s[:-1], start_s), np.minimum(at_s[1:], end_s)
    held = (np.diff(at_s) <= longest_gap_s) & (right_s > left_s)
    left_s, right_s = left_s[held], right_s[held]
    left_k, right_k = np.interp(left_s, at_s, t_c) - base_c, np.interp(right_s, at_s, t_c) - base_c
    length_s = right_s - left_s
    total = float(np.sum(_mean_excess(left_k, right_k) * length_s)) / SECONDS_A_DAY
    return ThermalTime(total, float(length_s.sum()), end_s - start_s)


def _mean_excess(left_k: FloatArray, right_k: FloatArray) -> FloatArray:
    """Mean of max(0, x) along straight lines from left to right."""
    high, low = np.maximum(left_k, right_k), np.minimum(left_k, right_k)
    crossing = (low < 0.0) & (high > 0.0)
    span = np.where(crossing, high - low, 1.0)
    return np.where(crossing, high * high / (2.0 * span), np.maximum(0.0, (high + low) / 2.0))


def degree_days_single_sine(minimum_c: Value, maximum_c: Value, base_c: float) -> Value:
    """Degree-days of one day from its extremes, the day taken as one sine wave. [K d]

    Parameters
    ----------
    minimum_c, maximum_c
        the day's lowest and highest temperature [°C]; NaN where the minimum is above the maximum
    base_c
        base temperature [°C], −20..40

    Raises
    ------
    ValueError
        base out of range

    Notes
    -----
    Baskerville and Emin 1969, Ecology 50:514, doi:10.2307/1933912. Runs some 10 % high against hourly integration.
    """
    require(base_c, *BASE_RANGE_C, "base temperature of degree-days", "°C")

    def formula(lib: Library, minimum_c: Any, maximum_c: Any) -> Any:
        mean_k, swing_k = (maximum_c + minimum_c) / 2.0 - base_c, (maximum_c - minimum_c) / 2.0
        crossing = (minimum_c < base_c) & (maximum_c > base_c)
        sine = where(lib, crossing, -mean_k / where(lib, crossing, swing_k, 1.0), 0.0)
        # acos(x) = π/2 − asin(x), and cos(asin(x)) = sqrt(1 − x²)
        partial = (mean_k * lib.acos(sine) + swing_k * lib.sqrt(1.0 - sine * sine)) / math.pi
        whole = where(lib, mean_k > 0.0, mean_k, 0.0 * mean_k)
        return where(lib, minimum_c <= maximum_c, where(lib, crossing, partial, whole), math.nan)

    return evaluate(formula, minimum_c, maximum_c)
