"""Sensors that cannot be right, and batteries that will not last.

A sensor is doubtful when a bench neighbour disagrees with it for an hour of night, when it is frozen while
another moves, or when most of its last readings failed or were suspect for half an hour.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from monitor.model import Assessment, Flag, HourRow, Place, Priority, Quantity, Row
from monitor.notices import air_words
from monitor.notices.words import Reason
from monitor.science.sun import solar_elevation
from monitor.watch import NOTHING_FOUND, Found, Ground
from monitor.watches.hold import Hold

DOUBTFUL, BATTERY = "sensor-doubtful", "battery-low"
LEARNED = "sensors"
DISAGREE_K = 3.0
DISAGREE_HOLD_S = 3600.0
FROZEN_S = 2 * 3600.0
FROZEN_RANGE_K = 0.05
MOVED_K = 0.5
BAD_WINDOW_S = 1800.0
BAD_SHARE = 0.5
BAD_AT_LEAST = 5
DARK_DEG = -3.0
"""The sun this far down warms no bench."""
FAIL = int(Flag.FAIL)
BATTERY_LOW_PCT = 20.0
BATTERY_DEADBAND_PCT = 5.0


class Doubt(NamedTuple):
    """What is wrong with a sensor, in words."""

    what: str
    others: str = ""


class _Seen:
    """The last two hours of one sensor: instants, values, flags."""

    def __init__(self, at_s: Any, values: Any, flags: Any) -> None:
        self.at_s = at_s
        self.flags = flags
        self.usable = values[flags < FAIL]
        self.last_at_s = float(at_s[-1]) if len(at_s) else 0.0
        last = sorted(self.usable[-5:].tolist())
        self.recent_c: float | None = last[len(last) // 2] if last else None
        """The middle of its last five readings."""

    @property
    def range_k(self) -> float:
        """How much it has moved."""
        return float(self.usable.max() - self.usable.min()) if len(self.usable) >= 5 else 0.0


class SensorWatch:
    """Neighbours, frozen values, floods of bad readings, batteries."""

    KINDS = frozenset({DOUBTFUL, BATTERY})

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._hold = Hold()
        self._kept: dict[str, float] = {}
        self._doubts: dict[str, Doubt] = {}
        self._looked_to_s: dict[str, float] = {}
        self._battery_deadband_pct = ground.deadband(BATTERY, BATTERY_DEADBAND_PCT)

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over since when sensors have disagreed."""
        self._kept = dict(learned.get(LEARNED, {}))
        self._hold = Hold.from_json(self._kept)

    # ---- doubts --------------------------------------------------------------------------------------------

    def look(self, now_s: float) -> Iterable[Assessment]:
        """Every sensor that has spoken since the last look; a silent one is another alarm's business."""
        found = []
        spoke = [name for name in self._ground.settings.sensors if self._spoke(name, now_s)]
        seen = self._seen(spoke, now_s)
        is_night = len(seen) > 1 and self._is_night(now_s)
        for sensor in spoke:
            window = seen[sensor]
            at_once = self._bad_readings(window) or self._frozen(sensor, window, seen)
            apart = self._disagrees(sensor, window, seen) if is_night and not at_once else None
            found.append(self._judged(sensor, now_s, at_once, apart))
        for sensor in self._ground.settings.sensors:
            found.extend(self._battery(sensor, now_s))
        resting = self._ground.silence.resting
        return [each for each in found if each.subject not in resting] if resting else found

    def _spoke(self, sensor: str, now_s: float) -> bool:
        """Whether a sensor has said something since the last look."""
        latest = self._ground.surroundings.latest(sensor)
        if latest is None or not self._ground.surroundings.is_fresh(sensor, now_s):
            return False
        news = self._looked_to_s.get(sensor) != latest.observed_at_s
        self._looked_to_s[sensor] = latest.observed_at_s
        return news

    def _seen(self, spoke: Sequence[str], now_s: float) -> dict[str, "_Seen"]:
        """The last two hours of whoever spoke and of the sensors beside them."""
        sensors = self._ground.settings.sensors
        houses = {sensors[name].house for name in spoke}
        return {
            name: _Seen(*self._window(name, now_s))
            for name, sensor in sensors.items()
            if sensor.house in houses and self._ground.surroundings.is_fresh(name, now_s)
        }

    def _judged(self, sensor: str, now_s: float, at_once: Doubt | None, apart: Doubt | None) -> Assessment:
        doubt = at_once or apart
        if doubt is None:
            return self._hold.judge(DOUBTFUL, sensor, now_s, False, 0.0, Priority.LOW)
        self._doubts[sensor] = doubt
        hold_s = 0.0 if at_once is not None else DISAGREE_HOLD_S
        silent = self._ground.silence.priority(sensor, now_s)
        priority = Priority.MEDIUM if silent is Priority.HIGH else silent
        return self._hold.judge(DOUBTFUL, sensor, now_s, True, hold_s, priority, quality="suspect")

    def _window(self, sensor: str, now_s: float) -> tuple[Any, Any, Any]:
        return self._ground.history.arrays(sensor, Quantity.TEMPERATURE_C, now_s - FROZEN_S, now_s + 1.0)

    def _is_night(self, now_s: float) -> bool:
        site = self._ground.settings.site
        return solar_elevation(now_s, site.latitude_deg, site.longitude_deg) < DARK_DEG

    @staticmethod
    def _bad_readings(window: "_Seen") -> Doubt | None:
        if len(window.usable) == len(window.flags):
            return None
        flags = window.flags[window.at_s >= window.last_at_s - BAD_WINDOW_S]
        if len(flags) < BAD_AT_LEAST or float((flags >= FAIL).mean()) < BAD_SHARE:
            return None
        return Doubt("gives mostly values that no air can have")

    def _frozen(self, sensor: str, window: "_Seen", seen: Mapping[str, "_Seen"]) -> Doubt | None:
        """At the same value for two hours while a neighbour moved."""
        values = window.usable
        if len(values) < 10 or window.last_at_s - window.at_s[0] < FROZEN_S * 0.9:
            return None
        if values.max() - values.min() >= FROZEN_RANGE_K:
            return None
        moved = [name for name in self._neighbours(sensor, seen) if seen[name].range_k >= MOVED_K]
        return Doubt("has not moved for two hours", f"{moved[0]} has") if moved else None

    def _disagrees(self, sensor: str, window: "_Seen", seen: Mapping[str, "_Seen"]) -> Doubt | None:
        """By night only: the sun warms one bench and not the other."""
        own = window.recent_c
        others = {name: seen[name].recent_c for name in self._neighbours(sensor, seen)}
        known = {name: value for name, value in others.items() if value is not None}
        if own is None or not known or any(abs(own - value) <= DISAGREE_K for value in known.values()):
            return None
        name, value = next(iter(known.items()))
        speech = self._ground.speech()
        return Doubt(f"says {speech.temperature(own)}", f"{name} says {speech.temperature(value)}")

    def _neighbours(self, sensor: str, seen: Mapping[str, "_Seen"]) -> list[str]:
        """Other bench sensors of the same house that report; none for a sensor that hangs elsewhere."""
        sensors = self._ground.settings.sensors
        own = sensors[sensor]
        if own.place is not Place.BENCH:
            return []
        return [
            name
            for name in seen
            if name != sensor and sensors[name].house == own.house and sensors[name].place is Place.BENCH
        ]

    # ---- batteries -----------------------------------------------------------------------------------------

    def _battery(self, sensor: str, now_s: float) -> list[Assessment]:
        reading = self._ground.surroundings.latest(sensor, Quantity.BATTERY_PCT)
        if reading is None:
            return []
        return [
            self._hold.judge(
                BATTERY,
                sensor,
                now_s,
                reading.value < BATTERY_LOW_PCT,
                0.0,
                Priority.MEDIUM if self._ground.guarding.at_sensor(sensor) else Priority.LOW,
                value=reading.value,
                limit=BATTERY_LOW_PCT,
                over=reading.value >= BATTERY_LOW_PCT + self._battery_deadband_pct,
            )
        ]

    # ---- the rest of a watch -------------------------------------------------------------------------------

    def hour(self, now_s: float, hours: Sequence[HourRow]) -> Iterable[Assessment]:
        """Nothing by the hour."""
        del now_s, hours
        return ()

    def changed(self, now_s: float) -> Iterable[Assessment]:
        """Nothing by the book."""
        del now_s
        return ()

    def reason(self, kind: str, subject: str) -> Reason:
        """Cause, consequence, action."""
        trees = [guarded.tree.name for guarded in self._ground.guarding.at_sensor(subject)]
        if kind == BATTERY:
            reading = self._ground.surroundings.latest(subject, Quantity.BATTERY_PCT)
            return air_words.battery_low(subject, reading.value if reading is not None else 0.0, trees)
        doubt = self._doubts.get(subject, Doubt("cannot be right"))
        return air_words.doubtful(self._ground.speech(), subject, doubt.what, doubt.others, trees)

    def take(self) -> Found:
        """Since when sensors have disagreed, when that changed."""
        return Found(rows=self.rows()) if self._hold.as_json() != self._kept else NOTHING_FOUND

    def rows(self) -> tuple[Row, ...]:
        """The one row of this watch."""
        self._kept = self._hold.as_json()
        return (Row("learned", LEARNED, dict(self._kept)),)

    def facts(self) -> Mapping[str, Any]:
        """Nothing that the alarms do not say."""
        return {}
