"""What a start begins from: the guard's time, and how far back the hours matter; pure."""

from collections.abc import Mapping, Sequence
from typing import Any

from monitor import clock

HOURS_AT_MOST_S = 730 * 86400.0
HOURS_AT_LEAST_S = 60 * 86400.0
"""A pot may stay frozen that long."""


def hours_needed_from_s(entries: Sequence[Mapping[str, Any]], now_s: float) -> float:
    """From when on hourly rows matter at a start: the oldest work or wrap of the book, two years at most."""
    begun = [clock.parse_rfc3339(e["at"]) for e in entries if e.get("kind") in ("work", "wrap") and "at" in e]
    oldest_s = min((*begun, now_s - HOURS_AT_LEAST_S))
    return max(oldest_s - 86400.0, now_s - HOURS_AT_MOST_S)


def guard_time_at_start(
    saved_at_s: float | None, offset_s: float, wall_now_s: float, entries: Sequence[Mapping[str, Any]] = ()
) -> float:
    """Guard time now: what it was at the last commit plus the wall's gap, if that can be trusted.

    Without either it is at least as late as the last entry of the book: else that lay in the future, and its
    limits would not hold yet.
    """
    if saved_at_s is None:
        if clock.is_trusted(wall_now_s):
            return wall_now_s
        known = (clock.parse_rfc3339(entry["at"]) for entry in entries if "at" in entry)
        return max((clock.RELEASED_AT_S, wall_now_s, *known))
    gap_s = wall_now_s - (saved_at_s + offset_s)
    if clock.is_trusted(wall_now_s) and gap_s >= 0:
        return round(saved_at_s + gap_s, 3)
    return saved_at_s
