"""Fibre that dries: balance moisture, two stages, hours to dry.

Truths: `published` = Wood Handbook table 4-2; `independent` = tables worked out beside this program with
separate code, a hand calculation, or the rate equation stepped in seconds.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.science.drying import body, dry_for, equilibrium_moisture, hours_to_dry
from monitor.science.films import evaporation, film
from monitor.science.values import FloatArray


def array(value: float) -> FloatArray:
    """One value as an array without dimensions."""
    return np.array(value, dtype=np.float64)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "moisture_pct"),
    [
        (21.1, 5, 1.3),
        (21.1, 20, 4.5),
        (21.1, 30, 6.2),
        (21.1, 50, 9.2),
        (21.1, 75, 14.4),
        (21.1, 80, 16.0),
        (21.1, 85, 17.9),
        (21.1, 95, 23.9),
        (-1.1, 75, 14.9),
        (-1.1, 95, 24.3),
        (37.8, 50, 8.7),
        (37.8, 90, 19.5),
    ],
)
def test_balance_moisture_is_the_wood_handbook_s(
    temperature_c: float, humidity_pct: float, moisture_pct: float
) -> None:
    """Published: FPL-GTR-282, table 4-2, printed to 0.1 (the 20 and 80 % entries from memory)."""
    moisture = equilibrium_moisture(array(temperature_c), array(humidity_pct))

    assert 100 * float(moisture) == pytest.approx(moisture_pct, abs=0.06)


@given(st.floats(-20, 40), st.floats(0, 100), st.floats(0, 100))
def test_damper_air_never_lowers_the_balance(temperature_c: float, one_pct: float, other_pct: float) -> None:
    """Property: monotone in humidity; and saturated air ends at the fibre saturation point, 26 to 31 %."""
    low, high = (
        float(equilibrium_moisture(array(temperature_c), array(value)))
        for value in sorted((one_pct, other_pct))
    )
    soaked = float(equilibrium_moisture(array(temperature_c), array(100.0)))

    assert low <= high <= soaked
    assert 0.25 < soaked < 0.31


def test_the_wrap_of_the_worked_example() -> None:
    """Independent, by hand: 20 mm branch, 1.5 mm fibre: 23 mm, dry 40.5 g/m, 70 % water is 71 g/m or 175
    %."""
    wrap = body("raffia", "none", branch_mm=20, water_fraction=0.7)

    assert wrap.diameter_m == pytest.approx(0.023)
    assert 1000 * wrap.dry_kg_per_m == pytest.approx(40.53, abs=0.05)
    assert wrap.saturated_kg_per_kg == pytest.approx(1.75)
    assert 1000 * wrap.saturated_kg_per_kg * wrap.dry_kg_per_m == pytest.approx(71, abs=0.1)


def hours(
    temperature_c: float = 10,
    humidity_pct: float = 60,
    *,
    wind: float = 0.1,
    water: float = 0.7,
    branch_mm: float = 20,
    thickness_mm: float = 1.5,
    cover: float = 0.0,
    radiation: float = 0.0,
) -> float:
    """Hours to dry of a soaked raffia wrap in constant air."""
    wrap = body(
        "raffia",
        "none",
        branch_mm=branch_mm,
        thickness_mm=thickness_mm,
        water_fraction=water,
        cover_s_per_m=cover,
    )
    leaving = evaporation(
        film(array(wrap.diameter_m), array(temperature_c), wind_m_per_s=wind),
        array(temperature_c),
        array(humidity_pct),
        cover_s_per_m=cover,
        net_radiation_w_per_m2=radiation,
    )
    return float(
        hours_to_dry(
            array(wrap.saturated_kg_per_kg),
            leaving.rate_kg_per_m2_h * math.pi * wrap.diameter_m / wrap.dry_kg_per_m,
            equilibrium_moisture(array(temperature_c), array(humidity_pct)),
            array(wrap.critical_kg_per_kg),
            array(wrap.dried_kg_per_kg),
        )
    )


BARE = {0: (19, 30, 63, 125, 238), 5: (15, 23, 49, 97, 184), 10: (11, 18, 38, 77, 146)} | {
    15: (9, 14, 31, 62, 119),
    20: (7, 12, 26, 52, 99),
}
TAPED = {0: (689, 1437, 2812), 5: (493, 1029, 2016), 10: (359, 747, 1469), 15: (264, 550, 1086)} | {
    20: (198, 410, 815)
}


@pytest.mark.parametrize("temperature_c", BARE)
def test_drying_hours_of_a_bare_wrap(temperature_c: int) -> None:
    """Independent: table at 40, 60, 80, 90, 95 % humidity, worked out with vapour density for vapour
    pressure,
    which dries up to 5 % faster; printed to 1 h."""
    for humidity_pct, expected in zip((40, 60, 80, 90, 95), BARE[temperature_c], strict=True):
        assert hours(temperature_c, humidity_pct) == pytest.approx(expected, abs=0.5 + 0.05 * expected)


@pytest.mark.parametrize("temperature_c", TAPED)
def test_drying_hours_of_a_taped_wrap(temperature_c: int) -> None:
    """Independent: table at 60, 80, 90 % humidity under 5000 s/m; to 1 %."""
    for humidity_pct, expected in zip((60, 80, 90), TAPED[temperature_c], strict=True):
        assert hours(temperature_c, humidity_pct, cover=5000) == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"wind": 0.05}, 22.2),
        ({"wind": 0.1}, 17.8),
        ({"wind": 0.2}, 13.7),
        ({"wind": 0.5}, 9.3),
        ({"wind": 1.0}, 6.8),
        ({"cover": 500}, 52),
        ({"cover": 1000}, 87),
        ({"cover": 2000}, 155),
        ({"cover": 5000}, 359),
        ({"cover": 10_000}, 699),
        ({"thickness_mm": 0.5}, 6.0),
        ({"thickness_mm": 1.0}, 11.9),
        ({"thickness_mm": 3.0}, 35.5),
        ({"branch_mm": 6}, 10.5),
        ({"branch_mm": 10}, 13.2),
        ({"branch_mm": 40}, 23.6),
        ({"water": 0.3}, 6.9),
        ({"water": 0.5}, 12.4),
        ({"water": 0.8}, 20.5),
    ],
)
def test_what_the_drying_time_depends_on(change: dict[str, float], expected: float) -> None:
    """Independent: sensitivities at 10 °C and 60 %, worked out with the balance iterated; to 3 % (closed
    form 2 %)."""
    assert hours(**change) == pytest.approx(expected, rel=0.03)


def test_sun_dries_more_than_twice_as_fast() -> None:
    """Independent: 100 W/m² absorbed takes a bare wrap at 10 °C and 60 % from 50 to 114 g m⁻² h⁻¹, 2.2
    times."""
    assert hours() / hours(radiation=100) == pytest.approx(2.2, abs=0.1)


moistures = st.floats(0.02, 1.75)
rates = st.floats(0.001, 0.4)


def by_small_steps(moisture: float, rate: float, balance: float, duration_h: float) -> float:
    """Independent: the two-stage rate equation stepped by 20 s."""
    tick_h = 20 / 3600
    for _ in range(round(duration_h / tick_h)):
        share = 1.0 if moisture >= 0.35 else (moisture - balance) / (0.35 - balance)
        moisture -= rate * share * tick_h
    return moisture


@pytest.mark.parametrize(
    ("moisture", "rate", "balance"),
    [(1.5, 0.09, 0.112), (0.45, 0.1, 0.2), (0.3, 0.05, 0.1), (0.05, 0.05, 0.2)],
)
def test_one_long_step_is_the_rate_equation_in_small_ones(
    moisture: float, rate: float, balance: float
) -> None:
    """Independent: explicit steps, to 0.001."""
    after = dry_for(array(moisture), array(rate), array(balance), array(0.35), array(1.75), 10.0)

    assert float(after) == pytest.approx(by_small_steps(moisture, rate, balance, 10.0), abs=0.001)


@given(moistures, rates, st.floats(0.02, 0.29), st.floats(0.1, 20))
def test_two_half_steps_dry_as_one(moisture: float, rate: float, balance: float, duration_h: float) -> None:
    """Property: the step is exact."""
    fixed = (array(rate), array(balance), array(0.35), array(1.75))
    whole = dry_for(array(moisture), *fixed, duration_h)
    halves = dry_for(dry_for(array(moisture), *fixed, duration_h / 2), *fixed, duration_h / 2)

    assert float(halves) == pytest.approx(float(whole), abs=1e-12)


@given(moistures, rates, st.floats(0.02, 0.29))
def test_hours_to_dry_are_the_steps_hours(moisture: float, rate: float, balance: float) -> None:
    """Property, round trip: after that many hours the fibre stands at the moisture that counts as dry."""
    fixed = (array(rate), array(balance), array(0.35))
    took_h = hours_to_dry(array(moisture), *fixed, array(0.2))
    after = dry_for(array(moisture), *fixed, array(1.75), took_h)
    goal = max(0.2, balance + 0.02)

    if moisture > goal:
        assert float(after) == pytest.approx(goal, abs=1e-9)
    else:
        assert float(took_h) == 0


def test_dew_wets_and_never_more_than_soaked() -> None:
    """Property: a negative rate adds water up to what the fibre holds."""
    after = dry_for(
        np.array([0.5, 1.74]), np.full(2, -0.02), np.full(2, 0.25), np.full(2, 0.35), np.full(2, 1.75), 3
    )

    assert after.tolist() == pytest.approx([0.56, 1.75])


def test_saturated_air_never_dries() -> None:
    """Property: without a deficit the time is infinite, for fibre already dry it is nothing."""
    fixed = (np.zeros(2), np.full(2, 0.29), np.full(2, 0.35), np.full(2, 0.2))

    assert hours_to_dry(np.array([1.0, 0.1]), *fixed).tolist() == [math.inf, 0.0]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"fibre": "wool"}, "fibre of a wrap"),
        ({"cover": "foil"}, "cover of a wrap"),
        ({"branch_mm": 0.0}, "diameter of a branch"),
        ({"thickness_mm": 500.0}, "thickness of a wrap"),
        ({"water_fraction": 1.2}, "water in a soaked wrap"),
        ({"cover_s_per_m": -1.0}, "resistance of a cover"),
    ],
)
def test_a_wrap_that_cannot_be_is_refused_by_name(change: dict[str, object], says: str) -> None:
    """The error names the physics."""
    given_wrap: dict[str, object] = {"fibre": "raffia", "cover": "none", "branch_mm": 20.0} | change
    with pytest.raises(ValueError, match=says):
        body(given_wrap.pop("fibre"), given_wrap.pop("cover"), **given_wrap)  # type: ignore[arg-type]
