"""What is believed of wraps, and what touches, frost and siblings do to it.

Truths: `independent` = a hand calculation or a simulated wrap of known gain; the rest are properties of
belief.
"""

import json
import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.science.wrap_estimates import WrapEstimate, estimates, frozen_fraction
from monitor.science.wraps import LOG_GAINS, WrapAir, WrapState, new_wrap, rewet, share, touch, wrap_step

MILD = WrapAir(10.0, 60.0)


def bare(water_fraction: float = 0.7) -> WrapState:
    """The wrap of the worked example: 1.5 mm of raffia round 20 mm."""
    return new_wrap("raffia", "none", branch_mm=20, water_fraction=water_fraction)


def taped() -> WrapState:
    """The same under overlapped tape."""
    return new_wrap("raffia", "tape-overlapped", branch_mm=20)


def after(state: WrapState, hours: int, air: WrapAir = MILD) -> WrapState:
    """One wrap some hours later."""
    for _ in range(hours):
        (state,) = wrap_step((state,), air)
    return state


def estimate(state: WrapState, air: WrapAir = MILD) -> WrapEstimate:
    """What is said of one wrap."""
    return estimates((state,), air)[0]


def test_a_fresh_bare_wrap_is_dry_in_the_worked_example_s_hours() -> None:
    """Independent: 17.8 h at 10 °C and 60 %; the spread of the gain, e^±0.9, makes it 7 to 44 h."""
    dry_in_h = estimate(bare()).dry_in_h

    assert dry_in_h.p50 == pytest.approx(17.8, rel=0.03)
    assert dry_in_h.p10 == pytest.approx(17.8 * math.exp(-1.2816 * 0.7), rel=0.05)
    assert dry_in_h.p90 == pytest.approx(17.8 * math.exp(1.2816 * 0.7), rel=0.05)


def test_steps_and_hours_to_dry_agree() -> None:
    """Round trip: eighteen hourly steps bring the middle of the belief to where it counts as dry."""
    state = after(bare(), 18)

    assert estimate(state).moisture_kg_per_kg.p50 == pytest.approx(0.20, abs=0.01)


def test_a_bare_wrap_goes_from_wet_to_dry_by_itself() -> None:
    """Without a touch a bare wrap is said to be wet at first and dry after two days, and unknown between."""
    feels = [estimate(after(bare(), hours)).feel for hours in (0, 14, 48)]

    assert feels == ["wet", "unknown", "dry"]


def test_a_taped_wrap_nobody_has_felt_is_unknown() -> None:
    """Tape spans a factor of fifty: without a touch nothing is said, with one it is."""
    state = after(taped(), 24)
    felt = touch(state, "wet", how="lifted-edge", temperature_c=8.0)

    assert estimate(state).feel == "unknown"
    assert estimate(felt.state).feel == "wet"


def test_a_touch_moves_the_belief_to_what_was_felt() -> None:
    """A wrap that is felt wet where dry was likelier has a lower gain, and dries later."""
    state = after(bare(), 20)
    wet = touch(state, "wet", temperature_c=10.0).state
    dry = touch(state, "dry", temperature_c=10.0).state

    assert estimate(wet).gain.p50 < estimate(state).gain.p50 < estimate(dry).gain.p50
    assert estimate(wet).dry_in_h.p50 > estimate(state).dry_in_h.p50
    assert (wet.touches, wet.since_touch_h) == (1, 0.0)


@dataclass(frozen=True)
class TrueWrap:
    """Independent: a wrap that dries at a known gain, by the rates of the worked example, in steps of a
    minute."""

    gain: float
    moisture: float = 1.75

    def later(self, hours: float) -> "TrueWrap":
        moisture = self.moisture
        for _ in range(round(hours * 60)):
            share = 1.0 if moisture >= 0.35 else (moisture - 0.112) / (0.35 - 0.112)
            moisture -= self.gain * 3.65e-3 / 40.53e-3 * share / 60
        return TrueWrap(self.gain, moisture)

    @property
    def feel(self) -> str:
        return "wet" if self.moisture > 0.6 else "damp" if self.moisture > 0.22 else "dry"


@pytest.mark.parametrize("gain", [0.25, 0.5, 1.0, 2.0, 3.5])
def test_touches_find_the_gain_of_a_simulated_wrap(gain: float) -> None:
    """Independent: touches each few hours through one drying bracket the true gain, within a factor of
    1.5."""
    true, state = TrueWrap(gain), bare()
    every_h = 4 if gain > 0.4 else 12
    for _ in range(10):
        true, state = true.later(every_h), after(state, every_h)
        state = touch(state, true.feel, temperature_c=10.0).state
    found = estimate(state).gain

    assert found.p10 / 1.1 <= gain <= found.p90 * 1.1
    assert found.p50 == pytest.approx(gain, rel=0.5)
    assert found.p90 / found.p10 < 2.2


def test_one_slip_of_the_finger_is_outvoted() -> None:
    """A single contrary touch among five does not turn the belief round."""
    true, state = TrueWrap(1.0), bare()
    for index in range(5):
        true, state = true.later(4), after(state, 4)
        feel = "dry" if index == 1 else true.feel
        state = touch(state, feel, temperature_c=10.0).state

    assert estimate(state).gain.p50 == pytest.approx(1.0, rel=0.5)


def test_fingers_on_tape_count_less_than_a_lifted_edge() -> None:
    """The outside of tape says little about what is under it."""
    state = after(taped(), 200)
    outside, lifted = (
        estimate(touch(state, "dry", how=how, temperature_c=8.0).state).gain.p50
        for how in ("touch", "lifted-edge")
    )

    assert estimate(state).gain.p50 < outside < lifted


def test_rewetting_soaks_and_keeps_what_was_learnt() -> None:
    """The gain belongs to the wrap, not to one drying."""
    learnt = touch(after(bare(), 20), "wet", temperature_c=10.0).state
    soaked = rewet(learnt)

    assert estimate(soaked).gain == estimate(learnt).gain
    assert set(soaked.moisture_kg_per_kg) == {1.75}
    assert soaked.wet_h == 0


def test_a_frozen_wrap_holds_its_moisture_and_says_so() -> None:
    """While there is ice the estimate stands; a wrap frozen through is called frozen, not dry."""
    state = after(bare(), 10)
    frozen = after(state, 12, WrapAir(-3.0, 80.0))

    assert frozen_fraction(frozen) == 1.0
    assert estimate(frozen).feel == "frozen"
    assert frozen.moisture_kg_per_kg == after(state, 1, WrapAir(-3.0, 80.0)).moisture_kg_per_kg


def test_cold_that_freezes_a_soaked_wrap_through() -> None:
    """Independent, by hand: 71 g of water on a metre need 71·0.334/(12.3·0.0723·3.6) = 7.4 K·h of its
    surface."""
    state = after(bare(), 1, WrapAir(-2.0, 100.0))

    assert state.ice_full_k_h == pytest.approx(7.4, rel=0.05)
    assert state.ice_k_h == pytest.approx(2.0, abs=0.05)


def test_a_wet_wrap_in_dry_air_freezes_above_zero_and_under_tape_it_does_not() -> None:
    """Independent: at 2 °C and 40 % a bare wet surface stands below 0 °C (freezing line 3.3 °C)."""
    air = WrapAir(2.0, 40.0)
    open_wrap, closed = (after(state, 1, air) for state in (bare(), taped()))

    assert open_wrap.ice_k_h > 0.5
    assert closed.ice_k_h == 0
    assert closed.surface_c == pytest.approx(2.0, abs=0.2)


def test_a_thaw_sets_the_drying_going_again() -> None:
    """Ice goes as it came, in K·h, and then the moisture moves."""
    frozen = after(bare(), 3, WrapAir(-2.0, 90.0))
    thawed = after(frozen, 6, WrapAir(8.0, 60.0))

    assert frozen.ice_k_h > 4
    assert thawed.ice_k_h == 0
    assert thawed.moisture_kg_per_kg[20] < frozen.moisture_kg_per_kg[20]


@pytest.mark.parametrize("feel", ["wet", "damp", "dry"])
def test_a_touch_on_a_frozen_wrap_is_marked_and_not_believed(feel: str) -> None:
    """Common practice, no source: ice feels hard and dry."""
    frozen = after(bare(), 3, WrapAir(-2.0, 90.0))
    felt = touch(frozen, feel)
    cold = touch(bare(), feel, temperature_c=0.5)

    assert not felt.believed
    assert not cold.believed
    assert felt.state == frozen._replace(doubted=1)
    assert felt.because == "a frozen wrap feels dry"


@pytest.mark.parametrize("feel", ["frozen", "cannot-tell"])
def test_a_touch_that_tells_nothing_changes_nothing(feel: str) -> None:
    """It is counted, and the belief stands."""
    felt = touch(bare(), feel, temperature_c=10.0)

    assert not felt.believed
    assert felt.state == bare()._replace(doubted=1)


def test_siblings_take_over_half_of_what_one_has_learnt() -> None:
    """Same fibre and cover only; half of the mean shift of the logarithm of the gain."""
    felt = touch(after(bare(), 20), "wet", temperature_c=10.0).state
    shared = share((felt, after(bare(), 20), after(taped(), 20)))
    own_shift = math.log(estimate(felt).gain.p50)

    assert shared[1].prior_shift == pytest.approx(own_shift / 2, rel=0.15)
    assert shared[0].prior_shift == 0
    assert shared[2].prior_shift == 0


def test_sharing_twice_teaches_nothing_more() -> None:
    """A wrap passes on its own touches, never what its siblings have told it."""
    felt = touch(after(bare(), 20), "wet", temperature_c=10.0).state
    other = touch(after(bare(), 20), "damp", temperature_c=10.0).state
    once = share((felt, other, bare()))

    assert share(once) == once


def test_the_mean_of_the_belief_is_what_is_frozen() -> None:
    """The index of the middle follows the belief."""
    state = touch(after(bare(), 20), "wet", temperature_c=10.0).state

    assert math.exp(LOG_GAINS[state.centre]) == pytest.approx(estimate(state).gain.p50, rel=0.15)


def test_an_hour_without_air_is_counted_and_changes_nothing() -> None:
    """Unknown air leaves the moisture where it was and says so."""
    state = after(bare(), 5)
    gap = after(state, 2, WrapAir(math.nan, 60.0))

    assert gap.moisture_kg_per_kg == state.moisture_kg_per_kg
    assert gap.surface_c is None
    assert (gap.unseen_h, gap.wet_h) == (2, 7)


def test_hours_to_dry_in_air_too_damp_to_know_are_not_said() -> None:
    """Above 95 % a sensor's own error is as large as the drying power."""
    assert math.isnan(estimate(bare(), WrapAir(8.0, 97.0)).dry_in_h.p50)
    assert math.isnan(estimate(bare(), WrapAir(8.0, math.nan)).dry_in_h.p50)
    assert estimate(bare(), WrapAir(8.0, 95.0)).dry_in_h.p50 > 100


@pytest.mark.parametrize("make", [bare, taped, lambda: after(bare(), 3, WrapAir(-2.0, 90.0))])
def test_a_state_goes_through_json_and_back(make: object) -> None:
    """Round trip, with strict JSON."""
    state = touch(make(), "damp").state  # type: ignore[operator]
    text = json.dumps(state.as_dict(), allow_nan=False)

    assert WrapState.from_dict(json.loads(text)) == state


states = st.builds(
    new_wrap,
    st.sampled_from(["raffia", "cloth", "sphagnum"]),
    st.sampled_from(["none", "tape-spiral", "tape-overlapped", "film"]),
    branch_mm=st.floats(3, 60),
)
airs = st.tuples(st.floats(-10, 30), st.floats(20, 100))


@settings(max_examples=40)
@given(st.lists(st.tuples(states, airs), min_size=1, max_size=6), st.integers(1, 12))
def test_many_wraps_at_once_are_each_alone(
    wraps: list[tuple[WrapState, tuple[float, float]]], hours: int
) -> None:
    """Property: scalar equals vector."""
    together = tuple(state for state, _ in wraps)
    air = WrapAir(np.array([air[0] for _, air in wraps]), np.array([air[1] for _, air in wraps]))
    for _ in range(hours):
        together = wrap_step(together, air)

    for index, (state, (temperature_c, humidity_pct)) in enumerate(wraps):
        alone = after(state, hours, WrapAir(temperature_c, humidity_pct))
        assert together[index].moisture_kg_per_kg == pytest.approx(alone.moisture_kg_per_kg, rel=1e-9)
        assert together[index].ice_k_h == pytest.approx(alone.ice_k_h, rel=1e-9)


@settings(max_examples=40)
@given(states, airs, st.integers(1, 12))
def test_a_higher_gain_is_never_wetter_while_drying(
    state: WrapState, air: tuple[float, float], hours: int
) -> None:
    """Property: moisture falls with the gain, and stays between nothing and soaked."""
    moisture = after(state, hours, WrapAir(*air)).moisture_kg_per_kg

    assert all(wetter >= drier - 1e-12 for wetter, drier in pairwise(moisture))
    assert 0 <= moisture[-1] <= moisture[0] <= state.body.saturated_kg_per_kg + 1e-12


@settings(max_examples=40)
@given(states, airs, st.integers(0, 12), st.sampled_from(["wet", "damp", "dry"]))
def test_quantiles_are_in_order_whatever_was_felt(
    state: WrapState, air: tuple[float, float], hours: int, feel: str
) -> None:
    """Property: ten, fifty and ninety per cent points rise."""
    felt = touch(after(state, hours, WrapAir(*air)), feel, temperature_c=10.0).state
    said = estimate(felt, WrapAir(10.0, 70.0))

    for points in (said.moisture_kg_per_kg, said.dry_in_h, said.gain):
        assert points.p10 <= points.p50 <= points.p90


def test_no_wraps_are_no_work() -> None:
    """Empty in, empty out."""
    assert wrap_step((), MILD) == ()
    assert estimates((), MILD) == ()
    assert share(()) == ()


def test_a_feel_or_a_time_that_cannot_be_is_refused() -> None:
    """The error names what is wrong."""
    with pytest.raises(ValueError, match="feels wet, damp, dry"):
        touch(bare(), "soggy")
    with pytest.raises(ValueError, match="time of one step"):
        wrap_step((bare(),), MILD, 48.0)
