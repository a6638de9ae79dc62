"""What each tree stands in: the latest values at its sensor, where they are going, and when they get there.

History and science in, plain values out. It knows no alarms and no people.
"""

import math
from array import array
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np

from monitor.history import History
from monitor.model import Flag, HourRow, Quantity, Reading
from monitor.settings import Settings
from monitor.trees.tree import Placement

TREND_WINDOW_S = 1800.0
TREND_MIN_SPAN_S = 600.0
LATELY_S = 900.0
"""What a person takes for "just now"; of a slow sensor as much as its last two readings span."""
MINUTE_S = 60.0
HOUR_S = 3600.0


class Fall(NamedTuple):
    """How far a temperature has come down lately: `fell_k` is negative where it rose."""

    fell_k: float
    over_s: float


class Trend(NamedTuple):
    """How a temperature moves: `falling_k_per_h` is positive when it gets colder."""

    temperature_c: float
    at_s: float
    falling_k_per_h: float


class Surroundings:
    """Looks into the history for whoever asks what a place is like."""

    def __init__(self, settings: Settings, history: History) -> None:
        self._sensors = settings.sensors
        self._late_after_s = {name: sensor.late_after_s for name, sensor in settings.sensors.items()}
        self._history = history
        self._trends: dict[str, tuple[float, Trend | None]] = {}
        self.foresees: Callable[[str, float, float, float], float | None] | None = None
        """(sensor, limit, now, chance) -> when the house's own response brings the air to a limit with that
        chance: infinite for not in the coming hours, None where that is not known."""
        self.for_show = False
        """While somebody only looks: what they ask for must not become what the guard goes by."""

    def latest(self, sensor: str, quantity: Quantity = Quantity.TEMPERATURE_C) -> Reading | None:
        """The latest present reading that can be one; what failed says nothing of the place."""
        return self._history.latest_usable(sensor, quantity) if sensor in self._sensors else None

    def is_fresh(self, sensor: str, now_s: float) -> bool:
        """Whether the latest temperature is young enough to be called present."""
        reading = self.latest(sensor)
        return reading is not None and now_s - reading.observed_at_s <= self._late_after_s[sensor]

    def trend(self, sensor: str, now_s: float) -> Trend | None:
        """The line through the last half hour of good and suspect temperatures (three samples at least)."""
        reading = self.latest(sensor)
        if reading is None or not self.is_fresh(sensor, now_s):
            return None
        known = self._trends.get(sensor)
        if known is not None and known[0] == reading.observed_at_s:
            return known[1]
        trend = self._fit(sensor, reading)
        self._trends[sensor] = (reading.observed_at_s, trend)
        return trend

    def fall(self, sensor: str, now_s: float) -> Fall | None:
        """From the first good or suspect temperature of the last quarter of an hour to the last; a fact."""
        reading = self.latest(sensor)
        if reading is None or not self.is_fresh(sensor, now_s):
            return None
        window_s = max(LATELY_S, 1.5 * self._sensors[sensor].every_s)
        at_s, values, flags = self._history.arrays(
            sensor, Quantity.TEMPERATURE_C, reading.observed_at_s - window_s, reading.observed_at_s
        )
        usable = flags < Flag.FAIL
        if not usable.any():
            return None
        first = int(usable.argmax())
        return Fall(float(values[first]) - reading.value, reading.observed_at_s - float(at_s[first]))

    def _fit(self, sensor: str, reading: Reading) -> Trend | None:
        window_s = max(TREND_WINDOW_S, 3.5 * self._sensors[sensor].every_s)
        at_s, values, flags = self._history.arrays(
            sensor, Quantity.TEMPERATURE_C, reading.observed_at_s - window_s, reading.observed_at_s + 1e-3
        )
        usable = flags < Flag.FAIL
        at_s, values = at_s[usable], values[usable]
        if len(at_s) < 3 or at_s[-1] - at_s[0] < TREND_MIN_SPAN_S:
            return None
        hours = (at_s - at_s[-1]) / 3600.0
        centred = hours - hours.mean()
        slope = float(np.dot(centred, values) / np.dot(centred, centred))
        return Trend(reading.value, reading.observed_at_s, -slope)

    def reaches_at_s(self, sensor: str, limit_c: float, now_s: float, chance: float = 0.5) -> float | None:
        """When the air at a sensor comes down to a limit [s]; None for not as far as can be seen.

        By what was learnt of the house where it is; else it goes on as in the last half hour.
        """
        trend = self.trend(sensor, now_s)
        if trend is None:
            return None
        if trend.temperature_c <= limit_c:
            return now_s
        foreseen = self.foresees(sensor, limit_c, now_s, chance) if self.foresees is not None else None
        if foreseen is not None:
            return foreseen if math.isfinite(foreseen) else None
        if trend.falling_k_per_h < 0.2:
            return None
        return now_s + (trend.temperature_c - limit_c) / trend.falling_k_per_h * 3600.0


class ThermalSums:
    """Degree-days above 5 °C at each sensor, as running sums over the hourly rows that are kept for ever."""

    def __init__(self) -> None:
        self._hours: dict[str, list[tuple[float, float]]] = {}
        self._sums: dict[str, tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]] = {}

    def add(self, hours: Iterable[HourRow]) -> None:
        """Hourly rows, ascending for each sensor."""
        for hour in hours:
            if hour.above_5_c_k_h is not None:
                self._hours.setdefault(hour.sensor, []).append((hour.hour_at_s, hour.above_5_c_k_h))
                self._sums.pop(hour.sensor, None)

    def degree_days_k_d(self, placements: Sequence[Placement], from_s: float, to_s: float) -> float:
        """What a tree has had between two instants, wherever it stood; hours unseen count nothing [K d]."""
        total = 0.0
        for index, placement in enumerate(placements):
            begins_s = from_s if index == 0 else max(from_s, placement.at_s)
            ends_s = placements[index + 1].at_s if index + 1 < len(placements) else to_s
            if placement.sensor is not None and begins_s < min(ends_s, to_s):
                total += self._between(placement.sensor, begins_s, min(ends_s, to_s))
        return total / 24.0

    def _between(self, sensor: str, from_s: float, to_s: float) -> float:
        sums = self._sums.get(sensor)
        if sums is None:
            pairs = self._hours.get(sensor, [])
            at_s = np.array([pair[0] for pair in pairs])
            sums = at_s, np.concatenate(([0.0], np.cumsum([pair[1] for pair in pairs])))
            self._sums[sensor] = sums
        at_s, running = sums
        first, last = np.searchsorted(at_s, (from_s - 1.0, to_s - 1.0))
        return float(running[last] - running[first])


_FIGURES = tuple(name for name in HourRow.__dataclass_fields__ if name not in ("sensor", "hour_at_s"))
_MEAN_C = _FIGURES.index("temperature_mean_c")
_MEAN_PCT = _FIGURES.index("relative_humidity_mean_pct")


class HourlyRows:
    """The hourly rows of each sensor in memory: one line of numbers an hour, NaN where there is none."""

    def __init__(self) -> None:
        self._from_s: dict[str, float] = {}
        self._values: dict[str, array[float]] = {}

    def add(self, hours: Iterable[HourRow]) -> None:
        """Hourly rows, ascending for each sensor; one that is older than the first known is left out."""
        for hour in hours:
            values = self._values.setdefault(hour.sensor, array("d"))
            begins_s = self._from_s.setdefault(hour.sensor, hour.hour_at_s)
            place = round((hour.hour_at_s - begins_s) / HOUR_S) * len(_FIGURES)
            if place < 0:
                continue
            missing = place + len(_FIGURES) - len(values)
            values.extend([math.nan] * max(0, missing))
            for index, name in enumerate(_FIGURES):
                value = getattr(hour, name)
                values[place + index] = math.nan if value is None else value

    @property
    def from_s(self) -> float | None:
        """The first hour of any sensor [s]; None where there is none."""
        return min(self._from_s.values(), default=None)

    def row(self, sensor: str, hour_at_s: float) -> HourRow | None:
        """The row of one hour; None where nothing was seen."""
        figures = self._figures(sensor, hour_at_s)
        if figures is None or not figures[0] > 0:
            return None
        known = [None if value != value else value for value in figures]
        return HourRow(sensor, hour_at_s, figures[0], *known[1:])

    def air(self, sensor: str | None, hour_at_s: float) -> tuple[float, float]:
        """Mean temperature [°C] and relative humidity [%] of one hour; NaN where they are not known."""
        figures = self._figures(sensor, hour_at_s) if sensor is not None else None
        if figures is None or not figures[0] >= HOUR_S / 4:
            return math.nan, math.nan
        return figures[_MEAN_C], figures[_MEAN_PCT]

    def rows(self, sensor: str, from_s: float, to_s: float) -> list[HourRow]:
        """The rows of the hours that begin in a span, ascending."""
        hour_at_s = math.ceil(max(from_s, self._from_s.get(sensor, from_s)) / HOUR_S) * HOUR_S
        last_s = self._from_s.get(sensor, 0.0) + HOUR_S * (len(self._values.get(sensor, ())) // len(_FIGURES))
        found = []
        while hour_at_s < min(to_s, last_s):
            row = self.row(sensor, hour_at_s)
            if row is not None:
                found.append(row)
            hour_at_s += HOUR_S
        return found

    def _figures(self, sensor: str, hour_at_s: float) -> "array[float] | None":
        values, begins_s = self._values.get(sensor), self._from_s.get(sensor)
        if values is None or begins_s is None:
            return None
        place = round((hour_at_s - begins_s) / HOUR_S) * len(_FIGURES)
        return values[place : place + len(_FIGURES)] if 0 <= place < len(values) else None
