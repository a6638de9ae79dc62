"""The readings of the last days, in memory: columns that grow at their end, and views of them.

A reading costs about a microsecond: no numpy and no pandas until somebody looks. A sensor has one column of
instants and beside it, for each quantity, a column of values and one of flags; an instant without that
quantity is flagged MISSING. Values are kept to four decimals. It knows no limits, and no science but the
vapour pressure deficit that an hourly row carries.
"""

from array import array
from bisect import bisect_left
from collections.abc import Mapping
from math import isclose
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from monitor.model import Flag, HourRow, Quantity, Reading, Use
from monitor.science.psychrometrics import vapour_pressure_deficit
from monitor.settings import Sensor

if TYPE_CHECKING:
    import pandas as pd

#: How long readings stay in memory. [s]
KEEP_S: Final = 14 * 86400.0

#: Most instants of one sensor that stay in memory: a sensor that reports each second keeps its last day. [-]
MOST_ROWS: Final = 100_000

#: By this part of itself a column may be too long before what is too old goes: it moves the rest. [-]
TRIM_PART: Final = 1 / 16

#: Decimals that single precision keeps for anything a sensor of air says.
DECIMALS: Final = 4

#: Two values of one instant that differ by less than this part are the same value. [-]
SAME_WITHIN: Final = 1e-6

#: From this humidity on leaves and wraps count as wet. [%] Common practice, no source.
WET_FROM_PCT: Final = 90.0

#: Bases of the degree-hours of an hourly row. [°C]
GROWTH_BASE_C: Final = 5.0
FROST_BASE_C: Final = 0.0

HOUR_S: Final = 3600.0

AIR: Final = (Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT)

Floats = NDArray[np.float64]
Flags = NDArray[np.uint8]
Series = tuple[Floats, Floats, Flags]
"""Instants [s since 1970] ascending, values, flags."""

_MISSING: Final = Flag.MISSING
_FAIL: Final = Flag.FAIL
_PRESENT: Final = Use.PRESENT
_SHOWN: Final = Use.SHOWN
_NAN: Final = float("nan")
_NEVER_S: Final = float("-inf")


class _Column:
    """The values and flags of one quantity; where it ends before the instants do, nothing came since."""

    __slots__ = ("flags", "fresh_at_s", "latest", "usable", "values")

    def __init__(self) -> None:
        self.values = array("f")
        self.flags = array("B")
        self.latest: Reading | None = None
        """The newest reading that was present when it came."""
        self.usable: Reading | None = None
        """The newest of those that had not failed."""
        self.fresh_at_s = _NEVER_S
        """When the last present reading came that had not failed."""

    def extend_to(self, rows: int) -> None:
        """Fill up to so many rows with MISSING."""
        lacking = rows - len(self.values)
        self.values.extend(array("f", (_NAN,)) * lacking)
        self.flags.extend(array("B", (_MISSING,)) * lacking)

    def cells(self, begin: int, end: int) -> tuple[Floats, Flags]:
        """Copies of the values and flags of some rows."""
        values = np.array(self.values[begin:end], np.float64)
        flags = np.array(self.flags[begin:end], np.uint8)
        lacking = end - begin - len(values)
        if lacking:
            values = np.concatenate((values, np.full(lacking, _NAN)))
            flags = np.concatenate((flags, np.full(lacking, _MISSING, np.uint8)))
        return values.round(DECIMALS, out=values), flags


class _Track:
    """The columns of one sensor."""

    __slots__ = ("_keep_s", "_most", "at_s", "changes", "columns")

    def __init__(self, keep_s: float, most_rows: int) -> None:
        self._keep_s = keep_s
        self._most = most_rows
        self.at_s = array("d")
        self.changes = 0
        """How often something was taken in."""
        self.columns = {quantity: _Column() for quantity in Quantity}

    def place_of(self, at_s: float) -> int:
        """The row of an instant that is not newer than the newest, made if it is not there."""
        place = bisect_left(self.at_s, at_s)
        if self.at_s[place] != at_s:
            self.at_s.insert(place, at_s)
            for column in self.columns.values():
                if place < len(column.values):
                    column.values.insert(place, _NAN)
                    column.flags.insert(place, _MISSING)
        return place

    def trim(self) -> None:
        """Let go of what is too old, and of what is too much."""
        drop = max(bisect_left(self.at_s, self.at_s[-1] - self._keep_s), len(self.at_s) - self._most)
        del self.at_s[:drop]
        for column in self.columns.values():
            del column.values[:drop]
            del column.flags[:drop]


class History:
    """The readings of all sensors over the last `keep_s`."""

    def __init__(
        self, sensors: Mapping[str, Sensor], keep_s: float = KEEP_S, most_rows: int = MOST_ROWS
    ) -> None:
        self._sensors = sensors
        self._keep_s = keep_s
        self._most_rows = most_rows
        self._trim_s = keep_s * (1 + TRIM_PART)
        self._trim_rows = int(most_rows * (1 + TRIM_PART))
        self._tracks = {sensor: _Track(keep_s, most_rows) for sensor in sensors}
        self.conflicts = 0
        """How often a second value came for an instant that had one; the first stands."""

    def append(self, reading: Reading) -> bool:
        """Take in a reading, a late one in its place; False if nothing about it is new.

        Nothing is new about duplicates and second values of an instant; readings that are only SHOWN, or
        MISSING, are not taken in either. One that is older than what is kept is new and leaves no trace here.
        Raises KeyError for a sensor that the history was not made for.
        """
        sensor, quantity, value, at_s, received_at_s, flag, use = reading
        if use is _SHOWN or flag is _MISSING:
            return False
        track = self._tracks[sensor]
        instants = track.at_s
        column = track.columns[quantity]
        if not instants or at_s > instants[-1]:
            if len(column.values) != len(instants):
                column.extend_to(len(instants))
            instants.append(at_s)
            column.values.append(value)
            column.flags.append(flag)
            if at_s - instants[0] > self._trim_s or len(instants) > self._trim_rows:
                track.trim()
        elif at_s == instants[-1] and len(column.values) == len(instants) - 1:
            column.values.append(value)
            column.flags.append(flag)
        elif not self._put(track, column, reading):
            return False
        track.changes += 1
        if use is _PRESENT:
            if column.latest is None or at_s >= column.latest[3]:
                column.latest = reading
            if flag is not _FAIL:
                column.fresh_at_s = received_at_s
                if column.usable is None or at_s >= column.usable[3]:
                    column.usable = reading
        return True

    def revision(self, sensor: str) -> int:
        """A number that changes with whatever is taken in of a sensor."""
        return self._tracks[sensor].changes

    def latest(self, sensor: str, quantity: Quantity) -> Reading | None:
        """The newest reading that was present when it came, or was loaded, whatever its flag."""
        return self._tracks[sensor].columns[quantity].latest

    def latest_usable(self, sensor: str, quantity: Quantity) -> Reading | None:
        """The newest present reading that had not failed."""
        return self._tracks[sensor].columns[quantity].usable

    def last_fresh_at_s(self, sensor: str) -> float | None:
        """When the last present reading of the air arrived that had not failed [s since 1970]."""
        columns = self._tracks[sensor].columns
        fresh_at_s = max(columns[quantity].fresh_at_s for quantity in AIR)
        return None if fresh_at_s == _NEVER_S else fresh_at_s

    def arrays(self, sensor: str, quantity: Quantity, from_s: float, to_s: float) -> Series:
        """Copies of the instants, values and flags from `from_s` up to and without `to_s`, ascending."""
        at_s, begin, end = self._instants(sensor, from_s, to_s)
        values, flags = self._tracks[sensor].columns[quantity].cells(begin, end)
        if _MISSING not in flags.tobytes():
            return at_s, values, flags
        there = flags != _MISSING
        return at_s[there], values[there], flags[there]

    def frame(self, sensor: str, from_s: float, to_s: float) -> "pd.DataFrame":
        """A table of the air from `from_s` up to and without `to_s`.

        The index is `observed_at` in UTC; the columns are `temperature_c`, `relative_humidity_pct` and beside
        them `temperature_flag`, `relative_humidity_flag`. A value that did not come is NaN, flagged MISSING.
        """
        import pandas as pd

        at_s, begin, end = self._instants(sensor, from_s, to_s)
        columns = self._tracks[sensor].columns
        temperature, humidity = (columns[quantity].cells(begin, end) for quantity in AIR)
        instants = pd.DatetimeIndex(np.rint(at_s * 1000).astype("datetime64[ms]"), name="observed_at")
        return pd.DataFrame(
            {
                "temperature_c": temperature[0],
                "temperature_flag": temperature[1],
                "relative_humidity_pct": humidity[0],
                "relative_humidity_flag": humidity[1],
            },
            index=instants.tz_localize("UTC"),
        )

    def hour_row(self, sensor: str, hour_at_s: float) -> HourRow:
        """The hour that begins at `hour_at_s` [s since 1970] as one row.

        Each good or suspect reading stands until the next one, but no longer than the sensor may be silent.
        Extremes are of the readings made in the hour, or of the one that still stands if there are none.
        """
        stands_s = self._sensors[sensor].silent_after_s
        air = [self._usable(sensor, quantity, hour_at_s - stands_s, hour_at_s + HOUR_S) for quantity in AIR]
        return _hour_row(sensor, hour_at_s, stands_s, *air)

    def hour_mean_c(self, sensor: str, hour_at_s: float) -> float | None:
        """The mean temperature of the hour that begins there, as far as it goes: that of `hour_row` alone."""
        stands_s = self._sensors[sensor].silent_after_s
        end_at_s = hour_at_s + HOUR_S
        at_s, values = self._usable(sensor, Quantity.TEMPERATURE_C, hour_at_s - stands_s, end_at_s)
        until_s = np.append(at_s[1:], end_at_s)
        ends_s = np.minimum(np.minimum(until_s, at_s + stands_s), end_at_s)
        lasts_s = np.maximum(ends_s - np.maximum(at_s, hour_at_s), 0.0)
        covered_s = float(lasts_s.sum())
        return float(np.dot(lasts_s, values)) / covered_s if covered_s > 0 else None

    def load(self, readings: Mapping[tuple[str, Quantity], tuple[Any, Any, Any]]) -> None:
        """Take over saved readings in bulk, in place of what was there.

        Arrays of instants [s since 1970] ascending, values and flags, by sensor and quantity; sensors that
        the history was not made for are left out. The result is that of appending each as a present reading.
        """
        for sensor in self._tracks:
            series = {
                quantity: readings[sensor, quantity]
                for quantity in Quantity
                if (sensor, quantity) in readings
            }
            if series:
                loaded = self._loaded(sensor, series)
                loaded.changes = self._tracks[sensor].changes + 1
                self._tracks[sensor] = loaded

    def _put(self, track: _Track, column: _Column, reading: Reading) -> bool:
        """Take in a reading that is not newer than the newest instant; False if its instant has a value."""
        if reading.observed_at_s < track.at_s[-1] - self._keep_s:
            return True
        place = track.place_of(reading.observed_at_s)
        if place >= len(column.values):
            column.extend_to(place + 1)
        if column.flags[place] == _MISSING:
            column.values[place] = reading.value
            column.flags[place] = reading.flag
            return True
        if not isclose(column.values[place], reading.value, rel_tol=SAME_WITHIN, abs_tol=SAME_WITHIN):
            self.conflicts += 1
        return False

    def _instants(self, sensor: str, from_s: float, to_s: float) -> tuple[Floats, int, int]:
        """A copy of the instants of a span, and the rows it begins at and ends before."""
        at_s = self._tracks[sensor].at_s
        begin, end = bisect_left(at_s, from_s), bisect_left(at_s, to_s)
        return np.array(at_s[begin:end], np.float64), begin, max(begin, end)

    def _usable(self, sensor: str, quantity: Quantity, from_s: float, to_s: float) -> tuple[Floats, Floats]:
        """Instants and values of the readings that did not fail."""
        at_s, values, flags = self.arrays(sensor, quantity, from_s, to_s)
        usable = flags < _FAIL
        return at_s[usable], values[usable]

    def _loaded(self, sensor: str, series: Mapping[Quantity, tuple[Any, Any, Any]]) -> _Track:
        track = _Track(self._keep_s, self._most_rows)
        instants = np.unique(np.concatenate([np.asarray(at_s, float) for at_s, _, _ in series.values()]))
        if len(instants):
            instants = instants[instants >= instants[-1] - self._keep_s][-self._most_rows :]
            track.at_s.frombytes(instants.tobytes())
        for quantity, (at_s, values, flags) in series.items():
            column = track.columns[quantity]
            _fill(column, instants, at_s, values, flags)
            if len(at_s):
                newest = float(at_s[-1]), float(values[-1]), Flag(int(flags[-1]))
                column.latest = Reading(sensor, quantity, newest[1], newest[0], newest[0], newest[2])
            fresh = np.flatnonzero(np.asarray(flags) < _FAIL)
            if len(fresh):
                last = int(fresh[-1])
                column.fresh_at_s = at = float(at_s[last])
                column.usable = Reading(sensor, quantity, float(values[last]), at, at, Flag(int(flags[last])))
        return track


def _fill(column: _Column, instants: Floats, at_s: Any, values: Any, flags: Any) -> None:
    """Put a saved series into its rows; where an instant stands twice its first value does."""
    at_s, first = np.unique(np.asarray(at_s, float), return_index=True)
    kept = at_s >= instants[0] if len(instants) else slice(0)
    rows = np.searchsorted(instants, at_s[kept])
    cells = np.full(len(instants), _NAN, np.float32)
    cells[rows] = np.asarray(values)[first[kept]]
    marks = np.full(len(instants), _MISSING, np.uint8)
    marks[rows] = np.asarray(flags)[first[kept]]
    column.values.frombytes(cells.tobytes())
    column.flags.frombytes(marks.tobytes())


def _hour_row(
    sensor: str,
    hour_at_s: float,
    stands_s: float,
    temperature: tuple[Floats, Floats],
    humidity: tuple[Floats, Floats],
) -> HourRow:
    end_at_s = hour_at_s + HOUR_S
    changes = [at_s for instants, _ in (temperature, humidity) for at_s in (instants, instants + stands_s)]
    edges = np.unique(np.clip(np.concatenate(([hour_at_s, end_at_s], *changes)), hour_at_s, end_at_s))
    begins, lasts_s = edges[:-1], np.diff(edges)
    air_c = _standing(*temperature, begins, stands_s)
    air_pct = np.clip(_standing(*humidity, begins, stands_s), 0.0, 100.0)
    vpd_kpa = np.asarray(vapour_pressure_deficit(air_c, air_pct))
    extremes_c = _extremes(*temperature, hour_at_s, air_c)
    extremes_pct = _extremes(humidity[0], np.clip(humidity[1], 0.0, 100.0), hour_at_s, air_pct)
    return HourRow(
        sensor=sensor,
        hour_at_s=hour_at_s,
        covered_s=float(lasts_s[~np.isnan(air_c)].sum()),
        temperature_mean_c=_mean(air_c, lasts_s),
        temperature_min_c=extremes_c[0],
        temperature_max_c=extremes_c[1],
        relative_humidity_mean_pct=_mean(air_pct, lasts_s),
        relative_humidity_min_pct=extremes_pct[0],
        relative_humidity_max_pct=extremes_pct[1],
        vpd_mean_kpa=_mean(vpd_kpa, lasts_s),
        above_5_c_k_h=_per_hour(_total(np.maximum(air_c - GROWTH_BASE_C, 0.0), lasts_s)),
        below_0_c_k_h=_per_hour(_total(np.maximum(FROST_BASE_C - air_c, 0.0), lasts_s)),
        wet_s=_total(np.where(np.isnan(air_pct), _NAN, air_pct >= WET_FROM_PCT), lasts_s),
    )


def _standing(at_s: Floats, values: Floats, when_s: Floats, stands_s: float) -> Floats:
    """The value that stands at each instant, NaN where the last one is too old."""
    if not len(at_s):
        return np.full(len(when_s), _NAN)
    last = np.searchsorted(at_s, when_s, side="right") - 1
    return np.where((last >= 0) & (when_s < at_s[last] + stands_s), values[last], _NAN)


def _extremes(
    at_s: Floats, values: Floats, hour_at_s: float, standing: Floats
) -> tuple[float | None, float | None]:
    made = values[at_s >= hour_at_s]
    among = made if len(made) else standing[~np.isnan(standing)]
    return (float(among.min()), float(among.max())) if len(among) else (None, None)


def _total(values: Floats, weights: Floats) -> float | None:
    """Sum of the known values by weight, None if none is known."""
    known = ~np.isnan(values)
    return float(np.dot(values[known], weights[known])) if known.any() else None


def _per_hour(total: float | None) -> float | None:
    return None if total is None else total / HOUR_S


def _mean(values: Floats, weights: Floats) -> float | None:
    known = ~np.isnan(values)
    if not known.any():
        return None
    values, weights = values[known], weights[known]
    return float((values * weights).sum() / weights.sum())
