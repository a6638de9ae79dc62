"""Linear regression with a prior, its residuals with each case left out, and cases of which only a bound is
known.

Knows nothing of nights or houses.
"""

import math
from typing import Final, NamedTuple

import numpy as np

from monitor.science.values import FloatArray

#: Rounds of filling in the cases of which only a bound is known; the coefficients settle in three or four.
FILL_ROUNDS: Final = 6

#: Least residual spread that a bound is filled in with.
LEAST_SPREAD: Final = 0.3


class Fit(NamedTuple):
    """`coefficients`, one a feature; `left_out`: what each case differs from the fit without it, bounds
    NaN."""

    coefficients: FloatArray
    left_out: FloatArray


def ridge(
    features: FloatArray,
    target: FloatArray,
    *,
    prior: FloatArray,
    prior_spread: FloatArray,
    noise: float,
    bounded: FloatArray | None = None,
) -> Fit:
    """Coefficients between the data and a prior.

    Parameters
    ----------
    features
        cases × features, finite
    target
        one a case, finite
    prior, prior_spread
        what the coefficients are taken to be without data, and how far they may stand from it; spread above 0
    noise
        standard deviation of the target about its line, above 0
    bounded
        cases whose target is only an upper bound of the true one

    Notes
    -----
    Normal prior and noise; (XᵀX/σ² + P⁻¹)β = Xᵀy/σ² + P⁻¹β₀. Left-out residuals by the leverage, r/(1−h),
    exact for this estimator. Bounds by expectation and maximisation: the mean of what lies below the bound.
    """
    precision = np.diag(1 / prior_spread**2)
    normal = features.T @ features / noise**2 + precision
    inverse = np.linalg.inv(normal)
    pull = precision @ prior
    filled = np.array(target, dtype=np.float64)
    capped = np.zeros(len(filled), dtype=bool) if bounded is None else np.asarray(bounded, dtype=bool)
    coefficients = inverse @ (features.T @ filled / noise**2 + pull)
    for _ in range(FILL_ROUNDS if capped.any() else 0):
        fitted = features @ coefficients
        free = (target - fitted)[~capped]
        spread = max(float(np.sqrt(np.mean(free**2))) if free.size else noise, LEAST_SPREAD)
        filled[capped] = [
            mean_below(middle, spread, bound)
            for middle, bound in zip(fitted[capped], target[capped], strict=True)
        ]
        coefficients = inverse @ (features.T @ filled / noise**2 + pull)
    leverage = np.einsum("ij,jk,ik->i", features, inverse, features) / noise**2
    left_out = (filled - features @ coefficients) / np.maximum(1 - leverage, 1e-9)
    return Fit(coefficients, np.where(capped, np.nan, left_out))


def mean_below(middle: float, spread: float, bound: float) -> float:
    """Mean of a normal variable that is known to lie at or below a bound."""
    deviate = (bound - middle) / spread
    below = 0.5 * math.erfc(-deviate / math.sqrt(2))
    if below < 1e-12:
        return bound
    density = math.exp(-0.5 * deviate**2) / math.sqrt(2 * math.pi)
    return middle - spread * density / below
