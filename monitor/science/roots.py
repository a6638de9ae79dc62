"""Root-ball temperature where no probe stands in the pot, and what evergreens lose over a frozen one.

The pot is one lump behind a surface film: it follows the air with a lag, and stays at 0 °C while its water
freezes or thaws. Knows nothing of species, limits or trees.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from monitor.science.constants import (
    GAS_CONSTANT_VAPOUR_J_PER_KG_K,
    LATENT_HEAT_FUSION_J_PER_KG,
    ZERO_CELSIUS_K,
)
from monitor.science.psychrometrics import vapour_pressure_deficit
from monitor.science.values import FloatArray, require

#: Film between pot and still air, radiation included. [W m⁻² K⁻¹] A usual figure for sheltered surfaces.
POT_FILM_W_PER_M2_K: Final = 10.0

#: Heat that moist potting soil holds. [J m⁻³ K⁻¹] About 35 % water, 15 % solids, 50 % air.
MOIST_SOIL_J_PER_M3_K: Final = 2.5e6

#: Depth of a common pot over its diameter. Bowls are flatter and follow the air faster than this says.
DEPTH_TO_DIAMETER: Final = 0.48

#: Share of a moist root-ball's volume that is water.
WATER_FRACTION: Final = 0.35

WATER_DENSITY_KG_PER_M3: Final = 1000.0

#: What needles let through with shut stomata, least and most. [m/s] From memory, order of magnitude only.
NEEDLE_CONDUCTANCE_M_PER_S: Final = (5e-5, 2e-4)


@dataclass(frozen=True, slots=True)
class Pot:
    """How a pot answers the air.

    `lag_h` is the time in which 63 % of a step arrives [h]; `plateau_k_h` the cold below 0 °C that freezes
    all of its water [K·h].
    """

    lag_h: float
    plateau_k_h: float


@dataclass(frozen=True, slots=True)
class RootBall:
    """State of one root-ball, or of many as arrays of one shape.

    `temperature_c` [°C]; `ice_k_h` the cold stored in ice [K·h], 0 up to the pot's plateau; `frozen_h` how
    long there has been ice without a break [h].
    """

    temperature_c: float | FloatArray
    ice_k_h: float | FloatArray
    frozen_h: float | FloatArray


def pot(pot_litres: float, *, water_fraction: float = WATER_FRACTION) -> Pot:
    """Lag and freezing plateau of a pot of a common shape.

    Parameters
    ----------
    pot_litres
        volume [l], 0.05..1000
    water_fraction
        water in the root-ball by volume [-], 0.05..0.6

    Raises
    ------
    ValueError
        a volume or a water content that no pot has

    Notes
    -----
    Lumped capacity: lag = ρc·V / (h·A), plateau = w·ρ·L·V / (h·A), with the surface of a closed cylinder.
    Frozen soil holds about a third less heat, which is left out: below 0 °C a real pot is somewhat faster.
    """
    require(pot_litres, 0.05, 1000.0, "the volume of a pot", "l")
    require(water_fraction, 0.05, 0.6, "the water in a root-ball", "by volume")
    volume_m3 = pot_litres / 1000
    diameter_m = (4 * volume_m3 / (math.pi * DEPTH_TO_DIAMETER)) ** (1 / 3)
    area_m2 = math.pi * diameter_m**2 * (0.5 + DEPTH_TO_DIAMETER)
    per_film_m_h = volume_m3 / (area_m2 * POT_FILM_W_PER_M2_K * 3600)
    latent_j_per_m3 = water_fraction * WATER_DENSITY_KG_PER_M3 * LATENT_HEAT_FUSION_J_PER_KG
    return Pot(lag_h=MOIST_SOIL_J_PER_M3_K * per_film_m_h, plateau_k_h=latent_j_per_m3 * per_film_m_h)


def root_ball_at(air_c: npt.ArrayLike, plateau_k_h: npt.ArrayLike) -> RootBall:
    """A root-ball of which nothing is known: as cold as the air, frozen through if that is below 0 °C."""
    temperature_c = np.asarray(air_c, dtype=np.float64)
    ice_k_h = np.where(temperature_c < 0, np.asarray(plateau_k_h, dtype=np.float64), 0.0)
    return _root_ball(temperature_c, ice_k_h, np.zeros(ice_k_h.shape))


def root_ball_step(
    ball: RootBall,
    air_c: npt.ArrayLike,
    duration_h: float,
    *,
    lag_h: npt.ArrayLike,
    plateau_k_h: npt.ArrayLike,
) -> RootBall:
    """The root-ball after some time in air of one temperature.

    Parameters
    ----------
    ball
        the state before; a NaN temperature starts anew at the air's
    air_c
        air temperature [°C]; NaN gives a NaN temperature, with ice and hours kept
    duration_h
        how long [h], above 0 and up to 24
    lag_h, plateau_k_h
        of `Pot` [h], [K·h], above 0

    Raises
    ------
    ValueError
        a duration, lag or plateau out of range

    Notes
    -----
    Exact for constant air, whatever the duration: sensible heat to 0 °C, latent heat there, sensible heat
    beyond. Undercooling and the lowering of the freezing point by salts (tenths of a kelvin) are left out.
    """
    require(duration_h, 1e-6, 24.0, "the time of one step", "h")
    lag, plateau = np.asarray(lag_h, dtype=np.float64), np.asarray(plateau_k_h, dtype=np.float64)
    require(float(np.min(lag)), 1e-3, 1e4, "the lag of a pot", "h")
    require(float(np.min(plateau)), 0.0, 1e6, "the freezing plateau of a pot", "K·h")
    air = np.asarray(air_c, dtype=np.float64)
    anew = np.isnan(ball.temperature_c)
    start = root_ball_at(air, plateau)
    before_c = np.where(anew, start.temperature_c, ball.temperature_c)
    ice = np.where(anew, start.ice_k_h, ball.ice_k_h)

    to_zero_h = _hours_to_zero(before_c, air, lag)
    at_zero_h = np.clip(duration_h - to_zero_h, 0.0, None)
    latent_h = _hours_of_phase_change(ice, air, plateau)
    beyond_h = np.clip(at_zero_h - latent_h, 0.0, None)
    temperature_c = np.where(
        at_zero_h > 0, -air * np.expm1(-beyond_h / lag), air + (before_c - air) * np.exp(-duration_h / lag)
    )
    ice_after = np.clip(ice - np.nan_to_num(air) * at_zero_h, 0.0, plateau)
    frozen_h = np.where(ice_after > 0, np.where(ice > 0, ball.frozen_h + duration_h, at_zero_h), 0.0)
    return _root_ball(temperature_c, ice_after, np.where(np.isnan(air), ball.frozen_h, frozen_h))


def needle_water_loss(
    air_c: npt.ArrayLike,
    relative_humidity_pct: npt.ArrayLike,
    pot_c: npt.ArrayLike,
    *,
    conductance_m_per_s: float = NEEDLE_CONDUCTANCE_M_PER_S[1],
) -> FloatArray:
    """Water that evergreen needles lose and a frozen root-ball cannot replace. [g m⁻² h⁻¹] of needle surface.

    Parameters
    ----------
    air_c, relative_humidity_pct
        the air about the needles [°C], [%]; needles are taken to be as warm as the air
    pot_c
        temperature of the root-ball [°C]; above 0 °C nothing is counted
    conductance_m_per_s
        of the needle with shut stomata [m/s], 1e-6..1e-2

    Raises
    ------
    ValueError
        a conductance that no needle has

    Notes
    -----
    Loss = g·Δe / (R_v·T), the vapour deficit taken across the cuticle.
    """
    require(conductance_m_per_s, 1e-6, 1e-2, "the conductance of a needle", "m/s")
    air, pot_temperature_c = np.asarray(air_c, dtype=np.float64), np.asarray(pot_c, dtype=np.float64)
    deficit_pa = 1000 * vapour_pressure_deficit(air, np.asarray(relative_humidity_pct, dtype=np.float64))
    loss = conductance_m_per_s * deficit_pa / (GAS_CONSTANT_VAPOUR_J_PER_KG_K * (air + ZERO_CELSIUS_K))
    loss = np.where(pot_temperature_c <= 0, loss * 3600 * 1000, 0.0)
    return np.where(np.isnan(pot_temperature_c), np.nan, loss)


def _hours_to_zero(before_c: FloatArray, air_c: FloatArray, lag_h: FloatArray) -> FloatArray:
    """Time until the lump passes 0 °C; infinite where this air never takes it there."""
    crosses = (np.sign(before_c) * np.sign(air_c) < 0) | ((before_c == 0) & (air_c != 0))
    with np.errstate(all="ignore"):
        return np.where(crosses, lag_h * np.log1p(-before_c / air_c), np.inf)


def _hours_of_phase_change(ice_k_h: FloatArray, air_c: FloatArray, plateau_k_h: FloatArray) -> FloatArray:
    """Time at 0 °C until all is ice (cold air) or all is water (warm air)."""
    to_go_k_h = np.where(air_c < 0, plateau_k_h - ice_k_h, ice_k_h)
    with np.errstate(all="ignore"):
        return np.where(np.abs(air_c) > 0, to_go_k_h / np.abs(air_c), np.inf)


def _root_ball(temperature_c: FloatArray, ice_k_h: FloatArray, frozen_h: FloatArray) -> RootBall:
    if np.ndim(temperature_c) == 0:
        return RootBall(float(temperature_c), float(ice_k_h), float(frozen_h))
    return RootBall(temperature_c, ice_k_h, np.broadcast_to(frozen_h, temperature_c.shape))
