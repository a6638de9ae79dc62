"""Physical constants, each with its unit in the name and its source beside it.

Knows no formula; a constant that belongs to one formula only stands beside that formula.
"""

from typing import Final

#: 0 °C in kelvin. SI brochure, 9th edition, 2.3.1 (exact).
ZERO_CELSIUS_K: Final = 273.15

#: Triple point of water in °C: above it there is no ice to be in balance with. SI brochure, 9th edition.
TRIPLE_POINT_C: Final = 0.01

#: Gas constant of water vapour. [J kg⁻¹ K⁻¹] R = 8.314462618 J mol⁻¹ K⁻¹ (CODATA 2018) over 18.0153 g mol⁻¹.
GAS_CONSTANT_VAPOUR_J_PER_KG_K: Final = 461.523

#: Gas constant of dry air. [J kg⁻¹ K⁻¹] R (CODATA 2018) over 28.966 g mol⁻¹.
GAS_CONSTANT_DRY_AIR_J_PER_KG_K: Final = 287.042

#: Molar mass of water over that of dry air. [-] ASHRAE Handbook of Fundamentals 2017, chapter 1, equation 20.
MOLAR_MASS_RATIO: Final = 0.621945

#: Standard atmosphere at sea level. [kPa] ISO 2533.
STANDARD_PRESSURE_KPA: Final = 101.325

#: Specific heat of moist air at constant pressure. [J kg⁻¹ K⁻¹] FAO-56, equation 8.
SPECIFIC_HEAT_AIR_J_PER_KG_K: Final = 1013.0

#: Stefan-Boltzmann constant. [W m⁻² K⁻⁴] CODATA 2018 (exact in the SI since 2019).
STEFAN_BOLTZMANN_W_PER_M2_K4: Final = 5.670374419e-8

#: Latent heat of fusion of water at 0 °C. [J kg⁻¹] IAPWS R10-06(2009), release on ice Ih.
LATENT_HEAT_FUSION_J_PER_KG: Final = 333.43e3
