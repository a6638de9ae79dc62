"""How far a derived quantity can be trusted, from the accuracy of the sensor behind it.

Knows no particular sensor: it takes the accuracy as two standard uncertainties and any function of
temperature and relative humidity.
"""

import math
from collections.abc import Callable
from typing import Any, Final, NamedTuple

from monitor.science.psychrometrics import vapour_pressure_deficit
from monitor.science.values import Library, Value, evaluate, require, where

#: Step of the numerical derivatives: small against any sensor's error, large against rounding. [K] [%]
STEP: Final = 0.01

#: A deficit is told from none at all only beyond two standard uncertainties (coverage factor 2, JCGM 100,
#: 6.2).
COVERAGE_FACTOR: Final = 2.0

#: From here on a humidity sensor may be wet itself and tells nothing of drying, whatever its data sheet says.
#: [%] Common practice, no source.
SATURATED_FROM_PCT: Final = 95.0


class SensorAccuracy(NamedTuple):
    """Standard uncertainties of a sensor; the defaults are an ordinary good one's (common practice)."""

    temperature_k: float = 0.3
    relative_humidity_pct: float = 3.0


class DryingPower(NamedTuple):
    """The air's vapour pressure deficit, how sure it is, and whether it says anything at all."""

    vpd_kpa: float
    uncertainty_kpa: float
    known: bool


ORDINARY_SENSOR: Final = SensorAccuracy()


def standard_uncertainty(
    quantity: Callable[[Any, Any], Any],
    temperature_c: Value,
    relative_humidity_pct: Value,
    accuracy: SensorAccuracy = ORDINARY_SENSOR,
) -> Value:
    """Standard uncertainty of any quantity that is made of temperature and humidity. [the quantity's unit]

    Parameters
    ----------
    quantity
        function of temperature [°C] and relative humidity [%], such as `dew_point_from_relative_humidity`
    temperature_c
        air temperature [°C]; NaN where the quantity is
    relative_humidity_pct
        relative humidity over water [%], above 0 and up to 100; NaN outside
    accuracy
        standard uncertainties of the sensor, taken as independent

    Raises
    ------
    ValueError
        an accuracy is negative or larger than any sensor's

    Notes
    -----
    Law of propagation, JCGM 100:2008, equation 10, sensitivities by central differences (5.1.3, note 2).
    """
    require(accuracy.temperature_k, 0.0, 10.0, "temperature accuracy of a sensor", "K")
    require(accuracy.relative_humidity_pct, 0.0, 50.0, "humidity accuracy of a sensor", "%")

    def formula(lib: Library, t_c: Any, rh_pct: Any) -> Any:
        low_pct = where(lib, rh_pct > 2.0 * STEP, rh_pct - STEP, rh_pct / 2.0)
        high_pct = where(lib, rh_pct + STEP <= 100.0, rh_pct + STEP, 100.0)
        width_pct = where(lib, high_pct > low_pct, high_pct - low_pct, math.nan)
        by_t = (quantity(t_c + STEP, rh_pct) - quantity(t_c - STEP, rh_pct)) / (2.0 * STEP)
        by_rh = (quantity(t_c, high_pct) - quantity(t_c, low_pct)) / width_pct
        return lib.hypot(by_t * accuracy.temperature_k, by_rh * accuracy.relative_humidity_pct)

    return evaluate(formula, temperature_c, relative_humidity_pct)


def drying_power(
    temperature_c: float, relative_humidity_pct: float, accuracy: SensorAccuracy = ORDINARY_SENSOR
) -> DryingPower:
    """Vapour pressure deficit with its standard uncertainty, and whether it is known.

    Parameters
    ----------
    temperature_c
        air temperature, one number [°C], −150..58
    relative_humidity_pct
        relative humidity over water, one number [%], above 0 and up to 100
    accuracy
        standard uncertainties of the sensor

    Raises
    ------
    ValueError
        an accuracy is negative or larger than any sensor's

    Notes
    -----
    Not known where the deficit is within two standard uncertainties of nothing, at 95 % and above, and where
    a reading is missing. With a sensor of 3 % that begins at about 94 %.
    """
    vpd_kpa = vapour_pressure_deficit(temperature_c, relative_humidity_pct)
    uncertainty_kpa = standard_uncertainty(
        vapour_pressure_deficit, temperature_c, relative_humidity_pct, accuracy
    )
    known = vpd_kpa > COVERAGE_FACTOR * uncertainty_kpa and relative_humidity_pct < SATURATED_FROM_PCT
    return DryingPower(vpd_kpa, uncertainty_kpa, known)
