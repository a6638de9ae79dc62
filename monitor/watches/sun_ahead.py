"""Will a sunny day overheat a shut house? From the morning's warming, an hour or more before it does.

By the house's own response, the height of the sun and how warm such mornings have ended before; never while
it is colder outside than the tenderest tree may have. It knows no vents: an open one shows as a sun that does
little.
"""

import math
from collections.abc import Iterable, Mapping
from typing import Any, Final, NamedTuple

import numpy as np

from monitor.model import Assessment, Judgement, Priority, Row
from monitor.notices import night_words
from monitor.notices.words import Reason
from monitor.science.house_ahead import standing
from monitor.science.sun import solar_elevation
from monitor.science.sunlit_house import Course, through_the_day
from monitor.watch import LOOKS_EVERY_S, NOTHING_FOUND, Found, Ground
from monitor.watches.ahead import HOUSE_FROM_NIGHTS, PAST_S
from monitor.watches.evening import DAY_S, HOUR_S, STEP_S, Air, Nights, NightTimes
from monitor.watches.learnt import Learning
from monitor.watches.plain import PlainWatch, over

KIND: Final = "sun-ahead"
LEARNED: Final = "sun-ahead"
FROM_AFTER_SUNRISE_S: Final = 1.25 * HOUR_S
COURSE_STEP_S: Final = 900.0
EVERY_S: Final = 900.0
LOOKS: Final = 2
FAR_K: Final = 18.0
"""So far below the limit a morning cannot come in time for it to be news."""
OUTSIDE_RISES_K: Final = 3.0
"""Usual rise of the air outside from the morning to two hours after noon; judgement."""
OPEN_BEFORE_S: Final = HOUR_S
SHUT_BEFORE_SUNSET_S: Final = 2 * HOUR_S
OVER_BELOW_K: Final = 2.0
KEPT_DAYS: Final = 20
FEWEST_KNOWN: Final = 0.9
CORRECTED_FROM: Final = 3
SUNNY_LIFT_K: Final = 4.0
"""A day whose high was foreseen so much above its morning was a sunny one."""
VENTED_DROP_K: Final = 2.0
VENTED_WITHIN: Final = 4
"""Points of five minutes within which only an opened vent or door drops the air so much in sunshine."""


class Seen(NamedTuple):
    """What one house's morning says."""

    high_c: float
    limit_c: float
    tree: str
    reaches_s: float
    open_s: float
    shut_s: float


class SunAheadWatch(PlainWatch):
    """Every house with a bench whose response is known."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground, nights: Nights, air: Air, learning: Learning) -> None:
        self._ground = ground
        self._nights = nights
        self._air = air
        self._learning = learning
        self._counts: dict[str, int] = {}
        self._seen: dict[str, Seen] = {}
        self._errors_k: dict[str, list[float]] = {}
        """Of each bench: how much warmer its sunny, shut days became than their mornings said."""
        self._foreseen: dict[str, tuple[str, float, float]] = {}
        """Of each bench: the day, its foreseen high without correction, and the air then [°C]."""
        self._is_changed = False

    # ---- memory --------------------------------------------------------------------------------------------

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over how past mornings have ended."""
        state = learned.get(LEARNED, {})
        self._errors_k = {sensor: list(errors) for sensor, errors in state.get("errors_k", {}).items()}
        self._foreseen = {sensor: (d, h, a) for sensor, (d, h, a) in state.get("foreseen", {}).items()}

    def rows(self) -> tuple[Row, ...]:
        """How past mornings have ended, and what this one said."""
        foreseen = {sensor: list(said) for sensor, said in self._foreseen.items()}
        errors = {sensor: list(errors) for sensor, errors in self._errors_k.items()}
        return (Row("learned", LEARNED, {"errors_k": errors, "foreseen": foreseen}),)

    def take(self) -> Found:
        """The row, when it changed."""
        if not self._is_changed:
            return NOTHING_FOUND
        self._is_changed = False
        return Found(rows=self.rows())

    # ---- looking -------------------------------------------------------------------------------------------

    def look(self, now_s: float) -> Iterable[Assessment]:
        """In the morning, until the sun is at its highest; what stands ends when it is hot, or past noon."""
        last, coming = self._nights.of(now_s), self._nights.of(now_s + DAY_S / 2)
        noon_s = (last.sunrise_s + coming.sunset_s) / 2
        morning = last.sunrise_s + FROM_AFTER_SUNRISE_S <= now_s <= noon_s
        if not morning:
            self._learn(now_s)
        found: list[Assessment] = []
        for house in self._ground.settings.houses:
            row = self._ground.board.by_name(f"{KIND}/{house}")
            stands = row is not None and row.active
            if morning and now_s % EVERY_S < LOOKS_EVERY_S:
                found += self._judged(house, coming, now_s, stands)
            elif stands and not morning:
                found.append(over(KIND, house, now_s))
        return found

    def _judged(self, house: str, night: NightTimes, now_s: float, stands: bool) -> list[Assessment]:
        limits = [
            (guarded.limits["high_warn_c"], guarded.tree.name, guarded.tree.sensor or "")
            for guarded in self._ground.guarding.in_house(house)
            if "high_warn_c" in guarded.limits
        ]
        if not limits:
            return []
        limit_c, tree, sensor = min(limits)
        reading = self._ground.surroundings.latest(sensor)
        if reading is None or reading.value < limit_c - FAR_K or not self._may_open(house, sensor, now_s):
            return [over(KIND, house, now_s)] if stands and reading is not None else []
        course = self._course(sensor, night, now_s)
        if course is None:
            return []
        high_c = course.high_c + self._correction_k(sensor)
        step = course.reaches(limit_c - self._correction_k(sensor))
        if step is None:
            self._counts.pop(house, None)
            return [over(KIND, house, now_s)] if stands and high_c < limit_c - OVER_BELOW_K else []
        self._counts[house] = self._counts.get(house, 0) + 1
        if self._counts[house] < LOOKS or stands:
            return []
        reaches_s = now_s + step * COURSE_STEP_S
        shut_s = max(night.sunset_s - SHUT_BEFORE_SUNSET_S, now_s + HOUR_S)
        open_s = max(reaches_s - OPEN_BEFORE_S, now_s)
        self._seen[house] = Seen(high_c, limit_c, tree, reaches_s, open_s, shut_s)
        value_c = round(high_c, 1)
        return [
            Assessment(
                KIND, house, now_s, Judgement.BREACH, Priority.MEDIUM, value_c, limit_c, immediate=True
            )
        ]

    def _may_open(self, house: str, sensor: str, now_s: float) -> bool:
        """Never while it is colder outside than the tenderest tree may have, or where nobody knows."""
        outdoor = self._learning.outdoor_of(sensor)
        if outdoor is None or not self._air.is_trusted(outdoor, now_s):
            return False
        harms = [
            guarded.limits["low_harm_c"]
            for guarded in self._ground.guarding.in_house(house)
            if "low_harm_c" in guarded.limits
        ]
        latest = self._ground.surroundings.latest(outdoor)
        return latest is not None and latest.value > max(harms, default=-math.inf)

    def _course(self, sensor: str, night: NightTimes, now_s: float) -> Course | None:
        """The rest of the day with vents shut; the first of each day is kept to be set against what came."""
        response = self._learning.of(sensor).response
        outdoor = self._learning.outdoor_of(sensor)
        if (
            outdoor is None
            or len(response.nights) < HOUSE_FROM_NIGHTS
            or not self._air.is_trusted(sensor, now_s)
        ):
            return None
        state = standing(response, self._air.grid(sensor, now_s - PAST_S, now_s), step_s=STEP_S)
        outside_c = self._air.value(outdoor, now_s)
        if state is None or math.isnan(outside_c):
            return None
        times_s = np.arange(now_s, night.sunset_s + COURSE_STEP_S, COURSE_STEP_S)
        warmest_s = (self._nights.of(now_s).sunrise_s + night.sunset_s) / 2 + 2 * HOUR_S
        rise = np.clip((times_s - now_s) / max(warmest_s - now_s, HOUR_S), 0.0, 1.0)
        course = through_the_day(
            response,
            state,
            outside_c=outside_c + OUTSIDE_RISES_K * rise,
            sun=self._sun(times_s),
            sun_now=float(self._sun(np.array([now_s - 2 * STEP_S]))[0]),
            step_s=COURSE_STEP_S,
        )
        if course is not None and self._foreseen.get(sensor, ("",))[0] != night.date:
            self._foreseen[sensor] = (night.date, course.high_c, self._air.value(sensor, now_s))
            self._is_changed = True
        return course

    def _sun(self, times_s: Any) -> Any:
        """Sine of the sun's height, 0 when it is down."""
        site = self._ground.settings.site
        label_s = times_s + self._ground.speech().offset_s
        elevation_deg = solar_elevation(label_s, site.latitude_deg, site.longitude_deg)
        return np.maximum(np.sin(np.radians(elevation_deg)), 0.0)

    # ---- how mornings have ended ---------------------------------------------------------------------------

    def _correction_k(self, sensor: str) -> float:
        """How much warmer such days became than their mornings said."""
        errors = self._errors_k.get(sensor, [])
        return float(np.median(errors)) if len(errors) >= CORRECTED_FROM else 0.0

    def _learn(self, now_s: float) -> None:
        """Set what was foreseen against what came, on sunny days on which nothing was opened."""
        night = self._nights.of(now_s)
        if now_s < night.sunset_s:
            return
        for sensor, (day, high_c, then_c) in list(self._foreseen.items()):
            del self._foreseen[sensor]
            self._is_changed = True
            if day != night.date or high_c - then_c < SUNNY_LIFT_K:
                continue
            grid = self._air.grid(sensor, self._nights.of(now_s, 1).sunrise_s, night.sunset_s)
            if np.isfinite(grid).mean() > FEWEST_KNOWN and not _was_vented(grid):
                errors = [*self._errors_k.get(sensor, []), round(float(np.nanmax(grid)) - high_c, 2)]
                self._errors_k[sensor] = errors[-KEPT_DAYS:]

    def reason(self, kind: str, subject: str) -> Reason:
        """How hot, when, what to open by when, and to shut by when."""
        del kind
        seen = self._seen.get(subject)
        if seen is None:
            return Reason("the sun will overheat a shut house", "trees may suffer", "Open the vents in time.")
        return night_words.sun_ahead(self._ground.speech(), *seen)


def _was_vented(grid: Any) -> bool:
    """Whether the air dropped as only an opened vent or door makes it."""
    drops = grid[:-VENTED_WITHIN] - grid[VENTED_WITHIN:]
    return bool((drops >= VENTED_DROP_K).any())
