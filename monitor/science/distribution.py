"""A forecast as a distribution: its percentiles, the chance to be at or below a limit, made from past errors.

Knows nothing of what is forecast.
"""

from collections.abc import Sequence
from statistics import NormalDist
from typing import Any, Final, NamedTuple

import numpy as np

from monitor.science.values import FloatArray

#: Levels that a distribution is kept at.
LEVELS: Final = tuple(level / 100 for level in range(1, 100))

#: How many past errors the assumed spread stands for. Chosen on six German stations for bands that hold.
PRIOR_WEIGHT: Final = 8.0

#: Points that stand for the assumed spread, and how much wider than a normal it is taken.
PRIOR_COUNT: Final = 20
PRIOR_WIDENING: Final = 1.1

#: Middles of twenty equal parts of the standard normal distribution.
PRIOR_POINTS: Final = tuple(NormalDist().inv_cdf((index + 0.5) / PRIOR_COUNT) for index in range(PRIOR_COUNT))


class Distribution(NamedTuple):
    """A quantity that is not known.

    `values`: at `LEVELS`, rising; `ceiling`: it has been this low already, so it ends no higher.
    """

    values: tuple[float, ...]
    ceiling: float = float("inf")

    def quantile(self, level: float) -> float:
        """Value that it is below with this chance; level 0.01 to 0.99, held at the ends."""
        return min(float(np.interp(level, LEVELS, self.values)), self.ceiling)

    @property
    def p10(self) -> float:
        """One time in ten it is below."""
        return self.quantile(0.1)

    @property
    def p50(self) -> float:
        """As often below as above."""
        return self.quantile(0.5)

    @property
    def p90(self) -> float:
        """Nine times in ten it is below."""
        return self.quantile(0.9)

    def chance_below(self, limit: float) -> float:
        """Chance to be at or below a limit. [-] Beyond the outermost levels it fades exponentially."""
        if limit >= self.ceiling:
            return 1.0
        lowest, highest = self.values[0], self.values[-1]
        if limit < lowest:
            return LEVELS[0] * _fade(lowest - limit, self.values[9] - lowest)
        if limit > highest:
            return 1 - (1 - LEVELS[-1]) * _fade(limit - highest, highest - self.values[89])
        return float(np.interp(limit, self.values, LEVELS))

    def capped(self, ceiling: float) -> "Distribution":
        """The same, now that it has been as low as the ceiling."""
        return self._replace(ceiling=min(self.ceiling, ceiling))


def _fade(beyond: float, tenfold: float) -> float:
    """A tenth for each distance in which the last levels fall to a tenth."""
    return float(10 ** (-beyond / tenfold)) if tenfold > 0 else 0.0


def from_errors(
    middle: float, errors: Sequence[float] | FloatArray, *, assumed_spread: float
) -> Distribution:
    """A forecast with the spread of its own past errors.

    Parameters
    ----------
    middle
        the forecast
    errors
        truth less forecast of cases that had no part in it, NaN left out
    assumed_spread
        standard deviation taken before there are errors; stands for eight of them

    Notes
    -----
    Conformal: levels are ranks among past errors, which hold whatever their distribution. Vovk, Gammerman
    and Shafer 2005, Algorithmic Learning in a Random World; left-out errors after Barber et al. 2021, Ann.
    Statist. 49:486, doi:10.1214/20-AOS1965.
    """
    past = np.asarray(errors, dtype=np.float64)
    past = past[np.isfinite(past)]
    squares = float(np.sum(past**2)) + PRIOR_WEIGHT * assumed_spread**2
    spread = PRIOR_WIDENING * (squares / (past.size + PRIOR_WEIGHT)) ** 0.5
    cases = np.concatenate([past, spread * np.asarray(PRIOR_POINTS)])
    weights = np.concatenate([np.ones(past.size), np.full(PRIOR_COUNT, PRIOR_WEIGHT / PRIOR_COUNT)])
    return from_cases(middle + cases, weights)


def from_cases(cases: FloatArray, weights: FloatArray) -> Distribution:
    """A distribution from cases and their weights; levels by linear interpolation between their middles."""
    order = np.argsort(cases, kind="stable")
    ranked, share = cases[order], weights[order]
    middles = (np.cumsum(share) - share / 2) / share.sum()
    values: Any = np.interp(LEVELS, middles, ranked).tolist()
    return Distribution(tuple(values))
