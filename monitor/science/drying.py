"""How wet fibre dries in air: free water first, then towards its balance with the air's humidity.

Fibres and covers with their figures, the geometry of a wrap, and exact steps for constant air. Knows
nothing of what is believed about one wrap.
"""

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np

from monitor.science.values import FloatArray, require

WATER_DENSITY_KG_PER_M3: Final = 1000.0

#: Least rate that a drying time is divided by. [kg kg⁻¹ h⁻¹] A year for one per cent: as good as never.
NO_RATE_PER_H: Final = 1e-6

#: Nearest that drying fibre is followed to its balance with the air. [kg/kg]
NEAR_BALANCE_KG_PER_KG: Final = 0.02


class FibreFacts(NamedTuple):
    """What is assumed of a fibre; moistures are water over dry fibre [kg/kg].

    `critical_kg_per_kg`: below it water no longer reaches the surface freely; `wet_above_kg_per_kg` and
    `dry_below_kg_per_kg`: what a hand calls wet and dry, told apart no sharper than `softness_kg_per_kg`;
    `dried_kg_per_kg`: reckoned to be dry.
    """

    thickness_mm: float
    water_fraction: float
    density_kg_per_m3: float
    critical_kg_per_kg: float
    wet_above_kg_per_kg: float
    dry_below_kg_per_kg: float
    dried_kg_per_kg: float
    softness_kg_per_kg: float


class CoverFacts(NamedTuple):
    """`resistance_s_per_m` to vapour [s/m]; `log_spread`: standard deviation of the logarithm of the gain."""

    resistance_s_per_m: float
    log_spread: float


#: Judgement, but for raffia's density: fibre 1.50 g/cm³ (Fadele et al. 2018, J. Wood Sci. 64:650), 73 %
#: pores. Sphagnum: from memory, dry moss of 40 kg/m³ that holds some twenty times its mass.
FIBRES: Final[Mapping[str, FibreFacts]] = MappingProxyType(
    {
        "raffia": FibreFacts(1.5, 0.6, 400.0, 0.35, 0.6, 0.22, 0.20, 0.1),
        "cloth": FibreFacts(1.0, 0.6, 400.0, 0.35, 0.6, 0.22, 0.20, 0.1),
        "sphagnum": FibreFacts(10.0, 0.8, 40.0, 3.0, 8.0, 1.2, 1.0, 1.0),
    }
)

#: Judgement: tape is drier or tighter by a factor of ten from hand to hand, hence the wider spread.
COVERS: Final[Mapping[str, CoverFacts]] = MappingProxyType(
    {
        "none": CoverFacts(0.0, 0.7),
        "tape-spiral": CoverFacts(2_000.0, 1.2),
        "tape-overlapped": CoverFacts(10_000.0, 1.2),
        "film": CoverFacts(50_000.0, 1.2),
    }
)


class Body(NamedTuple):
    """A wrap as the drying sees it, a metre of it; numbers, or arrays of one shape.

    `diameter_m` [m]; `dry_kg_per_m` mass of dry fibre; moistures when soaked, where free water ends, and at
    which it counts as dry; `cover_s_per_m` resistance of its cover.
    """

    diameter_m: float | FloatArray
    dry_kg_per_m: float | FloatArray
    saturated_kg_per_kg: float | FloatArray
    critical_kg_per_kg: float | FloatArray
    dried_kg_per_kg: float | FloatArray
    cover_s_per_m: float | FloatArray


def body(
    fibre: str,
    cover: str,
    *,
    branch_mm: float,
    thickness_mm: float | None = None,
    water_fraction: float | None = None,
    cover_s_per_m: float | None = None,
) -> Body:
    """Geometry and water of a wrap.

    Parameters
    ----------
    fibre, cover
        a name of `FIBRES` and of `COVERS`
    branch_mm
        diameter of the branch [mm], 1..400
    thickness_mm
        of the fibre [mm], 0.2..100; left out: the fibre's usual
    water_fraction
        of the fibre's volume when soaked [-], 0.05..0.98; left out: the fibre's usual
    cover_s_per_m
        resistance of the cover [s/m], 0..1e7; left out: the cover's usual

    Raises
    ------
    ValueError
        an unknown fibre or cover, or a size that no wrap has

    Notes
    -----
    d = D + 2δ; dry mass ρ_b·π(d²−D²)/4; soaked moisture θ0·ρ_w/ρ_b.
    """
    if fibre not in FIBRES:
        raise ValueError(f"the fibre of a wrap must be one of {', '.join(FIBRES)}, not {fibre}")
    if cover not in COVERS:
        raise ValueError(f"the cover of a wrap must be one of {', '.join(COVERS)}, not {cover}")
    facts = FIBRES[fibre]
    thick_mm = facts.thickness_mm if thickness_mm is None else thickness_mm
    water = facts.water_fraction if water_fraction is None else water_fraction
    resistance = COVERS[cover].resistance_s_per_m if cover_s_per_m is None else cover_s_per_m
    require(branch_mm, 1.0, 400.0, "the diameter of a branch", "mm")
    require(thick_mm, 0.2, 100.0, "the thickness of a wrap", "mm")
    require(water, 0.05, 0.98, "the water in a soaked wrap", "by volume")
    require(resistance, 0.0, 1e7, "the resistance of a cover to vapour", "s/m")
    inner_m, outer_m = branch_mm / 1000, (branch_mm + 2 * thick_mm) / 1000
    return Body(
        diameter_m=outer_m,
        dry_kg_per_m=facts.density_kg_per_m3 * math.pi * (outer_m**2 - inner_m**2) / 4,
        saturated_kg_per_kg=water * WATER_DENSITY_KG_PER_M3 / facts.density_kg_per_m3,
        critical_kg_per_kg=facts.critical_kg_per_kg,
        dried_kg_per_kg=facts.dried_kg_per_kg,
        cover_s_per_m=resistance,
    )


def equilibrium_moisture(temperature_c: FloatArray, relative_humidity_pct: FloatArray) -> FloatArray:
    """Moisture at which wood neither takes up nor gives off water. [kg/kg] Taken for the fibres too.

    Parameters
    ----------
    temperature_c
        [°C]; held at −1.1 below that, where the table ends
    relative_humidity_pct
        [%], 0..100, clipped

    Notes
    -----
    USDA Forest Products Laboratory, Wood Handbook, FPL-GTR-282 (2021), chapter 4, equation 4-5 (Hailwood and
    Horrobin, two hydrates; Simpson 1973), constants for °C; table 4-2 covers −1.1..132 °C and 5..95 %.
    """
    t = np.maximum(temperature_c, -1.1)
    h = np.clip(relative_humidity_pct, 0.0, 100.0) / 100
    weight = 349 + 1.29 * t + 0.0135 * t * t
    k = 0.805 + 0.000736 * t - 0.00000273 * t * t
    k1 = 6.27 - 0.00938 * t - 0.000303 * t * t
    k2 = 1.91 + 0.0407 * t - 0.000293 * t * t
    kh = k * h
    hydrates = k1 * kh + 2 * k1 * k2 * kh * kh
    return 18 / weight * (kh / (1 - kh) + hydrates / (1 + k1 * kh + k1 * k2 * kh * kh))


def dry_for(
    moisture: FloatArray,
    rate_per_h: FloatArray,
    balance: FloatArray,
    critical: FloatArray,
    saturated: FloatArray,
    duration_h: FloatArray | float,
) -> FloatArray:
    """Moisture after some time in constant air. [kg/kg]

    Parameters
    ----------
    moisture
        before [kg/kg]
    rate_per_h
        free drying rate, E·A/m_d times the gain [kg kg⁻¹ h⁻¹]; negative: dew falls
    balance
        equilibrium moisture [kg/kg], below `critical`
    critical, saturated
        of the fibre [kg/kg]
    duration_h
        [h]

    Notes
    -----
    Above the critical moisture at the free rate, below it −dM/dt = rate·(M − Me)/(Mc − Me): exact, and
    continuous where the two meet. The same form takes up water where the fibre is drier than its balance.
    """
    drying = np.maximum(rate_per_h, NO_RATE_PER_H)
    free_h = np.minimum(np.maximum(moisture - critical, 0.0) / drying, duration_h)
    left = moisture - drying * free_h
    bound = balance + (left - balance) * np.exp(-drying * (duration_h - free_h) / (critical - balance))
    wetted = np.minimum(moisture - rate_per_h * duration_h, np.maximum(saturated, moisture))
    return np.where(rate_per_h > 0, bound, wetted)


def hours_to_dry(
    moisture: FloatArray,
    rate_per_h: FloatArray,
    balance: FloatArray,
    critical: FloatArray,
    dried: FloatArray,
) -> FloatArray:
    """Time until the fibre counts as dry in constant air [h]; 0 if it is, infinite if this air cannot.

    Parameters are those of `dry_for`; `dried` is the moisture that counts as dry [kg/kg], raised in damp
    air to 0.02 above the balance.
    """
    goal = np.maximum(dried, balance + NEAR_BALANCE_KG_PER_KG)
    drying = np.maximum(rate_per_h, NO_RATE_PER_H)
    free_h = np.maximum(moisture - np.maximum(critical, goal), 0.0) / drying
    start = np.maximum(np.minimum(moisture, critical), goal)
    bound_h = (critical - balance) / drying * np.log((start - balance) / (goal - balance))
    hours = np.where(moisture > goal, free_h + bound_h, 0.0)
    return np.where((rate_per_h > NO_RATE_PER_H) | (hours == 0), hours, np.inf)
