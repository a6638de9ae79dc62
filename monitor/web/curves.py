"""Temperatures of the past for pictures: read from the store, thinned out, and kept for a little while.

Read-only and bounded; where the store cannot be read there is simply no curve, and the page says so.
"""

import threading
from collections import OrderedDict
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.clock import monotonic_s
from monitor.errors import StoreError
from monitor.model import Flag, Quantity
from monitor.store.queries import Reader
from monitor.trees.tree import Tree

Floats = npt.NDArray[np.float64]
KEPT_S = 20.0
KEPT_AT_MOST = 24
READINGS_UP_TO_S = 8 * 86400.0
"""Longer spans are drawn from hourly rows."""
HOUR_S = 3600.0


class Curve(NamedTuple):
    """A temperature in columns of equal width: the lowest and highest of each, NaN where nothing was seen.

    `at_s` are the middles of the columns [guard time].
    """

    at_s: Floats
    low_c: Floats
    high_c: Floats

    @property
    def is_empty(self) -> bool:
        """Whether nothing was seen at all."""
        return bool(np.all(np.isnan(self.low_c)))


class Curves:
    """Curves of sensors and trees; several threads may ask: one reads, and the others wait for it."""

    def __init__(self, directory: Path) -> None:
        self._directory = directory
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, int, int, int], tuple[float, Mapping[str, Curve]]] = OrderedDict()

    def of_tree(self, tree: Tree, from_s: float, to_s: float, columns: int) -> Curve:
        """What a tree stood in, wherever that was; guard time and the book's labels are taken as one."""
        found = _empty(from_s, to_s, columns)
        for index, placement in enumerate(tree.placements):
            begins_s = float("-inf") if index == 0 else placement.at_s
            later = tree.placements[index + 1 :]
            ends_s = later[0].at_s if later else float("inf")
            if placement.sensor is None or ends_s <= from_s or begins_s >= to_s:
                continue
            curve = self.of_sensor(placement.sensor, from_s, to_s, columns)
            here = (curve.at_s >= begins_s) & (curve.at_s < ends_s)
            found.low_c[here] = curve.low_c[here]
            found.high_c[here] = curve.high_c[here]
        return found

    def of_sensor(self, sensor: str, from_s: float, to_s: float, columns: int) -> Curve:
        """The temperature at a sensor."""
        is_short = to_s - from_s <= READINGS_UP_TO_S
        # Readings lie hour by hour, all sensors together: one reading of the span does for all of them.
        key = ("" if is_short else sensor, int(from_s // KEPT_S), int(to_s // KEPT_S), columns)
        with self._lock:
            kept = self._kept.get(key)
            if kept is None or monotonic_s() - kept[0] > KEPT_S:
                kept = (monotonic_s(), self._read(None if is_short else sensor, from_s, to_s, columns))
                self._kept[key] = kept
                while len(self._kept) > KEPT_AT_MOST:
                    self._kept.popitem(last=False)
        return kept[1].get(sensor) or _empty(from_s, to_s, columns)

    def _read(self, sensor: str | None, from_s: float, to_s: float, columns: int) -> Mapping[str, Curve]:
        """The curves of a span, of one sensor by the hour or of all by their readings."""
        try:
            with Reader(self._directory) as reader:
                points = (
                    _readings(reader, from_s, to_s)
                    if sensor is None
                    else {sensor: _hours(reader, sensor, from_s, to_s)}
                )
        except StoreError:
            return {}
        return {name: _curve(found, from_s, to_s, columns) for name, found in points.items()}


Points = tuple[Floats, Floats, Floats]
"""Instants, and the lowest and highest at each."""


def _curve(points: Points, from_s: float, to_s: float, columns: int) -> Curve:
    found, (at_s, low_c, high_c) = _empty(from_s, to_s, columns), points
    column = ((at_s - from_s) / (to_s - from_s) * columns).astype(int)
    inside = (column >= 0) & (column < columns)
    np.fmin.at(found.low_c, column[inside], low_c[inside])
    np.fmax.at(found.high_c, column[inside], high_c[inside])
    return found


def _readings(reader: Reader, from_s: float, to_s: float) -> dict[str, Points]:
    found = {}
    for name, (at_s, values, flags) in reader.series_of_all(Quantity.TEMPERATURE_C, from_s, to_s).items():
        usable = flags < Flag.FAIL
        found[name] = (at_s[usable], values[usable], values[usable])
    return found


def _hours(reader: Reader, sensor: str, from_s: float, to_s: float) -> Points:
    rows = [
        (hour.hour_at_s + HOUR_S / 2, hour.temperature_min_c, hour.temperature_max_c)
        for hour in reader.hours(from_s, to_s, sensor)
        if hour.temperature_min_c is not None and hour.temperature_max_c is not None
    ]
    table = np.array(rows, dtype=float).reshape(-1, 3)
    return table[:, 0], table[:, 1], table[:, 2]


def _empty(from_s: float, to_s: float, columns: int) -> Curve:
    width_s = (to_s - from_s) / columns
    at_s = from_s + width_s * (np.arange(columns) + 0.5)
    low_c: Floats = np.full(columns, np.nan, dtype=np.float64)
    return Curve(np.asarray(at_s, dtype=np.float64), low_c, low_c.copy())
