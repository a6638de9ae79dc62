"""What is said to people of a wrap: how moist, dry in how many hours, what a hand would feel.

Reads the beliefs of `wraps` and changes none. Knows nothing of trees, plans or people.
"""

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from monitor.science.drying import FIBRES, hours_to_dry
from monitor.science.values import FloatArray
from monitor.science.wraps import FEELS, LOG_GAINS, Stack, WrapAir, WrapState, air_about, weights_of

#: Least chance at which a wrap is said to feel wet, damp or dry.
SURE_FROM: Final = 0.6

#: Share of a wrap's water that must be ice for it to be called frozen.
FROZEN_FROM: Final = 0.1

#: Above this a humidity sensor's own error is as large as the drying power. [%]
KNOWABLE_TO_PCT: Final = 95.0

PERCENTILES: Final = (0.1, 0.5, 0.9)


class Range(NamedTuple):
    """Ten, fifty and ninety per cent points of what is believed."""

    p10: float
    p50: float
    p90: float


class WrapEstimate(NamedTuple):
    """What is believed of a wrap, for people.

    `moisture_kg_per_kg` [kg/kg]; `dry_in_h` [h], infinite: not in this air, NaN: not knowable; `gain` [-];
    `feel` is `wet`, `damp`, `dry`, `frozen` or `unknown`; `frozen_fraction` of its water [-].
    """

    moisture_kg_per_kg: Range
    dry_in_h: Range
    gain: Range
    feel: str
    frozen_fraction: float


def estimates(states: Sequence[WrapState], outlook: WrapAir) -> tuple[WrapEstimate, ...]:
    """What is believed of each wrap, and when it will be dry if the air stays as in the outlook.

    Parameters
    ----------
    states
        the wraps
    outlook
        air to reckon the drying with, usually the mean of the last day; above 95 % humidity the hours are NaN
    """
    if not states:
        return ()
    stack = Stack(states)
    balance, _, leaving = air_about(stack, outlook)
    rate_per_h = leaving.rate_kg_per_m2_h * math.pi * stack.body.diameter_m / stack.body.dry_kg_per_m
    hours = hours_to_dry(
        stack.moisture,
        rate_per_h[:, None] * np.exp(LOG_GAINS),
        balance[:, None],
        stack.column("critical_kg_per_kg"),
        stack.column("dried_kg_per_kg"),
    )
    humidity_pct = np.broadcast_to(outlook.relative_humidity_pct, balance.shape)
    hours = np.where((humidity_pct > KNOWABLE_TO_PCT)[:, None] | np.isnan(rate_per_h)[:, None], np.nan, hours)
    weights = weights_of(states)
    gains = np.broadcast_to(np.exp(LOG_GAINS), weights.shape)
    moistures, dry_in, gain = (_ranges(values, weights) for values in (stack.moisture, hours, gains))
    feels = _feels(states, stack.moisture, weights)
    return tuple(
        WrapEstimate(
            Range(*moistures[index]),
            Range(*dry_in[index]),
            Range(*gain[index]),
            feels[index],
            frozen_fraction(state),
        )
        for index, state in enumerate(states)
    )


def _ranges(values: FloatArray, weights: FloatArray) -> list[list[float]]:
    """Percentiles of each row by linear interpolation between the middles of the weights."""
    order = np.argsort(values, axis=1)
    ranked = np.take_along_axis(values, order, axis=1)
    share_of = np.take_along_axis(weights, order, axis=1)
    middles = np.cumsum(share_of, axis=1) - share_of / 2
    columns = []
    for percentile in PERCENTILES:
        above = np.clip((middles < percentile).sum(axis=1), 1, middles.shape[1] - 1)[:, None]
        low, high = (np.take_along_axis(middles, above + step, axis=1) for step in (-1, 0))
        left, right = (np.take_along_axis(ranked, above + step, axis=1) for step in (-1, 0))
        part = np.clip((percentile - low) / np.maximum(high - low, 1e-300), 0.0, 1.0)
        with np.errstate(invalid="ignore"):
            mixed = left + part * (right - left)
        columns.append(np.where(np.isinf(right), np.where(part > 0.5, right, left), mixed)[:, 0])
    ranges: list[list[float]] = np.array(columns).T.tolist()
    return ranges


def _feels(states: Sequence[WrapState], moisture: FloatArray, weights: FloatArray) -> list[str]:
    """What each wrap would feel like to a hand, where that is known well enough."""
    facts = [FIBRES[state.fibre] for state in states]
    wet = (weights * (moisture > np.array([[fact.wet_above_kg_per_kg] for fact in facts]))).sum(axis=1)
    dry = (weights * (moisture <= np.array([[fact.dry_below_kg_per_kg] for fact in facts]))).sum(axis=1)
    chances = np.array([wet, 1 - wet - dry, dry])
    likeliest, best = chances.argmax(axis=0).tolist(), chances.max(axis=0).tolist()
    return [_feel(state, FEELS[likeliest[index]], best[index]) for index, state in enumerate(states)]


def _feel(state: WrapState, likeliest: str, chance: float) -> str:
    if frozen_fraction(state) >= FROZEN_FROM:
        return "frozen"
    if chance < SURE_FROM or (state.cover != "none" and not state.touches):
        return "unknown"
    return likeliest


def frozen_fraction(state: WrapState) -> float:
    """Share of the wrap's water that is ice. [-]"""
    return min(1.0, state.ice_k_h / state.ice_full_k_h) if state.ice_full_k_h > 0 else 0.0
