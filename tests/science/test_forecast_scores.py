"""Scores of forecasts. Truths: `independent` = hand calculations on a few cases."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.science.forecast_scores import (
    Score,
    bias,
    brier,
    brier_skill,
    coverage,
    mean_absolute_error,
    pinball,
    skill,
    warnings_of,
)


def test_errors_by_hand() -> None:
    """Independent: errors 1, −2, 0 give 1 and −⅓; the case without truth is left out."""
    forecast, truth = [3.0, -2.0, 5.0, 1.0], [2.0, 0.0, 5.0, math.nan]

    assert mean_absolute_error(forecast, truth) == (1.0, 3)
    assert bias(forecast, truth) == (pytest.approx(-1 / 3), 3)


def test_hits_and_false_alarms_by_hand() -> None:
    """Independent: 2 hits, 1 false alarm, 1 miss, 1 quiet: detected ⅔, false ⅓, success ½."""
    table = warnings_of([True, True, True, False, False], [True, True, False, True, False])

    assert table == (2, 1, 1, 1)
    assert table.detected == pytest.approx(2 / 3)
    assert table.false_share == pytest.approx(1 / 3)
    assert table.success == pytest.approx(1 / 2)
    assert not table.shown


def test_nothing_warned_of_and_nothing_happened_is_no_share() -> None:
    """Shares of nothing are NaN, not zero."""
    table = warnings_of([False], [False])

    assert math.isnan(table.detected)
    assert math.isnan(table.false_share)


def test_chances_by_hand() -> None:
    """Independent: (0.8−1)², (0.3−0)², (0.5−1)² have the mean 0.1267; the usual chance ⅔ scores 2/9."""
    chances, happened = [0.8, 0.3, 0.5], [1.0, 0.0, 1.0]

    assert brier(chances, happened).value == pytest.approx(0.38 / 3)
    assert brier_skill(chances, happened).value == pytest.approx(1 - (0.38 / 3) / (2 / 9))


def test_percentile_loss_by_hand() -> None:
    """Independent: truth 2 above a ten per cent point costs 0.2, truth 2 below it 1.8."""
    assert pinball(0.1, [0.0], [2.0]).value == pytest.approx(0.2)
    assert pinball(0.1, [0.0], [-2.0]).value == pytest.approx(1.8)


def test_bands_hold_their_edges() -> None:
    """Independent: two of four lie within, the edge counts as within."""
    assert coverage([0, 0, 0, 0], [1, 1, 1, 1], [0.5, 1.0, 1.1, -0.1]) == (0.5, 4)


def test_a_score_of_few_cases_is_not_shown_and_of_none_is_not_a_number() -> None:
    """Counts stand beside every score."""
    assert not mean_absolute_error([1.0] * 9, [0.0] * 9).shown
    assert mean_absolute_error([1.0] * 10, [0.0] * 10).shown
    assert math.isnan(mean_absolute_error([], []).value)


def test_skill_is_the_share_of_a_rival_s_error_done_away_with() -> None:
    """Independent: 1.5 against 2.0 is a quarter; against nothing there is none."""
    assert skill(Score(1.5, 20), Score(2.0, 12)) == (0.25, 12)
    assert math.isnan(skill(Score(1.5, 20), Score(0.0, 20)).value)


@given(st.lists(st.floats(-20, 20), min_size=1, max_size=40), st.floats(0.05, 0.95))
def test_no_constant_loses_less_than_the_percentile_itself(truths: list[float], level: float) -> None:
    """Property: pinball loss is least at the sample's own percentile."""
    own = sorted(truths)[min(int(level * len(truths)), len(truths) - 1)]
    least = pinball(level, [own] * len(truths), truths).value
    for other in (own - 1.0, own + 1.0):
        assert least <= pinball(level, [other] * len(truths), truths).value + 1e-9


def test_a_level_that_is_none_is_refused() -> None:
    """The error names what is wrong."""
    with pytest.raises(ValueError, match="level of a quantile"):
        pinball(1.5, [0.0], [0.0])
