"""How warm a shut house becomes under the sun of the rest of the day, from how the morning has begun.

What the air makes for above the air outside, over the height of the sun, is what the sun does to this house
today: clouds, glass and shade together. Knows nothing of clocks, sensors, trees or alarms.
"""

from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.science.house_ahead import Standing
from monitor.science.house_response import HouseResponse
from monitor.science.values import FloatArray, require

#: Sine of the sun's height below which nothing can be said of its strength.
LEAST_SUN: Final = 0.08


class Course(NamedTuple):
    """The air of a shut house through the day, one entry a step. [°C]"""

    air_c: FloatArray

    @property
    def high_c(self) -> float:
        """The warmest that it comes to."""
        return float(self.air_c.max())

    def reaches(self, limit_c: float) -> int | None:
        """The first step at or above a limit."""
        above = np.flatnonzero(self.air_c >= limit_c)
        return int(above[0]) if len(above) else None


def through_the_day(
    response: HouseResponse,
    now: Standing,
    *,
    outside_c: npt.ArrayLike,
    sun: npt.ArrayLike,
    sun_now: float,
    step_s: float,
) -> Course | None:
    """The air of a shut house for the rest of the day, or None while the sun is too low to tell.

    Parameters
    ----------
    response, now
        the house, and where its air stands
    outside_c
        the air outside at each coming step, the first now [°C]
    sun
        sine of the sun's height at each of them [-], 0 when it is down
    sun_now
        the same over the minutes that `now` was read from [-]
    step_s
        [s], 60..1800

    Raises
    ------
    ValueError
        a step out of range

    Notes
    -----
    Outside + offset + gain·sun through the two lags, gain = (what the air makes for − outside − offset)/sun.
    Heat that the sun gives to pots and benches directly comes later than that, so it errs to the cool side.
    """
    require(step_s, 60.0, 1800.0, "the step of a day's course", "s")
    outside, height = np.asarray(outside_c, dtype=np.float64), np.asarray(sun, dtype=np.float64)
    if not sun_now >= LEAST_SUN:
        return None
    gain_k = (now.driver_c - float(outside[0]) - response.offset_k) / sun_now
    driver = outside + response.offset_k + max(gain_k, 0.0) * height
    share = 0.0 if response.kind == "one-state" else response.fast_share
    fast = _followed(driver, now.fast_c, response.fast_h, step_s / 3600)
    slow = _followed(driver, now.slow_c, response.slow_h, step_s / 3600)
    return Course(share * fast + (1 - share) * slow)


def _followed(driver: FloatArray, start_c: float, lag_h: float, step_h: float) -> FloatArray:
    """One lag under a driver that is steady through each step. [°C]"""
    keep = np.exp(-step_h / lag_h)
    followed = np.empty(len(driver))
    followed[0] = start_c
    for index in range(1, len(driver)):
        followed[index] = driver[index] + (followed[index - 1] - driver[index]) * keep
    return followed
