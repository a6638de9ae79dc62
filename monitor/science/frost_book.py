"""The frost handbook's own rules for a night: two-step regression, and the course of the temperature.

Snyder and de Melo-Abreu 2005, Frost Protection, FAO Environment and Natural Resources Series 10. Kept so
that its examples reproduce; the forecast itself is in `night_low`. Knows nothing else.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.science.values import FloatArray, require


class TwoStep(NamedTuple):
    """Low = `temperature`·T0 + `dew_point`·Td0 + `constant_c`; T0 and Td0 [°C] two hours after sunset."""

    temperature: float
    dew_point: float
    constant_c: float

    def low(self, temperature_c: float, dew_point_c: float) -> float:
        """The night's low. [°C]"""
        return self.temperature * temperature_c + self.dew_point * dew_point_c + self.constant_c


def two_step_regression(temperature_c: FloatArray, dew_point_c: FloatArray, low_c: FloatArray) -> TwoStep:
    """Coefficients as the handbook fits them: the low on the temperature, what is left on the dew point.

    Parameters
    ----------
    temperature_c, dew_point_c
        two hours after sunset, one a night [°C]
    low_c
        of the night [°C]

    Raises
    ------
    ValueError
        fewer than three nights

    Notes
    -----
    Not the least squares of both at once, which fit better; ten nights cannot carry the third coefficient
    well.
    """
    require(len(low_c), 3, 1e6, "the number of nights in a regression", "nights")
    first, first_constant = np.polyfit(temperature_c, low_c, 1)
    left = low_c - first * temperature_c - first_constant
    second, second_constant = np.polyfit(dew_point_c, left, 1)
    return TwoStep(float(first), float(second), float(first_constant + second_constant))


def temperature_trend(evening_c: float, low_c: float, length_h: float, after_h: npt.ArrayLike) -> FloatArray:
    """Course of the temperature through a clear night. [°C]

    Parameters
    ----------
    evening_c
        two hours after sunset [°C]
    low_c
        at sunrise [°C]
    length_h
        between the two [h], above 0
    after_h
        hours after sunset + 2 h [h]; held at the ends

    Raises
    ------
    ValueError
        a night without length

    Notes
    -----
    T0 + (low − T0)·√(t/h): the square root of time of Brunt 1941 for a surface that loses heat at a steady
    rate. Cools early, on the side of warning; hours of crossing are good to 1 or 2 h.
    """
    require(length_h, 0.1, 24.0, "the length of a night", "h")
    part = np.clip(np.asarray(after_h, dtype=np.float64) / length_h, 0.0, 1.0)
    return np.asarray(evening_c + (low_c - evening_c) * np.sqrt(part))
