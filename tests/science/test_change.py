"""The CUSUM's run lengths against the published table, and its standardisation against wild residuals."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.science.change import (
    Baseline,
    changed_at,
    cusum,
    cusum_step,
    robust_baseline,
    standardise,
)

#: Lucas and Crosier 1982, Technometrics 24:199, table 1, allowance 0.5, no head start: shift [σ] -> run
#: length. It is two-sided; with a shift the other side hardly ever sounds first, without one it halves the
#: run length.
TABLE_1 = {
    4.0: {0.0: 2 * 168.0, 1.0: 8.38, 2.0: 3.34, 3.0: 2.19},
    5.0: {0.0: 2 * 465.0, 1.0: 10.4, 2.0: 4.01, 3.0: 2.57},
}

standardised = st.lists(st.floats(-8.0, 8.0) | st.just(math.nan), min_size=1, max_size=60)


def _below(z: np.ndarray) -> np.ndarray:
    """Chance that a standard normal value is below z."""
    return 0.5 * (1.0 + np.vectorize(math.erf)(z / math.sqrt(2.0)))


def _average_run_length(decision: float, shift: float, allowance: float = 0.5, cells: int = 200) -> float:
    """Steps to a crossing on average, by a Markov chain over the sum (Brook and Evans 1972, Biometrika
    59:539).

    The sum's range is cut into cells, the first one half as wide about zero; where a residual leads from a
    cell is taken from `cusum_step` itself.
    """
    width = 2.0 * decision / (2 * cells - 1)
    middles = np.arange(cells) * width
    # the residual that leads from a sum of 1 to 1 is what the step takes off
    taken_off = 1.0 - (cusum_step(1.0, 0.0, allowance))
    assert cusum_step(0.0, -1.0, allowance) == 0.0
    upper_edges = middles + width / 2.0
    below = _below(upper_edges[None, :] - middles[:, None] + taken_off - shift)
    chances = np.diff(below, axis=1, prepend=0.0)
    return float(np.linalg.solve(np.eye(cells) - chances, np.ones(cells))[0])


@pytest.mark.parametrize("decision", [4.0, 5.0])
@pytest.mark.parametrize("shift", [0.0, 1.0, 2.0, 3.0])
def test_average_run_lengths_are_the_published_ones(decision: float, shift: float) -> None:
    """Published: Lucas and Crosier 1982, table 1 (three figures), by a Markov chain over this very step."""
    assert _average_run_length(decision, shift) == pytest.approx(TABLE_1[decision][shift], rel=0.005)


@pytest.mark.parametrize("shift", [1.0, 2.0, 3.0])
def test_simulated_run_lengths_are_the_published_ones(shift: float) -> None:
    """Published: the same table, by 7,000 and more simulated runs through `cusum` and `changed_at`.

    Tolerance 3 %: three standard errors and more.
    """
    residuals = np.random.default_rng(20260110).normal(shift, 1.0, 60_000)
    lengths, start = [], 0
    while start < residuals.size - 200:
        crossed = changed_at(cusum(residuals[start : start + 200]), 4.0)
        assert crossed is not None
        lengths.append(crossed + 1)
        start += crossed + 1

    assert np.mean(lengths) == pytest.approx(TABLE_1[4.0][shift], rel=0.03)


def test_a_sum_by_hand() -> None:
    """By hand, allowance 0.5: rises by what exceeds it, never below zero."""
    sums = cusum(np.array([1.5, 0.5, -3.0, 2.0, 2.0]))

    assert sums.tolist() == pytest.approx([1.0, 1.0, 0.0, 1.5, 3.0])
    assert changed_at(sums, 2.9) == 4
    assert changed_at(sums, 3.0) is None


@settings(deadline=None)
@given(standardised, st.floats(0.0, 2.0), st.floats(0.0, 10.0))
def test_many_at_once_are_the_same_as_one_by_one(values, allowance: float, start: float) -> None:
    """Property: `cusum` equals repeated `cusum_step`, from any sum, with missing residuals in between."""
    total, expected = start, []
    for value in values:
        total = cusum_step(total, value, allowance)
        expected.append(total)

    assert cusum(np.array(values), allowance, start=start).tolist() == pytest.approx(expected, abs=1e-9)


@settings(deadline=None)
@given(standardised)
def test_a_missing_residual_neither_raises_nor_clears(values) -> None:
    """Property: NaN leaves the sum as it was."""
    holed = cusum(np.array([*values, math.nan]))

    assert holed[-1] == holed[-2] if len(holed) > 1 else holed[-1] == 0.0
    assert cusum_step(3.0, math.nan) == 3.0


@settings(deadline=None)
@given(standardised, st.floats(0.0, 3.0))
def test_worse_residuals_never_give_a_smaller_sum(values, worse: float) -> None:
    """Property: monotone in the residuals, never negative."""
    usual, shifted = cusum(np.array(values)), cusum(np.array(values) + worse)

    assert (usual >= 0.0).all()
    assert (shifted >= usual - 1e-9).all()


def test_a_third_of_wild_residuals_does_not_move_what_is_usual() -> None:
    """Independent: the normal distribution they are drawn from; three standard errors of 2,000 residuals."""
    generator = np.random.default_rng(7)
    calm = generator.normal(0.4, 1.7, 2_000)
    baseline = robust_baseline(calm)

    assert baseline.middle == pytest.approx(0.4, abs=3 * 1.25 * 1.7 / math.sqrt(2_000))
    assert baseline.spread == pytest.approx(1.7, rel=3 * 1.17 / math.sqrt(2_000))
    wild = robust_baseline(np.concatenate([calm, np.full(900, 100.0)]))
    assert wild.spread < 2.0 * baseline.spread
    assert wild.middle < 0.4 + 1.7


def test_residuals_come_back_in_standard_deviations() -> None:
    """By hand, number and array, missing stays missing."""
    baseline = Baseline(2.0, 0.5)

    assert standardise(3.0, baseline) == 2.0
    assert standardise(np.array([1.0, math.nan]), baseline).tolist() == pytest.approx(
        [-2.0, math.nan], nan_ok=True
    )


def test_too_little_or_too_even_a_past_teaches_nothing() -> None:
    """Seven residuals, or a sensor that shows one value only: no baseline, unless a least spread is given."""
    assert robust_baseline(np.arange(7.0)) is None
    assert robust_baseline(np.array([*range(7), math.nan], dtype=float)) is None
    assert robust_baseline(np.arange(8.0)) is not None
    assert robust_baseline(np.zeros(50)) is None
    assert robust_baseline(np.zeros(50), least_spread=0.1) == Baseline(0.0, 0.1)


def test_an_allowance_that_makes_no_sense_is_refused() -> None:
    """Negative, huge or missing allowance, and a negative least spread."""
    for allowance in (-0.1, 5.1, math.nan):
        with pytest.raises(ValueError, match="allowance of a CUSUM"):
            cusum_step(0.0, 1.0, allowance)
        with pytest.raises(ValueError, match="allowance of a CUSUM"):
            cusum(np.array([1.0]), allowance)
    with pytest.raises(ValueError, match="least spread"):
        robust_baseline(np.arange(9.0), least_spread=-1.0)
