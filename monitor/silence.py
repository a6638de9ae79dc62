"""No data is never "fine": sensors that fall silent, a lost broker, and the time the program itself was off.

A lost link stands for the silence of all sensors behind it; when it ends, or the program starts, they have
their usual time of grace. It finds assessments; the board and the desk do the rest.
"""

from collections.abc import Callable, Iterable, Mapping
from collections.abc import Set as AbstractSet

from monitor.conditions import Surroundings
from monitor.guarding import Guarding
from monitor.model import Assessment, Judgement, Place, Priority
from monitor.science.sun import solar_elevation
from monitor.settings import Settings
from monitor.timers import Timers

OFF_COUNTS_FROM_S = 600.0
NEAR_HARM_K = 8.0
"""A house rarely loses more in the hours until somebody looks."""
STANDING_LOOKS_EVERY_S = 1800.0
ASSUMED_COOLING_K_PER_H = 1.5
"""For the time nobody watched, while the house's own cooling is not known; judgement."""
ASSUMED_COOLING_MAX_K = 12.0


class Silence:
    """Deadlines of the sensors, the state of the link, and what was not seen."""

    def __init__(
        self,
        settings: Settings,
        fresh_at_s: Mapping[str, float],
        surroundings: Surroundings,
        guarding: Guarding,
        timers: Timers,
        resting: AbstractSet[str] = frozenset(),
    ) -> None:
        """`resting` are the sensors out of service now: nothing is expected of them."""
        self.resting = resting
        self.own_fall_k: Callable[[str, float, float], float | None] = lambda sensor, hours, now_s: None
        """(sensor, hours, now) -> how far the air there fell in so long at most [K]; None: not known."""
        self._settings = settings
        self._silent_after_s = {name: sensor.silent_after_s for name, sensor in settings.sensors.items()}
        self._fresh_at_s = fresh_at_s
        self._surroundings = surroundings
        self._guarding = guarding
        self._timers = timers
        self._silent: set[str] = set()
        self._looked_at_s: dict[str, float] = {}
        self._back_at_s: dict[str, float] = {}
        self.link_down_at_s: float | None = None
        self.link_detail = ""
        self._grace_from_s = 0.0
        self._link_stands = False
        """Whether the lost link was said: only then, or when somebody was heard, is there grace again."""

    def load(
        self, silent: set[str], link_down_at_s: float | None, grace_from_s: float, link_stands: bool
    ) -> None:
        """Take over what was known before a restart."""
        self._silent = silent
        self.link_down_at_s = link_down_at_s
        self._link_stands = link_stands
        self._grace_from_s = grace_from_s

    @property
    def grace_from_s(self) -> float:
        """From when on the sensors' deadlines count: the last start or the last time the link came up."""
        return self._grace_from_s

    @property
    def silent(self) -> AbstractSet[str]:
        """Sensors whose deadline has passed."""
        return self._silent

    def start(self, now_s: float) -> None:
        """Every sensor has its time of grace from now."""
        self._grace_from_s = now_s
        self._looked_at_s.clear()
        self._set_deadlines()

    def _set_deadlines(self) -> None:
        """One timer for all sensors: the deadline that comes first."""
        self._set_timer(map(self._next_look_s, self._silent_after_s))

    def _set_timer(self, looks_s: Iterable[float]) -> None:
        first_s = min(looks_s, default=float("inf"))
        self._timers.set("silent", first_s if first_s < float("inf") else None)

    def _next_look_s(self, sensor: str) -> float:
        """When to look at a sensor: its deadline, or now and then while it stays silent."""
        if sensor in self.resting:
            return float("inf")
        return max(self._deadline_s(sensor), self._looked_at_s.get(sensor, 0.0) + STANDING_LOOKS_EVERY_S)

    def _deadline_s(self, sensor: str) -> float:
        grace_s = max(self._grace_from_s, self._back_at_s.get(sensor, 0.0))
        last_s = max(self._fresh_at_s.get(sensor, 0.0), grace_s)
        return last_s + self._silent_after_s[sensor]

    def left(self, sensor: str) -> None:
        """A sensor was taken out of service."""
        self._silent.discard(sensor)
        self._looked_at_s.pop(sensor, None)
        self._set_deadlines()

    def back(self, sensor: str, now_s: float) -> None:
        """A sensor is in service again: it has its time of grace from now."""
        self._back_at_s[sensor] = now_s
        self._set_deadlines()

    def heard(self, sensor: str, now_s: float) -> Assessment | None:
        """A present reading has come: the end of a silence, if there was one."""
        if sensor not in self._silent:
            return None
        self._silent.discard(sensor)
        self._looked_at_s.pop(sensor, None)
        self._set_deadlines()
        return Assessment("sensor-silent", sensor, now_s, Judgement.NORMAL, returned=True)

    def link_up(self, now_s: float) -> Assessment | None:
        """The broker answers again."""
        if self.link_down_at_s is None:
            return None
        self.link_down_at_s = None
        heard = any(at_s > self._grace_from_s for at_s in self._fresh_at_s.values())
        if heard or self._link_stands:
            self.start(now_s)
        self._link_stands = False
        return Assessment("broker-lost", "site", now_s, Judgement.NORMAL, returned=True)

    def link_down(self, now_s: float, detail: str) -> None:
        """The broker is gone; that counts only when the first sensor would have been missed."""
        if self.link_down_at_s is None:
            self.link_down_at_s = now_s
        self.link_detail = detail

    def fire(self, now_s: float) -> list[Assessment]:
        """The first deadline has come: silence of whoever was not heard, or a lost link standing for it."""
        looks = {name: self._next_look_s(name) for name in self._silent_after_s}
        passed = [name for name, look_s in looks.items() if look_s <= now_s]
        if not passed:
            self._set_timer(looks.values())
            return []
        found = [self._passed(name, now_s) for name in self._with_neighbours(passed)]
        self._set_deadlines()
        return found

    def _with_neighbours(self, passed: list[str]) -> list[str]:
        """Who is silent already in the same houses, too: it was milder while another of them reported."""
        if self.link_down_at_s is not None:
            return passed
        houses = {self._settings.sensors[name].house for name in passed}
        beside = [name for name in self._settings.sensors if name in self._silent and name not in passed]
        return [*passed, *(name for name in beside if self._settings.sensors[name].house in houses)]

    def _passed(self, sensor: str, now_s: float) -> Assessment:
        self._looked_at_s[sensor] = now_s
        if self.link_down_at_s is not None and sensor not in self._silent:
            self._link_stands = True
            return self._assessment("broker-lost", "site", now_s, self.link_priority(now_s))
        self._silent.add(sensor)
        return self._assessment("sensor-silent", sensor, now_s, self.priority(sensor, now_s))

    @staticmethod
    def _assessment(kind: str, subject: str, now_s: float, priority: Priority) -> Assessment:
        return Assessment(kind, subject, now_s, Judgement.BREACH, priority, quality="missing", immediate=True)

    # ---- priority follows what the sensor guards and the hour ----------------------------------------------

    def link_priority(self, now_s: float) -> Priority:
        """The highest that any sensor's own silence would have."""
        expected = [sensor for sensor in self._settings.sensors if sensor not in self.resting]
        found = [self.priority(sensor, now_s, alone=True) for sensor in expected]
        return max(found, key=lambda p: p.rank, default=Priority.MEDIUM)

    def priority(self, sensor: str, now_s: float, alone: bool = False) -> Priority:
        """High on a night that could do harm, medium while a tree depends on it, else low.

        Another bench sensor of the house that still reports keeps it at medium (not when `alone`).
        """
        house = self._settings.sensors[sensor].house
        trees = self._guarding.at_sensor(sensor)
        harms = [tree.limits["low_harm_c"] for tree in trees if "low_harm_c" in tree.limits]
        if not trees:
            return Priority.LOW
        if not harms or not self._is_night(now_s):
            return Priority.MEDIUM
        if not alone and self._neighbour_reports(sensor, house, now_s):
            return Priority.MEDIUM
        reading = self._surroundings.latest(sensor)
        if reading is not None and reading.value - max(harms) > NEAR_HARM_K:
            return Priority.MEDIUM
        return Priority.HIGH

    def _neighbour_reports(self, sensor: str, house: str, now_s: float) -> bool:
        return any(
            other.house == house and other.place is Place.BENCH and self._surroundings.is_fresh(name, now_s)
            for name, other in self._settings.sensors.items()
            if name != sensor and name not in self.resting and self._deadline_s(name) > now_s
        )

    def _is_night(self, now_s: float) -> bool:
        """From an hour before sunset to an hour after sunrise, nearly enough: the sun below 8 degrees."""
        site = self._settings.site
        return solar_elevation(now_s, site.latitude_deg, site.longitude_deg) < 8.0

    # ---- the time the program was off ----------------------------------------------------------------------

    def was_off(self, from_s: float, now_s: float) -> Assessment | None:
        """At a start: high where a tree could have come below its warning limit meanwhile."""
        if now_s - from_s <= OFF_COUNTS_FROM_S:
            return None
        high = any(self._could_have_frozen(sensor, from_s, now_s) for sensor in self._settings.sensors)
        return self._assessment("was-off", "site", now_s, Priority.HIGH if high else Priority.MEDIUM)

    def _could_have_frozen(self, sensor: str, from_s: float, to_s: float) -> bool:
        trees = self._guarding.at_sensor(sensor)
        warns = [tree.limits["low_warn_c"] for tree in trees if "low_warn_c" in tree.limits]
        reading = self._surroundings.latest(sensor)
        if not warns or reading is None:
            return False
        steps = max(1, int((to_s - from_s) // 1800.0))
        dark = sum(self._is_night(from_s + (i + 0.5) * (to_s - from_s) / steps) for i in range(steps))
        dark_h = dark / steps * (to_s - from_s) / 3600.0
        own_k = self.own_fall_k(sensor, dark_h, to_s) if dark_h > 0 else 0.0
        lost_k = min(ASSUMED_COOLING_K_PER_H * dark_h, ASSUMED_COOLING_MAX_K) if own_k is None else own_k
        return reading.value - lost_k <= max(warns)
