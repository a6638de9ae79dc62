"""What was forecast for one night, and how it did against what came and against three honest rivals; pure."""

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final, NamedTuple

import numpy as np

from monitor.science import forecast_scores

LAST_NIGHTS: Final = 7
RIVALS: Final = ("evening_c", "last_low_c", "usual_fall_c")


class Said(NamedTuple):
    """The first forecast of a night and its rivals [°C]; `late_c` is the middle that was said in the small
    hours; `chances`: (limit [°C], chance to be at or below it)."""

    night: str
    method: str
    p10: float
    p50: float
    p90: float
    evening_c: float
    last_low_c: float
    usual_fall_c: float
    service_low_c: float = math.nan
    late_c: float = math.nan
    chances: tuple[tuple[float, float], ...] = ()

    def as_list(self) -> list[Any]:
        """In JSON's own types."""
        return [*_plain(self[:-1]), [list(pair) for pair in self.chances]]

    @staticmethod
    def from_list(row: Sequence[Any]) -> "Said":
        """What `as_list` wrote."""
        numbers = [math.nan if value is None else float(value) for value in row[2:-1]]
        return Said._make((row[0], row[1], *numbers, tuple((a, b) for a, b in row[-1])))


class Scored(NamedTuple):
    """A forecast and the low that came [°C]."""

    said: Said
    low_c: float

    def as_list(self) -> list[Any]:
        """In JSON's own types."""
        return [*self.said.as_list(), self.low_c]

    @staticmethod
    def from_list(row: Sequence[Any]) -> "Scored":
        """What `as_list` wrote."""
        return Scored(Said.from_list(row[:-1]), row[-1])


def scored(said: Said, low_c: float) -> Scored:
    """A forecast set beside what came."""
    return Scored(said, low_c)


def summary(scores: Sequence[Scored]) -> dict[str, Any]:
    """Plain figures for page and report, each with its count; empty where no night was scored.

    `error_k` mean distance of the middle from what came, `band_held` share of nights within the eighty per
    cent band, `rivals_k` the same distance for each rival over the same nights, `skill` share of the usual
    fall's error that is done away with, `brier` of the chances; `enough` whether there are ten nights.
    """
    truth = np.array([score.low_c for score in scores])
    middle = np.array([score.said.p50 for score in scores])
    if not np.isfinite(middle - truth).any():
        return {}
    error = forecast_scores.mean_absolute_error(middle, truth)
    held = forecast_scores.coverage(
        np.array([score.said.p10 for score in scores]), np.array([score.said.p90 for score in scores]), truth
    )
    rivals = {name: _same_nights(scores, name, middle, truth) for name in RIVALS}
    own, usual = rivals["usual_fall_c"]
    pairs = [(chance, score.low_c <= limit) for score in scores for limit, chance in score.said.chances]
    brier = forecast_scores.brier([c for c, _ in pairs], [o for _, o in pairs])
    return {
        "nights": error.cases,
        "enough": error.shown,
        "error_k": round(error.value, 2),
        "band_held": round(held.value, 3),
        "rivals_k": {name: _rounded(pair[1].value) for name, pair in rivals.items()},
        "skill": _rounded(forecast_scores.skill(own, usual).value),
        "brier": _rounded(brier.value),
        "last_nights": [_night(score) for score in scores[-LAST_NIGHTS:] if math.isfinite(score.said.p50)],
    }


def _night(score: Scored) -> dict[str, Any]:
    """What was said of one night, and what came [°C]."""
    said = score.said
    figures = {"p10_c": said.p10, "p50_c": said.p50, "p90_c": said.p90, "came_c": score.low_c}
    return {"night": said.night, **{name: round(value, 2) for name, value in figures.items()}}


def _same_nights(
    scores: Sequence[Scored], rival: str, middle: Any, truth: Any
) -> tuple[forecast_scores.Score, forecast_scores.Score]:
    """Own error and a rival's over the nights that the rival could speak of."""
    other = np.array([getattr(score.said, rival) for score in scores])
    known = np.isfinite(other)
    return (
        forecast_scores.mean_absolute_error(middle[known], truth[known]),
        forecast_scores.mean_absolute_error(other[known], truth[known]),
    )


def _rounded(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None


def _plain(values: Sequence[Any]) -> list[Any]:
    return [None if isinstance(v, float) and not math.isfinite(v) else v for v in values]


def said_of(rows: Mapping[str, Sequence[Any]]) -> dict[str, Said]:
    """What was said of each sensor, from its row."""
    return {sensor: Said.from_list(row) for sensor, row in rows.items()}
