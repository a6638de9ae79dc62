"""Saturation over water and ice, and the way back, against other formulations and against themselves."""

import math

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from metpy.calc import saturation_vapor_pressure
from metpy.units import units

from monitor.science.saturation import (
    dew_point,
    frost_point,
    saturation_slope,
    saturation_slope_over_ice,
    saturation_vapour_pressure,
    saturation_vapour_pressure_over_ice,
)

psychrolib.SetUnitSystem(psychrolib.SI)

#: A last bit of a kelvin temperature is 6e-14 K; a rounding error in the logarithm is worth up to ten of
#: them.
MACHINE_K = 1e-12

WHOLE_RANGE_C = np.arange(-40.0, 50.0005, 0.01)


@pytest.mark.parametrize(
    ("temperature_c", "printed_kpa"),
    [
        (1.0, 0.657),
        (5.0, 0.872),
        (10.0, 1.228),
        (15.0, 1.705),
        (20.0, 2.338),
        (25.0, 3.168),
        (30.0, 4.243),
        (35.0, 5.623),
        (40.0, 7.376),
        (45.0, 9.582),
        (48.0, 11.163),
    ],
)
def test_pressure_over_water_agrees_with_the_table_of_fao_56(
    temperature_c: float, printed_kpa: float
) -> None:
    """Published: FAO Irrigation and Drainage Paper 56, annex 2, table 2.3 (three decimals).

    20, 25 and 30 °C were read in a text, the others computed from the table's equation 11 (from memory that
    they are the printed ones). Tolerance: half of the last digit and 0.13 %, by which equation 11 (Tetens)
    leaves the better equation used here.
    """
    assert saturation_vapour_pressure(temperature_c) == pytest.approx(printed_kpa, abs=0.0005, rel=0.0013)


def test_pressure_over_water_agrees_with_the_international_steam_equation() -> None:
    """Independent: IAPWS-95 in CoolProp, 0.01..50 °C; the two agree within 0.01 %."""
    temperatures_c = np.arange(0.01, 50.0, 0.5)
    theirs_kpa = PropsSI("P", "T", temperatures_c + 273.15, "Q", 0, "Water") / 1000.0

    assert saturation_vapour_pressure(temperatures_c) == pytest.approx(theirs_kpa, rel=1e-4)


def test_pressure_over_water_agrees_with_ashrae() -> None:
    """Independent: psychrolib (Hyland and Wexler 1983, ASHRAE 2017), 0.5..50 °C; its source claims 0.03 %."""
    for temperature_c in np.arange(0.5, 50.0, 1.0).tolist():
        theirs_kpa = psychrolib.GetSatVapPres(temperature_c) / 1000.0

        assert saturation_vapour_pressure(temperature_c) == pytest.approx(theirs_kpa, rel=3e-4)


def test_pressure_over_ice_agrees_with_ashrae() -> None:
    """Independent: psychrolib (Hyland and Wexler 1983 over ice), −40..0 °C, within 0.02 %."""
    for temperature_c in np.arange(-40.0, 0.01, 1.0).tolist():
        theirs_kpa = psychrolib.GetSatVapPres(temperature_c) / 1000.0

        assert saturation_vapour_pressure_over_ice(temperature_c) == pytest.approx(theirs_kpa, rel=2e-4)


def test_both_pressures_agree_with_a_meteorologists_library() -> None:
    """Independent: MetPy (Ambaum 2020: constant specific heats), −40..40 °C.

    Tolerance 0.45 % over water and 0.25 % over ice: its constants put 0 °C at 610.7 Pa against 611.2 Pa here,
    and the difference grows with the distance from 0 °C.
    """
    water_c, ice_c = np.arange(-40.0, 40.1, 1.0), np.arange(-40.0, 0.1, 1.0)
    water = saturation_vapor_pressure(units.Quantity(water_c, "degC"), phase="liquid").to("kPa").magnitude
    ice = saturation_vapor_pressure(units.Quantity(ice_c, "degC"), phase="solid").to("kPa").magnitude

    assert saturation_vapour_pressure(water_c) == pytest.approx(water, rel=0.0045)
    assert saturation_vapour_pressure_over_ice(ice_c) == pytest.approx(ice, rel=0.0025)


@pytest.mark.parametrize(
    ("temperature_c", "water_over_ice"), [(-5.0, 1.0498), (-10.0, 1.1022), (-20.0, 1.2155), (-40.0, 1.4724)]
)
def test_undercooled_water_holds_more_vapour_than_ice(temperature_c: float, water_over_ice: float) -> None:
    """Independent: the ratio of both pressures, worked out by separate code from the same equations.

    4 decimals.
    """
    ratio = saturation_vapour_pressure(temperature_c) / saturation_vapour_pressure_over_ice(temperature_c)

    assert ratio == pytest.approx(water_over_ice, abs=6e-5)


def test_water_and_ice_meet_at_the_triple_point() -> None:
    """Published: triple point of water 0.01 °C, 611.657 Pa (Guildner 1976, ± 0.01 Pa).

    Water's equation gives 0.001 % more.
    """
    assert saturation_vapour_pressure_over_ice(0.01) == pytest.approx(0.611657, abs=1e-5)
    assert saturation_vapour_pressure(0.01) == pytest.approx(0.611657, rel=1e-4)


def test_the_slopes_are_the_derivatives_of_the_pressures() -> None:
    """Independent: central differences, which are good to about 1e-8 here."""
    water_c, ice_c, step_k = np.arange(-40.0, 50.0, 0.5), np.arange(-40.0, 0.0, 0.5), 1e-3
    by_water = saturation_vapour_pressure(water_c + step_k) - saturation_vapour_pressure(water_c - step_k)
    by_ice = saturation_vapour_pressure_over_ice(ice_c + step_k) - saturation_vapour_pressure_over_ice(
        ice_c - step_k
    )

    assert saturation_slope(water_c) == pytest.approx(by_water / (2 * step_k), rel=1e-7)
    assert saturation_slope_over_ice(ice_c) == pytest.approx(by_ice / (2 * step_k), rel=1e-7)


def test_the_dew_point_undoes_the_pressure_over_the_whole_range() -> None:
    """Round trip over −40..50 °C in steps of 0.01 °C, to machine accuracy, as arrays and one by one."""
    there = saturation_vapour_pressure(WHOLE_RANGE_C)

    assert np.abs(dew_point(there) - WHOLE_RANGE_C).max() < MACHINE_K
    assert (
        max(abs(dew_point(e) - t) for t, e in zip(WHOLE_RANGE_C[::7], there[::7].tolist(), strict=True))
        < MACHINE_K
    )


def test_the_frost_point_undoes_the_pressure_over_the_whole_range() -> None:
    """Round trip over −40..0 °C in steps of 0.01 °C, to machine accuracy, as arrays and one by one."""
    temperatures_c = WHOLE_RANGE_C[WHOLE_RANGE_C <= 0.0]
    there = saturation_vapour_pressure_over_ice(temperatures_c)

    assert np.abs(frost_point(there) - temperatures_c).max() < MACHINE_K
    assert (
        max(abs(frost_point(e) - t) for t, e in zip(temperatures_c, there.tolist(), strict=True)) < MACHINE_K
    )


def test_very_dry_air_still_has_its_dew_point() -> None:
    """Round trip below the range of the fitted start, −99..−40 °C.

    Newton's method takes the steps it needs.
    """
    temperatures_c = np.arange(-99.0, -40.0, 0.1)

    assert np.abs(dew_point(saturation_vapour_pressure(temperatures_c)) - temperatures_c).max() < MACHINE_K


@pytest.mark.parametrize("function", [saturation_vapour_pressure, saturation_slope])
@pytest.mark.parametrize("outside_c", [-151.0, 58.1, math.nan, math.inf, -math.inf])
def test_a_temperature_outside_of_the_equation_over_water_is_not_a_number(function, outside_c: float) -> None:
    """Out of range and NaN give NaN, alone and inside of an array, and spoil nothing beside them."""
    assert math.isnan(function(outside_c))
    beside = function(np.array([10.0, outside_c, 20.0]))
    assert np.isnan(beside).tolist() == [False, True, False]
    assert beside[0] == pytest.approx(function(10.0), rel=1e-14)


@pytest.mark.parametrize("function", [saturation_vapour_pressure_over_ice, saturation_slope_over_ice])
@pytest.mark.parametrize("outside_c", [-164.0, 0.02, 20.0, math.nan])
def test_there_is_no_ice_above_the_triple_point(function, outside_c: float) -> None:
    """Over ice everything above 0.01 °C is NaN."""
    assert math.isnan(function(outside_c))
    assert np.isnan(function(np.array([outside_c, -5.0]))).tolist() == [True, False]


@pytest.mark.parametrize("function", [dew_point, frost_point])
@pytest.mark.parametrize("outside_kpa", [0.0, -1.0, 19.0, math.nan])
def test_no_vapour_has_no_dew_point(function, outside_kpa: float) -> None:
    """No, negative or impossible vapour pressure gives NaN."""
    assert math.isnan(function(outside_kpa))
    assert np.isnan(function(np.array([outside_kpa, 0.5]))).tolist() == [True, False]


def test_damp_air_has_a_dew_point_and_no_frost_point() -> None:
    """Above the triple point's pressure the frost point is NaN, while the dew point stands."""
    assert math.isnan(frost_point(0.7))
    assert dew_point(0.7) == pytest.approx(1.88, abs=0.05)


@settings(deadline=None)
@given(st.floats(-60.0, 58.0))
def test_one_number_and_an_array_of_it_are_the_same(temperature_c: float) -> None:
    """Property: scalar equals vector to the last bits, and a number gives a plain float."""
    for function in (saturation_vapour_pressure, saturation_slope):
        one = function(temperature_c)

        assert type(one) is float
        assert function(np.array([temperature_c]))[0] == pytest.approx(one, rel=1e-13)
    e_kpa = saturation_vapour_pressure(temperature_c)
    assert dew_point(np.array([e_kpa]))[0] == pytest.approx(dew_point(e_kpa), abs=MACHINE_K)


@settings(deadline=None)
@given(st.floats(-100.0, 57.9), st.floats(1e-4, 0.1))
def test_warmer_air_holds_more(temperature_c: float, step_k: float) -> None:
    """Property: both pressures rise with temperature."""
    assert saturation_vapour_pressure(temperature_c + step_k) > saturation_vapour_pressure(temperature_c)
    if temperature_c + step_k <= 0.0:
        assert saturation_vapour_pressure_over_ice(
            temperature_c + step_k
        ) > saturation_vapour_pressure_over_ice(temperature_c)


@settings(deadline=None)
@given(st.floats(1e-4, 0.611))
def test_hoar_forms_before_dew_below_zero(vapour_pressure_kpa: float) -> None:
    """Property: below zero the frost point lies above the dew point."""
    assert frost_point(vapour_pressure_kpa) >= dew_point(vapour_pressure_kpa) - MACHINE_K


def test_arrays_of_any_shape_keep_their_shape() -> None:
    """A table in gives a table out, also when it is longer than one block, and nothing gives nothing."""
    table = np.linspace(-20.0, 40.0, 40_000).reshape(200, 200)

    assert saturation_vapour_pressure(table).shape == (200, 200)
    assert saturation_vapour_pressure(table)[150, 7] == pytest.approx(
        saturation_vapour_pressure(float(table[150, 7])), rel=1e-13
    )
    assert saturation_vapour_pressure(np.array([])).shape == (0,)
