"""Where a place is going: tonight's low as a distribution, and the possible courses of the coming hours.

Puts what was learnt and the present readings together; a house follows the air outside, its heater is taken
to hold with some chance. It decides nothing: watches draw the conclusions.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from monitor.model import Place
from monitor.science.distribution import Distribution
from monitor.science.house_ahead import Courses, Crossing, Heat, Outlook, courses
from monitor.science.night_low import NightForecast, forecast_low, refresh_low, with_heater
from monitor.science.night_memory import LEARNT_FROM
from monitor.science.night_methods import Evening
from monitor.watch import LOOKS_EVERY_S, Ground
from monitor.watches.evening import HOUR_S, STEP_S, Air, Floats, Nights, NightTimes
from monitor.watches.heated import HeaterMemory
from monitor.watches.learnt import SERVICE_VALID_S, Learning, Learnt

PAST_S: Final = 6 * HOUR_S
HOUSE_FROM_NIGHTS: Final = 5
"""Fits before a house's own response says more than its nights."""
OUTSIDE_FROM_NIGHTS: Final = 10
WHILE_FAILING: Final = 0.05
"""Chance that a heater holds while it is seen not to."""
FLOOR_SPREADS: Final = 2.0
"""The air of a heated house that is further below its usual low than this is not being held."""
DISTURBED_K: Final = 3.0
"""Two ways of seeing the night that are further apart than this: the moment is no guide."""
FORESEEN_H: Final = 10.0
LEAST_HORIZON_H: Final = 0.5
LONGEST_HORIZON_H: Final = 16.0
MOST_CROSSINGS: Final = 64
"""So many answers are remembered."""


@dataclass(frozen=True, slots=True)
class Tonight:
    """The coming low at one sensor.

    `free`: without the heater, None in a house that has none; `holds_c`, `chance_holds`: what the heater was
    taken to do. Instants in guard time.
    """

    sensor: str
    night: NightTimes
    evening: Evening
    method: str
    nights_learned: int
    low_c: Distribution
    low_at_s: float
    free: Distribution | None = None
    holds_c: float = math.nan
    chance_holds: float = 1.0

    def still_below(self, limit_c: float) -> float:
        """The chance that it still comes down to a limit: a low that is over has rung, or harmed nothing."""
        return self.low_c._replace(ceiling=math.inf).chance_below(limit_c)


class Ahead:
    """Forecasts of every place; the last ones are kept until something new was heard."""

    def __init__(
        self,
        ground: Ground,
        nights: Nights,
        air: Air,
        learning: Learning,
        service_low_c: Callable[[str, float], float],
    ) -> None:
        self._ground = ground
        self._nights = nights
        self._air = air
        self._learning = learning
        self._service_low_c = service_low_c
        self._evenings: dict[str, tuple[str, Evening]] = {}
        self._tonight: dict[str, tuple[float, Tonight | None]] = {}
        self._courses: dict[tuple[str, Heat], tuple[float, float, Courses | None]] = {}
        self._expected: dict[str, tuple[Courses, float, float, Courses]] = {}
        self._floors: dict[str, tuple[HeaterMemory, float, float]] = {}
        """Of each house: what was learnt of its heater, its floor above the setting [K], and its chance."""
        self._crossings: dict[tuple[int, float], tuple[Courses, Crossing]] = {}
        self._reaches: dict[tuple[str, float, bool], tuple[int, float, Crossing | None]] = {}
        ground.surroundings.foresees = self.reaches_at_s

    # ---- tonight -------------------------------------------------------------------------------------------

    def tonight(self, sensor: str, now_s: float) -> Tonight | None:
        """The night's low as seen now; None by day, or where the place is not known."""
        known = self._tonight.get(sensor)
        if known is not None and known[0] == now_s:
            return known[1]
        night = self._nights.of(now_s)
        found = self._foretold(sensor, night, now_s) if night.evening_s <= now_s < night.ends_s else None
        self._tonight[sensor] = (now_s, found)
        return found

    def _foretold(self, sensor: str, night: NightTimes, now_s: float) -> Tonight | None:
        learnt = self._learning.of(sensor)
        evening = self._evening(sensor, night, now_s)
        if not math.isfinite(evening.temperature_c) or not self._air.is_trusted(sensor, now_s):
            return None
        forecast = self._by_nights(sensor, learnt, evening, night, now_s)
        plain = Tonight(
            sensor,
            night,
            evening,
            forecast.method,
            forecast.nights_learned,
            forecast.low_c,
            night.evening_s + forecast.low_after_h * HOUR_S,
        )
        if self._ground.settings.sensors[sensor].place is not Place.BENCH:
            return plain
        return self._heated(self._by_house(plain, learnt, now_s), now_s)

    def _by_nights(
        self, sensor: str, learnt: Learnt, evening: Evening, night: NightTimes, now_s: float
    ) -> NightForecast:
        """By this place's own nights alone."""
        grid = self._air.grid(sensor, night.evening_s, now_s)
        if len(grid) < 2:
            return forecast_low(learnt.memory, evening)
        hours = night.after_h(now_s - STEP_S * np.arange(len(grid) - 1, -1, -1))
        return refresh_low(learnt.memory, evening, hours, grid)

    def _evening(self, sensor: str, night: NightTimes, now_s: float) -> Evening:
        """This evening, kept once its temperature is known."""
        known = self._evenings.get(sensor)
        if known is not None and known[0] == night.date:
            return known[1]
        house = self._ground.settings.sensors[sensor].house
        service_c = self._service_low_c(house, night.evening_s - SERVICE_VALID_S)
        evening = self._learning.evening(sensor, night, now_s, service_c)
        if math.isfinite(evening.temperature_c):
            self._evenings[sensor] = (night.date, evening)
        return evening

    def _by_house(self, plain: Tonight, learnt: Learnt, now_s: float) -> Tonight:
        """By the house's own response under the coming air outside, as far as both are known.

        At the evening the house alone speaks, towards the morning more and more its nights.
        """
        outdoor = self._learning.outdoor_of(plain.sensor)
        outside = self.tonight(outdoor, now_s) if outdoor is not None else None
        enough = (
            outside is not None
            and outside.nights_learned >= OUTSIDE_FROM_NIGHTS
            and len(learnt.response.nights) >= HOUSE_FROM_NIGHTS
        )
        if not enough:
            return plain
        heated = self._setpoint_c(plain.sensor, now_s) is not None
        ahead_h = (plain.night.ends_s - now_s) / HOUR_S
        found = self._coming(plain.sensor, now_s, ahead_h, heated)
        if found is None:
            return plain
        part = plain.night.after_h(now_s) / plain.evening.whole_h
        weight = 1.0 if heated else min(max(1.0 - part, 0.0), 1.0)
        low_c = _mixed(found.lowest(), plain.low_c, weight)
        return Tonight(
            plain.sensor,
            plain.night,
            plain.evening,
            "house",
            plain.nights_learned,
            low_c,
            min(_low_at_s(found, now_s, plain.low_at_s), max(plain.night.sunrise_s, now_s)),
        )

    def _coming(self, sensor: str, now_s: float, ahead_h: float, heated: bool) -> Courses | None:
        """The rest of the night without a heater, or with one that is seen to give less than it should.

        What moves the air just now goes on, unless that is far from what the air outside explains: then a
        door or vent was at work a moment ago.
        """
        alone = self.courses(sensor, now_s, "none", ahead_h)
        if heated and not self._is_failing(self._ground.settings.sensors[sensor].house):
            return alone
        as_now = self.courses(sensor, now_s, "as-now", ahead_h)
        if heated or alone is None or as_now is None:
            return as_now
        apart_k = abs(as_now.lowest().p50 - alone.lowest().p50)
        return as_now if apart_k <= DISTURBED_K else alone

    def _heated(self, free: Tonight, now_s: float) -> Tonight:
        """With the heater, where there is one: it holds with some chance, and no more than its power.

        A night that it held says nothing of the house alone, but all of what the heater lets it come to.
        """
        house = self._ground.settings.sensors[free.sensor].house
        setpoint_c = self._setpoint_c(free.sensor, now_s)
        if setpoint_c is None:
            return free
        heater = self._learning.heater(house)
        holds_c, spread_k = setpoint_c + heater.holds_k, heater.spread_k
        outdoor = self._learning.outdoor_of(free.sensor)
        outside = self.tonight(outdoor, now_s) if outdoor is not None else None
        if outside is not None and outside.low_c.p50 + heater.lift_full_k < holds_c:
            holds_c = outside.low_c.p50 + heater.lift_full_k
            spread_k = max(spread_k, (outside.low_c.p90 - outside.low_c.p10) / 2.56)
        chance = heater.chance_holds
        if self._is_failing(house):
            chance = min(chance, WHILE_FAILING)
        low_c = with_heater(free.low_c, holds_c=holds_c, spread_k=min(spread_k, 20.0), chance_holds=chance)
        nights = free.nights_learned + heater.held_count
        learning = free.method == "learning" and nights < LEARNT_FROM
        return Tonight(
            free.sensor,
            free.night,
            free.evening,
            "heater" if free.method == "learning" and not learning else free.method,
            nights,
            low_c,
            free.low_at_s,
            free.low_c,
            holds_c,
            chance,
        )

    def _is_failing(self, house: str) -> bool:
        """Whether the heater is seen not to hold now."""
        row = self._ground.board.by_name(f"heater-not-holding/{house}")
        return row is not None and row.active

    def _setpoint_c(self, sensor: str, now_s: float) -> float | None:
        return self._learning.setpoint_c(self._ground.settings.sensors[sensor].house, now_s)

    # ---- the coming hours ----------------------------------------------------------------------------------

    def courses(self, sensor: str, now_s: float, heat: Heat, horizon_h: float) -> Courses | None:
        """Possible courses of a bench's air from now; None where the last readings cannot be trusted."""
        horizon_h = min(max(horizon_h, LEAST_HORIZON_H), LONGEST_HORIZON_H)
        known = self._courses.get((sensor, heat))
        if known is not None and known[0] == now_s and known[1] >= horizon_h:
            return known[2]
        found = self._followed(sensor, now_s, heat, horizon_h)
        self._courses[(sensor, heat)] = (now_s, horizon_h, found)
        return found

    def expected(self, sensor: str, now_s: float, horizon_h: float) -> Courses | None:
        """Courses as things are, where a heater that has shown no weakness will come on again."""
        found = self.courses(sensor, now_s, "as-now", horizon_h)
        floor_c, chance = self.heated_floor(sensor, now_s)
        if found is None or math.isnan(floor_c) or float(found.air_c[0, 0]) < floor_c:
            return found
        known = self._expected.get(sensor)
        if known is None or known[0] is not found or known[1:3] != (floor_c, chance):
            known = self._expected[sensor] = (found, floor_c, chance, found.held(floor_c, chance))
        return known[3]

    def crossing(self, courses: Courses, limit_c: float) -> Crossing:
        """When courses come down to a limit; trees with the same one that stand together share the answer."""
        key = (id(courses), limit_c)
        known = self._crossings.get(key)
        if known is None or known[0] is not courses:
            if len(self._crossings) >= MOST_CROSSINGS:
                self._crossings.clear()
            known = self._crossings[key] = (courses, courses.reaches(limit_c))
        return known[1]

    def heated_floor(self, sensor: str, now_s: float) -> tuple[float, float]:
        """How low a working heater lets the air come [°C], NaN without one; the chance that it works."""
        house = self._ground.settings.sensors[sensor].house
        setpoint_c = self._setpoint_c(sensor, now_s)
        if setpoint_c is None or self._is_failing(house):
            return math.nan, 0.0
        heater = self._learning.heater(house)
        known = self._floors.get(house)
        if known is None or known[0] is not heater:
            floor_k = heater.holds_k - FLOOR_SPREADS * heater.spread_k
            known = self._floors[house] = (heater, floor_k, heater.chance_holds)
        return setpoint_c + known[1], known[2]

    def reaches_at_s(self, sensor: str, limit_c: float, now_s: float, chance: float) -> float | None:
        """When a bench comes down to a limit with a chance; infinite for not in the coming hours, None where
        nobody can say. Looked at anew every five minutes."""
        settings = self._ground.settings.sensors.get(sensor)
        if settings is None or settings.place is not Place.BENCH:
            return None
        key = (sensor, limit_c, self._ground.surroundings.for_show)
        slot = math.floor(now_s / LOOKS_EVERY_S)
        known = self._reaches.get(key)
        if known is None or known[0] != slot:
            found = self.expected(sensor, now_s, FORESEEN_H)
            known = (slot, now_s, None if found is None else self.crossing(found, limit_c))
            self._reaches[key] = known
        _, at_s, crossing = known
        return None if crossing is None else at_s + crossing.quantile(chance) * HOUR_S

    def _followed(self, sensor: str, now_s: float, heat: Heat, horizon_h: float) -> Courses | None:
        if not self._air.is_trusted(sensor, now_s):
            return None
        inside = self._air.grid(sensor, now_s - PAST_S, now_s)
        outdoor = self._learning.outdoor_of(sensor)
        outside, outlook = np.full(len(inside), np.nan), None
        if outdoor is not None and self._air.is_trusted(outdoor, now_s):
            outside = self._air.grid(outdoor, now_s - PAST_S, now_s)
            outlook = self._outlook(outdoor, now_s)
        return courses(
            self._learning.of(sensor).response,
            inside,
            outside,
            step_s=STEP_S,
            outlook=outlook,
            heat=heat,
            horizon_h=horizon_h,
        )

    def _outlook(self, outdoor: str, now_s: float) -> Outlook | None:
        """The air outside to come, while it is night."""
        coming = self.tonight(outdoor, now_s)
        if coming is None:
            return None
        since_h = float(coming.night.after_h(now_s))
        low_h = float(coming.night.after_h(coming.low_at_s))
        return Outlook(coming.low_c, since_h, max(low_h, 0.1))


def _low_at_s(found: Courses, now_s: float, so_far_s: float) -> float:
    """When the middle of the courses is coldest; the low so far where they only rise."""
    coldest = int(np.argmin(np.median(found.air_c, axis=0)))
    return now_s + float(found.hours[coldest]) * HOUR_S if coldest > 0 else min(so_far_s, now_s)


def _mixed(one: Distribution, other: Distribution, weight: float) -> Distribution:
    """Level by level between two distributions; both ceilings hold."""
    if weight >= 1.0:
        return one.capped(other.ceiling)
    values = weight * _values(one) + (1 - weight) * _values(other)
    return Distribution(tuple(values.tolist())).capped(min(one.ceiling, other.ceiling))


def _values(distribution: Distribution) -> Floats:
    values: Floats = np.minimum(np.asarray(distribution.values), distribution.ceiling)
    return values
