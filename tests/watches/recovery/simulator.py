"""Wraps that dry by hidden figures of their own, and a hand that feels them: the truth for estimates.

Independent of the program's reckoning: other formulas for saturation (Magnus, WMO), for balance moisture
(Simard 1968) and for the surface's temperature (halving), half-hourly air that wanders within the hour, and
for each wrap a gain, a tape, a soaking and a critical moisture that nobody is told.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

HALF_HOURS_A_DAY = 48
TAPES_S_PER_M = {"none": 0.0, "tape-spiral": 2_000.0, "tape-overlapped": 10_000.0}
TAPE_SPREAD = 0.9
GAIN_SPREAD = 0.4
BOUNDARY_S_PER_M = 151.0
"""Still air about 23 mm, from the worked example of the drying of a wrap."""
HEAT_W_PER_M2_K = 12.3
DENSITY_KG_PER_M3 = 400.0
LATENT_J_PER_KG = 2.48e6
FUSION_J_PER_KG = 3.34e5


def vapour_kg_per_m3(temperature_c: Floats, share: Floats | float = 1.0) -> Floats:
    """Water in air by the Magnus form of WMO-No. 8."""
    pressure_pa = share * 611.2 * np.exp(17.62 * temperature_c / (243.12 + temperature_c))
    return np.asarray(pressure_pa / (461.5 * (temperature_c + 273.15)))


def balance_kg_per_kg(temperature_c: Floats, humidity_pct: Floats) -> Floats:
    """Simard 1968, degrees Fahrenheit and per cent."""
    t, h = temperature_c * 9 / 5 + 32, humidity_pct
    low = 0.03229 + 0.281073 * h - 0.000578 * h * t
    middle = 2.22749 + 0.160107 * h - 0.014784 * t
    high = 21.0606 + 0.005565 * h * h - 0.00035 * h * t - 0.483199 * h
    return np.asarray(np.where(h < 10, low, np.where(h < 50, middle, high)) / 100)


def house_air(days: int, rng: np.random.Generator, mean_c: float = 6.0) -> tuple[Floats, Floats]:
    """Half-hourly temperature and humidity of a small cold house: days, fronts, and wandering."""
    count = days * HALF_HOURS_A_DAY
    hour = np.arange(count) / 2.0
    slow, fast = np.zeros(count), np.zeros(count)
    for step in range(1, count):
        slow[step] = 0.995 * slow[step - 1] + rng.normal(0, 0.25)
        fast[step] = 0.8 * fast[step - 1] + rng.normal(0, 0.3)
    sun = np.maximum(0.0, np.sin((hour % 24 - 8) / 9 * np.pi)) * ((hour % 24 > 8) & (hour % 24 < 17))
    temperature_c = mean_c + 1.5 * slow + fast + 5.0 * sun
    humidity_pct = np.clip(84 - 3.0 * slow - 16 * sun + rng.normal(0, 2, count), 35, 98)
    return temperature_c, humidity_pct


@dataclass
class Wraps:
    """Some wraps in one house; each list has one entry a wrap, `moisture` is the truth [kg/kg]."""

    covers: list[str]
    rng: np.random.Generator
    branch_mm: float = 20.0
    thickness_mm: float = 1.5
    moisture: Floats = field(init=False)

    def __post_init__(self) -> None:
        """Throw the hidden figures."""
        count, rng = len(self.covers), self.rng
        inner_m, outer_m = self.branch_mm / 1000, (self.branch_mm + 2 * self.thickness_mm) / 1000
        self.area_m2 = np.pi * outer_m
        self.fibre_kg = DENSITY_KG_PER_M3 * np.pi * (outer_m**2 - inner_m**2) / 4
        usual = np.array([TAPES_S_PER_M[cover] for cover in self.covers])
        self.tape_s_per_m = usual * np.exp(rng.normal(0, TAPE_SPREAD, count))
        self.gain = np.exp(rng.normal(0, GAIN_SPREAD, count))
        self.critical = rng.uniform(0.3, 0.42, count)
        self.ice_k_h = np.zeros(count)
        self.moisture = np.zeros(count)
        for index in range(count):
            self.wet(index)

    def wet(self, index: int) -> None:
        """Soak one wrap; how well, varies."""
        self.moisture[index] = self.rng.uniform(0.5, 0.68) * 1000 / DENSITY_KG_PER_M3

    def half_hour(self, temperature_c: float, humidity_pct: float) -> None:
        """Half an hour in that air, for all."""
        air_c = np.full(len(self.covers), temperature_c)
        outside = vapour_kg_per_m3(air_c, humidity_pct / 100)
        resistance = BOUNDARY_S_PER_M + self.tape_s_per_m
        low, high = air_c - 15, air_c + 1
        for _ in range(24):
            middle = (low + high) / 2
            leaving = (vapour_kg_per_m3(middle) - outside) / resistance
            too_cold = HEAT_W_PER_M2_K * (air_c - middle) > LATENT_J_PER_KG * leaving
            low, high = np.where(too_cold, middle, low), np.where(too_cold, high, middle)
        surface_c = (low + high) / 2
        leaving = (vapour_kg_per_m3(surface_c) - outside) / resistance
        self._freeze(surface_c)
        balance = balance_kg_per_kg(air_c, np.full(len(air_c), humidity_pct))
        part = np.clip((self.moisture - balance) / (self.critical - balance), -1.0, 1.0)
        lost = self.gain * leaving * self.area_m2 / self.fibre_kg * 1800 * part
        self.moisture = np.where(self.ice_k_h > 0, self.moisture, np.maximum(self.moisture - lost, 0.02))

    def _freeze(self, surface_c: Floats) -> None:
        full = self.moisture * self.fibre_kg * FUSION_J_PER_KG / (3600 * HEAT_W_PER_M2_K * self.area_m2)
        self.ice_k_h = np.clip(self.ice_k_h - surface_c * 0.5, 0.0, full)

    def is_dry(self, index: int) -> bool:
        """Whether a hand would call it dry; common practice, no source: 0.22 kg/kg."""
        return bool(self.moisture[index] <= 0.22)

    def feel(self, index: int) -> str:
        """What a hand says: not sharp, and now and then about the wrong wrap."""
        if self.ice_k_h[index] > 0:
            return "frozen" if self.rng.random() < 0.5 else "dry"
        if self.rng.random() < 0.03:
            return str(self.rng.choice(["wet", "damp", "dry"]))
        felt = self.moisture[index] + self.rng.normal(0, 0.08)
        return "wet" if felt > 0.6 else "dry" if felt <= 0.22 else "damp"
