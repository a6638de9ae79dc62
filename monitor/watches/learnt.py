"""What the guard has learnt of each place: its nights, how its house follows the air outside, its heater.

Folded in each morning from the readings that can be trusted; kept as named rows. Whatever was forecast is
scored here against what came. It knows no alarms and no people.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from monitor.model import Place, Row
from monitor.science.house_fit import fit_night
from monitor.science.house_response import HouseResponse
from monitor.science.night_memory import NightMemory
from monitor.science.night_methods import Evening, Night, night_of
from monitor.watch import Ground
from monitor.watches.evening import HOUR_S, STEP_S, Air, Floats, Nights, NightTimes
from monitor.watches.heated import HeaterMemory, heated_night
from monitor.watches.scores import Said, Scored, scored

LEARNED: Final = "nights"
HEATERS: Final = "heaters"
KEPT_SCORES: Final = 120
BACK_NIGHTS: Final = 13
"""Nights that a first start may still find in the history."""
SETTLED_AFTER_SUNSET_S: Final = HOUR_S
SERVICE_VALID_S: Final = 18 * HOUR_S
FEWEST_KNOWN: Final = 0.5


@dataclass(frozen=True, slots=True)
class Learnt:
    """Of one sensor: its nights, its house's response (bench only), the scores of what was said."""

    memory: NightMemory = field(default_factory=NightMemory)
    response: HouseResponse = field(default_factory=HouseResponse)
    scores: tuple[Scored, ...] = ()
    folded: str = ""
    """Date of the last night that was looked at."""

    def as_dict(self) -> dict[str, Any]:
        """In JSON's own types."""
        return {
            "memory": self.memory.as_dict(),
            "response": self.response.as_dict(),
            "scores": [score.as_list() for score in self.scores],
            "folded": self.folded,
        }

    @staticmethod
    def from_dict(state: Mapping[str, Any]) -> "Learnt":
        """What `as_dict` wrote."""
        return Learnt(
            NightMemory.from_dict(state["memory"]),
            HouseResponse.from_dict(state["response"]),
            tuple(Scored.from_list(row) for row in state["scores"]),
            state["folded"],
        )


class Learning:
    """Folds each night once it is over."""

    def __init__(self, ground: Ground, nights: Nights, air: Air) -> None:
        self._ground = ground
        self._nights = nights
        self._air = air
        self._places: dict[str, Learnt] = {}
        self._heaters: dict[str, HeaterMemory] = {}
        self._changed: set[str] = set()

    # ---- memory --------------------------------------------------------------------------------------------

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over its rows."""
        for key, value in learned.items():
            what, _, name = key.partition("/")
            if what == LEARNED and name in self._ground.settings.sensors:
                self._places[name] = Learnt.from_dict(value)
            elif what == HEATERS and name in self._ground.settings.houses:
                self._heaters[name] = HeaterMemory.from_dict(value)

    def take(self) -> tuple[Row, ...]:
        """Rows that changed since the last call."""
        rows = tuple(self._row(key) for key in sorted(self._changed))
        self._changed.clear()
        return rows

    @property
    def is_changed(self) -> bool:
        """Whether `take` would give anything."""
        return bool(self._changed)

    def rows(self) -> tuple[Row, ...]:
        """Every row there is."""
        places = (self._row(f"{LEARNED}/{name}") for name in self._places)
        return (*places, *(self._row(f"{HEATERS}/{name}") for name in self._heaters))

    def _row(self, key: str) -> Row:
        what, _, name = key.partition("/")
        known = self._places[name] if what == LEARNED else self._heaters[name]
        return Row("learned", key, known.as_dict())

    # ---- what is known ---------------------------------------------------------------------------------

    @property
    def sensors(self) -> tuple[str, ...]:
        """Sensors whose nights are learnt: benches and the air outside."""
        wanted = (Place.BENCH, Place.OUTDOOR)
        return tuple(name for name, s in self._ground.settings.sensors.items() if s.place in wanted)

    def of(self, sensor: str) -> Learnt:
        """What is known of a sensor's place."""
        return self._places.get(sensor) or Learnt()

    def heater(self, house: str) -> HeaterMemory:
        """What is known of a house's heater."""
        return self._heaters.get(house) or HeaterMemory()

    def outdoor_of(self, sensor: str) -> str | None:
        """The sensor outside of a bench's house."""
        settings = self._ground.settings
        house = settings.houses.get(settings.sensors[sensor].house)
        outdoor = house.outdoor if house is not None else None
        return outdoor if outdoor in settings.sensors and outdoor != sensor else None

    def setpoint_c(self, house: str, now_s: float) -> float | None:
        """What the heater of a house is set to: the book stands over the settings; None without a heater."""
        settings = self._ground.settings.houses.get(house)
        said = self._ground.book().setpoint_c(house, now_s)
        return said if said is not None else settings.heater_setpoint_c if settings is not None else None

    def evening(self, sensor: str, night: NightTimes, now_s: float, service_low_c: float) -> Evening:
        """What is known of a sensor's evening; a gap then takes the first half hour that is known after."""
        temperature_c = self._air.value(sensor, min(night.evening_s, now_s))
        if math.isnan(temperature_c) and now_s > night.evening_s:
            temperature_c = self._air.value(sensor, min(night.evening_s + 2 * HOUR_S, now_s))
        outdoor = self.outdoor_of(sensor) or sensor
        return Evening(
            temperature_c, self._air.dew_point(outdoor, night.evening_s), night.length_h, service_low_c
        )

    # ---- mornings --------------------------------------------------------------------------------------

    def morning(self, now_s: float, said: Mapping[str, Said]) -> bool:
        """Fold every night that has ended and was not looked at yet; whether there was one."""
        last = self._nights.of(now_s)
        back = 0 if last.ends_s <= now_s else 1
        newest = self._nights.of(now_s, back)
        todo = [name for name in self.sensors if self.of(name).folded < newest.date]
        if not todo:
            return False
        for nights_back in range(back + BACK_NIGHTS, back - 1, -1):
            night = self._nights.of(now_s, nights_back)
            benches = [name for name in todo if self.of(name).folded < night.date]
            for sensor in benches:
                self._fold(sensor, night, said.get(sensor))
            for house in {self._ground.settings.sensors[name].house for name in benches}:
                self._fold_heater(house, night)
        return True

    def _fold(self, sensor: str, night: NightTimes, said: Said | None) -> None:
        """One night of one sensor."""
        known = self.of(sensor)
        said = said if said is not None and said.night == night.date else None
        grid = self._air.grid(sensor, night.evening_s, night.ends_s)
        if np.isfinite(grid).mean() < FEWEST_KNOWN:
            self._keep(sensor, replace(known, folded=night.date))
            return
        hours = np.arange(len(grid)) * STEP_S / HOUR_S
        hours = hours - hours[-1] + night.after_h(night.ends_s)
        service_c = said.service_low_c if said is not None else math.nan
        evening = self.evening(sensor, night, night.ends_s, service_c)
        held = self._held(sensor, night, grid)
        folded = night_of(evening, hours, grid, held=held)
        if folded is not None:
            known = replace(known, memory=known.memory.fold(folded))
            if said is not None:
                known = replace(known, scores=(*known.scores, scored(said, folded.low_c))[-KEPT_SCORES:])
        if self._ground.settings.sensors[sensor].place is Place.BENCH:
            known = replace(known, response=self._fitted(sensor, night, known.response))
        self._keep(sensor, replace(known, folded=night.date))

    def _held(self, sensor: str, night: NightTimes, grid: Floats) -> bool:
        """Whether a heater kept the low of a bench up, so that it says only how cold it was not."""
        settings = self._ground.settings.sensors[sensor]
        setpoint_c = self.setpoint_c(settings.house, night.ends_s)
        if setpoint_c is None or settings.place is not Place.BENCH:
            return False
        found = heated_night(setpoint_c, grid, np.full(len(grid), np.nan))
        return found is not None and found.outcome != "idle"

    def _fitted(self, sensor: str, night: NightTimes, response: HouseResponse) -> HouseResponse:
        """The response with this night, where it shows one."""
        outdoor = self.outdoor_of(sensor)
        if outdoor is None:
            return response
        from_s = night.sunset_s + SETTLED_AFTER_SUNSET_S
        inside = self._air.grid(sensor, from_s, night.sunrise_s)
        outside = self._air.grid(outdoor, from_s, night.sunrise_s)
        heated = self.setpoint_c(self._ground.settings.sensors[sensor].house, night.ends_s) is not None
        fit = fit_night(inside, outside, step_s=STEP_S, heated=heated)
        return response if fit is None else response.learn(fit)

    def _fold_heater(self, house: str, night: NightTimes) -> None:
        """One night of one heater, by the coldest bench that was known."""
        setpoint_c = self.setpoint_c(house, night.ends_s)
        if setpoint_c is None:
            return
        found = []
        for sensor, settings in self._ground.settings.sensors.items():
            if settings.house != house or settings.place is not Place.BENCH:
                continue
            inside = self._air.grid(sensor, night.evening_s, night.sunrise_s)
            outdoor = self.outdoor_of(sensor)
            outside = (
                self._air.grid(outdoor, night.evening_s, night.sunrise_s)
                if outdoor is not None
                else np.full(len(inside), np.nan)
            )
            heated = heated_night(setpoint_c, inside, outside)
            found += [heated] if heated is not None else []
        if found:
            self._heaters[house] = self.heater(house).fold(min(found, key=lambda night: night.low_c))
            self._changed.add(f"{HEATERS}/{house}")

    def _keep(self, sensor: str, known: Learnt) -> None:
        self._places[sensor] = known
        self._changed.add(f"{LEARNED}/{sensor}")


def usual_fall_c(nights: tuple[Night, ...], evening_c: float) -> float:
    """This evening less the mean fall of all nights that are known, heated ones too; NaN before there are
    any."""
    falls = [night.evening.temperature_c - night.low_c for night in nights]
    return evening_c - sum(falls) / len(falls) if falls else math.nan
