"""Whether a run of residuals has shifted: standardised by their own usual spread, added up by a one-sided
CUSUM.

Knows nothing of heaters or temperatures: the caller turns what it expects into residuals, positive when
matters are worse, and decides what a crossing means.
"""

import math
from typing import Final, NamedTuple

import numpy as np

from monitor.science.values import FloatArray, Value, require

#: Half the shift that is looked for, in standard deviations: the usual choice for a shift of one.
ALLOWANCE: Final = 0.5

#: Sum that counts as a change, in standard deviations. With an allowance of 0.5 and independent residuals one
#: false change in 931 steps, and a shift of one standard deviation found after 10 steps on average.
DECISION: Final = 5.0

#: Standard deviation of a normal distribution over its median absolute deviation.
MAD_TO_SIGMA: Final = 1.4826

#: Fewest residuals that a usual spread is learnt from.
FEWEST_RESIDUALS: Final = 8


class Baseline(NamedTuple):
    """What is usual: the middle of past residuals and their spread, both in the residuals' unit."""

    middle: float
    spread: float


def robust_baseline(residuals: FloatArray, *, least_spread: float = 0.0) -> Baseline | None:
    """Middle and spread of past residuals by median and median absolute deviation.

    A third of the residuals may be wild without moving it. None where fewer than eight are known, or where
    they do not differ and no least spread is given: nothing can be standardised by them.

    Parameters
    ----------
    residuals
        past residuals, shape (n,), any unit; NaN left out
    least_spread
        floor of the spread, such as the sensor's resolution [unit of the residuals], 0 or more

    Raises
    ------
    ValueError
        the floor is negative

    Notes
    -----
    Hampel 1974, doi:10.1080/01621459.1974.10482962; the factor 1.4826 makes it agree with a normal
    distribution.
    """
    require(least_spread, 0.0, math.inf, "least spread of residuals", "(unit of the residuals)")
    known = residuals[~np.isnan(residuals)]
    if known.size < FEWEST_RESIDUALS:
        return None
    middle = float(np.median(known))
    spread = max(MAD_TO_SIGMA * float(np.median(np.abs(known - middle))), least_spread)
    return Baseline(middle, spread) if spread > 0.0 else None


def standardise(residual: Value, baseline: Baseline) -> Value:
    """Residuals in standard deviations from what is usual. [-] Number or array; NaN in, NaN out."""
    result: Value = (residual - baseline.middle) / baseline.spread
    return result


def cusum_step(total: float, standardised: float, allowance: float = ALLOWANCE) -> float:
    """The sum after one more residual. [standard deviations]

    Parameters
    ----------
    total
        the sum before, 0 or more
    standardised
        the residual in standard deviations; NaN leaves the sum as it was: what is unknown neither raises nor
        clears
    allowance
        what is taken off at every step [standard deviations], 0..5

    Raises
    ------
    ValueError
        the allowance is out of range

    Notes
    -----
    Page 1954, Biometrika 41:100, doi:10.1093/biomet/41.1-2.100, one-sided form: S = max(0, S + z − k).
    """
    require(allowance, 0.0, 5.0, "allowance of a CUSUM", "standard deviations")
    if math.isnan(standardised):
        return total
    return max(0.0, total + standardised - allowance)


def cusum(standardised: FloatArray, allowance: float = ALLOWANCE, *, start: float = 0.0) -> FloatArray:
    """The sums after each of many residuals, as `cusum_step` gives them one by one. [standard deviations]

    Parameters
    ----------
    standardised
        residuals in standard deviations, shape (n,); NaN leaves the sum as it was
    allowance
        what is taken off at every step [standard deviations], 0..5
    start
        the sum before the first, 0 or more

    Raises
    ------
    ValueError
        the allowance is out of range

    Notes
    -----
    A sum that is held at zero from below is the running sum less its lowest value so far.
    """
    require(allowance, 0.0, 5.0, "allowance of a CUSUM", "standard deviations")
    running = start + np.cumsum(np.where(np.isnan(standardised), 0.0, standardised - allowance))
    return running - np.minimum(0.0, np.minimum.accumulate(running))


def changed_at(sums: FloatArray, decision: float = DECISION) -> int | None:
    """Index of the first sum above the decision value, or None."""
    above = np.flatnonzero(sums > decision)
    return int(above[0]) if above.size else None
