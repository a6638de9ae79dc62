"""Quality check: is the value one that this quantity can have at all? (QARTOD gross range test)"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from monitor.model import Flag, Quantity
from monitor.quality.check import Check, Recent
from monitor.quality.roll_up import Flags
from monitor.quality.thresholds import THRESHOLDS, Band
from monitor.settings import Sensor

KIND = "gross-range"
TIMELESS = True

_GOOD, _SUSPECT, _FAIL = Flag.GOOD, Flag.SUSPECT, Flag.FAIL


def check(sensor: Sensor, quantity: Quantity, beside: Mapping[Quantity, Recent]) -> Check | None:
    """Good inside the usual band, suspect inside the possible one, else fail; NaN fails."""
    usual_low, usual_high = THRESHOLDS[quantity].usual
    possible_low, possible_high = THRESHOLDS[quantity].possible

    def in_range(recent: Recent, value: float, at_s: float) -> Flag:
        if usual_low <= value <= usual_high:
            return _GOOD
        return _SUSPECT if possible_low <= value <= possible_high else _FAIL

    return in_range


def range_flags(values: Any, usual: Band, possible: Band) -> Flags:
    """The same for an array of values; NaN is MISSING."""
    values = np.asarray(values, float)
    flags = np.full(values.shape, Flag.FAIL, np.uint8)
    flags[(values >= possible.low) & (values <= possible.high)] = Flag.SUSPECT
    flags[(values >= usual.low) & (values <= usual.high)] = Flag.GOOD
    flags[np.isnan(values)] = Flag.MISSING
    return flags
