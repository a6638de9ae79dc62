"""Moist air from what a sensor reports: temperature and relative humidity.

Relative humidity is over liquid water, below zero too, as the World Meteorological Organization defines it
and as sensors report it: air in balance with ice reads about 91 % at −10 °C. Dew point and frost point are
two numbers. All functions take numbers or arrays; a measured value out of range gives NaN, a configured one
(air pressure, elevation) is refused. Knows nothing of sensors, trees or time.
"""

import math
from typing import Any, Final

from monitor.science.constants import (
    GAS_CONSTANT_VAPOUR_J_PER_KG_K,
    MOLAR_MASS_RATIO,
    STANDARD_PRESSURE_KPA,
    ZERO_CELSIUS_K,
)
from monitor.science.latent_heat import (
    AIR_PRESSURE_RANGE_KPA,
    latent_heat_of_sublimation,
    latent_heat_of_vaporisation,
    psychrometric_constant,
)
from monitor.science.saturation import (
    ICE_RANGE_C,
    WATER_RANGE_C,
    dew_point,
    dew_point_of_log,
    frost_point,
    log_ice_and_slope,
    log_water,
    log_water_and_slope,
    saturation_slope,
    saturation_slope_over_ice,
    saturation_vapour_pressure,
    saturation_vapour_pressure_over_ice,
)
from monitor.science.values import Library, Value, evaluate, require, where, within

__all__ = [
    "absolute_humidity",
    "dew_point",
    "dew_point_from_relative_humidity",
    "frost_point",
    "frost_point_from_relative_humidity",
    "humidity_ratio",
    "ice_bulb",
    "latent_heat_of_sublimation",
    "latent_heat_of_vaporisation",
    "pressure_from_elevation",
    "psychrometric_constant",
    "relative_humidity",
    "saturation_slope",
    "saturation_slope_over_ice",
    "saturation_vapour_pressure",
    "saturation_vapour_pressure_over_ice",
    "surface_vapour_pressure_deficit",
    "vapour_pressure",
    "vapour_pressure_deficit",
    "vapour_pressure_from_wet_bulb",
    "wet_bulb",
]

#: Coefficient of a ventilated psychrometer with water on its bulb [K⁻¹] and its change with temperature
#: [K⁻¹]. WMO-No. 8 (2012 update), annex 4.B, from Sonntag 1990; the pressure factor f(p), 0.4 %, is left out.
WATER_BULB_PER_K: Final = 6.53e-4
WATER_BULB_SLOPE_PER_K: Final = 9.44e-4

#: The same with ice on the bulb [K⁻¹]. WMO-No. 8, annex 4.B, from memory; the AMS Glossary gives 5.82e-4.
ICE_BULB_PER_K: Final = 5.75e-4

#: Steps of Newton's method for the bulbs: from a third of the way to the dew point, enough for the last bit.
BULB_STEPS: Final = 6


def vapour_pressure(temperature_c: Value, relative_humidity_pct: Value) -> Value:
    """Pressure of the water vapour in air. [kPa]

    Parameters
    ----------
    temperature_c
        air temperature [°C], −150..58; NaN outside
    relative_humidity_pct
        relative humidity over water [%], 0..100; NaN outside

    Notes
    -----
    Definition of relative humidity, WMO-No. 8, chapter 4; saturation by Murphy and Koop 2005, equation 10.
    """
    return evaluate(_vapour_pressure, temperature_c, relative_humidity_pct)


def relative_humidity(temperature_c: Value, vapour_pressure_kpa: Value) -> Value:
    """Relative humidity over water. [%] The inverse of `vapour_pressure`.

    Parameters
    ----------
    temperature_c
        air temperature [°C], −150..58; NaN outside
    vapour_pressure_kpa
        vapour pressure [kPa], 0 or more; NaN where it is negative or above saturation
    """
    return evaluate(_relative_humidity, temperature_c, vapour_pressure_kpa)


def dew_point_from_relative_humidity(temperature_c: Value, relative_humidity_pct: Value) -> Value:
    """Dew point over liquid water, also below zero. [°C]

    Parameters
    ----------
    temperature_c
        air temperature [°C], −100..58; NaN outside
    relative_humidity_pct
        relative humidity over water [%], above 0 and up to 100; NaN outside

    Notes
    -----
    Murphy and Koop 2005, equation 10, inverted by Newton's method.
    """
    return evaluate(_dew_point_from_relative_humidity, temperature_c, relative_humidity_pct)


def frost_point_from_relative_humidity(temperature_c: Value, relative_humidity_pct: Value) -> Value:
    """Frost point: hoar forms on a surface at or below it. [°C]

    Parameters
    ----------
    temperature_c
        air temperature [°C], −100..58; NaN outside
    relative_humidity_pct
        relative humidity over water [%], above 0 and up to 100; NaN outside

    Notes
    -----
    NaN where the vapour pressure is above 0.6117 kPa: such air has a dew point and no frost point. Air that
    is saturated over water below zero has a frost point above its own temperature. Murphy and Koop 2005, eq.
    7.
    """
    return frost_point(vapour_pressure(temperature_c, relative_humidity_pct))


def vapour_pressure_deficit(temperature_c: Value, relative_humidity_pct: Value) -> Value:
    """Drying power of the air: what saturated air would hold more. [kPa]

    Parameters
    ----------
    temperature_c
        air temperature [°C], −150..58; NaN outside
    relative_humidity_pct
        relative humidity over water [%], 0..100; NaN outside

    Notes
    -----
    FAO-56, chapter 3, "Vapour pressure deficit". Above about 95 % the sensor's own error is as large as the
    deficit: see `monitor.science.uncertainty`.
    """
    return evaluate(_deficit, temperature_c, relative_humidity_pct)


def surface_vapour_pressure_deficit(
    surface_c: Value, temperature_c: Value, relative_humidity_pct: Value, *, frozen: bool = False
) -> Value:
    """Deficit between a wet surface (leaf, wrap) at its own temperature and the air. [kPa]

    Parameters
    ----------
    surface_c
        temperature of the surface [°C], −150..58 (frozen: −163..0.01); NaN outside
    temperature_c
        air temperature [°C], −150..58; NaN outside
    relative_humidity_pct
        relative humidity of the air over water [%], 0..100; NaN outside
    frozen
        the surface is ice

    Notes
    -----
    Negative where dew or hoar forms on the surface.
    """
    saturated = saturation_vapour_pressure_over_ice if frozen else saturation_vapour_pressure
    saturated_kpa, e_kpa = saturated(surface_c), vapour_pressure(temperature_c, relative_humidity_pct)
    return saturated_kpa - e_kpa


def absolute_humidity(temperature_c: Value, relative_humidity_pct: Value) -> Value:
    """Mass of water vapour in a volume of air. [g/m³]

    Parameters
    ----------
    temperature_c
        air temperature [°C], −150..58; NaN outside
    relative_humidity_pct
        relative humidity over water [%], 0..100; NaN outside

    Notes
    -----
    Ideal gas.
    """
    return evaluate(_absolute_humidity, temperature_c, relative_humidity_pct)


def humidity_ratio(
    temperature_c: Value, relative_humidity_pct: Value, *, pressure_kpa: float = STANDARD_PRESSURE_KPA
) -> Value:
    """Mass of water vapour for each mass of dry air. [kg/kg]

    Parameters
    ----------
    temperature_c
        air temperature [°C], −150..58; NaN outside
    relative_humidity_pct
        relative humidity over water [%], 0..100; NaN outside
    pressure_kpa
        air pressure [kPa], 30..110

    Raises
    ------
    ValueError
        the air pressure is outside of its range

    Notes
    -----
    ASHRAE Handbook of Fundamentals 2017, chapter 1, equation 20.
    """
    require(pressure_kpa, *AIR_PRESSURE_RANGE_KPA, "air pressure", "kPa")

    def formula(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
        e_kpa = _vapour_pressure(lib, temperature_c, relative_humidity_pct)
        return MOLAR_MASS_RATIO * e_kpa / (pressure_kpa - e_kpa)

    return evaluate(formula, temperature_c, relative_humidity_pct)


def wet_bulb(
    temperature_c: Value, relative_humidity_pct: Value, *, pressure_kpa: float = STANDARD_PRESSURE_KPA
) -> Value:
    """Temperature of a ventilated wet surface, the water on it liquid even below zero. [°C]

    Parameters
    ----------
    temperature_c
        air temperature [°C], −40..58; NaN outside
    relative_humidity_pct
        relative humidity over water [%], above 0 and up to 100; NaN outside
    pressure_kpa
        air pressure [kPa], 30..110

    Raises
    ------
    ValueError
        the air pressure is outside of its range

    Notes
    -----
    Psychrometer equation of WMO-No. 8, annex 4.B, by Newton's method; between dew point and air temperature.
    """
    require(pressure_kpa, *AIR_PRESSURE_RANGE_KPA, "air pressure", "kPa")

    def formula(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
        return _bulb(lib, log_water_and_slope, temperature_c, relative_humidity_pct, pressure_kpa)

    return evaluate(formula, temperature_c, relative_humidity_pct)


def ice_bulb(
    temperature_c: Value, relative_humidity_pct: Value, *, pressure_kpa: float = STANDARD_PRESSURE_KPA
) -> Value:
    """Temperature of a ventilated surface that carries ice. [°C]

    Parameters
    ----------
    temperature_c
        air temperature [°C], −40..58; NaN outside
    relative_humidity_pct
        relative humidity over water [%], above 0 and up to 100; NaN outside
    pressure_kpa
        air pressure [kPa], 30..110

    Raises
    ------
    ValueError
        the air pressure is outside of its range

    Notes
    -----
    Psychrometer equation of WMO-No. 8, annex 4.B, with ice. NaN where the ice would melt (above 0.01 °C).
    Above the air's own temperature where the air is more than saturated over ice: hoar forms and warms it.
    """
    require(pressure_kpa, *AIR_PRESSURE_RANGE_KPA, "air pressure", "kPa")

    def formula(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
        bulb_c = _bulb(lib, log_ice_and_slope, temperature_c, relative_humidity_pct, pressure_kpa)
        return within(lib, bulb_c, *ICE_RANGE_C)

    return evaluate(formula, temperature_c, relative_humidity_pct)


def vapour_pressure_from_wet_bulb(
    temperature_c: Value, wet_bulb_c: Value, *, pressure_kpa: float = STANDARD_PRESSURE_KPA
) -> Value:
    """Vapour pressure from a ventilated psychrometer with water on its bulb. [kPa]

    Parameters
    ----------
    temperature_c
        air temperature [°C]
    wet_bulb_c
        wet bulb temperature [°C], −150..58 and up to the air temperature; NaN elsewhere
    pressure_kpa
        air pressure [kPa], 30..110

    Raises
    ------
    ValueError
        the air pressure is outside of its range

    Notes
    -----
    WMO-No. 8, annex 4.B.
    """
    require(pressure_kpa, *AIR_PRESSURE_RANGE_KPA, "air pressure", "kPa")

    def formula(lib: Library, temperature_c: Any, wet_bulb_c: Any) -> Any:
        bulb_c = within(lib, wet_bulb_c, *WATER_RANGE_C)
        depression_k = where(lib, bulb_c <= temperature_c, temperature_c - bulb_c, math.nan)
        per_k = WATER_BULB_PER_K * (1.0 + WATER_BULB_SLOPE_PER_K * bulb_c)
        saturated_kpa = lib.exp(log_water(lib, bulb_c + ZERO_CELSIUS_K)) / 1000.0
        return saturated_kpa - per_k * pressure_kpa * depression_k

    return evaluate(formula, temperature_c, wet_bulb_c)


def pressure_from_elevation(elevation_m: float) -> float:
    """Usual air pressure at an elevation. [kPa]

    Parameters
    ----------
    elevation_m
        height above sea level [m], −500..9000

    Raises
    ------
    ValueError
        the elevation is outside of its range

    Notes
    -----
    FAO-56, equation 7.
    """
    require(elevation_m, -500.0, 9000.0, "elevation above sea level", "m")
    return float(101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26)


def _vapour_pressure(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
    log_e = log_water(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) * within(lib, relative_humidity_pct, 0.0, 100.0) * 1e-5


def _relative_humidity(lib: Library, temperature_c: Any, vapour_pressure_kpa: Any) -> Any:
    log_e = log_water(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)
    # a last bit above saturation is rounding, not damper air
    humidity_pct = within(lib, vapour_pressure_kpa / lib.exp(log_e) * 1e5, 0.0, 100.0 + 1e-9)
    return where(lib, humidity_pct > 100.0, 100.0, humidity_pct)


def _deficit(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
    log_e = log_water(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) * (100.0 - within(lib, relative_humidity_pct, 0.0, 100.0)) * 1e-5


def _absolute_humidity(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
    e_kpa = _vapour_pressure(lib, temperature_c, relative_humidity_pct)
    return 1e6 * e_kpa / (GAS_CONSTANT_VAPOUR_J_PER_KG_K * (temperature_c + ZERO_CELSIUS_K))


def _dew_point_from_relative_humidity(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
    log_e = log_water(lib, within(lib, temperature_c, -100.0, WATER_RANGE_C[1]) + ZERO_CELSIUS_K)
    return dew_point_of_log(lib, log_e + lib.log(within(lib, relative_humidity_pct, 1e-9, 100.0) / 100.0))


def _bulb(lib: Library, over: Any, temperature_c: Any, humidity_pct: Any, pressure_kpa: float) -> Any:
    """Root of the psychrometer equation over water or ice, by Newton's method."""
    t_c = within(lib, temperature_c, -40.0, WATER_RANGE_C[1])
    e_kpa = _vapour_pressure(lib, t_c, humidity_pct)
    water = over is log_water_and_slope
    at_zero = (WATER_BULB_PER_K if water else ICE_BULB_PER_K) * pressure_kpa
    change = at_zero * (WATER_BULB_SLOPE_PER_K if water else 0.0)
    bulb_c = t_c - (t_c - _dew_point_from_relative_humidity(lib, t_c, humidity_pct)) / 3.0
    for _ in range(BULB_STEPS):
        log_e, slope = over(lib, bulb_c + ZERO_CELSIUS_K)
        saturated_kpa = lib.exp(log_e) / 1000.0
        gamma = at_zero + change * bulb_c
        excess = saturated_kpa - gamma * (t_c - bulb_c) - e_kpa
        bulb_c = bulb_c - excess / (saturated_kpa * slope + gamma - change * (t_c - bulb_c))
    return bulb_c
