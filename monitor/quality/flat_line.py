"""Quality check: has the value stood still for longer than air does? (QARTOD flat line test)

By hours, not by samples. One sensor alone cannot tell a dead probe from a quiet night, so it is suspect only
after the longer time and never fails here; whether other sensors have moved meanwhile is asked elsewhere.
"""

from collections import deque
from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from monitor.model import Flag, Place, Quantity
from monitor.quality.check import Check, Recent
from monitor.quality.roll_up import Flags
from monitor.quality.thresholds import (
    FREEZING_PLATEAU_K,
    STILL_AFTER_S,
    STILL_BELOW_ICE_PCT,
    STILL_HUMIDITY_PCT,
    THRESHOLDS,
    Pair,
)
from monitor.science.saturation import saturation_vapour_pressure, saturation_vapour_pressure_over_ice
from monitor.settings import Sensor

KIND = "flat-line"
TIMELESS = False

#: Extremes are kept for spans of this length, aligned to the clock so that a restart finds the same. [s]
SPAN_S: Final = 1800.0

#: Fewer readings than this over the whole time are too few to tell. [-] Own judgement.
FEWEST: Final = 30

_GOOD, _NOT_EVALUATED, _SUSPECT = Flag.GOOD, Flag.NOT_EVALUATED, Flag.SUSPECT


class _Span:
    """Lowest, highest and number of the values of half an hour."""

    __slots__ = ("begins_at_s", "count", "highest", "lowest", "newest_at_s")

    def __init__(self, begins_at_s: float, value: float, at_s: float) -> None:
        self.begins_at_s = begins_at_s
        self.lowest = self.highest = value
        self.count = 1
        self.newest_at_s = at_s


class Stillness:
    """Between which values the next one must lie for `after_s` to have passed within a hair of one value."""

    __slots__ = ("_after_s", "_gap_s", "_span", "_spans", "_within", "bounds")

    def __init__(self, within: float, after_s: float, gap_s: float) -> None:
        self._within = within
        self._after_s = after_s
        self._gap_s = gap_s
        self._spans: deque[_Span] = deque()
        self._span = _Span(float("-inf"), 0.0, float("-inf"))
        self.bounds: tuple[float, float] | None = None
        """None until there are enough readings without a gap; lower above upper if they have moved."""

    def add(self, value: float, at_s: float) -> None:
        """Take in a value."""
        span = self._span
        if at_s - span.newest_at_s > self._gap_s:
            self._spans.clear()
            self._begin(value, at_s)
        elif at_s - span.begins_at_s >= SPAN_S:
            self._spans.append(span)
            self._begin(value, at_s)
        else:
            if value < span.lowest:
                span.lowest = value
            elif value > span.highest:
                span.highest = value
            span.count += 1
            span.newest_at_s = at_s

    def _begin(self, value: float, at_s: float) -> None:
        begins_at_s = at_s - at_s % SPAN_S
        self._span = _Span(begins_at_s, value, at_s)
        spans = self._spans
        first_at_s = begins_at_s - self._after_s
        while spans and spans[0].begins_at_s < first_at_s:
            spans.popleft()
        reaches = bool(spans) and spans[0].begins_at_s < first_at_s + SPAN_S
        if reaches and sum(span.count for span in spans) >= FEWEST:
            highest, lowest = max(span.highest for span in spans), min(span.lowest for span in spans)
            self.bounds = highest - self._within, lowest + self._within
        else:
            self.bounds = None


def check(sensor: Sensor, quantity: Quantity, beside: Mapping[Quantity, Recent]) -> Check | None:
    """Suspect when the value and all of the last hours stand within a hair."""
    within = THRESHOLDS[quantity].still_within
    if within is None:
        return None
    stillness = Stillness(within, STILL_AFTER_S.fail or 0.0, sensor.silent_after_s)
    air_c = beside[Quantity.TEMPERATURE_C]
    humidity = quantity is Quantity.RELATIVE_HUMIDITY_PCT
    pot = sensor.place is Place.POT

    def still(recent: Recent, value: float, at_s: float) -> Flag:
        stillness.add(value, at_s)
        bounds = stillness.bounds
        if bounds is None:
            return _NOT_EVALUATED
        if not bounds[0] <= value <= bounds[1]:
            return _GOOD
        exempt = may_rest(value, air_c.usable[1]) if humidity else pot and abs(value) <= FREEZING_PLATEAU_K
        return _GOOD if exempt else _SUSPECT

    return still


def may_rest(relative_humidity_pct: float, temperature_c: float) -> bool:
    """Whether this humidity may stand still for a day: fog, and balance with ice or hoar below 0 °C."""
    if relative_humidity_pct >= STILL_HUMIDITY_PCT:
        return True
    if not temperature_c < 0:
        return False
    ice = saturation_vapour_pressure_over_ice(temperature_c) / saturation_vapour_pressure(temperature_c)
    return bool(relative_humidity_pct >= 100.0 * ice - STILL_BELOW_ICE_PCT)


def flat_flags(at_s: Any, values: Any, within: float, after_s: Pair = STILL_AFTER_S) -> Flags:
    """A series: how long each value and all before it have stood within `within`, by time and not by samples.

    Suspect when that is `after_s.suspect` or more, fail at `after_s.fail`; NOT_EVALUATED until the series has
    lasted so long. Missing values (NaN) are MISSING and leave the others standing.
    """
    at_s, values = np.asarray(at_s, float), np.asarray(values, float)
    flags = np.full(values.shape, Flag.MISSING, np.uint8)
    known = np.flatnonzero(~np.isnan(values))
    for span_s, flag in ((after_s.suspect, Flag.SUSPECT), (after_s.fail, Flag.FAIL)):
        if span_s is None:
            continue
        stands = _stands(at_s[known], values[known], within, span_s)
        if flag is Flag.SUSPECT or after_s.suspect is None:
            flags[known] = np.where(stands < 0, Flag.NOT_EVALUATED, Flag.GOOD)
        flags[known[stands > 0]] = flag
    return flags


def _stands(at_s: Any, values: Any, within: float, span_s: float) -> Any:
    """1 where the values of the last `span_s` stand within `within`, 0 where not, -1 where not known yet."""
    found = np.full(len(values), -1, np.int8)
    highest: deque[int] = deque()
    lowest: deque[int] = deque()
    begin = 0
    for now in range(len(values)):
        while begin < now and at_s[begin + 1] <= at_s[now] - span_s:
            begin += 1
        for extremes, sign in ((highest, 1.0), (lowest, -1.0)):
            while extremes and sign * values[extremes[-1]] <= sign * values[now]:
                extremes.pop()
            extremes.append(now)
            while extremes[0] < begin:
                extremes.popleft()
        if at_s[now] - at_s[begin] >= span_s:
            found[now] = values[highest[0]] - values[lowest[0]] <= within
    return found
