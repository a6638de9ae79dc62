"""Made winters by name: which airport, which seed, which house, which tree; and the guard over them.

Parameters of the program were chosen on Newark (EWR) with seeds below 100 and on German test reference years.
What is reported, and what continuous integration holds, is Kennedy (JFK) and La Guardia (LGA) with seeds from
100 on. The airports lie some 15 km apart and share their fronts, so they are not independent; houses, doors,
failures and sensor faults are.
"""

from dataclasses import dataclass, replace

from tests.winters.guarded import Heard, guard
from tests.winters.house import HousePlan, make_winter
from tests.winters.weather import winter

CHOSEN_BELOW_SEED = 100
UNHEATED = HousePlan()
LIGHT = HousePlan(envelope_w_per_k=200.0, coupling_w_per_k=200.0, mass_j_per_k=1.0e6)
HEAVY = HousePlan(envelope_w_per_k=100.0, coupling_w_per_k=500.0, mass_j_per_k=5.0e6)
HEATED = HousePlan(heater_w=2500.0, setpoint_c=4.0)
TOO_SMALL = HousePlan(heater_w=1300.0, setpoint_c=4.0)


@dataclass(frozen=True)
class Made:
    """One winter to be made and guarded."""

    name: str
    station: str
    seed: int
    plan: HousePlan
    harm_c: float
    failures: int = 0
    outdoor: bool = True
    service_error_k: float | None = None

    @property
    def chosen(self) -> bool:
        """Whether parameters were chosen on it."""
        return self.seed < CHOSEN_BELOW_SEED

    @property
    def setpoint_c(self) -> float | None:
        """What the heater is set to."""
        return self.plan.setpoint_c if self.plan.heater_w else None

    def heard(self) -> Heard:
        """What the guard said over it; some thirty seconds of one core."""
        made = make_winter(winter(self.station, self.seed), self.plan, self.seed, self.failures)
        return guard(
            made,
            self.harm_c,
            self.seed,
            setpoint_c=self.setpoint_c,
            outdoor=self.outdoor,
            service_error_k=self.service_error_k,
        )


TENDER = Made("unheated", "JFK", 101, UNHEATED, -3.0)
KEPT = Made("heated", "LGA", 102, HEATED, 0.0, failures=6)
HARDY = Made("light, no sensor outside", "JFK", 103, LIGHT, -9.0, outdoor=False)
IN_CI = (TENDER, KEPT, HARDY)

ALL = (
    *IN_CI,
    replace(TENDER, station="LGA", seed=104),
    replace(TENDER, name="unheated, no sensor outside", seed=105, outdoor=False),
    replace(TENDER, name="unheated, weather service", seed=111, service_error_k=1.2),
    Made("heavy", "LGA", 106, HEAVY, -3.0),
    Made("light", "LGA", 107, LIGHT, -5.0),
    replace(KEPT, station="JFK", seed=108),
    replace(KEPT, name="heated, no sensor outside", seed=109, outdoor=False),
    Made("heater too small", "LGA", 110, TOO_SMALL, -2.0),
    replace(TENDER, station="EWR", seed=1),
    replace(KEPT, station="EWR", seed=2),
    Made("light", "EWR", 3, LIGHT, -5.0),
    Made("heavy", "EWR", 4, HEAVY, -3.0),
)
