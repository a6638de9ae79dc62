"""The lows of the last nights at one sensor, out of hourly rows; pure.

A night is from four in the afternoon to nine in the morning by people's clocks, and belongs to its morning.
"""

from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta, tzinfo
from math import ceil

from monitor.clock import local
from monitor.model import HourRow

NIGHT_FROM, NIGHT_TO = time(16, 0), time(9, 0)
NIGHT_SEEN_H = 14.0
"""Of the seventeen hours of a night so many must be known for its low to count; judgement."""

RowsBetween = Callable[[str, float, float], Sequence[HourRow]]
"""(sensor, from, to) -> the rows of the hours that begin in that span [guard time]."""


def night_span_s(morning: date, zone: tzinfo, shift_s: float = 0.0) -> tuple[float, float]:
    """Guard instants between which the night before a morning lies; `shift_s` is wall minus guard time."""
    from_s = datetime.combine(morning - timedelta(days=1), NIGHT_FROM, tzinfo=zone).timestamp() - shift_s
    return from_s, datetime.combine(morning, NIGHT_TO, tzinfo=zone).timestamp() - shift_s


def low_c(rows: Sequence[HourRow]) -> float | None:
    """The lowest of one night's hours [°C]; None where too little of it is known."""
    lows = [row.temperature_min_c for row in rows if row.temperature_min_c is not None]
    return min(lows) if len(lows) >= NIGHT_SEEN_H else None


def last_lows_c(
    rows: RowsBetween, sensor: str, label_s: float, zone: tzinfo, nights: int, shift_s: float = 0.0
) -> tuple[float | None, ...]:
    """The low of each of the last nights that are over, the latest last [°C]; `label_s` is now by clocks."""
    today = local(label_s, zone).date()
    if label_s < night_span_s(today, zone)[1]:
        today -= timedelta(days=1)
    mornings = [today - timedelta(days=back) for back in range(nights - 1, -1, -1)]
    return tuple(low_c(rows(sensor, *night_span_s(morning, zone, shift_s))) for morning in mornings)


LOOK_BACK_S = 14 * 86400.0
SEEN_AT_LEAST = 72
"""So many hours must be known before the most that was seen says anything; judgement."""
MORE_K = 1.0
"""The next night may be a little worse than any that was seen; judgement."""


def largest_fall_k(rows: RowsBetween, sensor: str, hours: float, now_s: float) -> float | None:
    """How far the air at a sensor may fall in some hours, by the last fourteen days [K]; None: not known."""
    known = [row for row in rows(sensor, now_s - LOOK_BACK_S, now_s) if row.temperature_min_c is not None]
    if len(known) < SEEN_AT_LEAST:
        return None
    within_s = max(1.0, hours) * 3600.0
    falls_k = [
        first.temperature_max_c - later.temperature_min_c
        for index, first in enumerate(known)
        for later in known[index : index + 1 + ceil(within_s / 3600.0)]
        if later.hour_at_s <= first.hour_at_s + within_s
        and first.temperature_max_c is not None
        and later.temperature_min_c is not None
    ]
    return max(falls_k, default=0.0) + MORE_K
