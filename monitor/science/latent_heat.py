"""Heat that water takes up as it evaporates, and what follows for a wet surface in moving air.

Knows nothing of humidity: what drives the evaporation is elsewhere.
"""

from typing import Any, Final

from monitor.science.constants import (
    GAS_CONSTANT_VAPOUR_J_PER_KG_K,
    MOLAR_MASS_RATIO,
    SPECIFIC_HEAT_AIR_J_PER_KG_K,
    STANDARD_PRESSURE_KPA,
    ZERO_CELSIUS_K,
)
from monitor.science.saturation import ICE_RANGE_C, log_ice_and_slope
from monitor.science.values import Library, Value, evaluate, require, within

#: Range of the linear formula for liquid water, undercooled water with it. [°C]
LIQUID_RANGE_C: Final = (-40.0, 58.0)

#: Lowest and highest air pressure that the formulas of moist air are used at. [kPa]
AIR_PRESSURE_RANGE_KPA: Final = (30.0, 110.0)


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
    return evaluate(_latent_heat_of_vaporisation, temperature_c)


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
    require(pressure_kpa, *AIR_PRESSURE_RANGE_KPA, "air pressure", "kPa")
    per_latent = SPECIFIC_HEAT_AIR_J_PER_KG_K * pressure_kpa / MOLAR_MASS_RATIO
    return evaluate(lambda lib, t_c: per_latent / _latent_heat_of_vaporisation(lib, t_c), temperature_c)


def _latent_heat_of_vaporisation(lib: Library, temperature_c: Any) -> Any:
    return 2.501e6 - 2361.0 * within(lib, temperature_c, *LIQUID_RANGE_C)


def _latent_heat_of_sublimation(lib: Library, temperature_c: Any) -> Any:
    kelvin = within(lib, temperature_c, *ICE_RANGE_C) + ZERO_CELSIUS_K
    _, slope = log_ice_and_slope(lib, kelvin)
    return GAS_CONSTANT_VAPOUR_J_PER_KG_K * kelvin * kelvin * slope
