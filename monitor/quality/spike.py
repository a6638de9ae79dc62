"""Quality check: does one value stand far from its neighbours? (QARTOD spike test)

Of a reading that has just arrived the next one is not known, so a jump is suspect as it arrives, and the next
one is good if it stands by it or has come back; a jump alone never fails, since doors and sun make real ones.
The series form knows both neighbours and follows QARTOD.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from monitor.model import Flag, Quantity
from monitor.quality.check import Check, Recent
from monitor.quality.roll_up import Flags
from monitor.quality.thresholds import SPIKE_WITHIN_S, THRESHOLDS, Pair
from monitor.settings import Sensor

KIND = "spike"
TIMELESS = False

_GOOD, _NOT_EVALUATED, _SUSPECT = Flag.GOOD, Flag.NOT_EVALUATED, Flag.SUSPECT


def check(sensor: Sensor, quantity: Quantity, beside: Mapping[Quantity, Recent]) -> Check | None:
    """Suspect when the value is far from the one before and from the last good one."""
    pair = THRESHOLDS[quantity].spike
    if pair is None or pair.suspect is None:
        return None
    most = pair.suspect

    def spike(recent: Recent, value: float, at_s: float) -> Flag:
        since_s, before = recent.usable
        if at_s - since_s > SPIKE_WITHIN_S:
            return _NOT_EVALUATED
        if -most <= value - before <= most:
            return _GOOD
        return _GOOD if -most <= value - recent.good[1] <= most else _SUSPECT

    return spike


def spike_flags(values: Any, thresholds: Pair) -> Flags:
    """A series: how far each value stands from the mean of its two neighbours.

    Above `suspect` it is suspect, above `fail` it fails; zero is a threshold like any other and None is none.
    The ends, and values beside a missing one, are NOT_EVALUATED; NaN is MISSING.
    """
    values = np.asarray(values, float)
    flags = np.full(values.shape, Flag.NOT_EVALUATED, np.uint8)
    if len(values) > 2:
        away = np.abs(values[1:-1] - (values[:-2] + values[2:]) / 2)
        inner = flags[1:-1]
        inner[~np.isnan(away)] = Flag.GOOD
        if thresholds.suspect is not None:
            inner[away > thresholds.suspect] = Flag.SUSPECT
        if thresholds.fail is not None:
            inner[away > thresholds.fail] = Flag.FAIL
    flags[np.isnan(values)] = Flag.MISSING
    return flags
