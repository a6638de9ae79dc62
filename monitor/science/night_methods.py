"""Ways to say a night's low from its evening, each fitted to the nights that are known.

An evening is taken two hours after sunset, a night from there to an hour after sunrise. Knows nothing of
sensors, houses, clocks, or which way is to be trusted.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.science.regression import ridge
from monitor.science.values import FloatArray

#: A night goes on this long after sunrise. [h]
AFTER_SUNRISE_H: Final = 1.0

#: Points of a night's course that are kept, evenly spread from its evening to its end.
TRACK_COUNT: Final = 13

#: Longest gap in a course that is bridged, and share of it that must be known.
LONGEST_GAP_H: Final = 1.5
LEAST_COVERED: Final = 0.8

#: Fall of the temperature that is taken before any night is known, and its spread. [K]
USUAL_FALL_K: Final = 3.0
USUAL_FALL_SPREAD_K: Final = 3.0

#: Spread of the fall from night to night, and of a low about a regression. [K] Airport winters: 2.3 and 2.0.
FALL_NOISE_K: Final = 2.25
LINE_NOISE_K: Final = 2.0

#: Where a regression starts: low = −2 + 0.8·T0 + 0.15·Td0; without dew point −2.5 + 0.85·T0. Coefficients
#: do not travel from place to place, so these only hold the first weeks together.
LINE_PRIOR: Final = (-2.0, 0.8, 0.15)
LINE_PRIOR_DRY: Final = (-2.5, 0.85)
LINE_SPREAD: Final = (2.0, 0.15, 0.15)

#: The free regression keeps so little of that start that it is ordinary least squares to two digits.
FREE_WIDENING: Final = 30.0

#: A weather service's low is taken as it is until nights show its bias and slope at this sensor.
SERVICE_PRIOR: Final = (0.0, 1.0)
SERVICE_SPREAD: Final = (3.0, 0.2)
SERVICE_NOISE_K: Final = 1.5


class Evening(NamedTuple):
    """What is known when the night begins.

    `temperature_c`, `dew_point_c` two hours after sunset [°C]; `length_h` from there to sunrise [h];
    `service_low_c` a weather service's low [°C]. NaN where not known, the temperature excepted.
    """

    temperature_c: float
    dew_point_c: float
    length_h: float
    service_low_c: float = math.nan

    @property
    def whole_h(self) -> float:
        """From the evening to the end of the night. [h]"""
        return self.length_h + AFTER_SUNRISE_H


class Night(NamedTuple):
    """A night that is over.

    `low_c` [°C], reached `low_after_h` after its evening [h]; `track_c` its course at `TRACK_COUNT` points,
    NaN where not known; `held`: a heater held it, so that the low says only how cold it was not.
    """

    evening: Evening
    low_c: float
    low_after_h: float
    track_c: tuple[float, ...]
    held: bool = False


class Prediction(NamedTuple):
    """`low_c` for this evening; `left_out_k`: truth less prediction of each known night without itself, or
    NaN."""

    low_c: float
    left_out_k: FloatArray


class Nights:
    """Known nights as arrays, one entry a night."""

    def __init__(self, nights: Sequence[Night]) -> None:
        self.evening_c = np.array([night.evening.temperature_c for night in nights], dtype=np.float64)
        self.dew_point_c = np.array([night.evening.dew_point_c for night in nights], dtype=np.float64)
        self.service_c = np.array([night.evening.service_low_c for night in nights], dtype=np.float64)
        self.low_c = np.array([night.low_c for night in nights], dtype=np.float64)
        self.held = np.array([night.held for night in nights], dtype=bool)


def night_of(
    evening: Evening, after_h: npt.ArrayLike, temperature_c: npt.ArrayLike, *, held: bool = False
) -> Night | None:
    """A night from its samples, or None if too little of it is known.

    Parameters
    ----------
    evening
        its beginning
    after_h
        hours after the evening, rising [h]; samples outside of the night are left out
    temperature_c
        of each sample [°C]; NaN is left out
    held
        whether a heater held it
    """
    hours = np.asarray(after_h, dtype=np.float64)
    celsius = np.asarray(temperature_c, dtype=np.float64)
    inside = (hours >= 0) & (hours <= evening.whole_h) & np.isfinite(celsius)
    if not inside.any() or not math.isfinite(evening.temperature_c):
        return None
    track = track_of(hours[inside], celsius[inside], evening.whole_h)
    if np.isfinite(track).mean() < LEAST_COVERED:
        return None
    lowest = int(np.argmin(celsius[inside]))
    return Night(
        evening,
        low_c=float(celsius[inside][lowest]),
        low_after_h=float(hours[inside][lowest]),
        track_c=tuple(track.tolist()),
        held=held,
    )


def track_of(after_h: FloatArray, temperature_c: FloatArray, whole_h: float) -> FloatArray:
    """Course at evenly spread points, NaN where no sample is near."""
    points = np.linspace(0.0, whole_h, TRACK_COUNT)
    course = np.interp(points, after_h, temperature_c)
    nearest = np.abs(points[:, None] - after_h[None, :]).min(axis=1)
    return np.where(nearest <= LONGEST_GAP_H / 2, course, np.nan)


def usual_fall(nights: Nights, evening: Evening) -> Prediction:
    """This evening less the mean fall of the nights that are known, 3 ± 3 K before there are any."""
    fit = ridge(
        np.ones((len(nights.low_c), 1)),
        nights.low_c - nights.evening_c,
        prior=np.array([-USUAL_FALL_K]),
        prior_spread=np.array([USUAL_FALL_SPREAD_K]),
        noise=FALL_NOISE_K,
        bounded=nights.held,
    )
    return Prediction(evening.temperature_c + float(fit.coefficients[0]), fit.left_out)


def ridge_line(nights: Nights, evening: Evening) -> Prediction:
    """Regression on temperature and dew point, held together by a prior."""
    return _line(nights, evening, widening=1.0)


def free_line(nights: Nights, evening: Evening) -> Prediction:
    """Regression on temperature and dew point by the nights alone."""
    return _line(nights, evening, widening=FREE_WIDENING)


def service_line(nights: Nights, evening: Evening) -> Prediction:
    """A weather service's low, with its bias and slope at this sensor taken off."""
    if math.isnan(evening.service_low_c):
        return Prediction(math.nan, np.full(len(nights.low_c), np.nan))
    columns = np.column_stack([np.ones(len(nights.low_c)), nights.service_c])
    return _fitted(
        nights,
        columns,
        np.array([1.0, evening.service_low_c]),
        prior=np.array(SERVICE_PRIOR),
        spread=np.array(SERVICE_SPREAD),
        noise=SERVICE_NOISE_K,
    )


def _line(nights: Nights, evening: Evening, *, widening: float) -> Prediction:
    dry = math.isnan(evening.dew_point_c)
    columns = [np.ones(len(nights.low_c)), nights.evening_c, nights.dew_point_c]
    tonight = [1.0, evening.temperature_c, evening.dew_point_c]
    kept = 2 if dry else 3
    return _fitted(
        nights,
        np.column_stack(columns[:kept]),
        np.array(tonight[:kept]),
        prior=np.array(LINE_PRIOR_DRY if dry else LINE_PRIOR),
        spread=widening * np.array(LINE_SPREAD[:kept]),
        noise=LINE_NOISE_K,
    )


def _fitted(
    nights: Nights,
    columns: FloatArray,
    tonight: FloatArray,
    *,
    prior: FloatArray,
    spread: FloatArray,
    noise: float,
) -> Prediction:
    """Fit over the nights whose features are all known."""
    whole = np.isfinite(columns).all(axis=1)
    fit = ridge(
        columns[whole],
        nights.low_c[whole],
        prior=prior,
        prior_spread=spread,
        noise=noise,
        bounded=nights.held[whole],
    )
    left_out = np.full(len(nights.low_c), np.nan)
    left_out[whole] = fit.left_out
    return Prediction(float(tonight @ fit.coefficients), left_out)


#: The ways by name; the first three are told apart by their past errors, the last needs a weather service.
METHODS: Final[Mapping[str, Callable[[Nights, Evening], Prediction]]] = MappingProxyType(
    {
        "usual-fall": usual_fall,
        "ridge": ridge_line,
        "regression": free_line,
        "service": service_line,
    }
)
