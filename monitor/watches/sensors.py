"""Sensors that cannot be right, and batteries that will not last.

A sensor is doubtful when a bench neighbour disagrees with it for an hour of night, when it is frozen while
another moves, or when most of its last readings failed or were suspect for half an hour.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from monitor.model import Assessment, Flag, HourRow, Place, Priority, Quantity, Row
from monitor.notices import air_words
from monitor.notices.words import Reason
from monitor.science.sun import solar_elevation
from monitor.watch import Found, Ground
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
BATTERY_LOW_PCT = 20.0
BATTERY_FINE_PCT = 25.0


class Doubt(NamedTuple):
    """What is wrong with a sensor, in words."""

    what: str
    others: str = ""


class SensorWatch:
    """Neighbours, frozen values, floods of bad readings, batteries."""

    KINDS = frozenset({DOUBTFUL, BATTERY})

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._hold = Hold()
        self._kept: dict[str, float] = {}
        self._doubts: dict[str, Doubt] = {}

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Take over since when sensors have disagreed."""
        self._kept = dict(learned.get(LEARNED, {}))
        self._hold = Hold.from_json(self._kept)

    # ---- doubts --------------------------------------------------------------------------------------------

    def look(self, now_s: float) -> Iterable[Assessment]:
        """Every sensor that reports at all; a silent one is another alarm's business."""
        found = []
        for sensor, settings in self._ground.settings.sensors.items():
            if self._ground.surroundings.is_fresh(sensor, now_s):
                at_once = self._bad_readings(sensor, now_s) or self._frozen(sensor, now_s)
                apart = None if at_once else self._disagrees(sensor, now_s)
                found.append(self._judged(sensor, now_s, at_once, apart))
            if settings.battery_pct is not None or settings.payload == "senml":
                found.extend(self._battery(sensor, now_s))
        return found

    def _judged(self, sensor: str, now_s: float, at_once: Doubt | None, apart: Doubt | None) -> Assessment:
        doubt = at_once or apart
        if doubt is not None:
            self._doubts[sensor] = doubt
        hold_s = 0.0 if at_once is not None else DISAGREE_HOLD_S
        priority = min(
            self._ground.silence.priority(sensor, now_s), Priority.MEDIUM, key=lambda priority: priority.rank
        )
        return self._hold.judge(
            DOUBTFUL, sensor, now_s, doubt is not None, hold_s, priority, quality="suspect"
        )

    def _window(self, sensor: str, now_s: float, span_s: float) -> tuple[Any, Any, Any]:
        return self._ground.history.arrays(sensor, Quantity.TEMPERATURE_C, now_s - span_s, now_s + 1.0)

    def _bad_readings(self, sensor: str, now_s: float) -> Doubt | None:
        _, _, flags = self._window(sensor, now_s, BAD_WINDOW_S)
        if len(flags) < 5 or float(np.mean(flags >= Flag.FAIL)) < BAD_SHARE:
            return None
        return Doubt("gives mostly values that no air can have")

    def _frozen(self, sensor: str, now_s: float) -> Doubt | None:
        at_s, values, flags = self._window(sensor, now_s, FROZEN_S)
        usable = values[flags < Flag.FAIL]
        if len(usable) < 10 or at_s[-1] - at_s[0] < FROZEN_S * 0.9 or np.ptp(usable) >= FROZEN_RANGE_K:
            return None
        moved = [other for other in self._neighbours(sensor, now_s) if self._moved(other, now_s)]
        return Doubt("has not moved for two hours", f"{moved[0]} has") if moved else None

    def _moved(self, sensor: str, now_s: float) -> bool:
        _, values, flags = self._window(sensor, now_s, FROZEN_S)
        usable = values[flags < Flag.SUSPECT]
        return len(usable) >= 5 and float(np.ptp(usable)) >= MOVED_K

    def _disagrees(self, sensor: str, now_s: float) -> Doubt | None:
        """By night only: the sun warms one bench and not the other."""
        site = self._ground.settings.site
        if self._ground.settings.sensors[sensor].place is not Place.BENCH:
            return None
        if solar_elevation(now_s, site.latitude_deg, site.longitude_deg) > -3.0:
            return None
        own = self._median(sensor, now_s)
        others = {other: self._median(other, now_s) for other in self._neighbours(sensor, now_s)}
        known = {name: value for name, value in others.items() if value is not None}
        if own is None or not known:
            return None
        if all(abs(own - value) > DISAGREE_K for value in known.values()):
            name = next(iter(known))
            speech = self._ground.speech()
            return Doubt(f"says {speech.temperature(own)}", f"{name} says {speech.temperature(known[name])}")
        return None

    def _median(self, sensor: str, now_s: float) -> float | None:
        window_s = max(900.0, 3 * self._ground.settings.sensors[sensor].every_s)
        _, values, flags = self._window(sensor, now_s, window_s)
        usable = values[flags < Flag.FAIL]
        return float(np.median(usable)) if len(usable) else None

    def _neighbours(self, sensor: str, now_s: float) -> list[str]:
        """Other bench sensors of the same house that report."""
        sensors = self._ground.settings.sensors
        return [
            name
            for name, other in sensors.items()
            if name != sensor and other.house == sensors[sensor].house and other.place is Place.BENCH
            if self._ground.surroundings.is_fresh(name, now_s)
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
                over=reading.value >= BATTERY_FINE_PCT,
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
        return Found(rows=self.rows()) if self._hold.as_json() != self._kept else Found()

    def rows(self) -> tuple[Row, ...]:
        """The one row of this watch."""
        self._kept = self._hold.as_json()
        return (Row("learned", LEARNED, dict(self._kept)),)

    def facts(self) -> Mapping[str, Any]:
        """Nothing that the alarms do not say."""
        return {}
