"""Quality check: does the value change faster than air does? (QARTOD rate of change test)

Sun on the bench, an open door and a heater are quick and real, so too fast is only ever suspect. Each reading
is held against the last one of the minute before: a level that has stood for so long is accepted as the new
one, and so is a value that comes back to the last good one. Minutes are those of the clock and not counted
from the first reading, so that a restart judges alike.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from monitor.model import Flag, Quantity
from monitor.quality.check import NEVER, Check, Recent
from monitor.quality.roll_up import Flags
from monitor.quality.thresholds import RATE_OVER_S, THRESHOLDS
from monitor.settings import Sensor

KIND = "rate"
TIMELESS = False

_GOOD, _NOT_EVALUATED, _SUSPECT = Flag.GOOD, Flag.NOT_EVALUATED, Flag.SUSPECT


def check(sensor: Sensor, quantity: Quantity, beside: Mapping[Quantity, Recent]) -> Check | None:
    """Suspect when neither the reading before nor the last good one can have become this value in time."""
    per_min = THRESHOLDS[quantity].rate_per_min
    if per_min is None:
        return None
    per_s = per_min / 60.0
    least = per_s * RATE_OVER_S
    gap_s = sensor.silent_after_s + RATE_OVER_S
    minute_ends_at_s = NEVER[0]
    before = before_good = NEVER

    def rate(recent: Recent, value: float, at_s: float) -> Flag:
        nonlocal minute_ends_at_s, before, before_good
        if at_s >= minute_ends_at_s:
            minute_ends_at_s = at_s - at_s % RATE_OVER_S + RATE_OVER_S
            before, before_good = recent.usable, recent.good
        elapsed_s = at_s - before[0]
        if elapsed_s > gap_s:
            return _NOT_EVALUATED
        allowed = per_s * elapsed_s if elapsed_s > RATE_OVER_S else least
        if -allowed <= value - before[1] <= allowed:
            return _GOOD
        allowed = max(per_s * (at_s - before_good[0]), least)
        return _GOOD if -allowed <= value - before_good[1] <= allowed else _SUSPECT

    return rate


def rate_flags(at_s: Any, values: Any, per_min: float) -> Flags:
    """A series of instants and values: suspect where the change from the value before is faster than that.

    The time between counts for RATE_OVER_S at least. The first value, and one beside a missing one, are
    NOT_EVALUATED; NaN is MISSING.
    """
    at_s, values = np.asarray(at_s, float), np.asarray(values, float)
    flags = np.full(values.shape, Flag.NOT_EVALUATED, np.uint8)
    allowed = per_min / 60.0 * np.maximum(np.diff(at_s), RATE_OVER_S)
    change = np.abs(np.diff(values))
    known = ~np.isnan(change)
    flags[1:][known] = np.where(change[known] > allowed[known], Flag.SUSPECT, Flag.GOOD)
    flags[np.isnan(values)] = Flag.MISSING
    return flags
