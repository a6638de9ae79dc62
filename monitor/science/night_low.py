"""How cold the coming night will be: a distribution, from the evening and again through the night.

Learns from the place's own nights (`night_memory`). Knows nothing of clocks, sensors, trees or alarms;
hours count from the evening, which stands two hours after sunset.
"""

import math
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.science.distribution import PRIOR_POINTS, Distribution, from_cases, from_errors
from monitor.science.night_memory import NightMemory, foretell
from monitor.science.night_methods import TRACK_COUNT, Evening, Nights, Prediction
from monitor.science.regression import ridge
from monitor.science.values import FloatArray, require

#: Spread assumed of an evening forecast before its own errors are known. [K] A usual fall of 3 ± 3 K.
EVENING_SPREAD_K: Final = 3.0

#: Spread that is left at the end of the night, from the sensor and the last hour. [K]
MORNING_SPREAD_K: Final = 0.2

#: Span over which the trend of the moment is taken. [h]
TREND_H: Final = 1.5

#: Share of the night after which a refresh says more than the evening did.
REFRESH_FROM: Final = 0.04

#: How far the weights of a refresh may stand from their start: constant [K], temperature, evening forecast,
#: trend.
REFRESH_SPREAD: Final = (1.0, 0.3, 0.3, 0.3)
REFRESH_NOISE_K: Final = 1.5

#: Share of the last hour-and-a-half's change that goes on, at the beginning of the night.
TREND_CARRIES: Final = 0.3

#: What the end of the night weighs, in nights, when its coldest hour is looked for.
SUNRISE_WEIGHT: Final = 3


class NightForecast(NamedTuple):
    """The coming low.

    `method`: `learning`, `usual-fall`, `ridge` or `regression`; `nights_learned`; `low_c` [°C]; `low_after_h`
    likeliest hour, after the evening [h].
    """

    method: str
    nights_learned: int
    low_c: Distribution
    low_after_h: float


class Baselines(NamedTuple):
    """What any forecast must beat: this evening's temperature, last night's low, this evening less the mean
    fall."""

    evening_c: float
    last_low_c: float
    usual_fall_c: float


def forecast_low(memory: NightMemory, evening: Evening) -> NightForecast:
    """The coming low as seen from the evening.

    Parameters
    ----------
    memory
        nights of the same place
    evening
        what is known; a NaN temperature gives NaN throughout

    Raises
    ------
    ValueError
        a night without length
    """
    require(evening.length_h, 0.5, 24.0, "the length of a night", "h")
    name, said = foretell(memory, evening)
    return _from_evening(memory, evening, name, said)


def refresh_low(
    memory: NightMemory, evening: Evening, after_h: npt.ArrayLike, temperature_c: npt.ArrayLike
) -> NightForecast:
    """The coming low as seen from some hour of the night.

    Parameters
    ----------
    memory, evening
        as in the evening
    after_h
        hours of the samples after the evening, rising, the last one now [h]
    temperature_c
        of each sample [°C]; NaN is left out

    Raises
    ------
    ValueError
        a night without length

    Notes
    -----
    The lowest still to come is a regression on the temperature of the moment, the evening's forecast and
    the trend of the last hour and a half, over the same hour of the nights that are known, with a prior
    that leads from the evening's forecast to the temperature of the moment. The low is the lower of that
    and what has been.
    """
    hours, celsius = np.asarray(after_h, dtype=np.float64), np.asarray(temperature_c, dtype=np.float64)
    known = np.isfinite(celsius) & (hours >= 0)
    require(evening.length_h, 0.5, 24.0, "the length of a night", "h")
    name, said = foretell(memory, evening)
    if not known.any():
        return _from_evening(memory, evening, name, said)
    hours, celsius = hours[known], celsius[known]
    lowest, part = int(np.argmin(celsius)), min(float(hours[-1]) / evening.whole_h, 1.0)
    if part < REFRESH_FROM:
        early = _from_evening(memory, evening, name, said)
        return early._replace(low_c=early.low_c.capped(float(celsius[lowest])))
    coming = _still_to_come(memory, said, part, hours, celsius).capped(float(celsius[lowest]))
    over = coming._replace(ceiling=math.inf).p50 >= celsius[lowest]
    coldest_h = float(hours[lowest]) if over else _coldest_hour(memory, evening, part)
    return NightForecast(name, memory.learnt_count, coming, coldest_h)


def baselines(memory: NightMemory, evening: Evening) -> Baselines:
    """The three honest rivals of a forecast, NaN where no night is known."""
    free = [night for night in memory.nights if not night.held]
    if not free:
        return Baselines(evening.temperature_c, math.nan, math.nan)
    falls = [night.evening.temperature_c - night.low_c for night in free]
    usual_c = evening.temperature_c - sum(falls) / len(falls)
    return Baselines(evening.temperature_c, memory.nights[-1].low_c, usual_c)


def with_heater(free: Distribution, *, holds_c: float, spread_k: float, chance_holds: float) -> Distribution:
    """The low in a house whose heater may hold it.

    Parameters
    ----------
    free
        the low without the heater
    holds_c, spread_k
        what the house falls to while its heater works, and how that varies [°C], [K]
    chance_holds
        chance that the heater works and is strong enough [-], 0..1

    Raises
    ------
    ValueError
        a chance or a spread that cannot be
    """
    require(chance_holds, 0.0, 1.0, "the chance that a heater holds", "")
    require(spread_k, 0.0, 20.0, "the spread of what a heater holds", "K")
    alone = np.asarray(free.values)
    held = np.maximum(alone[:, None], holds_c + spread_k * np.asarray(PRIOR_POINTS)[None, :]).ravel()
    weights = [
        np.full(alone.size, 1 - chance_holds),
        np.full(held.size, chance_holds * alone.size / held.size),
    ]
    return from_cases(np.concatenate([alone, held]), np.concatenate(weights))._replace(ceiling=free.ceiling)


def _from_evening(memory: NightMemory, evening: Evening, name: str, said: Prediction) -> NightForecast:
    low_c = from_errors(said.low_c, said.left_out_k, assumed_spread=EVENING_SPREAD_K)
    return NightForecast(name, memory.learnt_count, low_c, _coldest_hour(memory, evening, 0.0))


def _still_to_come(
    memory: NightMemory, said: Prediction, part: float, hours: FloatArray, celsius: FloatArray
) -> Distribution:
    """Lowest temperature from now to the end of the night."""
    now_c = float(celsius[-1])
    trend_known = hours[-1] - hours[0] >= TREND_H * 0.9
    trend_k = now_c - float(np.interp(hours[-1] - TREND_H, hours, celsius)) if trend_known else math.nan
    tonight = np.array([1.0, now_c, said.low_c, trend_k])
    past, lowest_c = _same_hour(memory, part, said.left_out_k)
    kept = 4 if trend_known else 3
    usable = np.isfinite(past[:, :kept]).all(axis=1) & np.isfinite(lowest_c)
    fit = ridge(
        past[usable, :kept],
        lowest_c[usable],
        prior=np.array([part - 1, part, 1 - part, TREND_CARRIES * (1 - part)])[:kept],
        prior_spread=np.array(REFRESH_SPREAD)[:kept],
        noise=REFRESH_NOISE_K,
    )
    spread_k = MORNING_SPREAD_K + (EVENING_SPREAD_K - MORNING_SPREAD_K) * (1 - part)
    return from_errors(float(tonight[:kept] @ fit.coefficients), fit.left_out, assumed_spread=spread_k)


def _same_hour(memory: NightMemory, part: float, left_out_k: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The known nights at the same part of the night: features, and the lowest that was still to come."""
    known = Nights(memory.nights)
    count = len(memory.nights)
    tracks = np.array([night.track_c for night in memory.nights], dtype=np.float64).reshape(
        count, TRACK_COUNT
    )
    wholes_h = np.array([night.evening.whole_h for night in memory.nights], dtype=np.float64)
    low_at = np.array([night.low_after_h for night in memory.nights], dtype=np.float64) / wholes_h
    now_c = _along(tracks, np.full(count, part))
    trend_k = now_c - _along(tracks, np.maximum(part - TREND_H / wholes_h, 0.0))
    ahead = np.linspace(0.0, 1.0, TRACK_COUNT) >= part
    later_c = np.fmin(np.fmin.reduce(np.where(ahead, tracks, np.inf), axis=1, initial=np.inf), now_c)
    lowest_c = np.where(low_at >= part, known.low_c, later_c)
    lowest_c = np.where(known.held, np.nan, lowest_c)
    return np.column_stack([np.ones(count), now_c, known.low_c - left_out_k, trend_k]), lowest_c


def _along(tracks: FloatArray, part: FloatArray) -> FloatArray:
    """Each night's course at its own part of the night, by linear interpolation."""
    place = np.clip(part, 0.0, 1.0) * (TRACK_COUNT - 1)
    left = np.minimum(place.astype(np.int64), TRACK_COUNT - 2)
    rows = np.arange(len(tracks))
    step = place - left
    return np.asarray(tracks[rows, left] * (1 - step) + tracks[rows, left + 1] * step)


def _coldest_hour(memory: NightMemory, evening: Evening, part: float) -> float:
    """Middle of the hours that past nights were coldest at, of those still to come; sunrise counts for
    three. [h]"""
    parts = [night.low_after_h / night.evening.whole_h for night in memory.nights if not night.held]
    sunrise = evening.length_h / evening.whole_h
    coming = [value for value in parts if value >= part] + [max(sunrise, part)] * SUNRISE_WEIGHT
    return float(np.median(coming)) * evening.whole_h
