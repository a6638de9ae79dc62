"""Vapour pressure of saturated air over water and over ice, its slope, and the way back to a temperature.

Knows nothing of relative humidity or of mixtures. Pure-phase values: the enhancement by the air itself
(about 0.4 % at sea level) is left out, as sensors and agronomy leave it out.
"""

from typing import Any, Final

from monitor.science.constants import TRIPLE_POINT_C, ZERO_CELSIUS_K
from monitor.science.values import Library, Value, evaluate, within

#: Range of the equation over water, 123 K to 332 K. [°C]
WATER_RANGE_C: Final = (-150.0, 58.0)

#: Range of the equation over ice, 110 K to the triple point. [°C]
ICE_RANGE_C: Final = (-163.0, TRIPLE_POINT_C)


def saturation_vapour_pressure(temperature_c: Value) -> Value:
    """Vapour pressure of air in balance with liquid water, also undercooled water. [kPa]

    Parameters
    ----------
    temperature_c
        temperature, number or array [°C], −150..58; NaN outside

    Notes
    -----
    Murphy and Koop 2005, equation 10, doi:10.1256/qj.04.94.
    """
    return evaluate(_water_kpa, temperature_c)


def saturation_vapour_pressure_over_ice(temperature_c: Value) -> Value:
    """Vapour pressure of air in balance with ice. [kPa]

    Parameters
    ----------
    temperature_c
        temperature, number or array [°C], −163..0.01; NaN outside

    Notes
    -----
    Murphy and Koop 2005, equation 7, doi:10.1256/qj.04.94.
    """
    return evaluate(_ice_kpa, temperature_c)


def saturation_slope(temperature_c: Value) -> Value:
    """Change of the saturation vapour pressure over water with temperature. [kPa/K]

    Parameters
    ----------
    temperature_c
        temperature, number or array [°C], −150..58; NaN outside

    Notes
    -----
    Derivative of Murphy and Koop 2005, equation 10.
    """
    return evaluate(_water_slope, temperature_c)


def saturation_slope_over_ice(temperature_c: Value) -> Value:
    """Change of the saturation vapour pressure over ice with temperature. [kPa/K]

    Parameters
    ----------
    temperature_c
        temperature, number or array [°C], −163..0.01; NaN outside

    Notes
    -----
    Derivative of Murphy and Koop 2005, equation 7.
    """
    return evaluate(_ice_slope, temperature_c)


def dew_point(vapour_pressure_kpa: Value) -> Value:
    """Temperature at which water would begin to condense as liquid, also below zero. [°C]

    Parameters
    ----------
    vapour_pressure_kpa
        vapour pressure, number or array [kPa], above zero; NaN elsewhere and where the answer leaves −100..58 °C

    Notes
    -----
    Inverse of Murphy and Koop 2005, equation 10, by Newton's method.
    """
    return evaluate(_dew_point, vapour_pressure_kpa)


def frost_point(vapour_pressure_kpa: Value) -> Value:
    """Temperature at which hoar frost would begin to form. [°C]

    Parameters
    ----------
    vapour_pressure_kpa
        vapour pressure, number or array [kPa], above zero and up to 0.6117 kPa (saturation over ice at the
        triple point); NaN elsewhere: damper air has a dew point and no frost point

    Notes
    -----
    Inverse of Murphy and Koop 2005, equation 7, by Newton's method.
    """
    return evaluate(_frost_point, vapour_pressure_kpa)


def log_water(lib: Library, kelvin: Any) -> tuple[Any, Any]:
    """Natural logarithm of the saturation pressure over water [of Pa], and its slope [1/K], of kelvins."""
    log_k = lib.log(kelvin)
    bend = lib.tanh(0.0415 * (kelvin - 218.8))
    cold = 53.878 - 1331.22 / kelvin - 9.44523 * log_k + 0.014025 * kelvin
    cold_slope = (1331.22 / kelvin - 9.44523) / kelvin + 0.014025
    log_e = 54.842763 - 6763.22 / kelvin - 4.210 * log_k + 0.000367 * kelvin + bend * cold
    slope = (6763.22 / kelvin - 4.210) / kelvin + 0.000367
    return log_e, slope + 0.0415 * (1.0 - bend * bend) * cold + bend * cold_slope


def log_ice(lib: Library, kelvin: Any) -> tuple[Any, Any]:
    """Natural logarithm of the saturation pressure over ice [of Pa], and its slope [1/K], of kelvins."""
    log_e = 9.550426 - 5723.265 / kelvin + 3.53068 * lib.log(kelvin) - 0.00728332 * kelvin
    return log_e, (5723.265 / kelvin + 3.53068) / kelvin - 0.00728332


def _water_kpa(lib: Library, temperature_c: Any) -> Any:
    log_e, _ = log_water(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) / 1000.0


def _ice_kpa(lib: Library, temperature_c: Any) -> Any:
    log_e, _ = log_ice(lib, within(lib, temperature_c, *ICE_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) / 1000.0


def _water_slope(lib: Library, temperature_c: Any) -> Any:
    log_e, slope = log_water(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) / 1000.0 * slope


def _ice_slope(lib: Library, temperature_c: Any) -> Any:
    log_e, slope = log_ice(lib, within(lib, temperature_c, *ICE_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) / 1000.0 * slope


def _dew_point(lib: Library, vapour_pressure_kpa: Any) -> Any:
    return dew_point_from_log(lib, lib.log(1000.0 * within(lib, vapour_pressure_kpa, 1e-9, 18.3)))


def _frost_point(lib: Library, vapour_pressure_kpa: Any) -> Any:
    log_e = lib.log(1000.0 * within(lib, vapour_pressure_kpa, 1e-9, 0.6117))
    x = log_e - 6.4154
    kelvin = 272.62 * x / (22.46 - x) + ZERO_CELSIUS_K
    for _ in range(NEWTON_STEPS):
        reached, slope = log_ice(lib, kelvin)
        kelvin = kelvin / (1.0 + (reached - log_e) / (kelvin * slope))
    return within(lib, kelvin - ZERO_CELSIUS_K, *ICE_RANGE_C)


#: Enough for the last bit: the logarithm of the pressure is nearly straight in 1/K, and the start errs by 0.1 K.
NEWTON_STEPS: Final = 2


def dew_point_from_log(lib: Library, log_e: Any) -> Any:
    """Dew point [°C] of the natural logarithm of a vapour pressure [of Pa], by Newton's method in 1/K."""
    x = log_e - 6.4154
    kelvin = 243.12 * x / (17.62 - x) + ZERO_CELSIUS_K
    for _ in range(NEWTON_STEPS):
        reached, slope = log_water(lib, kelvin)
        kelvin = kelvin / (1.0 + (reached - log_e) / (kelvin * slope))
    return within(lib, kelvin - ZERO_CELSIUS_K, -100.0, WATER_RANGE_C[1])
