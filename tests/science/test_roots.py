"""Pots and root-balls: a lag with a freezing plateau.

Truths: `independent` = an energy balance stepped in seconds, or a hand calculation; properties by hypothesis.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.science.roots import Pot, RootBall, needle_water_loss, pot, root_ball_at, root_ball_step


def litres(diameter_cm: float, depth_cm: float) -> float:
    """Volume of a cylinder. [l]"""
    return math.pi * diameter_cm**2 / 4 * depth_cm / 1000


def step(ball: RootBall, air_c: float, duration_h: float, vessel: Pot) -> RootBall:
    """One step of one pot."""
    return root_ball_step(ball, air_c, duration_h, lag_h=vessel.lag_h, plateau_k_h=vessel.plateau_k_h)


@pytest.mark.parametrize(
    ("diameter_cm", "depth_cm", "lag_h", "plateau_k_h"),
    [(15, 8, 1.3, 63), (25, 12, 2.1, 99), (40, 18, 3.3, 154)],
)
def test_lag_and_plateau_of_three_pots(
    diameter_cm: float, depth_cm: float, lag_h: float, plateau_k_h: float
) -> None:
    """Independent, by hand: ρc·V/(h·A) and w·ρ·L·V/(h·A) of the true cylinder; 4 % for the shape."""
    vessel = pot(litres(diameter_cm, depth_cm))

    assert vessel.lag_h == pytest.approx(lag_h, rel=0.04)
    assert vessel.plateau_k_h == pytest.approx(plateau_k_h, rel=0.04)


def enthalpy_by_seconds(start_c: float, air_c: float, hours: float, vessel: Pot) -> float:
    """Independent: heat content stepped by 2 s, temperature read from it; units of K·h of the film."""
    heat = start_c * vessel.lag_h if start_c > 0 else start_c * vessel.lag_h - vessel.plateau_k_h
    tick_h = 2 / 3600
    for _ in range(round(hours / tick_h)):
        heat += (air_c - temperature_from(heat, vessel)) * tick_h
    return temperature_from(heat, vessel)


def temperature_from(heat: float, vessel: Pot) -> float:
    """Temperature of a lump that freezes at 0 °C. [°C]"""
    if heat > 0:
        return heat / vessel.lag_h
    return min(0.0, (heat + vessel.plateau_k_h) / vessel.lag_h)


@pytest.mark.parametrize(
    ("start_c", "air_c", "hours"),
    [(8, 2, 5), (4, -3, 2), (4, -6, 14), (1, -15, 10), (-4, 6, 9), (-4, 6, 20), (-2, -8, 3)],
)
def test_one_long_step_is_the_heat_balance_in_small_ones(start_c: float, air_c: float, hours: float) -> None:
    """Independent: explicit heat content at 2 s, agreement to 0.01 K through freezing and thawing."""
    vessel = pot(0.8)
    start = RootBall(start_c, vessel.plateau_k_h if start_c < 0 else 0.0, 0.0)

    ball = step(start, air_c, hours, vessel)

    assert ball.temperature_c == pytest.approx(enthalpy_by_seconds(start_c, air_c, hours, vessel), abs=0.01)


def test_a_moist_pot_waits_at_zero_through_an_ordinary_frost_night() -> None:
    """Independent: a 6 l pot needs 99 K·h to freeze; 12 h at −4 °C bring 48 less the heat above zero."""
    vessel = pot(5.9)
    ball = step(RootBall(2.0, 0.0, 0.0), -4.0, 12.0, vessel)

    assert ball.temperature_c == 0.0
    assert 0.35 < ball.ice_k_h / vessel.plateau_k_h < 0.5
    assert ball.frozen_h == pytest.approx(12 - vessel.lag_h * math.log(1 + 2 / 4))


def test_hours_frozen_run_on_and_end_with_the_thaw() -> None:
    """Properties: the count goes on while there is ice and is gone when there is none."""
    vessel = pot(1.0)
    frozen = step(RootBall(0.0, 0.0, 0.0), -5.0, 10.0, vessel)
    longer = step(frozen, -1.0, 5.0, vessel)
    thawed = step(longer, 10.0, 24.0, vessel)

    assert frozen.frozen_h == pytest.approx(10)
    assert longer.frozen_h == pytest.approx(15)
    assert (thawed.frozen_h, thawed.ice_k_h) == (0.0, 0.0)


def test_missing_air_gives_a_missing_temperature_and_the_next_one_starts_anew() -> None:
    """After a gap the ball is taken as cold as the air, frozen through if that is below zero."""
    vessel = pot(1.0)
    lost = step(RootBall(3.0, 0.0, 0.0), math.nan, 1.0, vessel)
    back = step(lost, -2.0, 1.0, vessel)

    assert math.isnan(lost.temperature_c)
    assert back.temperature_c == pytest.approx(-2.0)
    assert back.ice_k_h == vessel.plateau_k_h


temperatures = st.floats(-25, 25)


@given(start_c=temperatures, air_c=temperatures, hours=st.floats(0.1, 12), litre=st.floats(0.1, 100))
def test_two_half_steps_are_one_step(start_c: float, air_c: float, hours: float, litre: float) -> None:
    """Property: the step is exact, so cutting it in two changes nothing."""
    vessel = pot(litre)
    start = root_ball_at(start_c, vessel.plateau_k_h)
    whole = step(start, air_c, hours, vessel)
    halves = step(step(start, air_c, hours / 2, vessel), air_c, hours / 2, vessel)

    assert halves.temperature_c == pytest.approx(whole.temperature_c, abs=1e-9)
    assert halves.ice_k_h == pytest.approx(whole.ice_k_h, abs=1e-9)
    assert halves.frozen_h == pytest.approx(whole.frozen_h, abs=1e-9)


@given(start_c=temperatures, colder_c=temperatures, warmer_c=temperatures, litre=st.floats(0.1, 100))
def test_warmer_air_never_makes_a_colder_pot(
    start_c: float, colder_c: float, warmer_c: float, litre: float
) -> None:
    """Property: monotone in the air's temperature; and the pot stays between its start and the air."""
    vessel = pot(litre)
    start = root_ball_at(start_c, vessel.plateau_k_h)
    low, high = sorted((colder_c, warmer_c))
    cold, warm = (step(start, air_c, 3.0, vessel).temperature_c for air_c in (low, high))

    assert cold <= warm + 1e-12
    assert min(start_c, low) - 1e-12 <= cold <= max(start_c, low) + 1e-12


@given(st.lists(st.tuples(temperatures, temperatures, st.floats(0.1, 50)), min_size=1, max_size=8))
def test_many_pots_at_once_are_each_alone(pots: list[tuple[float, float, float]]) -> None:
    """Property: scalar equals vector."""
    vessels = [pot(litre) for _, _, litre in pots]
    starts = np.array([start for start, _, _ in pots])
    plateaus = np.array([vessel.plateau_k_h for vessel in vessels])
    together = root_ball_step(
        root_ball_at(starts, plateaus),
        np.array([air for _, air, _ in pots]),
        2.0,
        lag_h=np.array([vessel.lag_h for vessel in vessels]),
        plateau_k_h=plateaus,
    )

    for index, (start_c, air_c, _) in enumerate(pots):
        alone = step(root_ball_at(start_c, vessels[index].plateau_k_h), air_c, 2.0, vessels[index])
        assert together.temperature_c[index] == pytest.approx(alone.temperature_c, abs=1e-12)
        assert together.ice_k_h[index] == pytest.approx(alone.ice_k_h, abs=1e-12)


@pytest.mark.parametrize("litre", [0.0, -1.0, 1e4, math.nan])
def test_a_pot_that_cannot_be_is_refused_by_name(litre: float) -> None:
    """The error names the physics."""
    with pytest.raises(ValueError, match="volume of a pot"):
        pot(litre)


@pytest.mark.parametrize(("conductance", "per_day"), [(5e-5, 17.0), (2e-4, 67.0)])
def test_water_lost_over_a_frozen_pot(conductance: float, per_day: float) -> None:
    """Independent, by hand: g·Δe/(461.5·T) at 0.5 kPa and 5 °C is 16.8 and 67.3 g m⁻² a day."""
    humidity_pct = 100 * (1 - 0.5 / 0.87258)
    loss = needle_water_loss(5.0, humidity_pct, -0.5, conductance_m_per_s=conductance)

    assert 24 * float(loss) == pytest.approx(per_day, rel=0.02)


def test_an_open_root_ball_makes_good_what_needles_lose() -> None:
    """Nothing is counted above zero; nothing is known without a pot temperature."""
    loss = needle_water_loss(np.full(3, 5.0), np.full(3, 60.0), np.array([0.5, math.nan, 0.0]))

    assert loss[0] == 0
    assert math.isnan(loss[1])
    assert loss[2] > 0
