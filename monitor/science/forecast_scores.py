"""How good forecasts have been: errors, hits and false alarms, chances, percentiles; each with its count
beside it.

Knows nothing of nights or houses; cases in which truth or forecast is NaN are left out.
"""

import math
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.science.values import FloatArray, require

#: Cases below which a score is not worth showing, and events below which hits and false alarms are not.
SHOWN_FROM: Final = 10
EVENTS_FROM: Final = 5


class Score(NamedTuple):
    """A figure, NaN without cases, the number of cases behind it, and whether that is enough to show it."""

    value: float
    cases: int

    @property
    def shown(self) -> bool:
        """Whether there are enough cases."""
        return self.cases >= SHOWN_FROM


class WarningTable(NamedTuple):
    """Events warned of, false alarms, events missed, and quiet cases left quiet."""

    hits: int
    false_alarms: int
    misses: int
    quiet: int

    @property
    def detected(self) -> float:
        """Share of the events that were warned of: probability of detection. [-]"""
        return _share(self.hits, self.hits + self.misses)

    @property
    def false_share(self) -> float:
        """Share of the warnings that were false: false alarm ratio. [-]"""
        return _share(self.false_alarms, self.hits + self.false_alarms)

    @property
    def success(self) -> float:
        """Hits among all that were events or warnings: critical success index. [-]"""
        return _share(self.hits, self.hits + self.false_alarms + self.misses)

    @property
    def shown(self) -> bool:
        """Whether there are enough events."""
        return self.hits + self.misses >= EVENTS_FROM


def mean_absolute_error(forecast: npt.ArrayLike, truth: npt.ArrayLike) -> Score:
    """Mean distance of forecast and truth, in their unit."""
    error = _errors(forecast, truth)
    return _mean(np.abs(error))


def bias(forecast: npt.ArrayLike, truth: npt.ArrayLike) -> Score:
    """Mean of forecast less truth, in their unit."""
    return _mean(_errors(forecast, truth))


def warnings_of(warned: npt.ArrayLike, happened: npt.ArrayLike) -> WarningTable:
    """The two-by-two table of warnings and events, both as truth values."""
    warning, event = np.asarray(warned, dtype=bool), np.asarray(happened, dtype=bool)
    return WarningTable(
        hits=int((warning & event).sum()),
        false_alarms=int((warning & ~event).sum()),
        misses=int((~warning & event).sum()),
        quiet=int((~warning & ~event).sum()),
    )


def brier(chance: npt.ArrayLike, happened: npt.ArrayLike) -> Score:
    """Mean square of chance less outcome: 0 is perfect, 0.25 is saying one half always. Brier 1950."""
    return _mean(_errors(chance, happened) ** 2)


def brier_skill(chance: npt.ArrayLike, happened: npt.ArrayLike) -> Score:
    """Share of the error of always saying the usual chance that is done away with; 1 is perfect. [-]"""
    outcome = np.asarray(happened, dtype=np.float64)
    usual = outcome.mean() if outcome.size else math.nan
    score = brier(chance, outcome)
    usual_score = float(usual * (1 - usual))
    return Score(1 - score.value / usual_score if usual_score > 0 else math.nan, score.cases)


def pinball(level: float, quantile: npt.ArrayLike, truth: npt.ArrayLike) -> Score:
    """Mean loss of a percentile, in its unit: least where it is below the truth as often as it says.

    Raises
    ------
    ValueError
        a level that is none

    Notes
    -----
    max(p·(y−q), (p−1)·(y−q)); Koenker and Bassett 1978, Econometrica 46:33.
    """
    require(level, 0.0, 1.0, "the level of a quantile", "")
    short = -_errors(quantile, truth)
    return _mean(np.maximum(level * short, (level - 1) * short))


def coverage(low: npt.ArrayLike, high: npt.ArrayLike, truth: npt.ArrayLike) -> Score:
    """Share of the truths that lie within their band. [-]"""
    below, above = _errors(low, truth), _errors(high, truth)
    return _mean(((below <= 0) & (above >= 0)).astype(np.float64))


def skill(error: Score, rival_error: Score) -> Score:
    """Share of a rival's error that is done away with [-]; negative where the rival is better."""
    known = rival_error.value > 0
    value = 1 - error.value / rival_error.value if known else math.nan
    return Score(value, min(error.cases, rival_error.cases))


def _errors(forecast: npt.ArrayLike, truth: npt.ArrayLike) -> FloatArray:
    error = np.asarray(forecast, dtype=np.float64) - np.asarray(truth, dtype=np.float64)
    return np.atleast_1d(error)[np.isfinite(np.atleast_1d(error))]


def _mean(values: FloatArray) -> Score:
    return Score(float(values.mean()) if values.size else math.nan, int(values.size))


def _share(part: int, whole: int) -> float:
    return part / whole if whole else math.nan
