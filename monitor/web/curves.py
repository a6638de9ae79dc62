"""Temperatures of the past for pictures: read from the store, thinned out, and kept for a little while.

Read-only and bounded; where the store cannot be read there is simply no curve, and the page says so.
"""

import threading
from collections import OrderedDict
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
KEPT_AT_MOST = 64
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
    """Curves of sensors and trees; several threads may ask."""

    def __init__(self, directory: Path) -> None:
        self._directory = directory
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, int, int, int], tuple[float, Curve]] = OrderedDict()

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
        key = (sensor, int(from_s), int(to_s // KEPT_S), columns)
        with self._lock:
            kept = self._kept.get(key)
        if kept is not None and monotonic_s() - kept[0] < KEPT_S:
            return kept[1]
        curve = self._read(sensor, from_s, to_s, columns)
        with self._lock:
            self._kept[key] = (monotonic_s(), curve)
            while len(self._kept) > KEPT_AT_MOST:
                self._kept.popitem(last=False)
        return curve

    def _read(self, sensor: str, from_s: float, to_s: float, columns: int) -> Curve:
        found = _empty(from_s, to_s, columns)
        try:
            with Reader(self._directory) as reader:
                at_s, low_c, high_c = _points(reader, sensor, from_s, to_s)
        except StoreError:
            return found
        column = ((at_s - from_s) / (to_s - from_s) * columns).astype(int)
        inside = (column >= 0) & (column < columns)
        np.fmin.at(found.low_c, column[inside], low_c[inside])
        np.fmax.at(found.high_c, column[inside], high_c[inside])
        return found


def _points(reader: Reader, sensor: str, from_s: float, to_s: float) -> tuple[Floats, Floats, Floats]:
    if to_s - from_s <= READINGS_UP_TO_S:
        at_s, values, flags = reader.series(sensor, Quantity.TEMPERATURE_C, from_s, to_s)
        usable = flags < Flag.FAIL
        return at_s[usable], values[usable], values[usable]
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
