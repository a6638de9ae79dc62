"""The film of air about a branch, and what evaporates through it.

Truths: `independent` = the library ht 1.2.0 (Nusselt numbers, figures written down here), CoolProp
(properties of air), or the surface balance solved by bisection; `published` where a book's own example is
known.
"""

import math

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from monitor.science.films import (
    Film,
    air_properties,
    evaporation,
    film,
    nusselt_forced,
    nusselt_free,
)
from monitor.science.psychrometrics import wet_bulb
from monitor.science.values import FloatArray


def array(value: float) -> FloatArray:
    """One value as an array without dimensions."""
    return np.array(value, dtype=np.float64)


@pytest.mark.parametrize(
    ("reynolds", "prandtl", "nusselt"),
    [
        (50, 0.71, 3.746666),
        (160, 0.71, 6.489310),
        (800, 0.71, 14.317460),
        (6071, 0.70, 40.637086),
        (20_000, 0.72, 79.753891),
        (300_000, 0.70, 468.081279),
    ],
)
def test_forced_convection_is_churchill_and_bernstein(
    reynolds: float, prandtl: float, nusselt: float
) -> None:
    """Independent: ht 1.2.0, Nu_cylinder_Churchill_Bernstein, all digits shown."""
    assert float(nusselt_forced(array(reynolds), array(prandtl))) == pytest.approx(nusselt, rel=1e-6)


def test_forced_convection_of_a_book_example() -> None:
    """Published: Çengel, Heat and Mass Transfer, 2nd ed., problem 7-100, seen in a solution text: Nu
    107.0."""
    assert float(nusselt_forced(array(3.254e4), array(0.7336))) == pytest.approx(107.0, abs=0.05)


@pytest.mark.parametrize(
    ("rayleigh", "prandtl", "nusselt"),
    [
        (10, 0.71, 1.148263),
        (2000, 0.71, 3.028941),
        (4000, 0.71, 3.534548),
        (1e5, 0.72, 7.790868),
        (5.073e6, 0.697, 23.091051),
        (1e9, 0.70, 115.529366),
    ],
)
def test_free_convection_is_churchill_and_chu(rayleigh: float, prandtl: float, nusselt: float) -> None:
    """Independent: ht 1.2.0, Nu_horizontal_cylinder_Churchill_Chu, all digits shown."""
    assert float(nusselt_free(array(rayleigh), array(prandtl))) == pytest.approx(nusselt, rel=1e-6)


@pytest.mark.parametrize("temperature_c", [-20.0, 0.0, 10.0, 20.0, 40.0])
def test_air_carries_heat_as_a_reference_library_says(temperature_c: float) -> None:
    """Independent: CoolProp's air (Lemmon 2000, 2004). To 1.5 %: moist air's specific heat is taken, 0.7 %
    up."""
    air = air_properties(array(temperature_c))
    state = ("T", temperature_c + 273.15, "P", 101_325.0, "Air")
    density = PropsSI("D", *state)

    assert float(air.conductivity_w_per_m_k) == pytest.approx(PropsSI("L", *state), rel=0.015)
    assert float(air.viscosity_m2_per_s) == pytest.approx(PropsSI("V", *state) / density, rel=0.01)
    assert float(air.heat_capacity_j_per_m3_k) == pytest.approx(PropsSI("C", *state) * density, rel=0.01)


@pytest.mark.parametrize(
    ("wind", "resistance"), [(0, 304), (0.03, 229), (0.05, 197), (0.1, 151), (0.2, 111), (0.5, 72)]
)
def test_resistance_to_vapour_of_a_branch_of_23_mm(wind: float, resistance: float) -> None:
    """Independent: the worked example's own balance at 10 °C, to 2 %; ours takes 2.5 K to the air
    throughout."""
    layer = film(array(0.023), array(10.0), wind_m_per_s=wind)

    assert float(layer.vapour_s_per_m) == pytest.approx(resistance, rel=0.02)


def test_heat_through_the_film_of_the_worked_example() -> None:
    """Independent: worked example at 10 °C, air 0.1 m/s: h 7.45, h_r 4.82 W/m²K, to 2 %."""
    layer = film(array(0.023), array(10.0))

    assert float(layer.convection_w_per_m2_k) == pytest.approx(7.45, rel=0.02)
    assert float(layer.radiation_w_per_m2_k) == pytest.approx(4.82, rel=0.02)


def balance_by_bisection(
    temperature_c: float, humidity_pct: float, cover: float, radiation: float
) -> tuple[float, float]:
    """Independent: surface temperature where heat in is heat out, water by Tetens; (g m⁻² h⁻¹, °C)."""
    layer = film(array(0.023), array(temperature_c))
    heat = float(layer.convection_w_per_m2_k + layer.radiation_w_per_m2_k)
    resistance = float(layer.vapour_s_per_m) + cover

    def pressure_pa(celsius: float) -> float:
        return 610.8 * math.exp(17.27 * celsius / (celsius + 237.3))

    def leaving(surface_c: float) -> float:
        deficit_pa = pressure_pa(surface_c) - humidity_pct / 100 * pressure_pa(temperature_c)
        return deficit_pa / (461.5 * (temperature_c + 273.15) * resistance)

    low, high = temperature_c - 25, temperature_c + 25
    for _ in range(80):
        middle = (low + high) / 2
        spare = (
            radiation + heat * (temperature_c - middle) - (2.501e6 - 2361 * temperature_c) * leaving(middle)
        )
        low, high = (middle, high) if spare > 0 else (low, middle)
    return leaving(low) * 3.6e6, low


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "cover", "radiation"),
    [
        (10, 60, 0, 0),
        (10, 60, 5000, 0),
        (20, 50, 0, 0),
        (3, 40, 0, -20),
        (10, 60, 0, 100),
        (15, 90, 2000, 30),
    ],
)
def test_closed_form_agrees_with_the_balance_solved(
    temperature_c: float, humidity_pct: float, cover: float, radiation: float
) -> None:
    """Independent: balance by bisection with the same film. To 1 % of the rate and 0.05 K of the surface."""
    expected, expected_c = balance_by_bisection(temperature_c, humidity_pct, cover, radiation)
    leaving = evaporation(
        film(array(0.023), array(temperature_c)),
        array(temperature_c),
        array(humidity_pct),
        cover_s_per_m=cover,
        net_radiation_w_per_m2=radiation,
    )

    assert 1000 * float(leaving.rate_kg_per_m2_h) == pytest.approx(expected, rel=0.01)
    assert float(leaving.surface_c) == pytest.approx(expected_c, abs=0.05)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "cover", "grams"),
    [(10, 60, 0, 50.5), (10, 60, 5000, 2.56), (20, 50, 0, 97.3)],
)
def test_rates_of_the_worked_example(
    temperature_c: float, humidity_pct: float, cover: float, grams: float
) -> None:
    """Independent: the worked example's closed form, g m⁻² h⁻¹; to 3 % (its films used each case's own
    difference)."""
    layer = film(array(0.023), array(temperature_c))
    leaving = evaporation(layer, array(temperature_c), array(humidity_pct), cover_s_per_m=cover)

    assert 1000 * float(leaving.rate_kg_per_m2_h) == pytest.approx(grams, rel=0.03)


@pytest.mark.parametrize(
    ("humidity_pct", "radiation", "freezes_at_c"),
    [
        *[(40, 0, 3.3), (50, 0, 2.6), (60, 0, 2.0), (70, 0, 1.5), (80, 0, 1.0), (90, 0, 0.5)],
        *[(40, -20, 4.6), (60, -20, 3.3), (80, -20, 2.2)],
    ],
)
def test_a_soaked_wrap_freezes_in_air_above_zero(
    humidity_pct: float, radiation: float, freezes_at_c: float
) -> None:
    """Independent: table of air temperatures at which the surface stands at 0 °C; to its last digit and 0.1
    K."""
    layer = film(array(0.023), array(freezes_at_c))
    leaving = evaporation(layer, array(freezes_at_c), array(humidity_pct), net_radiation_w_per_m2=radiation)

    assert float(leaving.surface_c) == pytest.approx(0.0, abs=0.15)


airs = st.tuples(st.floats(-15, 35), st.floats(10, 99), st.floats(0, 3), st.floats(0.002, 0.2))


@given(airs)
def test_a_bare_surface_settles_between_wet_bulb_and_air(air: tuple[float, float, float, float]) -> None:
    """Property: long-wave exchange holds a still surface above the ventilated wet bulb, evaporation below
    the air."""
    temperature_c, humidity_pct, wind, diameter_m = air
    layer = film(array(diameter_m), array(temperature_c), wind_m_per_s=wind)
    surface_c = float(evaporation(layer, array(temperature_c), array(humidity_pct)).surface_c)

    assert surface_c <= temperature_c
    assert surface_c >= wet_bulb(temperature_c, humidity_pct) - 0.6


@given(airs, st.floats(0, 1e5), st.floats(1, 1e5))
def test_more_cover_never_dries_faster(
    air: tuple[float, float, float, float], cover: float, more: float
) -> None:
    """Property: monotone in the cover's resistance."""
    temperature_c, humidity_pct, wind, diameter_m = air
    layer = film(array(diameter_m), array(temperature_c), wind_m_per_s=wind)
    rates = [
        float(
            evaporation(
                layer, array(temperature_c), array(humidity_pct), cover_s_per_m=value
            ).rate_kg_per_m2_h
        )
        for value in (cover, cover + more)
    ]

    assert rates[1] <= rates[0]


@given(airs, st.floats(0, 200))
def test_sun_always_dries_faster(air: tuple[float, float, float, float], sun: float) -> None:
    """Property: monotone in absorbed radiation."""
    temperature_c, humidity_pct, wind, diameter_m = air
    layer = film(array(diameter_m), array(temperature_c), wind_m_per_s=wind)
    shade, sunny = (
        evaporation(layer, array(temperature_c), array(humidity_pct), net_radiation_w_per_m2=value)
        for value in (0.0, sun)
    )

    assert float(sunny.rate_kg_per_m2_h) >= float(shade.rate_kg_per_m2_h)


def test_many_branches_at_once_are_each_alone_and_unknown_air_stays_unknown() -> None:
    """Property: scalar equals vector; NaN in, NaN out."""
    diameters = np.array([0.01, 0.02, 0.04])
    temperatures = np.array([5.0, math.nan, 12.0])
    together = film(diameters, temperatures)

    assert math.isnan(together.vapour_s_per_m[1])
    for index in (0, 2):
        alone = film(array(diameters[index]), array(temperatures[index]))
        for name in Film._fields:
            assert float(getattr(together, name)[index]) == pytest.approx(float(getattr(alone, name)))


def test_air_pressure_that_cannot_be_is_refused() -> None:
    """The error names the physics."""
    with pytest.raises(ValueError, match="air pressure"):
        air_properties(array(10.0), pressure_kpa=5.0)
