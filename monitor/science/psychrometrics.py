"""Moist air from what a sensor reports: temperature and relative humidity.

Relative humidity is over liquid water, below zero too, as the World Meteorological Organization defines it and as
sensors report it: air in balance with ice reads about 91 % at −10 °C. Dew point and frost point are two numbers.
Knows nothing of sensors, trees or time. All functions take numbers or arrays; a measured value out of range gives
NaN, a configured one (air pressure, elevation) is refused.
"""

from typing import Any, Final

from monitor.science.constants import (
    GAS_CONSTANT_VAPOUR_J_PER_KG_K,
    MOLAR_MASS_RATIO,
    SPECIFIC_HEAT_AIR_J_PER_KG_K,
    STANDARD_PRESSURE_KPA,
    ZERO_CELSIUS_K,
)
from monitor.science.saturation import (
    ICE_RANGE_C,
    WATER_RANGE_C,
    dew_point,
    dew_point_from_log,
    frost_point,
    log_ice,
    log_water,
    saturation_slope,
    saturation_slope_over_ice,
    saturation_vapour_pressure,
    saturation_vapour_pressure_over_ice,
)
from monitor.science.values import Library, Value, evaluate, require, within

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

#: Coefficient of a ventilated psychrometer, water on the bulb [K⁻¹], and its change with bulb temperature [K⁻¹].
#: WMO-No. 8 (2012 update), annex 4.B, from Sonntag 1990; the pressure factor f(p), 0.4 %, is left out.
WATER_BULB_PER_K: Final = 6.53e-4
WATER_BULB_SLOPE_PER_K: Final = 9.44e-4

#: The same with ice on the bulb [K⁻¹]. WMO-No. 8, annex 4.B.
ICE_BULB_PER_K: Final = 5.75e-4

#: Lowest and highest air pressure that these formulas are used at. [kPa]
PRESSURE_RANGE_KPA: Final = (30.0, 110.0)

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
    NaN where the vapour pressure is above 0.6117 kPa: such air has a dew point and no frost point. Air that is
    saturated over water below zero has a frost point above its own temperature. Murphy and Koop 2005, equation 7.
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
    FAO-56, section "Vapour pressure deficit"; above about 95 % the sensor's own error is as large as the deficit:
    see `monitor.science.uncertainty`.
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
    return saturated(surface_c) - vapour_pressure(temperature_c, relative_humidity_pct)


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
    require(pressure_kpa, *PRESSURE_RANGE_KPA, "air pressure", "kPa")

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
    Psychrometer equation of WMO-No. 8, annex 4.B, solved by Newton's method; between the dew point and the air.
    """
    require(pressure_kpa, *PRESSURE_RANGE_KPA, "air pressure", "kPa")

    def formula(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
        return _bulb(lib, log_water, temperature_c, relative_humidity_pct, pressure_kpa)

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
    Psychrometer equation of WMO-No. 8, annex 4.B, with ice. NaN where the ice would melt (answer above 0.01 °C).
    Above the air's own temperature where the air is more than saturated over ice: hoar forms and warms it.
    """
    require(pressure_kpa, *PRESSURE_RANGE_KPA, "air pressure", "kPa")

    def formula(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
        bulb_c = _bulb(lib, log_ice, temperature_c, relative_humidity_pct, pressure_kpa)
        return within(lib, bulb_c, *ICE_RANGE_C)

    return evaluate(formula, temperature_c, relative_humidity_pct)


def vapour_pressure_from_wet_bulb(
    temperature_c: Value, wet_bulb_c: Value, *, pressure_kpa: float = STANDARD_PRESSURE_KPA
) -> Value:
    """Vapour pressure from a ventilated psychrometer with water on its bulb. [kPa]

    Parameters
    ----------
    temperature_c
        air temperature [°C], −150..58; NaN outside
    wet_bulb_c
        wet bulb temperature [°C], up to the air temperature; NaN above it
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
    require(pressure_kpa, *PRESSURE_RANGE_KPA, "air pressure", "kPa")

    def formula(lib: Library, temperature_c: Any, wet_bulb_c: Any) -> Any:
        log_e, _ = log_water(lib, within(lib, wet_bulb_c, WATER_RANGE_C[0], temperature_c) + ZERO_CELSIUS_K)
        per_k = WATER_BULB_PER_K * (1.0 + WATER_BULB_SLOPE_PER_K * wet_bulb_c)
        return lib.exp(log_e) / 1000.0 - per_k * pressure_kpa * (temperature_c - wet_bulb_c)

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
    return 101.3 * ((293.0 - 0.0065 * elevation_m) / 293.0) ** 5.26


def latent_heat_of_vaporisation(temperature_c: Value) -> Value:
    """Heat that evaporates water. [J/kg]

    Parameters
    ----------
    temperature_c
        temperature of the water [°C], −40..58; NaN outside

    Notes
    -----
    FAO-56, annex 3, equation 3-1.
    """
    return evaluate(lambda lib, t_c: 2.501e6 - 2361.0 * within(lib, t_c, -40.0, 58.0), temperature_c)


def latent_heat_of_sublimation(temperature_c: Value) -> Value:
    """Heat that evaporates ice. [J/kg]

    Parameters
    ----------
    temperature_c
        temperature of the ice [°C], −163..0.01; NaN outside

    Notes
    -----
    Clausius-Clapeyron for an ideal gas, from the slope of Murphy and Koop 2005, equation 7.
    """
    return evaluate(_latent_heat_of_sublimation, temperature_c)


def psychrometric_constant(temperature_c: Value, *, pressure_kpa: float = STANDARD_PRESSURE_KPA) -> Value:
    """Ratio of sensible to latent exchange between a wet surface and the air. [kPa/K]

    Parameters
    ----------
    temperature_c
        temperature at which the water evaporates [°C], −40..58; NaN outside
    pressure_kpa
        air pressure [kPa], 30..110

    Raises
    ------
    ValueError
        the air pressure is outside of its range

    Notes
    -----
    FAO-56, equation 8, with the latent heat at the given temperature.
    """
    require(pressure_kpa, *PRESSURE_RANGE_KPA, "air pressure", "kPa")
    latent = latent_heat_of_vaporisation(temperature_c)
    return SPECIFIC_HEAT_AIR_J_PER_KG_K * pressure_kpa / (MOLAR_MASS_RATIO * latent)


def _vapour_pressure(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
    log_e, _ = log_water(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) * within(lib, relative_humidity_pct, 0.0, 100.0) * 1e-5


def _relative_humidity(lib: Library, temperature_c: Any, vapour_pressure_kpa: Any) -> Any:
    log_e, _ = log_water(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)
    return within(lib, vapour_pressure_kpa / lib.exp(log_e) * 1e5, 0.0, 100.0)


def _deficit(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
    log_e, _ = log_water(lib, within(lib, temperature_c, *WATER_RANGE_C) + ZERO_CELSIUS_K)
    return lib.exp(log_e) * (100.0 - within(lib, relative_humidity_pct, 0.0, 100.0)) * 1e-5


def _absolute_humidity(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
    e_kpa = _vapour_pressure(lib, temperature_c, relative_humidity_pct)
    return 1e6 * e_kpa / (GAS_CONSTANT_VAPOUR_J_PER_KG_K * (temperature_c + ZERO_CELSIUS_K))


def _dew_point_from_relative_humidity(lib: Library, temperature_c: Any, relative_humidity_pct: Any) -> Any:
    log_e, _ = log_water(lib, within(lib, temperature_c, -100.0, WATER_RANGE_C[1]) + ZERO_CELSIUS_K)
    return dew_point_from_log(lib, log_e + lib.log(within(lib, relative_humidity_pct, 1e-9, 100.0) / 100.0))


def _bulb(lib: Library, log_saturation: Any, temperature_c: Any, humidity_pct: Any, pressure_kpa: float) -> Any:
    """Root of the psychrometer equation over water or ice, by Newton's method."""
    t_c = within(lib, temperature_c, -40.0, WATER_RANGE_C[1])
    e_kpa = _vapour_pressure(lib, t_c, humidity_pct)
    slope_per_k = WATER_BULB_SLOPE_PER_K if log_saturation is log_water else 0.0
    per_k = WATER_BULB_PER_K if log_saturation is log_water else ICE_BULB_PER_K
    bulb_c = t_c - (t_c - _dew_point_from_relative_humidity(lib, t_c, humidity_pct)) / 3.0
    for _ in range(BULB_STEPS):
        log_e, slope = log_saturation(lib, bulb_c + ZERO_CELSIUS_K)
        saturated_kpa = lib.exp(log_e) / 1000.0
        gamma = per_k * (1.0 + slope_per_k * bulb_c) * pressure_kpa
        excess = saturated_kpa - gamma * (t_c - bulb_c) - e_kpa
        excess_slope = saturated_kpa * slope + gamma - per_k * slope_per_k * pressure_kpa * (t_c - bulb_c)
        bulb_c = bulb_c - excess / excess_slope
    return bulb_c


def _latent_heat_of_sublimation(lib: Library, temperature_c: Any) -> Any:
    kelvin = within(lib, temperature_c, *ICE_RANGE_C) + ZERO_CELSIUS_K
    _, slope = log_ice(lib, kelvin)
    return GAS_CONSTANT_VAPOUR_J_PER_KG_K * kelvin * kelvin * slope
