"""How one house follows the air outside, learnt night by night, as a frozen value with its uncertainty.

Each night's fit (`house_fit`) is one vote; the house is what most nights agree on, held to a wide prior
while they are few. Knows nothing of clocks, sensors or heaters' states.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np

from monitor.science.house_fit import NightFit
from monitor.science.values import FloatArray

#: Nights that are kept: about a month, as snow, wind seals and full benches change a house.
KEPT_COUNT: Final = 30

#: A house of which nothing is known: single glazing with half a ton of moist pots, give or take a factor of
#: two.
SLOW_LOG_PRIOR: Final = math.log(2.5)
SLOW_LOG_SPREAD: Final = 0.8
FAST_PRIOR_H: Final = 5 / 60
SHARE_PRIOR: Final = 0.3
SHARE_SPREAD: Final = 0.15
OFFSET_PRIOR_K: Final = 1.0
OFFSET_SPREAD_K: Final = 2.5
NOISE_PRIOR_K: Final = 0.2

#: Nights that must carry two lags, and what share of all of them, before the house is said to have two.
TWO_FROM: Final = 3
TWO_SHARE: Final = 0.5

#: Least spread from night to night of the logarithm of the lag, of the share and of the offset [K]: wind
#: and sky differ. Beside it, what one night's own share and offset [K] are good to.
LEAST_LOG_SPREAD: Final = 0.1
LEAST_SHARE_SPREAD: Final = 0.03
LEAST_OFFSET_SPREAD_K: Final = 0.5
SHARE_ERROR: Final = 0.05
OFFSET_ERROR_K: Final = 0.5

Kind = Literal["unknown", "one-state", "two-state"]


@dataclass(frozen=True, slots=True)
class HouseResponse:
    """What is known of a house; without nights, what is assumed of any.

    `kind`: whether it is known, and with one lag or two; `slow_h`: lag of pots, water and ground, or of the
    whole house where there is one only [h], and `slow_log_spread` how far tonight's logarithm may be from
    it; `fast_h`: lag of the air [h]; `fast_share`: part of a change outside that comes with it [-], 0 with
    one lag; `offset_k`: inside over outside in the long run without heat [K]; `noise_k`: what a night's fit
    leaves over [K]; `nights`: the fits behind it, oldest first.
    """

    kind: Kind = "unknown"
    slow_h: float = math.exp(SLOW_LOG_PRIOR)
    slow_log_spread: float = SLOW_LOG_SPREAD
    fast_h: float = FAST_PRIOR_H
    fast_share: float = SHARE_PRIOR
    fast_share_spread: float = SHARE_SPREAD
    offset_k: float = OFFSET_PRIOR_K
    offset_spread_k: float = OFFSET_SPREAD_K
    noise_k: float = NOISE_PRIOR_K
    nights: tuple[NightFit, ...] = ()

    def learn(self, night: NightFit) -> "HouseResponse":
        """The house after one more night."""
        return house_of((*self.nights, night)[-KEPT_COUNT:])

    def as_dict(self) -> dict[str, Any]:
        """The house in JSON's own types."""
        state = {name: getattr(self, name) for name in self.__slots__}
        rows = [[None if math.isnan(value) else value for value in night] for night in self.nights]
        return {**state, "nights": rows}

    @classmethod
    def from_dict(cls, state: Mapping[str, Any]) -> "HouseResponse":
        """The house that `as_dict` wrote."""
        rows = [[math.nan if value is None else value for value in row] for row in state["nights"]]
        return cls(**{**state, "nights": tuple(NightFit(*row) for row in rows)})


def house_of(nights: Sequence[NightFit]) -> HouseResponse:
    """The house that these nights agree on."""
    if not nights:
        return HouseResponse()
    two = [night for night in nights if not math.isnan(night.fast_share)]
    both = len(two) >= TWO_FROM and len(two) > TWO_SHARE * len(nights)
    lags = np.array([night.slow_log for night in nights])
    lag_errors = np.array([night.slow_log_spread for night in nights])
    slow_log, slow_spread = _together(lags, lag_errors, SLOW_LOG_PRIOR, SLOW_LOG_SPREAD, LEAST_LOG_SPREAD)
    share, share_spread = 0.0, 0.0
    if both:
        shares = np.array([night.fast_share for night in two])
        errors = np.full(len(two), SHARE_ERROR)
        share, share_spread = _together(shares, errors, SHARE_PRIOR, SHARE_SPREAD, LEAST_SHARE_SPREAD)
    offset_k, offset_spread_k = _together(
        np.array([night.offset_k for night in nights]),
        np.full(len(nights), OFFSET_ERROR_K),
        OFFSET_PRIOR_K,
        OFFSET_SPREAD_K,
        LEAST_OFFSET_SPREAD_K,
    )
    return HouseResponse(
        kind="two-state" if both else "one-state",
        slow_h=math.exp(slow_log),
        slow_log_spread=slow_spread,
        fast_h=float(np.median([night.fast_h for night in two])) if both else FAST_PRIOR_H,
        fast_share=share,
        fast_share_spread=share_spread,
        offset_k=offset_k,
        offset_spread_k=offset_spread_k,
        noise_k=float(np.median([night.noise_k for night in nights])),
        nights=tuple(nights),
    )


def _together(
    values: FloatArray, errors: FloatArray, prior: float, prior_spread: float, least: float
) -> tuple[float, float]:
    """What nights say together, and how far the next one may be from it.

    Nights beyond three robust spreads of the middle are pulled in to there; the rest is weighed by what
    each knows and by how far nights differ among themselves, with the prior as one more voice.
    """
    middle = float(np.median(values))
    between = max(1.4826 * float(np.median(np.abs(values - middle))), least)
    pulled = np.clip(values, middle - 3 * between, middle + 3 * between)
    weights = 1 / (errors**2 + between**2)
    sure = float(weights.sum()) + 1 / prior_spread**2
    mean = (float(weights @ pulled) + prior / prior_spread**2) / sure
    few = (prior_spread / (len(values) + 1)) ** 2
    return mean, math.sqrt(between**2 + 1 / sure + few)
