"""The lows of the last nights at one sensor, out of hourly rows; pure.

A night is from four in the afternoon to nine in the morning by people's clocks, and belongs to its morning.
"""

from collections.abc import Callable, Sequence
from datetime import date, datetime, time, timedelta, tzinfo

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
