"""What has been learnt of a place's nights: the nights themselves, and how each way of foretelling them did.

One night is folded in at a time; the memory is a frozen value in JSON's own types. Knows nothing of clocks or
sensors; the caller says when a night is over.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from monitor.science.night_methods import METHODS, Evening, Night, Nights, Prediction

#: Nights that are kept and fitted.
KEPT_COUNT: Final = 120

#: Nights before a regression is used at all, and before it may do without its prior.
LEARNT_FROM: Final = 10
FREE_FROM: Final = 20

#: Nights over which the ways are set against each other, and how many must be scored before one is preferred.
SCORED_COUNT: Final = 30
SCORED_FROM: Final = 5

#: Share by which a rival must be better before the choice leaves the ridge.
MARGIN: Final = 0.02


@dataclass(frozen=True, slots=True)
class NightMemory:
    """Nights of one place, oldest first, and the errors made in foretelling each.

    `errors_k`: one row a night, one entry for each of `METHODS`, truth less prediction by the nights before
    it [K]; NaN where a way could say nothing or a heater held the night.
    """

    nights: tuple[Night, ...] = ()
    errors_k: tuple[tuple[float, ...], ...] = ()

    @property
    def learnt_count(self) -> int:
        """Nights that have taught something: those no heater held."""
        return sum(not night.held for night in self.nights)

    def fold(self, night: Night) -> "NightMemory":
        """The memory after one more night. Each way foretells it first, without having seen it."""
        known = Nights(self.nights)
        foretold = [
            math.nan if night.held else night.low_c - method(known, night.evening).low_c
            for method in METHODS.values()
        ]
        return NightMemory(
            (*self.nights, night)[-KEPT_COUNT:],
            (*self.errors_k, tuple(foretold))[-KEPT_COUNT:],
        )

    def as_dict(self) -> dict[str, Any]:
        """The memory in JSON's own types."""
        return {
            "nights": [
                {
                    "evening": _plain(night.evening),
                    "low_c": night.low_c,
                    "low_after_h": night.low_after_h,
                    "track_c": _plain(night.track_c),
                    "held": night.held,
                }
                for night in self.nights
            ],
            "errors_k": [_plain(row) for row in self.errors_k],
        }

    @classmethod
    def from_dict(cls, state: Mapping[str, Any]) -> "NightMemory":
        """The memory that `as_dict` wrote."""
        nights = tuple(
            Night(
                Evening(*_numbers(night["evening"])),
                night["low_c"],
                night["low_after_h"],
                _numbers(night["track_c"]),
                night["held"],
            )
            for night in state["nights"]
        )
        return cls(nights, tuple(_numbers(row) for row in state["errors_k"]))


def method_of(memory: NightMemory) -> str:
    """Name of the way that is to be used next: `learning` up to ten nights, then the best by its own past
    errors.

    The usual fall stands until ten nights are known. From then on the ridge, and from twenty the free
    regression, unless the usual fall (or the other one) has been better over the last thirty nights: at
    some places the dew point does not help.
    """
    if memory.learnt_count < LEARNT_FROM:
        return "learning"
    rivals = ["ridge", "usual-fall"]
    if memory.learnt_count >= FREE_FROM:
        rivals.append("regression")
    scores = mean_errors(memory, rivals)
    if not scores:
        return "ridge"
    best = min(rivals, key=lambda name: scores[name])
    return best if scores[best] < (1 - MARGIN) * scores["ridge"] else "ridge"


def mean_errors(memory: NightMemory, names: Sequence[str]) -> dict[str, float]:
    """Mean absolute error of each way over the same recent nights [K]; empty if they are too few."""
    columns = [list(METHODS).index(name) for name in names]
    rows = np.array(memory.errors_k, dtype=np.float64).reshape(-1, len(METHODS))[:, columns]
    rows = rows[np.isfinite(rows).all(axis=1)][-SCORED_COUNT:]
    if len(rows) < SCORED_FROM:
        return {}
    return dict(zip(names, np.abs(rows).mean(axis=0).tolist(), strict=True))


def foretell(memory: NightMemory, evening: Evening) -> tuple[str, Prediction]:
    """The way in use and what it says of this evening, blended with a weather service by their past
    errors."""
    name = method_of(memory)
    known = Nights(memory.nights)
    own = METHODS["usual-fall" if name == "learning" else name](known, evening)
    scores = mean_errors(memory, ["usual-fall" if name == "learning" else name, "service"])
    if math.isnan(evening.service_low_c) or not scores or name == "learning":
        return name, own
    service = METHODS["service"](known, evening)
    own_k, service_k = scores[name], scores["service"]
    weight = own_k**2 / (own_k**2 + service_k**2) if own_k > 0 else 0.0
    blended = (1 - weight) * own.low_c + weight * service.low_c
    return name, Prediction(blended, (1 - weight) * own.left_out_k + weight * service.left_out_k)


def _plain(values: Sequence[float]) -> list[float | None]:
    """Numbers for JSON, which has no NaN."""
    return [None if math.isnan(value) else float(value) for value in values]


def _numbers(values: Sequence[float | None]) -> tuple[float, ...]:
    return tuple(math.nan if value is None else value for value in values)
