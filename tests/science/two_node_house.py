"""A made house of two nodes, for tests: air and everything else, in watts and joules, stepped by ten seconds.

Shares nothing with the program: no formula, constant or name of it is used here.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

Series = npt.NDArray[np.float64]

TICK_S = 10.0


@dataclass(frozen=True)
class House:
    """Envelope and coupling in W/K, heat capacities in J/K; a thermostat with half a kelvin either side."""

    envelope_w_per_k: float = 124.0
    coupling_w_per_k: float = 260.0
    air_j_per_k: float = 70e3
    mass_j_per_k: float = 1.5e6
    heater_w: float = 0.0
    setpoint_c: float = 4.0

    def lags_h(self) -> tuple[float, float, float]:
        """Fast and slow lag [h] and the share of a change outside that comes by the fast one, by
        eigenvalues."""
        to_air = np.array([self.envelope_w_per_k / self.air_j_per_k, 0.0])
        exchange = np.array(
            [
                [-(self.envelope_w_per_k + self.coupling_w_per_k), self.coupling_w_per_k],
                [self.coupling_w_per_k, -self.coupling_w_per_k],
            ]
        ) / np.array([[self.air_j_per_k], [self.mass_j_per_k]])
        rates, modes = (found.real for found in np.linalg.eig(exchange))
        gains = modes[0] * np.linalg.solve(modes, to_air) / -rates
        fast, slow = np.argsort(rates)
        return -1 / rates[fast] / 3600, -1 / rates[slow] / 3600, float(gains[fast])

    def run(
        self, outside_c: Series, *, step_s: float, start_c: float, mass_c: float, off_from_s: float = np.inf
    ) -> Series:
        """Air temperature at each sample of the air outside, which runs straight between samples."""
        air, mass, heating = start_c, mass_c, False
        inside = [air]
        ticks = round(step_s / TICK_S)
        for index in range(len(outside_c) - 1):
            for tick in range(ticks):
                outside = outside_c[index] + (outside_c[index + 1] - outside_c[index]) * (tick + 0.5) / ticks
                heating = air < self.setpoint_c - 0.5 or (heating and air < self.setpoint_c + 0.5)
                works = heating and index * step_s + tick * TICK_S < off_from_s
                heat_w = self.heater_w if works else 0.0
                to_air_w = (
                    self.envelope_w_per_k * (outside - air) + self.coupling_w_per_k * (mass - air) + heat_w
                )
                to_mass_w = self.coupling_w_per_k * (air - mass)
                air += to_air_w / self.air_j_per_k * TICK_S
                mass += to_mass_w / self.mass_j_per_k * TICK_S
            inside.append(air)
        return np.array(inside)

    def without_mass(self) -> "House":
        """The same with a single node: all of it follows as one."""
        return replace(self, coupling_w_per_k=1e-9, air_j_per_k=self.air_j_per_k + self.mass_j_per_k)


def clear_night(
    seed: int, *, evening_c: float, low_c: float, hours: float = 13.0, step_s: float = 600.0
) -> Series:
    """Air outside through a clear night: falls by the root of time, with an hour's drift and gusts."""
    chance = np.random.default_rng(seed)
    count = round(hours * 3600 / step_s) + 1
    part = np.linspace(0, 1, count)
    drift = np.convolve(chance.normal(0, 1, count + 12), np.ones(7) / 7, mode="same")[6:-6]
    return evening_c + (low_c - evening_c) * np.sqrt(part) + 0.9 * drift
