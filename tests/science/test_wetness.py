"""Wet hours and their weight.

What is published must come out, and a spell must begin, pause and end as it says.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.science.wetness import (
    ACT_H,
    NOTICE_H,
    VENTILATE_H,
    WARN_H,
    Wetness,
    is_wet,
    wetness_index,
    wetness_step,
    wetness_weight,
)

DRY = Wetness()

hours = st.lists(
    st.tuples(
        st.floats(-10.0, 35.0) | st.just(math.nan), st.floats(30.0, 100.0) | st.just(math.nan), st.booleans()
    ),
    min_size=1,
    max_size=60,
)


def _after(count: int, temperature_c: float, humidity_pct: float, spell: Wetness = DRY) -> Wetness:
    for _ in range(count):
        spell = wetness_step(spell, temperature_c, humidity_pct)
    return spell


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "wet"),
    [
        (10.0, 90.0, 1.0),
        (10.0, 89.9, 1.0),
        (10.0, 85.0, 0.0),
        (20.0, 89.0, 1.0),
        (20.0, 87.0, 0.0),
        (-5.0, 95.0, 1.0),
    ],
)
def test_surfaces_are_wet_in_damp_air_and_near_the_dew_point(
    temperature_c: float, humidity_pct: float, wet: float
) -> None:
    """Common practice, no source.

    From 90 %, or within 2 K of the dew point (87.5 % at 10 °C, 88.2 % at 20 °C).
    """
    assert is_wet(temperature_c, humidity_pct) == wet
    assert is_wet(np.array([temperature_c]), np.array([humidity_pct])).tolist() == [wet]


@pytest.mark.parametrize(
    ("temperature_c", "weight"),
    [
        (-3.0, 0.0),
        (2.0, 0.0),
        (5.0, 0.1),
        (8.0, 0.25),
        (10.0, 0.425),
        (12.0, 0.6),
        (15.0, 1.0),
        (24.0, 1.0),
        (28.0, 0.5),
        (32.0, 0.0),
        (40.0, 0.0),
    ],
)
def test_the_weight_of_a_wet_hour_by_temperature(temperature_c: float, weight: float) -> None:
    """Judgement of the project: its own corner points and straight lines between."""
    assert wetness_weight(temperature_c) == pytest.approx(weight)
    assert wetness_weight(np.array([temperature_c])).tolist() == pytest.approx([weight])


def test_what_infected_geraniums_is_at_least_worth_a_notice() -> None:
    """Published: Sirjusingh and Sutton 1996, Plant Disease 80:160 (abstract), grey mould on geranium flowers.

    Infection rose sharply from 8 to 24 wet hours at 15 °C, from 4 to 12 at 21 and 25 °C; none in 24 h at 5 to
    10 °C.
    """
    assert _after(8, 15.0, 97.0).index_h >= NOTICE_H
    assert _after(24, 15.0, 97.0).index_h >= ACT_H
    assert _after(12, 21.0, 97.0).index_h >= WARN_H
    assert _after(12, 24.0, 97.0).index_h >= WARN_H
    assert _after(24, 5.0, 97.0).index_h < NOTICE_H
    assert _after(24, 8.0, 97.0).index_h < NOTICE_H


def test_a_cold_wet_winter_spell_counts_hours_though_not_weight() -> None:
    """Two days wet at 1 °C: nothing grows, but the house wants air."""
    spell = _after(48, 1.0, 98.0)

    assert spell.index_h == 0.0
    assert spell.wet_h >= VENTILATE_H


def test_four_dry_hours_end_a_spell_and_three_do_not() -> None:
    """Both sides of the reset."""
    wet = _after(10, 18.0, 95.0)

    assert _after(3, 18.0, 70.0, wet).index_h == wet.index_h
    assert _after(4, 18.0, 70.0, wet) == Wetness(dry_h=4.0)


def test_air_that_neither_wets_nor_dries_keeps_what_there_is() -> None:
    """Between 85 % and wet the spell pauses, and dry hours must begin anew."""
    wet = _after(10, 18.0, 95.0)
    paused = _after(6, 18.0, 86.0, _after(3, 18.0, 70.0, wet))

    assert paused.index_h == wet.index_h
    assert paused.dry_h == 0.0


def test_an_unknown_hour_neither_adds_nor_dries_and_is_said() -> None:
    """A missing reading is counted as unknown: it never clears a spell."""
    wet = _after(10, 18.0, 95.0)
    for temperature_c, humidity_pct in ((math.nan, 60.0), (18.0, math.nan)):
        unknown = _after(24, temperature_c, humidity_pct, wet)
        assert unknown.index_h == wet.index_h
        assert unknown.unknown_h == 24.0


def test_spraying_wets_in_dry_air() -> None:
    """Foliage wetted by hand is wet whatever the air says."""
    assert wetness_step(Wetness(), 18.0, 50.0, sprayed=True).index_h == 1.0
    assert wetness_step(Wetness(), 18.0, math.nan, sprayed=True).index_h == 1.0
    assert wetness_index(np.array([18.0, 18.0]), np.array([50.0, 50.0]), np.array([1.0, 0.0])).tolist() == [
        1.0,
        1.0,
    ]


@settings(deadline=None)
@given(hours)
def test_many_hours_at_once_are_the_same_as_one_by_one(rows) -> None:
    """Property: the array's sums are the steps'; sums never turn negative."""
    t_c, rh_pct, sprayed = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    spell, expected = Wetness(), []
    for temperature_c, humidity_pct, hand in rows:
        spell = wetness_step(spell, temperature_c, humidity_pct, sprayed=hand)
        expected.append(spell.index_h)

    sums = wetness_index(t_c, rh_pct, sprayed)
    assert sums.tolist() == pytest.approx(expected)
    assert (sums >= 0.0).all()


@settings(deadline=None)
@given(st.floats(-20.0, 40.0), st.floats(5.0, 99.0), st.floats(0.0, 1.0))
def test_damper_air_is_never_less_wet(temperature_c: float, humidity_pct: float, more_pct: float) -> None:
    """Property: monotone in humidity, and a number gives a plain float."""
    assert is_wet(temperature_c, humidity_pct + more_pct) >= is_wet(temperature_c, humidity_pct)
    assert type(is_wet(temperature_c, humidity_pct)) is float
    assert type(wetness_weight(temperature_c)) is float


def test_missing_stays_missing() -> None:
    """NaN in, NaN out."""
    assert math.isnan(is_wet(math.nan, 95.0))
    assert math.isnan(is_wet(10.0, math.nan))
    assert math.isnan(wetness_weight(math.nan))
    assert np.isnan(is_wet(np.array([math.nan, 10.0]), np.array([95.0, 95.0]))).tolist() == [True, False]
    assert np.isnan(wetness_weight(np.array([math.nan, 10.0]))).tolist() == [True, False]
