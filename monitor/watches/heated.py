"""What has been learnt of a house's heater from its nights: what it holds, and how often it failed.

Pure: frozen values in JSON's own types. It knows no sensors, no alarms and no clock.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

KEPT_COUNT: Final = 30
IDLE_ABOVE_K: Final = 1.5
"""A low so far above what the heater is set to was not its doing."""
HELD_WITHIN_K: Final = 2.0
"""Further below it the heater did not hold."""
SHORT_LIFT_SHARE: Final = 0.6
SHORT_LIFT_K: Final = 5.0
"""A house that has fallen but still stands so far above the air outside is being heated, too little."""
HOLDS_PRIOR_K: Final = -0.8
HOLDS_SPREAD_K: Final = 0.6
LEAST_SPREAD_K: Final = 0.25
LEARNT_FROM: Final = 3
WORKS: Final = 24.0
FAILS: Final = 1.0
"""Before nights say more, a heater is taken to fail in one cold night of twenty-five; judgement."""
RECENT_COUNT: Final = 10
RECENT_WEIGHT: Final = 3.0
"""A failure of the last ten nights counts three times."""


class HeatedNight(NamedTuple):
    """One night: what the heater was set to, the low [°C], the most that the inside stood above the outside
    [K] over an hour and the least lift when it was coldest; `outcome`: held, idle, short or failed."""

    setpoint_c: float
    low_c: float
    lift_k: float
    lift_at_low_k: float
    outcome: str


@dataclass(frozen=True, slots=True)
class HeaterMemory:
    """The last nights of one heater, oldest first."""

    nights: tuple[HeatedNight, ...] = ()

    def fold(self, night: HeatedNight) -> "HeaterMemory":
        """The memory after one more night."""
        return HeaterMemory((*self.nights, night)[-KEPT_COUNT:])

    @property
    def held_count(self) -> int:
        """Nights in which it was needed and held."""
        return sum(night.outcome == "held" for night in self.nights)

    @property
    def failed_lately(self) -> int:
        """Failures among the last ten nights."""
        return sum(night.outcome == "failed" for night in self.nights[-RECENT_COUNT:])

    @property
    def holds_k(self) -> float:
        """The usual low of a held night less what the heater is set to [K]."""
        lows = self._held_lows_k()
        return float(np.median(lows)) if len(lows) >= LEARNT_FROM else HOLDS_PRIOR_K

    @property
    def spread_k(self) -> float:
        """How the low of held nights varies [K]."""
        lows = self._held_lows_k()
        if len(lows) < LEARNT_FROM:
            return HOLDS_SPREAD_K
        own = 1.4826 * float(np.median(np.abs(lows - np.median(lows))))
        return max(own, LEAST_SPREAD_K) + HOLDS_SPREAD_K / len(lows)

    @property
    def chance_holds(self) -> float:
        """Chance that it works tonight, if it is strong enough."""
        failures = sum(night.outcome == "failed" for night in self.nights)
        failed = failures + (RECENT_WEIGHT - 1) * self.failed_lately
        return (WORKS + self.held_count) / (WORKS + FAILS + self.held_count + failed)

    @property
    def lift_full_k(self) -> float:
        """What it lifts the house above the air outside with all its power; infinite if it never fell
        short."""
        lifts = [night.lift_at_low_k for night in self.nights if night.outcome == "short"]
        return float(np.median(lifts)) if lifts else math.inf

    @property
    def lift_seen_k(self) -> float:
        """The most that it has been seen to lift the house [K]; NaN where nobody knows."""
        lifts = [n.lift_k for n in self.nights if n.outcome == "held" and math.isfinite(n.lift_k)]
        return max(lifts, default=math.nan)

    def _held_lows_k(self) -> Floats:
        return np.array([n.low_c - n.setpoint_c for n in self.nights if n.outcome == "held"])

    def as_dict(self) -> dict[str, Any]:
        """The memory in JSON's own types."""
        return {"nights": [[_plain(value) for value in night] for night in self.nights]}

    @staticmethod
    def from_dict(state: Mapping[str, Any]) -> "HeaterMemory":
        """The memory that `as_dict` wrote."""
        rows = [[math.nan if value is None else value for value in row] for row in state["nights"]]
        return HeaterMemory(tuple(HeatedNight._make(row) for row in rows))


def _plain(value: float | str) -> float | str | None:
    """For JSON, which has no NaN."""
    return None if isinstance(value, float) and math.isnan(value) else value


def heated_night(setpoint_c: float, inside_c: Floats, outside_c: Floats) -> HeatedNight | None:
    """What one night on a five-minute grid says of a heater; None where the night is not known.

    `outside_c` may be NaN throughout: then a heater that is too small cannot be told from one that is out.
    """
    known = np.isfinite(inside_c)
    if known.mean() < 0.5:
        return None
    low = int(np.nanargmin(inside_c))
    low_c = float(inside_c[low])
    lift = inside_c - outside_c
    hourly = _hour_means(lift)
    lift_k = float(np.nanmax(hourly)) if np.isfinite(hourly).any() else math.nan
    before = lift[max(0, low - 12) : low + 1]
    at_low_k = float(np.nanmedian(before)) if np.isfinite(before).any() else math.nan
    if low_c >= setpoint_c + IDLE_ABOVE_K:
        outcome = "idle"
    elif low_c >= setpoint_c - HELD_WITHIN_K:
        outcome = "held"
    elif at_low_k >= max(SHORT_LIFT_K, SHORT_LIFT_SHARE * lift_k):
        outcome = "short"
    else:
        outcome = "failed"
    return HeatedNight(setpoint_c, low_c, lift_k, at_low_k, outcome)


def _hour_means(values: Floats) -> Floats:
    """Means of each hour of a five-minute grid; NaN where an hour is not known whole."""
    whole = len(values) // 12
    means: Floats = values[: whole * 12].reshape(whole, 12).mean(axis=1)
    return means
