"""The film of air about a wrapped branch: how it carries heat and vapour, and what evaporates through it.

A branch is a long horizontal cylinder. Arrays broadcast; NaN in, NaN out. Knows nothing of fibres or belief.
"""

from typing import Final, NamedTuple

import numpy as np

from monitor.science.constants import (
    GAS_CONSTANT_DRY_AIR_J_PER_KG_K,
    MOLAR_MASS_RATIO,
    SPECIFIC_HEAT_AIR_J_PER_KG_K,
    STANDARD_PRESSURE_KPA,
    STEFAN_BOLTZMANN_W_PER_M2_K4,
    ZERO_CELSIUS_K,
)
from monitor.science.psychrometrics import (
    latent_heat_of_vaporisation,
    saturation_slope,
    vapour_pressure_deficit,
)
from monitor.science.values import FloatArray, require

GRAVITY_M_PER_S2: Final = 9.80665

#: Emissivity of wet fibre, bark and tape.
EMISSIVITY: Final = 0.95

#: Air in a shut house hardly moves. [m/s] Also the least speed that a real house has.
STILL_AIR_M_PER_S: Final = 0.1

#: Difference between surface and air that free convection is worked out with. [K] A bare wet wrap is 1 to 4 K
#: below the air; the film changes by less than 4 % over that range.
SURFACE_DIFFERENCE_K: Final = 2.5


class Air(NamedTuple):
    """Transport properties of dry air.

    `conductivity_w_per_m_k`, `viscosity_m2_per_s` (kinematic), `heat_capacity_j_per_m3_k`,
    `heat_diffusivity_m2_per_s`, `vapour_diffusivity_m2_per_s`.
    """

    conductivity_w_per_m_k: FloatArray
    viscosity_m2_per_s: FloatArray
    heat_capacity_j_per_m3_k: FloatArray
    heat_diffusivity_m2_per_s: FloatArray
    vapour_diffusivity_m2_per_s: FloatArray


class Film(NamedTuple):
    """What stands between a surface and the air.

    `convection_w_per_m2_k`, `radiation_w_per_m2_k`: heat; `vapour_s_per_m`: resistance to vapour;
    `heat_capacity_j_per_m3_k`: of the air.
    """

    convection_w_per_m2_k: FloatArray
    radiation_w_per_m2_k: FloatArray
    vapour_s_per_m: FloatArray
    heat_capacity_j_per_m3_k: FloatArray


class Evaporation(NamedTuple):
    """`rate_kg_per_m2_h`: water leaving, negative where dew forms; `surface_c`: where the surface settles."""

    rate_kg_per_m2_h: FloatArray
    surface_c: FloatArray


def air_properties(temperature_c: FloatArray, *, pressure_kpa: float = STANDARD_PRESSURE_KPA) -> Air:
    """Transport properties of air.

    Parameters
    ----------
    temperature_c
        [°C], −50..60
    pressure_kpa
        [kPa], 30..110

    Raises
    ------
    ValueError
        a pressure out of range

    Notes
    -----
    Viscosity and conductivity: U.S. Standard Atmosphere 1976, equations 51 and 53. Vapour in air: Massman
    1998, Atmospheric Environment 32:1111, doi:10.1016/S1352-2310(97)00391-9.
    """
    require(pressure_kpa, 30.0, 110.0, "air pressure", "kPa")
    kelvin = temperature_c + ZERO_CELSIUS_K
    density = 1000 * pressure_kpa / (GAS_CONSTANT_DRY_AIR_J_PER_KG_K * kelvin)
    capacity = density * SPECIFIC_HEAT_AIR_J_PER_KG_K
    viscosity = 1.458e-6 * kelvin**1.5 / (kelvin + 110.4) / density
    conductivity = 2.64638e-3 * kelvin**1.5 / (kelvin + 245.4 * 10 ** (-12 / kelvin))
    vapour = 2.178e-5 * (STANDARD_PRESSURE_KPA / pressure_kpa) * (kelvin / ZERO_CELSIUS_K) ** 1.81
    return Air(conductivity, viscosity, capacity, conductivity / capacity, vapour)


def nusselt_free(rayleigh: FloatArray, prandtl: FloatArray) -> FloatArray:
    """Nusselt number of a horizontal cylinder in still air. [-]

    Notes
    -----
    Churchill and Chu 1975, Int. J. Heat Mass Transfer 18:1049, doi:10.1016/0017-9310(75)90222-7; Rayleigh
    number up to 1e12.
    """
    shape = (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)
    return np.square(0.60 + 0.387 * rayleigh ** (1 / 6) / shape)


def nusselt_forced(reynolds: FloatArray, prandtl: FloatArray) -> FloatArray:
    """Nusselt number of a cylinder across a stream. [-]

    Notes
    -----
    Churchill and Bernstein 1977, J. Heat Transfer 99:300, doi:10.1115/1.3450685; Re·Pr above 0.2.
    """
    shape = (1 + (0.4 / prandtl) ** (2 / 3)) ** 0.25
    turbulence = (1 + (reynolds / 282_000) ** (5 / 8)) ** 0.8
    return 0.3 + 0.62 * np.sqrt(reynolds) * np.cbrt(prandtl) / shape * turbulence


def film(
    diameter_m: FloatArray,
    temperature_c: FloatArray,
    *,
    wind_m_per_s: FloatArray | float = STILL_AIR_M_PER_S,
    difference_k: FloatArray | float = SURFACE_DIFFERENCE_K,
    pressure_kpa: float = STANDARD_PRESSURE_KPA,
) -> Film:
    """Heat and vapour transfer between a branch and the air.

    Parameters
    ----------
    diameter_m
        outer diameter [m], above 0
    temperature_c
        air temperature [°C], −50..60
    wind_m_per_s
        air speed [m/s], 0 or more
    difference_k
        between surface and air, either sign [K]
    pressure_kpa
        [kPa], 30..110

    Notes
    -----
    Free and forced convection joined by cubes (Churchill 1977); vapour from heat by Chilton and Colburn 1934:
    r_b = ρc_p/h·(Sc/Pr)^⅔; radiation 4εσT³.
    """
    air = air_properties(temperature_c, pressure_kpa=pressure_kpa)
    prandtl = air.viscosity_m2_per_s / air.heat_diffusivity_m2_per_s
    kelvin = temperature_c + ZERO_CELSIUS_K
    diffusion = air.viscosity_m2_per_s * air.heat_diffusivity_m2_per_s
    rayleigh = GRAVITY_M_PER_S2 * np.abs(difference_k) / kelvin * diameter_m**3 / diffusion
    reynolds = wind_m_per_s * diameter_m / air.viscosity_m2_per_s
    nusselt = np.cbrt(nusselt_free(rayleigh, prandtl) ** 3 + nusselt_forced(reynolds, prandtl) ** 3)
    convection = nusselt * air.conductivity_w_per_m_k / diameter_m
    lewis = air.heat_diffusivity_m2_per_s / air.vapour_diffusivity_m2_per_s
    return Film(
        convection_w_per_m2_k=convection,
        radiation_w_per_m2_k=4 * EMISSIVITY * STEFAN_BOLTZMANN_W_PER_M2_K4 * kelvin**3,
        vapour_s_per_m=air.heat_capacity_j_per_m3_k / convection * lewis ** (2 / 3),
        heat_capacity_j_per_m3_k=air.heat_capacity_j_per_m3_k,
    )


def evaporation(
    layer: Film,
    temperature_c: FloatArray,
    relative_humidity_pct: FloatArray,
    *,
    cover_s_per_m: FloatArray | float = 0.0,
    net_radiation_w_per_m2: FloatArray | float = 0.0,
    wetness: FloatArray | float = 1.0,
    pressure_kpa: float = STANDARD_PRESSURE_KPA,
) -> Evaporation:
    """What leaves a wet surface under its cover, and how cold that makes it.

    Parameters
    ----------
    layer
        from `film`
    temperature_c, relative_humidity_pct
        of the air [°C], [%]
    cover_s_per_m
        resistance of tape or film over the fibre [s/m], 0 or more
    net_radiation_w_per_m2
        absorbed less emitted, beyond that of surroundings at air temperature [W/m²]
    wetness
        share of the free rate that the fibre can deliver [-], 0..1; lowers the cooling, not the rate returned
    pressure_kpa
        [kPa]

    Notes
    -----
    Penman-Monteith in closed form (Monteith 1965): λE = (s·Rn + ρc_p·VPD/r_HR) / (s + γ·(r_b+r_c)/r_HR) with
    r_HR = ρc_p/(h+h_r). s is the slope at the film's temperature, (T+Ts)/2, by one fixed-point step: at the
    air's it errs by 4 %.
    """
    heat = layer.convection_w_per_m2_k + layer.radiation_w_per_m2_k
    deficit_pa = 1000 * vapour_pressure_deficit(temperature_c, relative_humidity_pct)
    latent_j_per_kg = latent_heat_of_vaporisation(temperature_c)
    gamma_pa_per_k = SPECIFIC_HEAT_AIR_J_PER_KG_K * 1000 * pressure_kpa / (MOLAR_MASS_RATIO * latent_j_per_kg)
    resistance = heat * (layer.vapour_s_per_m + cover_s_per_m) / layer.heat_capacity_j_per_m3_k
    latent_w_per_m2 = np.zeros(np.shape(temperature_c))
    surface_c = temperature_c
    for _ in range(2):
        slope_pa_per_k = 1000 * saturation_slope((temperature_c + surface_c) / 2)
        latent_w_per_m2 = (slope_pa_per_k * net_radiation_w_per_m2 + heat * deficit_pa) / (
            slope_pa_per_k + gamma_pa_per_k * resistance
        )
        surface_c = temperature_c + (net_radiation_w_per_m2 - latent_w_per_m2) / heat
    rate = 3600 * latent_w_per_m2 / latent_j_per_kg
    return Evaporation(rate, temperature_c + (net_radiation_w_per_m2 - wetness * latent_w_per_m2) / heat)
