"""Are vents or the door still open before a cold night? From two hours before sunset.

A shut house follows the air outside through its pots and water, and the low sun still lifts it; one that
stands open is dragged along at once. Told by what the air makes for, by the house's own response, and by how
little it stands above the air outside. Only where that response is known with both its lags: without the
fast one a slow house in weak sun looks the same.
"""

import math
from collections.abc import Iterable
from typing import Final, NamedTuple

import numpy as np

from monitor.model import Assessment, Judgement, Place, Priority
from monitor.notices import night_words
from monitor.notices.words import Reason
from monitor.science.house_ahead import makes_for
from monitor.science.sun import solar_elevation
from monitor.watch import Ground
from monitor.watches.ahead import HOUSE_FROM_NIGHTS, PAST_S
from monitor.watches.evening import HOUR_S, STEP_S, Air, Nights, NightTimes
from monitor.watches.learnt import Learning
from monitor.watches.plain import PlainWatch, over, unknown

KIND: Final = "vents-open"
FROM_BEFORE_SUNSET_S: Final = 2 * HOUR_S
RISES_UNTIL_AFTER_SUNSET_S: Final = 2 * HOUR_S
LOOKS: Final = 3
"""A door opened for a moment is shut again by then; shut vents must be seen as often."""
GAP_K: Final = -0.3
GAP_PER_SUN_K: Final = 6.0
LIFT_K: Final = 1.5
LIFT_PER_SUN_K: Final = 3.0
"""In the dark, and for each unit of the sine of the sun's height: a shut house is hardly ever below that."""
SHUT_ABOVE_K: Final = 1.0
"""So much further above, it has been shut."""
PAST_NIGHTS: Final = 10
LEAST_NIGHTS: Final = 3
ASSUMED_FALL_K: Final = 8.0
"""From the afternoon to the low, before nights are known; judgement."""
CAUTIOUS: Final = 0.7
"""The fall that seven nights in ten stay under."""


class Seen(NamedTuple):
    """One house's last look."""

    inside_c: float
    outside_c: float
    low_c: float
    tree: str
    warn_c: float
    by_s: float


class VentsWatch(PlainWatch):
    """Every house with a bench and a sensor outside."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground, nights: Nights, air: Air, learning: Learning) -> None:
        self._ground = ground
        self._nights = nights
        self._air = air
        self._learning = learning
        self._counts: dict[str, int] = {}
        self._shut: dict[str, int] = {}
        self._seen: dict[str, Seen] = {}

    def look(self, now_s: float) -> Iterable[Assessment]:
        """Each house in the two hours before sunset and after; what stands until it is shut."""
        night = self._nights.of(now_s)
        before = night.sunset_s - FROM_BEFORE_SUNSET_S <= now_s
        found: list[Assessment] = []
        for house in self._ground.settings.houses:
            row = self._ground.board.by_name(f"{KIND}/{house}")
            stands = row is not None and row.active
            if stands and not (before and now_s <= night.ends_s):
                found.append(over(KIND, house, now_s))
            elif stands or (before and now_s <= night.sunset_s + RISES_UNTIL_AFTER_SUNSET_S):
                found += self._judged(house, night, now_s, stands)
        return found

    def _judged(self, house: str, night: NightTimes, now_s: float, stands: bool) -> list[Assessment]:
        sensor = self._bench(house, now_s)
        above_k = math.nan if sensor is None else self._above_shut_k(sensor, now_s)
        if sensor is None or math.isnan(above_k):
            self._counts.pop(house, None)
            return [unknown(KIND, house, now_s)] if stands else []
        self._shut[house] = self._shut.get(house, 0) + 1 if above_k > SHUT_ABOVE_K else 0
        if above_k > 0.0:
            self._counts.pop(house, None)
            return [over(KIND, house, now_s)] if stands and self._shut[house] >= LOOKS else []
        self._counts[house] = self._counts.get(house, 0) + 1
        if stands or self._counts[house] < LOOKS:
            return []
        seen = self._threatened(house, sensor, night, now_s)
        if seen is None:
            return []
        self._seen[house] = seen
        low_c = round(seen.low_c, 2)
        return [
            Assessment(
                KIND, house, now_s, Judgement.BREACH, Priority.MEDIUM, low_c, seen.warn_c, immediate=True
            )
        ]

    def _bench(self, house: str, now_s: float) -> str | None:
        """The first bench that can be trusted, whose house's response is known."""
        for name, sensor in self._ground.settings.sensors.items():
            response = self._learning.of(name).response
            known = len(response.nights) >= HOUSE_FROM_NIGHTS and response.kind == "two-state"
            bench = sensor.house == house and sensor.place is Place.BENCH
            if bench and known and self._air.is_trusted(name, now_s):
                return name
        return None

    def _above_shut_k(self, sensor: str, now_s: float) -> float:
        """How far the house is from looking open: not above zero means open; NaN for nobody knows [K]."""
        outdoor = self._learning.outdoor_of(sensor)
        if outdoor is None or not self._air.is_trusted(outdoor, now_s):
            return math.nan
        outside, inside = self._ground.surroundings.latest(outdoor), self._ground.surroundings.latest(sensor)
        if outside is None or inside is None:
            return math.nan
        site = self._ground.settings.site
        label_s = now_s + self._ground.speech().offset_s
        elevation_deg = solar_elevation(label_s, site.latitude_deg, site.longitude_deg)
        sun = max(math.sin(math.radians(elevation_deg)), 0.0)
        lift_k = inside.value - outside.value - (LIFT_K + LIFT_PER_SUN_K * sun)
        if lift_k > SHUT_ABOVE_K:
            return lift_k
        response = self._learning.of(sensor).response
        goal = makes_for(response, self._air.grid(sensor, now_s - PAST_S, now_s), step_s=STEP_S)
        if goal is None:
            return math.nan
        gap_k = goal.p50 - outside.value - response.offset_k - (GAP_K + GAP_PER_SUN_K * sun)
        return max(gap_k, lift_k)

    # ---- whether it matters --------------------------------------------------------------------------------

    def _threatened(self, house: str, sensor: str, night: NightTimes, now_s: float) -> Seen | None:
        """The tenderest tree, where tonight's low is expected under its warning limit."""
        warns = [
            (guarded.limits["low_warn_c"], guarded.tree.name)
            for guarded in self._ground.guarding.in_house(house)
            if "low_warn_c" in guarded.limits
        ]
        outdoor = self._learning.outdoor_of(sensor)
        if not warns or outdoor is None:
            return None
        warn_c, tree = max(warns)
        inside_c, outside_c = self._air.value(sensor, now_s), self._air.value(outdoor, now_s)
        low_c = inside_c - self._usual_fall_k(sensor, night, now_s)
        if not low_c < warn_c:
            return None
        return Seen(inside_c, outside_c, low_c, tree, warn_c, max(night.sunset_s, now_s + HOUR_S / 2))

    def _usual_fall_k(self, sensor: str, night: NightTimes, now_s: float) -> float:
        """From this hour of the day to the night's low, on most of the last nights [K]."""
        falls = []
        for back in range(1, PAST_NIGHTS + 1):
            past = self._nights.of(now_s, back)
            then_c = self._air.value(sensor, past.sunset_s + now_s - night.sunset_s)
            low = self._air.grid(sensor, past.evening_s, past.ends_s)
            if math.isfinite(then_c) and np.isfinite(low).any():
                falls.append(then_c - float(np.nanmin(low)))
        return float(np.quantile(falls, CAUTIOUS)) if len(falls) >= LEAST_NIGHTS else ASSUMED_FALL_K

    def reason(self, kind: str, subject: str) -> Reason:
        """Inside, outside, what tonight brings, until when."""
        del kind
        seen = self._seen.get(subject)
        if seen is None:
            return Reason(
                "vents or door seem to be open", "the house loses its warmth", "Shut vents and door."
            )
        return night_words.vents_open(self._ground.speech(), *seen)
