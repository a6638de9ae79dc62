"""A made house of two nodes under made days, live: a test says what happens, the guard what it sees.

    garden.runs("03:00")                    # the thermostat works
    garden.runs("06:00", heater=False)      # its bottle is empty
    garden.runs("17:05", door=True)

Air and everything else in watts and joules, as `tests/winters/house.py`; days are smooth, each with a mean of
its own, and `colder_k` bends the coming night down. Times are local (Europe/London).
"""

import math
import shutil
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from monitor.settings import Settings
from monitor.watch import Ground, Watch
from monitor.watches import make_watches
from tests.engine.house import House, instant, sensor, settings_of, tree
from tests.winters.house import HousePlan
from tests.winters.weather import sine_of_sun

BEGINS = "2027-01-02 12:00"
LEARNT_DAYS = 13
AFTERNOON = "2027-01-15 13:00"
LATITUDE_DEG, LONGITUDE_DEG = 54.6, -3.1
TICK_S = 20.0
EVERY_S = 300.0
SWING_K = 4.0
MEANS_C = (2.0, 0.5, 3.0, 1.0, -1.0, 2.5, 0.0, 1.5, 3.5, -0.5, 1.0, 2.0, 0.5, 1.5, 1.0, 1.0, 1.0, 1.0)
"""Of each day outside, from the first on."""
COLD_HOUSE = HousePlan(envelope_w_per_k=130.0, coupling_w_per_k=400.0, air_j_per_k=80e3, mass_j_per_k=2.5e6)
LARCH = tree("Larch 3", "bench-a", 1.5, 0.0)


def garden_settings(setpoint_c: float | None = None, outdoor: bool = True, **changes: Any) -> Settings:
    """A house with a bench and, unless said otherwise, a sensor outside."""
    house: dict[str, Any] = {"name": "Cold house"}
    sensors = {"bench-a": sensor("bench-a", EVERY_S)}
    if outdoor:
        house["outdoor"] = "yard"
        sensors["yard"] = sensor("yard", EVERY_S, place="outdoor")
    if setpoint_c is not None:
        house["heater_setpoint_c"] = setpoint_c
    return settings_of(sensors, houses={"cold": house | changes.pop("house", {})}, **changes)


@dataclass
class Garden:
    """One made house and its guard, under way."""

    settings: Settings
    entries: Sequence[Mapping[str, Any]] = field(default_factory=lambda: LARCH)
    plan: HousePlan = COLD_HOUSE
    begins: str = BEGINS
    keep: Path | None = None
    air: float = 6.0
    mass: float = 6.0
    heating: bool = False
    watches: Callable[[Ground], tuple[Watch, ...]] = make_watches
    seed: int = 1
    clear: float = 0.6

    def __post_init__(self) -> None:
        self.house = House(self.settings, self.entries, self.begins, self.keep, watches=self.watches)
        self.colder_k = 0.0
        self.colder_from_s = math.inf
        self._chance = np.random.default_rng(self.seed)
        self.truth: list[tuple[float, float]] = []
        self.called_s: float | None = None
        """When the thermostat first called in vain."""

    # ---- weather -------------------------------------------------------------------------------------------

    def outside(self, at_s: float) -> float:
        """The air outside: a smooth day about its mean, and what a test adds to the night."""
        day = (at_s - instant(BEGINS)) / 86_400.0
        mean = float(np.interp(day, range(len(MEANS_C)), MEANS_C))
        hour = at_s / 3600.0 % 24.0
        bend = self.colder_k * min(max((at_s - self.colder_from_s) / 36_000.0, 0.0), 1.0)
        wind = sum(0.35 * math.sin(2 * math.pi * at_s / (60.0 * minutes)) for minutes in (47, 83, 131))
        return mean + SWING_K * math.cos(2 * math.pi * (hour - 14.5) / 24.0) + wind - bend

    def turns_colder(self, by_k: float) -> None:
        """Over the next ten hours it becomes so much colder than it would."""
        self.colder_k, self.colder_from_s = by_k, self.house.now_s

    # ---- time ----------------------------------------------------------------------------------------------

    def runs(
        self,
        until: str,
        *,
        heater: bool = True,
        door: bool = False,
        vents: bool = False,
        seen_as: Callable[[float], float | None] | None = None,
        yard_as: Callable[[float], float | None] | None = None,
    ) -> None:
        """Time passes; both sensors report every five minutes; `seen_as`, `yard_as` change what they say."""
        until_s = self.house.at(until)
        while self.house.now_s + EVERY_S <= until_s + 1.0:
            at_s = (self.house.now_s // EVERY_S + 1) * EVERY_S
            self._step(at_s - EVERY_S, heater, door, vents)
            self.truth.append((at_s, self.air))
            seen_c: float | None = round(self.air + self._chance.normal(0, 0.05), 1)
            if seen_as is not None and seen_c is not None:
                seen_c = seen_as(seen_c)
            if seen_c is not None:
                self.house.reading(seen_c, at_s, "bench-a", rh_pct=85.0)
            if "yard" in self.settings.sensors:
                yard_c: float | None = round(self.outside(at_s) + self._chance.normal(0, 0.05), 1)
                if yard_as is not None and yard_c is not None:
                    yard_c = yard_as(yard_c)
                if yard_c is not None:
                    self.house.reading(yard_c, at_s, "yard", rh_pct=80.0)

    def _step(self, from_s: float, heater: bool, door: bool, vents: bool) -> None:
        plan = self.plan
        loss = plan.envelope_w_per_k + door * plan.door_w_per_k + vents * plan.vent_w_per_k
        sun = float(sine_of_sun(np.array([from_s]), LATITUDE_DEG, LONGITUDE_DEG)[0])
        gain = plan.sun_w * sun * self.clear
        for tick in range(round(EVERY_S / TICK_S)):
            outside = self.outside(from_s + tick * TICK_S)
            self.heating = self.air < plan.setpoint_c - plan.swing_k or (
                self.heating and self.air < plan.setpoint_c + plan.swing_k
            )
            heat = plan.heater_w if self.heating and heater else 0.0
            if self.heating and not heater and self.called_s is None:
                self.called_s = from_s + tick * TICK_S
            exchange = plan.coupling_w_per_k * (self.mass - self.air)
            warm = loss * (outside - self.air) + exchange + heat + 0.35 * gain
            self.air += warm / plan.air_j_per_k * TICK_S
            self.mass += (0.65 * gain - exchange) / plan.mass_j_per_k * TICK_S

    def plan_at(self, setpoint_c: float) -> HousePlan:
        """The same house with its thermostat turned."""
        return replace(self.plan, setpoint_c=setpoint_c)

    # ---- what was said -------------------------------------------------------------------------------------

    def rose(self, kind: str) -> list[float]:
        """When alarms of a kind came up."""
        return [t.at_s for t in self.house.transitions_seen if t.kind == kind and t.because == "condition"]

    def lines(self, sensor_id: str = "bench-a") -> list[Mapping[str, Any]]:
        """Forecasts of one sensor so far."""
        return [line for line in self.house.forecast_lines if line["sensor"] == sensor_id]


@dataclass(frozen=True)
class Learnt:
    """A state directory in which a fortnight was learnt, and the house at its end."""

    state: Path
    settings: Settings
    entries: Sequence[Mapping[str, Any]]
    plan: HousePlan
    air: float
    mass: float

    def opened(self, folder: Path, **changes: Any) -> Garden:
        """A garden that goes on from there, in a copy of its own."""
        shutil.copytree(self.state, folder / "state")
        given = {"settings": self.settings, "entries": self.entries} | changes
        return Garden(
            plan=self.plan,
            keep=folder / "state",
            begins=AFTERNOON,
            air=self.air,
            mass=self.mass,
            **given,
        )


def too_small(plan: HousePlan) -> HousePlan:
    """The same house with half its heater."""
    return replace(plan, heater_w=plan.heater_w / 2)


def learnt_state(folder: Path, settings: Settings, plan: HousePlan) -> Learnt:
    """Let a garden run for a fortnight and keep what it learnt."""
    garden = Garden(settings, plan=plan, keep=folder)
    for day in range(3, 3 + LEARNT_DAYS - 1):
        garden.runs(f"2027-01-{day:02d} 12:00")
    garden.runs(AFTERNOON)
    garden.house.close()
    return Learnt(folder, settings, garden.entries, plan, garden.air, garden.mass)
