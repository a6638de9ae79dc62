"""How fast one house follows the air outside, read from one of its nights with the vents shut.

Two lags in parallel, minutes for the air and hours for pots, water and ground; one lag where the night
cannot carry two. Knows nothing of clocks, sensors or heaters; the caller cuts out what is suspect, sunlit
or ventilated.
"""

import math
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.science.values import FloatArray, require

#: Lags that are tried. [h] Slow: a bare frame to a house with a slab; fast: the air alone. A night that
#: asks for the last fast one bends for another reason, and shows one lag.
SLOW_H: Final = tuple(float(value) for value in np.geomspace(0.3, 30.0, 28))
FAST_H: Final = tuple(minutes / 60 for minutes in (2.0, 5.0, 10.0, 18.0))

#: Least difference between the two lags that are told apart.
APART: Final = 4.0

#: Least swing of inside less outside that shows a lag at all. [K]
LEAST_SWING_K: Final = 3.0

#: Shortest stretch that is used, shortest that one of them must have, and what is left out at the beginning
#: of each where there is one lag only. [h]
SHORTEST_H: Final = 1.0
LONGEST_FROM_H: Final = 2.0
SETTLING_H: Final = 1 / 3

#: A heated house is only read while it falls, by at least this over half an hour. [K/h]
FALLING_K_PER_H: Final = 0.2
FALLING_OVER_H: Final = 0.5

#: A rise within two samples that only a heater, the sun or a door makes at night. [K]
LIFT_K: Final = 0.25

#: What an unheated house stands above the air outside by itself, and how far it may be from that. [K]
OFFSET_PRIOR_K: Final = 1.0
OFFSET_SPREAD_K: Final = 3.0

#: Least noise of a reading. [K] Half a step of a common sensor.
LEAST_NOISE_K: Final = 0.05

#: A residual beyond this many spreads counts less, in proportion.
HUBER: Final = 1.5
HUBER_ROUNDS: Final = 3

#: Standard deviation of the logarithm of the slow lag beyond which a night has shown none.
WIDEST_LOG_SPREAD: Final = 0.7

#: Offsets that a house without heat can have under a clear sky or over warm ground, and the largest noise:
#: beyond them a heater, a vent or a door was at work. [K]
OFFSET_RANGE_K: Final = (-3.0, 5.0)
LARGEST_NOISE_K: Final = 0.25

#: What a second lag adds to be found: itself, its share, where it begins.
EXTRA_UNKNOWNS: Final = 3

#: Share of the fast lag outside of which the second lag is not believed.
SHARE_RANGE: Final = (0.03, 0.9)


class NightFit(NamedTuple):
    """What one night says of its house.

    `slow_log`: logarithm of the slow lag in hours, with its spread; `fast_h` [h] and `fast_share` [-], NaN
    where the night cannot carry two lags; `offset_k` inside over outside in the long run [K]; `noise_k`
    left over [K].
    """

    slow_log: float
    slow_log_spread: float
    fast_h: float
    fast_share: float
    offset_k: float
    noise_k: float


class _Profile(NamedTuple):
    """Fits for every lag: squares left, and the two coefficients that are shared by all stretches."""

    squares: FloatArray
    offset_k: FloatArray
    share: FloatArray
    residual_k: FloatArray


def fit_night(
    inside_c: npt.ArrayLike, outside_c: npt.ArrayLike, *, step_s: float, heated: bool
) -> NightFit | None:
    """Lags of a house from one night, or None where the night does not show them.

    Parameters
    ----------
    inside_c, outside_c
        on one regular grid, NaN where not to be used [°C]
    step_s
        of the grid [s], 60..1800; 300 or 600 is meant
    heated
        whether a heater may have worked: then only stretches in which the house falls are read

    Raises
    ------
    ValueError
        a grid that is too fine or too coarse

    Notes
    -----
    Inside = outside + offset, passed through the two lags; for each pair of lags the rest is linear and is
    solved by least squares with Huber weights (Huber 1964). The spread is the profile's, widened for the
    correlation of neighbouring residuals; one lag or two by the Bayes information criterion.
    """
    require(step_s, 60.0, 1800.0, "the step of a night's grid", "s")
    inside, outside = np.asarray(inside_c, dtype=np.float64), np.asarray(outside_c, dtype=np.float64)
    step_h = step_s / 3600
    stretches = _stretches(inside, outside, step_h, heated=heated)
    if not stretches or _swing(inside, outside, stretches) < LEAST_SWING_K:
        return None
    one = _one_lag(inside, outside, stretches, step_h)
    two = _two_lags(inside, outside, stretches, step_h)
    if one is None or two is None:
        best = one
    else:
        best = two if _criterion(two, EXTRA_UNKNOWNS) < _criterion(one, 0) else one
    return _read(best) if best is not None else None


def _stretches(inside: FloatArray, outside: FloatArray, step_h: float, *, heated: bool) -> list[slice]:
    """Runs of the night that can be read."""
    usable = np.isfinite(inside) & np.isfinite(outside)
    if heated:
        usable &= _falling(inside, step_h)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], usable, [False]]).astype(np.int8)))
    runs = [slice(int(start), int(stop)) for start, stop in zip(edges[::2], edges[1::2], strict=True)]
    lengths_h = [(run.stop - run.start - 1) * step_h for run in runs]
    if max(lengths_h, default=0.0) < LONGEST_FROM_H:
        return []
    return [run for run, length_h in zip(runs, lengths_h, strict=True) if length_h >= SHORTEST_H]


def _falling(inside: FloatArray, step_h: float) -> npt.NDArray[np.bool_]:
    """Where the half hour before or after falls clearly, and no heater lifts the air within two samples."""
    reach = max(1, round(FALLING_OVER_H / step_h))
    falls = _drop(inside, reach) >= FALLING_K_PER_H * reach * step_h
    lifts = (_drop(inside, 1) <= -LIFT_K) | (_drop(inside, 2) <= -LIFT_K)
    return _spread(falls, reach) & ~_spread(lifts, 2)


def _drop(inside: FloatArray, reach: int) -> FloatArray:
    """How far it falls over the coming samples; NaN at the end. [K]"""
    drop = np.full(inside.shape, np.nan)
    if inside.size > reach:
        drop[:-reach] = inside[:-reach] - inside[reach:]
    return drop


def _spread(marks: npt.NDArray[np.bool_], reach: int) -> npt.NDArray[np.bool_]:
    """Marks carried on over the coming samples."""
    spread = marks.copy()
    for shift in range(1, reach + 1):
        spread[shift:] |= marks[:-shift]
    return spread


def _swing(inside: FloatArray, outside: FloatArray, stretches: list[slice]) -> float:
    """How far inside less outside moves over what is read. [K]"""
    over = np.concatenate([(inside - outside)[run] for run in stretches])
    low, high = np.percentile(over, [2, 98])
    return float(high - low)


def _lagged(outside: FloatArray, lags_h: FloatArray, step_h: float) -> FloatArray:
    """The air outside through each lag, from its first value; exact for straight lines between samples."""
    decay = np.exp(-step_h / lags_h)
    ramp = lags_h / step_h * (1 - decay)
    followed = np.empty((len(outside), len(lags_h)))
    followed[0] = outside[0]
    for index in range(1, len(outside)):
        before, now = outside[index - 1], outside[index]
        followed[index] = now - (now - before) * ramp + decay * (followed[index - 1] - before)
    return followed.T


def _one_lag(
    inside: FloatArray, outside: FloatArray, stretches: list[slice], step_h: float
) -> "_Chosen | None":
    settling = round(SETTLING_H / step_h)
    later = [slice(run.start + settling, run.stop) for run in stretches]
    later = [run for run in later if (run.stop - run.start) >= 4]
    if not later:
        return None
    lags = np.array(SLOW_H)
    columns, targets = [], []
    for number, run in enumerate(later):
        followed = _lagged(outside[run], lags, step_h)
        hours = np.arange(run.stop - run.start) * step_h
        columns.append(
            _design(followed[:, :, None][:, :, :0], [np.exp(-hours / lags[:, None])], number, len(later))
        )
        targets.append(inside[run] - followed)
    profile = _solve(np.concatenate(columns, axis=1), np.concatenate(targets, axis=1), shares=0)
    return _Chosen(lags, np.full(len(lags), math.nan), profile)


def _two_lags(
    inside: FloatArray, outside: FloatArray, stretches: list[slice], step_h: float
) -> "_Chosen | None":
    pairs = np.array([(slow, fast) for slow in SLOW_H for fast in FAST_H if slow >= APART * fast])
    slow, fast = pairs.T
    columns, targets = [], []
    for number, run in enumerate(stretches):
        slowly, quickly = (_lagged(outside[run], lags, step_h) for lags in (slow, fast))
        hours = np.arange(run.stop - run.start) * step_h
        starts = [np.exp(-hours / lags[:, None]) for lags in (slow, fast)]
        columns.append(_design((quickly - slowly)[:, :, None], starts, number, len(stretches)))
        targets.append(inside[run] - slowly)
    profile = _solve(np.concatenate(columns, axis=1), np.concatenate(targets, axis=1), shares=1)
    low, high = SHARE_RANGE
    outlandish = (profile.share < low) | (profile.share > high)
    squares = np.where(outlandish, np.inf, profile.squares)
    if not np.isfinite(squares).any() or fast[int(np.argmin(squares))] == FAST_H[-1]:
        return None
    return _Chosen(slow, fast, profile._replace(squares=squares))


class _Chosen(NamedTuple):
    """Lags that were tried [h], and how they fit."""

    slow_h: FloatArray
    fast_h: FloatArray
    profile: _Profile


def _design(shared: FloatArray, starts: list[FloatArray], number: int, count: int) -> FloatArray:
    """Columns of one stretch: offset, what all stretches share, and each stretch's own beginnings."""
    lags, samples = starts[0].shape
    own = np.zeros((lags, samples, count * len(starts)))
    for index, start in enumerate(starts):
        own[:, :, number * len(starts) + index] = start
    return np.concatenate([np.ones((lags, samples, 1)), shared, own], axis=2)


def _solve(design: FloatArray, target: FloatArray, *, shares: int) -> _Profile:
    """Least squares for every lag at once, weights from the residuals of the best one."""
    noise_k, weights = 0.2, np.ones(target.shape[1])
    offset = np.zeros(design.shape[2])
    offset[0] = 1.0
    coefficients = np.zeros((design.shape[0], design.shape[2]))
    residual = target
    for _ in range(HUBER_ROUNDS):
        pull = (noise_k / OFFSET_SPREAD_K) ** 2
        normal = np.einsum("lsi,s,lsj->lij", design, weights, design) + pull * np.diag(offset)
        normal += 1e-9 * np.eye(design.shape[2])
        right = np.einsum("lsi,s,ls->li", design, weights, target) + pull * OFFSET_PRIOR_K * offset
        coefficients = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
        residual = target - np.einsum("lsi,li->ls", design, coefficients)
        best = residual[int(np.argmin(np.einsum("ls,s,ls->l", residual, weights, residual)))]
        noise_k = max(1.4826 * float(np.median(np.abs(best))), LEAST_NOISE_K)
        weights = np.minimum(1.0, HUBER * noise_k / np.maximum(np.abs(best), 1e-12))
    pulled = (noise_k / OFFSET_SPREAD_K) ** 2 * (coefficients[:, 0] - OFFSET_PRIOR_K) ** 2
    squares = np.einsum("ls,s,ls->l", residual, weights, residual) + pulled
    share = coefficients[:, 1] if shares else np.full(len(squares), math.nan)
    return _Profile(squares, coefficients[:, 0], share, residual)


def _effective(chosen: _Chosen) -> tuple[float, float]:
    """Noise of the best fit [K], and how many of its samples are worth their own."""
    best = chosen.profile.residual_k[int(np.argmin(chosen.profile.squares))]
    noise_k = max(float(np.sqrt(chosen.profile.squares.min() / len(best))), LEAST_NOISE_K)
    spread = float(best @ best)
    correlation = float(best[1:] @ best[:-1]) / spread if spread > 0 else 0.0
    correlation = min(max(correlation, 0.0), 0.95)
    return noise_k, len(best) * (1 - correlation) / (1 + correlation)


def _criterion(chosen: _Chosen, extra: int) -> float:
    """Bayes information criterion for a sample, less what both kinds share."""
    noise_k, worth = _effective(chosen)
    return 2 * math.log(noise_k) + extra * math.log(max(worth, 2.0)) / worth


def _read(chosen: _Chosen) -> NightFit | None:
    """Lag and spread from the profile of one night."""
    noise_k, worth = _effective(chosen)
    squares = chosen.profile.squares * worth / len(chosen.profile.residual_k[0])
    belief = np.exp(-(squares - squares.min()) / (2 * noise_k**2))
    belief = belief / belief.sum()
    logs = np.log(chosen.slow_h)
    apart = math.log(SLOW_H[1] / SLOW_H[0])
    middle = _lowest_between(chosen) if belief.max() > 0.5 else float(belief @ logs)
    spread = math.sqrt(float(belief @ (logs - middle) ** 2) + (apart / 10) ** 2)
    best = int(np.argmin(chosen.profile.squares))
    at_edge = chosen.slow_h[best] in (SLOW_H[0], SLOW_H[-1])
    low_k, high_k = OFFSET_RANGE_K
    disturbed = not low_k <= chosen.profile.offset_k[best] <= high_k or noise_k > LARGEST_NOISE_K
    if spread > WIDEST_LOG_SPREAD or at_edge or disturbed:
        return None
    two = not math.isnan(chosen.fast_h[best])
    return NightFit(
        slow_log=middle,
        slow_log_spread=spread,
        fast_h=float(chosen.fast_h[best]),
        fast_share=float(chosen.profile.share[best]) if two else math.nan,
        offset_k=float(chosen.profile.offset_k[best]),
        noise_k=noise_k,
    )


def _lowest_between(chosen: _Chosen) -> float:
    """Logarithm of the slow lag at the bottom of the parabola through the best lag and its neighbours."""
    best = int(np.argmin(chosen.profile.squares))
    fast_h = chosen.fast_h[best]
    same = np.flatnonzero((chosen.fast_h == fast_h) | (np.isnan(chosen.fast_h) & math.isnan(fast_h)))
    place = int(np.flatnonzero(same == best)[0])
    logs, squares = np.log(chosen.slow_h[same]), chosen.profile.squares[same]
    if not 0 < place < len(same) - 1 or not np.isfinite(squares[place - 1 : place + 2]).all():
        return float(logs[place])
    before, here, after = squares[place - 1 : place + 2]
    bend = before - 2 * here + after
    shift = 0.5 * (before - after) / bend if bend > 0 else 0.0
    return float(logs[place] + shift * (logs[place + 1] - logs[place]))
