"""Vapour pressure of saturated air over water and over ice, its slope, and the way back to a temperature.

Knows nothing of relative humidity or of mixtures. Pure-phase values: the enhancement by the air itself
(about 0.4 % at sea level) is left out, as sensors and agronomy leave it out.
"""

from collections.abc import Callable
from typing import Any, Final

from monitor.science.constants import TRIPLE_POINT_C, ZERO_CELSIUS_K
from monitor.science.values import Library, Value, evaluate, largest, within

#: Range of the equation over water, 123 K to 332 K. [°C]
WATER_RANGE_C: Final = (-150.0, 58.0)

#: Range of the equation over ice, 110 K to the triple point. [°C]
ICE_RANGE_C: Final = (-163.0, TRIPLE_POINT_C)

#: Lowest dew and frost point that is looked for. [°C]
LOWEST_DEW_POINT_C: Final = -100.0

#: Vapour pressures that have a dew point in range. [kPa]
PRESSURE_RANGE_KPA: Final = (1e-7, 18.2)

#: Saturation over ice at the triple point: damper air has no frost point. [kPa]
TRIPLE_POINT_KPA: Final = 0.61166

#: The inverses begin where x = ln e − ln 611.2 Pa leads: over ice by the Magnus form of WMO-No. 8, annex 4.B,
#: within 0.1 K; over water by a fraction fitted to the equation itself, within 2e-6 K over −52..58 °C (0.1 K
#: at −100 °C), so that one step of Newton's method is enough.
LOG_START: Final = 6.415424
START_OVER: Final = (1.14413866e-4, -0.0144341085, 0.277624897, 2.66031824, 13.7597009, -2.89261257e-4)
START_UNDER: Final = (6.78891485e-5, -0.002255234, 0.00894527167, 0.136653887, 1.0)

#: A step of Newton's method below this part of the temperature [-] was the last: the next would be under
#: 1e-13 K.
LAST_STEP: Final = 3e-8
MOST_STEPS: Final = 5


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
        vapour pressure, number or array [kPa], 1e-7..18.2; NaN elsewhere, as where the answer leaves −100..58
        °C

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


def log_water(lib: Library, kelvin: Any) -> Any:
    """Natural logarithm of the saturation pressure over water [of Pa] at temperatures in kelvin."""
    main, bend, cold, _ = _water_terms(lib, kelvin)
    return main + bend * cold


def log_water_and_slope(lib: Library, kelvin: Any) -> tuple[Any, Any]:
    """The same, and its change with temperature. [1/K]"""
    main, bend, cold, per_k = _water_terms(lib, kelvin)
    main_slope = (6763.22 * per_k - 4.210) * per_k + 0.000367
    cold_slope = (1331.22 * per_k - 9.44523) * per_k + 0.014025
    return main + bend * cold, main_slope + 0.0415 * (1.0 - bend * bend) * cold + bend * cold_slope


def log_ice(lib: Library, kelvin: Any) -> Any:
    """Natural logarithm of the saturation pressure over ice [of Pa] at temperatures in kelvin."""
    return 9.550426 - 5723.265 / kelvin + 3.53068 * lib.log(kelvin) - 0.00728332 * kelvin


def log_ice_and_slope(lib: Library, kelvin: Any) -> tuple[Any, Any]:
    """The same, and its change with temperature. [1/K]"""
    return log_ice(lib, kelvin), (5723.265 / kelvin + 3.53068) / kelvin - 0.00728332


def dew_point_of_log(lib: Library, log_e: Any) -> Any:
    """Dew point [°C] of the natural logarithm of a vapour pressure [of Pa]."""
    x = log_e - LOG_START
    start_k = _polynomial(x, START_OVER) / _polynomial(x, START_UNDER) + ZERO_CELSIUS_K
    kelvin = _newton(lib, log_water_and_slope, log_e, start_k)
    return within(lib, kelvin - ZERO_CELSIUS_K, LOWEST_DEW_POINT_C, WATER_RANGE_C[1])


def _polynomial(x: Any, coefficients: tuple[float, ...]) -> Any:
    """Value of a polynomial, the highest power's coefficient first."""
    result = coefficients[0] * x + coefficients[1]
    for coefficient in coefficients[2:]:
        # an array is worked on in place: `result` is nobody else's
        result *= x
        result += coefficient
    return result


def _water_terms(lib: Library, kelvin: Any) -> tuple[Any, Any, Any, Any]:
    log_k = lib.log(kelvin)
    per_k = 1.0 / kelvin
    main = 54.842763 - 6763.22 * per_k - 4.210 * log_k + 0.000367 * kelvin
    cold = 53.878 - 1331.22 * per_k - 9.44523 * log_k + 0.014025 * kelvin
    # tanh(x) = 1 − 2/(exp(2x) + 1), with x = 0.0415 (K − 218.8); numpy's own tanh takes four times as long
    bend = 1.0 - 2.0 / (lib.exp(0.083 * kelvin - 18.1604) + 1.0)
    return main, bend, cold, per_k


def _newton(lib: Library, log_and_slope: Callable[..., Any], log_e: Any, start_k: Any) -> Any:
    """Newton's method for the temperature [K], in 1/K, where the log pressure is nearly straight."""
    kelvin = start_k
    for _ in range(MOST_STEPS):
        reached, slope = log_and_slope(lib, kelvin)
        step = (reached - log_e) / (kelvin * slope)
        kelvin = kelvin / (1.0 + step)
        if largest(lib, step) <= LAST_STEP:
            break
    return kelvin


def _water_kpa(lib: Library, temperature_c: Any) -> Any:
    return lib.exp(log_water(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)) / 1000.0


def _ice_kpa(lib: Library, temperature_c: Any) -> Any:
    return lib.exp(log_ice(lib, within(lib, temperature_c, *ICE_RANGE_C) + ZERO_CELSIUS_K)) / 1000.0


def _water_slope(lib: Library, temperature_c: Any) -> Any:
    log_e, slope = log_water_and_slope(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) / 1000.0 * slope


def _ice_slope(lib: Library, temperature_c: Any) -> Any:
    log_e, slope = log_ice_and_slope(lib, within(lib, temperature_c, *ICE_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) / 1000.0 * slope


def _dew_point(lib: Library, vapour_pressure_kpa: Any) -> Any:
    return dew_point_of_log(lib, lib.log(1000.0 * within(lib, vapour_pressure_kpa, *PRESSURE_RANGE_KPA)))


def _frost_point(lib: Library, vapour_pressure_kpa: Any) -> Any:
    log_e = lib.log(1000.0 * within(lib, vapour_pressure_kpa, PRESSURE_RANGE_KPA[0], TRIPLE_POINT_KPA))
    x = log_e - LOG_START
    kelvin = _newton(lib, log_ice_and_slope, log_e, 272.62 * x / (22.46 - x) + ZERO_CELSIUS_K)
    return within(lib, kelvin - ZERO_CELSIUS_K, LOWEST_DEW_POINT_C, TRIPLE_POINT_C)
