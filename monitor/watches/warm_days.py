"""Warm days of a sensor by its hourly rows, and how far they raise frost limits; pure.

The guard asks it for now, a tree's record for each hour that is over: both by the rows that were known then.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta, tzinfo
from typing import Final, NamedTuple

from monitor.clock import local
from monitor.model import HourRow
from monitor.trees.in_force import Raised
from monitor.trees.tree import Tree

HOUR_S: Final = 3600.0
WARM_C: Final = 10.0
WARM_DAYS: Final = 2
WARMER_C: Final = 13.0
RAISED_K: Final = 2.0
RAISED_MORE_K: Final = 3.0
NIGHTS: Final = 3
FEWEST_HOURS: Final = 18
KEPT_DAYS: Final = 8

Days = dict[str, list[float]]
"""Local date -> hours known, sum of their means."""


class Spell(NamedTuple):
    """A warm spell at one sensor: the last warm day, how many there were, their mean [°C]."""

    last_day: str
    days: int
    mean_c: float

    @property
    def raised_k(self) -> float:
        """How far limits rise."""
        return RAISED_MORE_K if self.days > WARM_DAYS or self.mean_c >= WARMER_C else RAISED_K

    @property
    def until(self) -> str:
        """The local date on which the third night is over."""
        return (date.fromisoformat(self.last_day) + timedelta(days=NIGHTS)).isoformat()

    @property
    def raised(self) -> Raised:
        """What it does to limits below zero."""
        return Raised(self.raised_k, f"{self.raised_k:g} °C higher until {self.until}, after a warm spell")


class WarmDays:
    """The last days of every sensor; hours are added as they end. `zone` tells which day an hour is of."""

    def __init__(self, zone: tzinfo) -> None:
        self._zone = zone
        self.days: dict[str, Days] = {}

    def add(self, rows: Iterable[HourRow], offset_s: float) -> bool:
        """Rows of hours that ended; `offset_s` is wall time minus guard time. Whether any was known."""
        is_changed = False
        for row in rows:
            if row.temperature_mean_c is None:
                continue
            day = local(row.hour_at_s + offset_s, self._zone).date().isoformat()
            known = self.days.setdefault(row.sensor, {})
            count, total = known.get(day, [0.0, 0.0])
            known[day] = [count + 1.0, round(total + row.temperature_mean_c, 3)]
            while len(known) > KEPT_DAYS:
                known.pop(min(known))
            is_changed = True
        return is_changed

    def spell(self, sensor: str | None, now_s: float, offset_s: float) -> Spell | None:
        """The warm spell whose three nights are not over at an instant of guard time."""
        known = self.days.get(sensor or "", {})
        if not any(count >= FEWEST_HOURS and total / count >= WARM_C for count, total in known.values()):
            return None
        today = local(now_s + offset_s, self._zone).date()
        for back in range(NIGHTS + 1):
            last = today - timedelta(days=back)
            warm = _warm_days(known, last)
            if len(warm) >= WARM_DAYS and self._ends_s(last) - offset_s > now_s:
                return Spell(last.isoformat(), len(warm), sum(warm) / len(warm))
        return None

    def _ends_s(self, last: date) -> float:
        """Noon after the third night that follows a day; wall time."""
        return datetime.combine(last + timedelta(days=NIGHTS), time(12), tzinfo=self._zone).timestamp()


def _warm_days(known: Mapping[str, Sequence[float]], last: date) -> list[float]:
    """Means of the warm days in a row that end with a day of which most is known."""
    means: list[float] = []
    day = last
    while True:
        count, total = known.get(day.isoformat(), (0.0, 0.0))
        if count < FEWEST_HOURS or total / count < WARM_C:
            return means
        means.append(total / count)
        day -= timedelta(days=1)


def raised_hours(
    tree: Tree, rows: Iterable[HourRow], zone: tzinfo, from_s: float, to_s: float, label_offset_s: float = 0.0
) -> dict[float, Raised]:
    """How far its frost limits counted higher after warm days, by the instant each hour begins.

    By the rows of the hours before it, as the guard knew them then.
    """
    warm, found = WarmDays(zone), {}
    waiting = sorted(rows, key=lambda row: row.hour_at_s)
    added, hour_at_s = 0, math.floor(from_s / HOUR_S) * HOUR_S
    while hour_at_s + HOUR_S <= to_s:
        first = added
        while added < len(waiting) and waiting[added].hour_at_s < hour_at_s:
            added += 1
        warm.add(waiting[first:added], label_offset_s)
        placement = tree.placement_at(hour_at_s + HOUR_S / 2)
        spell = warm.spell(placement.sensor if placement else None, hour_at_s, label_offset_s)
        if spell is not None:
            found[hour_at_s] = spell.raised
        hour_at_s += HOUR_S
    return found
