"""Is harm near? The time until a tree's damage limit by the house's own cooling, with its chance.

Rises while there is still time to walk over: harm within what the person on call needs plus an hour. It must
be seen at two looks (three, while people are about), so that a door opened for a moment does not ring; a
heater's ordinary cycling is told by the band that it usually holds. It yields to the frost itself.
"""

import math
from collections.abc import Iterable
from typing import Final, NamedTuple

from monitor.guarding import GuardedTree
from monitor.model import Assessment, Judgement, Place, Priority
from monitor.notices import calls, night_words, words
from monitor.notices.words import Reason
from monitor.science.house_ahead import Crossing
from monitor.watch import Ground
from monitor.watches.ahead import Ahead
from monitor.watches.evening import HOUR_S, STEP_S, Air, Nights
from monitor.watches.learnt import Learning
from monitor.watches.plain import PlainWatch, over, unknown

KIND: Final = "cooling-fast"
MARGIN_S: Final = HOUR_S
"""Beyond the way to the house: time to find and mend what is wrong."""
SHORT_S: Final = 900.0
"""With less than this beyond the way, it is high."""
RISES_FROM: Final = 0.5
OVER_BELOW: Final = 0.15
LOOKS: Final = 2
DOOR_LOOKS: Final = 3
"""While people go in and out: a door is shut again by then."""
FAR_K: Final = 8.0
"""Further above harm nothing is near."""
HELD_FROM: Final = 1.0 - RISES_FROM + 0.1
"""With this chance that the heater holds, the alarm cannot rise while its floor is above harm."""
FLOOR_MARGIN_K: Final = 0.5
"""The air must stand so far above the floor that smoothing its last readings cannot bring it below."""
FALLS_K_PER_H: Final = 0.3
FAR_TIMES: Final = 3.0
"""A line through the last half hour that is this many times too slow needs no closer look."""


class Near(NamedTuple):
    """What a closer look has found for one tree."""

    at_s: float
    air_c: float
    harm_c: float
    crossing: Crossing
    chance: float


class CoolingWatch(PlainWatch):
    """Every tree with a damage limit at a bench that can be trusted."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground, nights: Nights, air: Air, learning: Learning, ahead: Ahead) -> None:
        self._ground = ground
        self._nights = nights
        self._air = air
        self._learning = learning
        self._ahead = ahead
        self._near: dict[str, Near] = {}
        self._counts: dict[str, tuple[int, float]] = {}

    def look(self, now_s: float) -> Iterable[Assessment]:
        """What each tree has before it."""
        within_s = calls.reach_s(self._ground.settings, self._ground.book().on_duty(now_s)) + MARGIN_S
        found: list[Assessment] = []
        for sensor, settings in self._ground.settings.sensors.items():
            if settings.place is not Place.BENCH:
                continue
            trees = self._ground.guarding.at_sensor(sensor)
            is_trusted = bool(trees) and self._air.is_trusted(sensor, now_s)
            for guarded in trees:
                harm_c = guarded.limits.get("low_harm_c")
                if harm_c is not None:
                    found += self._judged(guarded, sensor, harm_c, within_s, now_s, is_trusted)
        return found

    def _judged(
        self,
        guarded: GuardedTree,
        sensor: str,
        harm_c: float,
        within_s: float,
        now_s: float,
        is_trusted: bool,
    ) -> list[Assessment]:
        tree = guarded.tree.id
        row = self._ground.board.by_name(f"{KIND}/{tree}")
        stands = row is not None and row.active
        frost = self._ground.board.by_name(f"low-temperature/{tree}")
        if frost is not None and frost.active and frost.priority is Priority.HIGH:
            self._counts.pop(tree, None)
            return [over(KIND, tree, now_s)] if stands else []
        if not is_trusted:
            return [unknown(KIND, tree, now_s)] if stands else []
        if not stands and (
            self._is_far(sensor, harm_c, within_s, now_s) or self._is_held(sensor, harm_c, now_s)
        ):
            self._counts.pop(tree, None)
            return []
        return self._looked_at(tree, sensor, harm_c, within_s, now_s, stands)

    def _is_far(self, sensor: str, harm_c: float, within_s: float, now_s: float) -> bool:
        """Whether a rough look shows that harm is not near."""
        latest = self._ground.surroundings.latest(sensor)
        if latest is None or latest.value - harm_c > FAR_K:
            return True
        trend = self._ground.surroundings.trend(sensor, now_s)
        if trend is None:
            return True
        margin_k = trend.temperature_c - harm_c
        if trend.falling_k_per_h < FALLS_K_PER_H:
            return True
        return margin_k / trend.falling_k_per_h * HOUR_S > FAR_TIMES * within_s

    def _is_held(self, sensor: str, harm_c: float, now_s: float) -> bool:
        """Whether a heater that can be relied on keeps most courses from harm: then none need be followed."""
        latest = self._ground.surroundings.latest(sensor)
        floor_c, chance = self._ahead.heated_floor(sensor, now_s)
        return (
            latest is not None and harm_c < floor_c <= latest.value - FLOOR_MARGIN_K and chance >= HELD_FROM
        )

    def _looked_at(
        self, tree: str, sensor: str, harm_c: float, within_s: float, now_s: float, stands: bool
    ) -> list[Assessment]:
        """A closer look: the possible courses of the air."""
        courses = self._ahead.expected(sensor, now_s, 2 * within_s / HOUR_S)
        if courses is None:
            return [unknown(KIND, tree, now_s)] if stands else []
        crossing = self._ahead.crossing(courses, harm_c)
        air_c = float(courses.air_c[0, 0])
        chance = crossing.chance_within(within_s / HOUR_S)
        self._near[tree] = Near(now_s, air_c, harm_c, crossing, chance)
        if chance < RISES_FROM:
            self._counts.pop(tree, None)
            if not stands:
                return []
            return [over(KIND, tree, now_s, air_c) if chance < OVER_BELOW else unknown(KIND, tree, now_s)]
        looks = LOOKS if self._nights.of(now_s).is_small_hours(now_s) else DOOR_LOOKS
        if self._count(tree, sensor, now_s) < looks and not stands:
            return []
        short_h = (within_s - MARGIN_S + SHORT_S) / HOUR_S
        priority = Priority.HIGH if crossing.chance_within(short_h) >= RISES_FROM else Priority.MEDIUM
        air_c = round(air_c, 2)
        return [Assessment(KIND, tree, now_s, Judgement.BREACH, priority, air_c, harm_c, immediate=True)]

    def _count(self, tree: str, sensor: str, now_s: float) -> int:
        """Looks that found harm near, each by a reading of its own where the sensor reports so often."""
        count, before_s = self._counts.get(tree, (0, -math.inf))
        heard_s = self._air.last_heard_s(sensor, now_s)
        if heard_s > before_s or self._ground.settings.sensors[sensor].every_s > STEP_S:
            count += 1
        self._counts[tree] = count, heard_s
        return count

    def reason(self, kind: str, subject: str) -> Reason:
        """How cold, how fast, how long, how sure."""
        del kind
        near = self._near.get(subject)
        guarded = self._ground.guarding.trees.get(subject)
        if near is None or guarded is None:
            return Reason(f"the air at {subject} is falling fast", "harm is near", words.HANDS_OFF)
        crossing = near.crossing
        latest = self._ground.surroundings.latest(guarded.tree.sensor or "")
        at_s = near.at_s if latest is None else max(latest.observed_at_s, near.at_s)
        passed_h = (at_s - near.at_s) / HOUR_S
        sensor = self._ground.settings.sensors.get(guarded.tree.sensor or "")
        heated = sensor is not None and self._learning.setpoint_c(sensor.house, near.at_s) is not None
        return night_words.cooling_fast(
            self._ground.speech(),
            guarded.tree.name,
            near.air_c if latest is None else latest.value,
            near.harm_c,
            [max(hours - passed_h, 0.0) for hours in (crossing.p10, crossing.p50, crossing.p90)],
            near.chance,
            at_s,
            heated,
            guarded.why,
        )
