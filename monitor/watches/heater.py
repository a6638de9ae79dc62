"""Does the heater hold? Against what it usually holds (a CUSUM), and by a plain rule where nothing is learnt.

A heater that is out is told from one that is too small by what the air makes for. By day an open door or
vent cools the house too, so there it must last longer. Nothing is kept here: every look counts anew from the
last readings, so a restart changes nothing.
"""

import math
from collections.abc import Iterable
from typing import Final, NamedTuple

import numpy as np

from monitor.model import Assessment, Judgement, Place, Priority
from monitor.notices import night_words
from monitor.notices.words import Reason
from monitor.science.change import cusum
from monitor.science.house_ahead import makes_for
from monitor.science.sun import solar_elevation
from monitor.watch import Ground
from monitor.watches.ahead import PAST_S, Ahead
from monitor.watches.evening import HOUR_S, STEP_S, Air, Floats, Nights
from monitor.watches.heated import LEARNT_FROM, HeaterMemory
from monitor.watches.learnt import Learning
from monitor.watches.plain import PlainWatch, over, unknown

KIND: Final = "heater-not-holding"
PLAIN_BELOW_K: Final = 1.5
PLAIN_FOR_S: Final = 1200.0
BY_DAY_FOR_S: Final = 2400.0
DARK_BELOW_DEG: Final = 5.0
WINDOW_S: Final = HOUR_S
DECISION: Final = 5.0
DOOR_DECISION: Final = 8.0
"""While people go in and out a third reading must agree: a door is shut again by then."""
ALLOWANCE: Final = 1.0
LARGEST_Z: Final = 4.0
"""One reading alone never decides."""
FALLING_K: Final = 0.1
"""Over the last quarter of an hour; less is not falling."""
BACK_WITHIN_K: Final = 0.3
NEEDED_BELOW_K: Final = 1.0
"""Outside at least so much below the setting, a heater is needed at all."""
SMALL_LIFT_K: Final = 5.0
SMALL_SHARE: Final = 0.5
HARM_CHANCE: Final = 0.3
HARM_AHEAD_H: Final = 14.0


class Seen(NamedTuple):
    """What the coldest bench of a house shows."""

    sensor: str
    air_c: float
    setpoint_c: float
    since_s: float
    lift_k: float
    small: bool
    harms: tuple[tuple[str, float, float], ...] = ()
    """Who comes to harm before the morning: name, limit, instant."""


class HeaterWatch(PlainWatch):
    """Every house whose heater is known."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground, nights: Nights, air: Air, learning: Learning, ahead: Ahead) -> None:
        self._ground = ground
        self._nights = nights
        self._air = air
        self._learning = learning
        self._ahead = ahead
        self._seen: dict[str, Seen] = {}
        self._usual: dict[str, tuple[HeaterMemory, float]] = {}
        """Of each house: what its usual low was worked out from, and how far it is above the setting [K]."""

    def look(self, now_s: float) -> Iterable[Assessment]:
        """Each heater by the coldest bench that can be trusted."""
        return [
            found
            for house in self._ground.settings.houses
            if (setpoint_c := self._learning.setpoint_c(house, now_s)) is not None
            if (found := self._judged(house, setpoint_c, now_s)) is not None
        ]

    def changed(self, now_s: float) -> Iterable[Assessment]:
        """The heater may have been set anew."""
        return self.look(now_s)

    def _judged(self, house: str, setpoint_c: float, now_s: float) -> Assessment | None:
        row = self._ground.board.by_name(f"{KIND}/{house}")
        stands = row is not None and row.active
        sensor = self._coldest(house, now_s)
        if sensor is None:
            return unknown(KIND, house, now_s) if stands else None
        latest = self._ground.surroundings.latest(sensor)
        if not stands and (latest is None or latest.value > self._usual_low_c(house, setpoint_c)):
            return None
        grid = self._air.grid(sensor, now_s - WINDOW_S, now_s)
        known = grid[np.isfinite(grid)]
        if len(known) < 3 or not math.isfinite(grid[-1]):
            return unknown(KIND, house, now_s) if stands else None
        air_c = round(float(grid[-1]), 2)
        if stands:
            if self._is_back(house, setpoint_c, grid):
                return over(KIND, house, now_s, air_c)
        elif not self._fails(house, sensor, setpoint_c, grid, now_s):
            return None
        self._look_closer(house, sensor, setpoint_c, grid, now_s)
        priority = self._priority(house, now_s)
        return Assessment(KIND, house, now_s, Judgement.BREACH, priority, air_c, setpoint_c, immediate=True)

    def _usual_low_c(self, house: str, setpoint_c: float) -> float:
        """Above this neither rule can find anything."""
        heater = self._learning.heater(house)
        known = self._usual.get(house)
        if known is None or known[0] is not heater:
            learnt = heater.held_count >= LEARNT_FROM
            known = heater, max(heater.holds_k, -PLAIN_BELOW_K) if learnt else -PLAIN_BELOW_K
            self._usual[house] = known
        return setpoint_c + known[1]

    def _coldest(self, house: str, now_s: float) -> str | None:
        benches = [
            (latest.value, name)
            for name, sensor in self._ground.settings.sensors.items()
            if sensor.house == house and sensor.place is Place.BENCH
            if self._air.is_trusted(name, now_s)
            if (latest := self._ground.surroundings.latest(name)) is not None
        ]
        return min(benches)[1] if benches else None

    # ---- the two rules -------------------------------------------------------------------------------------

    def _fails(self, house: str, sensor: str, setpoint_c: float, grid: Floats, now_s: float) -> bool:
        if not _falls(grid) or not self._is_needed(sensor, setpoint_c, now_s):
            return False
        by_day = self._is_day(now_s)
        for_s = BY_DAY_FOR_S if by_day else PLAIN_FOR_S
        last = grid[-round(for_s / STEP_S) - 1 :]
        if np.isfinite(last).all() and bool((last <= setpoint_c - PLAIN_BELOW_K).all()):
            return True
        return not by_day and self._unusual(house, sensor, setpoint_c, now_s)

    def _unusual(self, house: str, sensor: str, setpoint_c: float, now_s: float) -> bool:
        """Whether the last hour goes below what this heater lets the air come to of a night.

        By the readings themselves, five minutes of them as one: what a grid puts between or after them would
        count one reading twice.
        """
        heater = self._learning.heater(house)
        if heater.held_count < LEARNT_FROM:
            return False
        usual_c = setpoint_c + heater.holds_k
        heard_c = self._air.heard(sensor, now_s - WINDOW_S, now_s)
        z = np.clip((usual_c - heard_c) / heater.spread_k, -LARGEST_Z, LARGEST_Z)
        alone = self._nights.of(now_s).is_small_hours(now_s)
        return len(z) > 0 and bool(cusum(z, ALLOWANCE)[-1] > (DECISION if alone else DOOR_DECISION))

    def _is_back(self, house: str, setpoint_c: float, grid: Floats) -> bool:
        """Back in the band that it usually holds, and not falling."""
        usual_c = setpoint_c + self._learning.heater(house).holds_k
        last = grid[-3:]
        return bool(np.isfinite(last).all() and (last >= usual_c - BACK_WITHIN_K).all() and not _falls(grid))

    def _is_needed(self, sensor: str, setpoint_c: float, now_s: float) -> bool:
        """Whether it is cold enough outside for a heater to be needed; so where nobody knows."""
        outdoor = self._learning.outdoor_of(sensor)
        if outdoor is None or not self._air.is_trusted(outdoor, now_s):
            return True
        latest = self._ground.surroundings.latest(outdoor)
        return latest is None or latest.value <= setpoint_c - NEEDED_BELOW_K

    def _is_day(self, now_s: float) -> bool:
        site = self._ground.settings.site
        return solar_elevation(now_s, site.latitude_deg, site.longitude_deg) > DARK_BELOW_DEG

    # ---- how bad, and why ----------------------------------------------------------------------------------

    def _look_closer(self, house: str, sensor: str, setpoint_c: float, grid: Floats, now_s: float) -> None:
        """Whether it still heats, by what the air makes for above the air outside; and who is next."""
        before = self._seen.get(house)
        row = self._ground.board.by_name(f"{KIND}/{house}")
        known = before is not None and row is not None and row.active
        since_s = before.since_s if known and before is not None else now_s
        lift_k = self._lift_k(sensor, now_s)
        lift_seen_k = self._learning.heater(house).lift_seen_k
        least_k = SMALL_LIFT_K if math.isnan(lift_seen_k) else max(SMALL_LIFT_K, SMALL_SHARE * lift_seen_k)
        harms = tuple(self._harms(house, now_s, 0.5)[:3])
        self._seen[house] = Seen(
            sensor, float(grid[-1]), setpoint_c, since_s, lift_k, lift_k >= least_k, harms
        )

    def _lift_k(self, sensor: str, now_s: float) -> float:
        """What the air makes for less the air outside; NaN where house or air outside are not known."""
        outdoor = self._learning.outdoor_of(sensor)
        response = self._learning.of(sensor).response
        if outdoor is None or response.kind == "unknown" or not self._air.is_trusted(outdoor, now_s):
            return math.nan
        goal = makes_for(response, self._air.grid(sensor, now_s - PAST_S, now_s), step_s=STEP_S)
        return math.nan if goal is None else goal.p50 - self._air.value(outdoor, now_s)

    def _priority(self, house: str, now_s: float) -> Priority:
        """High when harm can be reached tonight; low where no tree of the house asks for a limit, and where a
        heater that is too small does no harm."""
        trees = self._ground.guarding.in_house(house)
        if not any(key in tree.limits for tree in trees for key in ("low_warn_c", "low_harm_c")):
            return Priority.LOW
        if self._harms(house, now_s, HARM_CHANCE):
            return Priority.HIGH
        return Priority.LOW if self._seen[house].small else Priority.MEDIUM

    def _harms(self, house: str, now_s: float, chance: float) -> list[tuple[str, float, float]]:
        """Trees that come to harm before the morning with a chance: name, limit, instant."""
        ends_s = self._nights.of(now_s).ends_s
        ahead_h = (ends_s - now_s) / HOUR_S if ends_s > now_s else HARM_AHEAD_H
        found = []
        for guarded in self._ground.guarding.in_house(house):
            harm_c = guarded.limits.get("low_harm_c")
            courses = self._ahead.courses(guarded.tree.sensor or "", now_s, "as-now", ahead_h)
            if harm_c is None or courses is None:
                continue
            hours = self._ahead.crossing(courses, harm_c).quantile(chance)
            if hours <= ahead_h:
                found.append((guarded.tree.name, harm_c, now_s + hours * HOUR_S))
        return sorted(found, key=lambda item: item[2])

    def reason(self, kind: str, subject: str) -> Reason:
        """Out, or too small; who is next; the fuel first."""
        del kind
        speech = self._ground.speech()
        seen = self._seen.get(subject)
        if seen is None:
            row = self._ground.board.get(KIND, subject)
            return night_words.heater_not_holding(
                speech, row.value, row.limit or 0.0, row.since_at_s or 0.0, ""
            )
        harms = night_words.next_harm(speech, seen.harms)
        latest = self._ground.surroundings.latest(seen.sensor)
        air_c = seen.air_c if latest is None else latest.value
        if seen.small:
            return night_words.heater_too_small(speech, air_c, seen.setpoint_c, seen.lift_k, harms)
        return night_words.heater_not_holding(
            speech, air_c, seen.setpoint_c, seen.since_s, harms, self._fuel_note(subject)
        )

    def _fuel_note(self, house: str) -> str:
        """The last note about this house that speaks of fuel."""
        notes = [note.note for note in self._ground.book().notes if note.subject == house]
        about = [note for note in notes if any(word in note.lower() for word in night_words.FUEL_WORDS)]
        return about[-1] if about else ""


def _falls(grid: Floats) -> bool:
    """Whether the last quarter of an hour goes down."""
    last = grid[-4:]
    known = last[np.isfinite(last)]
    rises = len(known) >= 2 and known[-1] > known[-2] + FALLING_K
    return len(known) >= 2 and not rises and bool(known[0] - known[-1] >= FALLING_K)
