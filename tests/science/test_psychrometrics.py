"""Moist air against three other libraries over a whole box of weather, FAO's examples and open data.

What the others do otherwise, once for all tests here:
- psychrolib and CoolProp take relative humidity over ice below 0 °C, sensors and meteorology over water: they
are
  given the humidity over ice of the same vapour. What is more than saturated over ice they cannot express.
- They call the frost point "dew point" below 0 °C, and the ice bulb "wet bulb".
- CoolProp counts the air's own effect on saturation: 0.4 to 0.5 % more vapour at sea level.
- Their wet bulb is the thermodynamic one; a real ventilated bulb, as here, stands up to 0.25 K above it in
dry air.
- MetPy takes a simpler equation for saturation and another, older one for the dew point.
"""

import math
from importlib.resources import files
from itertools import product

import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from metpy.calc import dewpoint_from_relative_humidity, saturation_vapor_pressure
from metpy.units import units

from monitor.science.psychrometrics import (
    absolute_humidity,
    dew_point_from_relative_humidity,
    frost_point_from_relative_humidity,
    humidity_ratio,
    ice_bulb,
    latent_heat_of_sublimation,
    latent_heat_of_vaporisation,
    pressure_from_elevation,
    psychrometric_constant,
    relative_humidity,
    saturation_vapour_pressure,
    saturation_vapour_pressure_over_ice,
    surface_vapour_pressure_deficit,
    vapour_pressure,
    vapour_pressure_deficit,
    vapour_pressure_from_wet_bulb,
    wet_bulb,
)

psychrolib.SetUnitSystem(psychrolib.SI)

SEA_LEVEL_PA = 101_325.0

#: The box: −20..40 °C, 5..100 %.
TEMPERATURES_C = np.arange(-20.0, 40.1, 2.5).tolist()
HUMIDITIES_PCT = [5.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 95.0, 100.0]
BOX = list(product(TEMPERATURES_C, HUMIDITIES_PCT))

boxed_c = st.floats(-20.0, 40.0)
boxed_pct = st.floats(5.0, 100.0)


def _as_they_count(temperature_c: float, humidity_pct: float) -> float:
    """Fraction of saturation as psychrolib and CoolProp take it: over ice up to 0 °C."""
    if temperature_c > 0.0:
        return humidity_pct / 100.0
    water, ice = saturation_vapour_pressure(temperature_c), saturation_vapour_pressure_over_ice(temperature_c)
    return humidity_pct / 100.0 * water / ice


#: The points of the box that are not more than saturated over ice, with the fraction of saturation as they
#: count it.
SHARED_BOX = [(t, rh, _as_they_count(t, rh)) for t, rh in BOX if _as_they_count(t, rh) <= 1.0]


def test_vapour_pressure_and_deficit_agree_with_psychrolib_over_the_box() -> None:
    """Independent: psychrolib 2.5 (ASHRAE 2017), whose source claims 0.03 %.

    The deficit above 0 °C only: no ice.
    """
    for t, rh, fraction in SHARED_BOX:
        assert vapour_pressure(t, rh) == pytest.approx(
            psychrolib.GetVapPresFromRelHum(t, fraction) / 1000.0, rel=3.5e-4
        )
        if t > 0.0:
            ratio = psychrolib.GetHumRatioFromRelHum(t, fraction, SEA_LEVEL_PA)
            theirs_kpa = psychrolib.GetVaporPressureDeficit(t, ratio, SEA_LEVEL_PA) / 1000.0
            assert vapour_pressure_deficit(t, rh) == pytest.approx(theirs_kpa, rel=3.5e-4, abs=1e-6)


def test_dew_and_frost_point_agree_with_psychrolib_over_the_box() -> None:
    """Independent: psychrolib 2.5.

    What it calls dew point is the dew point above 0 °C, the frost point below.
    """
    for t, rh, fraction in SHARED_BOX:
        theirs_c = psychrolib.GetTDewPointFromRelHum(t, fraction)
        ours_c = (
            dew_point_from_relative_humidity if theirs_c > 0.01 else frost_point_from_relative_humidity
        )(t, rh)

        assert ours_c == pytest.approx(theirs_c, abs=0.005)


def test_wet_and_ice_bulb_agree_with_psychrolib_over_the_box() -> None:
    """Independent: psychrolib 2.5, thermodynamic.

    A ventilated bulb stands 0..0.25 K above it, an iced one 0..0.06 K.
    """
    for t, rh, fraction in SHARED_BOX:
        theirs_c = psychrolib.GetTWetBulbFromRelHum(t, fraction, SEA_LEVEL_PA)
        if theirs_c > 0.01:
            assert -0.001 <= wet_bulb(t, rh) - theirs_c <= 0.25
        else:
            assert -0.001 <= ice_bulb(t, rh) - theirs_c <= 0.06


def test_humidity_ratio_and_absolute_humidity_agree_with_psychrolib_over_the_box() -> None:
    """Independent: psychrolib 2.5, 0.035 %; the mass in a volume of air from its moist-air volume."""
    for t, rh, fraction in SHARED_BOX:
        ratio = psychrolib.GetHumRatioFromRelHum(t, fraction, SEA_LEVEL_PA)
        volume_m3 = psychrolib.GetMoistAirVolume(t, ratio, SEA_LEVEL_PA)

        assert humidity_ratio(t, rh) == pytest.approx(ratio, rel=3.5e-4)
        assert absolute_humidity(t, rh) == pytest.approx(1000.0 * ratio / volume_m3, rel=5e-4)


def test_everything_agrees_with_a_real_gas_library_over_the_box() -> None:
    """Independent: CoolProp (real-gas moist air). Vapour 0.4..0.5 % more by the enhancement; points within
    0.015 K.

    Its bulbs are thermodynamic: 0..0.26 K below a ventilated wet bulb, 0..0.09 K below an iced one. Two
    points of the box at 0 °C it cannot solve.
    """
    for t, rh, fraction in SHARED_BOX:
        at = ("T", t + 273.15, "R", fraction, "P", SEA_LEVEL_PA)
        assert 1.0039 < HAPropsSI("P_w", *at) / 1000.0 / vapour_pressure(t, rh) < 1.0050
        assert 1.0039 < HAPropsSI("W", *at) / humidity_ratio(t, rh) < 1.0053
        theirs_c = HAPropsSI("D", *at) - 273.15
        ours_c = (
            dew_point_from_relative_humidity if theirs_c > 0.01 else frost_point_from_relative_humidity
        )(t, rh)
        assert ours_c == pytest.approx(theirs_c, abs=0.015)


def test_bulbs_agree_with_a_real_gas_library_over_the_box() -> None:
    """Independent: CoolProp, thermodynamic.

    0..0.26 K below a ventilated wet bulb, 0..0.09 K below an iced one.
    """
    for t, rh, fraction in SHARED_BOX:
        if t == 0.0:
            continue  # it does not converge there at some humidities
        theirs_c = HAPropsSI("B", "T", t + 273.15, "R", fraction, "P", SEA_LEVEL_PA) - 273.15
        if theirs_c > 0.01:
            assert -0.001 <= wet_bulb(t, rh) - theirs_c <= 0.26
        else:
            assert -0.001 <= ice_bulb(t, rh) - theirs_c <= 0.09


def test_vapour_pressure_and_dew_point_agree_with_a_meteorologists_library_over_the_box() -> None:
    """Independent: MetPy, humidity over water below zero as here, so the whole box counts.

    Vapour pressure within 0.42 % (Ambaum 2020). The dew point within 0.11 K: MetPy inverts another equation
    (Bolton 1980) than it takes for saturation, so that even saturated air has a dew point off its own
    temperature there.
    """
    t, rh = (np.array(column) for column in zip(*BOX, strict=True))
    theirs_t, theirs_rh = units.Quantity(t, "degC"), units.Quantity(rh, "percent")
    e_kpa = (saturation_vapor_pressure(theirs_t) * theirs_rh).to("kPa").magnitude
    dew_c = dewpoint_from_relative_humidity(theirs_t, theirs_rh).to("degC").magnitude

    assert vapour_pressure(t, rh) == pytest.approx(e_kpa, rel=0.0042)
    assert dew_point_from_relative_humidity(t, rh) == pytest.approx(dew_c, abs=0.11)


def test_humidity_taken_over_ice_would_be_a_tenth_wrong_at_minus_ten() -> None:
    """The trap: the same reading, −10 °C and 50 %, given as it stands to a library that counts over ice.

    Independent: psychrolib 0.1300 kPa; over water (Murphy and Koop) 0.1432 kPa, 10 % more.
    """
    assert psychrolib.GetVapPresFromRelHum(-10.0, 0.5) / 1000.0 == pytest.approx(0.1300, abs=1e-4)
    assert vapour_pressure(-10.0, 50.0) == pytest.approx(0.1432, abs=1e-4)


@pytest.mark.parametrize("region", ["04", "13", "15"])
def test_a_weather_service_reports_humidity_over_water_below_zero(region: str) -> None:
    """Open data: test reference years 2010 of the German weather service (in demandlib), all hours below −2
    °C.

    They print mixing ratio to 0.1 g/kg beside temperature, pressure and humidity. From humidity over water it
    comes out within the rounding (mean error about 0.03 g/kg, bias about 0.01); over ice it would be 0.1 g/kg
    too low.
    """
    table = files("demandlib") / "vdi" / "resources_weather" / f"TRY2010_{region}_Jahr.dat"
    lines = table.read_text(encoding="latin-1").split("***")[1].splitlines()
    t, hpa, printed, rh = np.array([line.split() for line in lines if line.strip()], dtype=float).T[8:12]
    cold = t < -2.0
    ours = [
        1000.0 * humidity_ratio(each_t, each_rh, pressure_kpa=each_hpa / 10.0)
        for each_t, each_rh, each_hpa in zip(
            t[cold].tolist(), rh[cold].tolist(), hpa[cold].tolist(), strict=True
        )
    ]
    over_ice_kpa = saturation_vapour_pressure_over_ice(t[cold]) * rh[cold] / 100.0
    over_ice = 621.945 * over_ice_kpa / (hpa[cold] / 10.0 - over_ice_kpa)

    assert cold.sum() > 500
    assert np.abs(ours - printed[cold]).mean() < 0.035
    assert abs((ours - printed[cold]).mean()) < 0.015
    assert (over_ice - printed[cold]).mean() < -0.085


def test_fao_example_3_mean_saturation_of_a_day() -> None:
    """Published: FAO-56, example 3, p. 69: 24.5 and 15 °C give 3.075, 1.705 and, as a mean, 2.39 kPa.

    Tolerance 0.1 %: Tetens against Murphy and Koop. The mean temperature's own 2.302 kPa would be too low.
    """
    warm, cool = saturation_vapour_pressure(24.5), saturation_vapour_pressure(15.0)

    assert warm == pytest.approx(3.075, rel=0.001)
    assert cool == pytest.approx(1.705, rel=0.001)
    assert (warm + cool) / 2.0 == pytest.approx(2.39, rel=0.001)
    assert saturation_vapour_pressure(19.75) == pytest.approx(2.302, rel=0.001)


def test_fao_example_4_vapour_pressure_from_a_psychrometer() -> None:
    """Published: FAO-56, example 4, p. 70: 1200 m, 25.6 °C dry, 19.5 °C wet give 87.9 kPa and 1.91 kPa.

    Tolerance half of the last digit: its coefficient 0.000662 against 0.000653 (1 + 0.000944 × 19.5) here.
    """
    pressure_kpa = pressure_from_elevation(1200.0)

    assert pressure_kpa == pytest.approx(87.9, abs=0.05)
    assert vapour_pressure_from_wet_bulb(25.6, 19.5, pressure_kpa=pressure_kpa) == pytest.approx(
        1.91, abs=0.005
    )


def test_fao_examples_5_and_6_vapour_pressure_and_deficit_of_a_day() -> None:
    """Published: FAO-56, examples 5 and 6, p. 72: 18 °C 82 %, 25 °C 54 % give 1.70 kPa, by mean humidity
    1.78, deficit 0.91.

    Example 6 from memory. Tolerance half of the last digit.
    """
    actual_kpa = (vapour_pressure(18.0, 82.0) + vapour_pressure(25.0, 54.0)) / 2.0
    saturated_kpa = (saturation_vapour_pressure(18.0) + saturation_vapour_pressure(25.0)) / 2.0

    assert actual_kpa == pytest.approx(1.70, abs=0.005)
    assert saturated_kpa * 0.68 == pytest.approx(1.78, abs=0.005)
    assert saturated_kpa - actual_kpa == pytest.approx(0.91, abs=0.005)


def test_pressure_falls_with_elevation_as_in_the_standard_atmosphere() -> None:
    """Independent: psychrolib's standard atmosphere (15 °C at sea level.

    FAO takes 20 °C), within 1.2 % up to 3000 m.
    """
    for elevation_m in (0.0, 500.0, 1500.0, 3000.0):
        theirs_kpa = psychrolib.GetStandardAtmPressure(elevation_m) / 1000.0
        assert pressure_from_elevation(elevation_m) == pytest.approx(theirs_kpa, rel=0.012)


def test_a_leaf_cooler_than_the_air_dries_more_slowly() -> None:
    """Independent: 15 °C, 70 %, leaf 13.5 °C.

    0.354 against 0.512 kPa of the air (Murphy and Koop, separate code).
    """
    assert surface_vapour_pressure_deficit(13.5, 15.0, 70.0) == pytest.approx(0.354, abs=5e-4)
    assert vapour_pressure_deficit(15.0, 70.0) == pytest.approx(0.512, abs=5e-4)


def test_dew_forms_where_the_surface_deficit_is_negative() -> None:
    """A surface below the dew point gains water; below zero hoar forms sooner than dew would."""
    dew_c = dew_point_from_relative_humidity(10.0, 80.0)
    assert (
        surface_vapour_pressure_deficit(dew_c - 0.1, 10.0, 80.0)
        < 0.0
        < surface_vapour_pressure_deficit(dew_c + 0.1, 10.0, 80.0)
    )

    frost_c = frost_point_from_relative_humidity(-2.0, 70.0)
    assert surface_vapour_pressure_deficit(frost_c - 0.1, -2.0, 70.0, frozen=True) < 0.0
    assert surface_vapour_pressure_deficit(frost_c - 0.1, -2.0, 70.0) > 0.0


def test_dew_frost_wet_and_ice_point_of_dry_air_near_freezing() -> None:
    """Independent: 5 °C, 30 % by separate code.

    Dew −11.13, frost −9.92, wet bulb −0.17, ice bulb −0.54 (ASHRAE −0.57).
    """
    assert dew_point_from_relative_humidity(5.0, 30.0) == pytest.approx(-11.13, abs=0.01)
    assert frost_point_from_relative_humidity(5.0, 30.0) == pytest.approx(-9.92, abs=0.01)
    assert wet_bulb(5.0, 30.0) == pytest.approx(-0.17, abs=0.01)
    assert ice_bulb(5.0, 30.0) == pytest.approx(-0.57, abs=0.04)


def test_latent_heats_are_those_of_the_steam_equation() -> None:
    """Independent: IAPWS-95 in CoolProp, 0.01..40 °C, within 0.1 %.

    For ice 2834.3 kJ/kg at 0 °C (IAPWS, from memory).
    """
    for temperature_c in (0.01, 10.0, 20.0, 40.0):
        at = ("T", temperature_c + 273.15)
        theirs = PropsSI("H", *at, "Q", 1, "Water") - PropsSI("H", *at, "Q", 0, "Water")
        assert latent_heat_of_vaporisation(temperature_c) == pytest.approx(theirs, rel=1e-3)
    assert latent_heat_of_sublimation(0.0) == pytest.approx(2834.3e3, rel=1e-3)
    assert latent_heat_of_sublimation(-20.0) == pytest.approx(2838e3, rel=1e-3)


def test_fao_example_2_psychrometric_constant_at_an_elevation() -> None:
    """Published: FAO-56, example 2, p. 32: 1800 m give 81.8 kPa and 0.054 kPa/°C. From memory.

    Half the last digit.
    """
    pressure_kpa = pressure_from_elevation(1800.0)

    assert pressure_kpa == pytest.approx(81.8, abs=0.05)
    assert psychrometric_constant(20.0, pressure_kpa=pressure_kpa) == pytest.approx(0.054, abs=5e-4)


@settings(deadline=None)
@given(boxed_c, boxed_pct)
def test_dew_point_wet_bulb_and_air_stand_in_order(temperature_c: float, humidity_pct: float) -> None:
    """Property: dew point ≤ wet bulb ≤ air, all the same at saturation."""
    dew_c, bulb_c = (
        dew_point_from_relative_humidity(temperature_c, humidity_pct),
        wet_bulb(temperature_c, humidity_pct),
    )

    assert dew_c - 1e-9 <= bulb_c <= temperature_c + 1e-9
    assert wet_bulb(temperature_c, 100.0) == pytest.approx(temperature_c, abs=1e-9)


@settings(deadline=None)
@given(boxed_c, boxed_pct, st.floats(60.0, 105.0))
def test_the_bulbs_solve_their_equation(
    temperature_c: float, humidity_pct: float, pressure_kpa: float
) -> None:
    """Property: put back into the psychrometer's equation, the wet bulb gives the vapour pressure again."""
    bulb_c = wet_bulb(temperature_c, humidity_pct, pressure_kpa=pressure_kpa)
    back_kpa = vapour_pressure_from_wet_bulb(
        temperature_c, min(bulb_c, temperature_c), pressure_kpa=pressure_kpa
    )

    assert back_kpa == pytest.approx(vapour_pressure(temperature_c, humidity_pct), rel=1e-9)
    iced_c = ice_bulb(temperature_c, humidity_pct, pressure_kpa=pressure_kpa)
    if not math.isnan(iced_c):
        back_kpa = saturation_vapour_pressure_over_ice(iced_c) - 5.75e-4 * pressure_kpa * (
            temperature_c - iced_c
        )
        assert back_kpa == pytest.approx(vapour_pressure(temperature_c, humidity_pct), rel=1e-9)


@settings(deadline=None)
@given(boxed_c, boxed_pct)
def test_humidity_comes_back_from_vapour_pressure_and_dew_point(
    temperature_c: float, humidity_pct: float
) -> None:
    """Property: round trips."""
    e_kpa = vapour_pressure(temperature_c, humidity_pct)
    dew_c = dew_point_from_relative_humidity(temperature_c, humidity_pct)

    assert relative_humidity(temperature_c, e_kpa) == pytest.approx(humidity_pct, rel=1e-12)
    assert saturation_vapour_pressure(dew_c) == pytest.approx(e_kpa, rel=1e-12)


@settings(deadline=None)
@given(boxed_c, st.floats(5.0, 99.0), st.floats(0.01, 1.0))
def test_damper_air_dries_less(temperature_c: float, humidity_pct: float, more_pct: float) -> None:
    """Property: with humidity the vapour, dew point and wet bulb rise and the deficit falls."""
    for rising in (
        vapour_pressure,
        dew_point_from_relative_humidity,
        wet_bulb,
        absolute_humidity,
        humidity_ratio,
    ):
        assert rising(temperature_c, humidity_pct + more_pct) > rising(temperature_c, humidity_pct)
    assert vapour_pressure_deficit(temperature_c, humidity_pct + more_pct) < vapour_pressure_deficit(
        temperature_c, humidity_pct
    )


@settings(deadline=None)
@given(boxed_c, boxed_pct)
def test_one_pair_and_an_array_of_it_are_the_same(temperature_c: float, humidity_pct: float) -> None:
    """Property: scalar equals vector, and numbers give a plain float."""
    for function in (
        vapour_pressure,
        vapour_pressure_deficit,
        dew_point_from_relative_humidity,
        frost_point_from_relative_humidity,
        wet_bulb,
        ice_bulb,
        absolute_humidity,
        humidity_ratio,
    ):
        one = function(temperature_c, humidity_pct)
        many = function(np.array([temperature_c, 15.0]), np.array([humidity_pct, 50.0]))

        assert type(one) is float
        assert many[0] == pytest.approx(one, rel=1e-11, abs=1e-11, nan_ok=True)


@pytest.mark.parametrize(
    "function",
    [
        vapour_pressure,
        vapour_pressure_deficit,
        dew_point_from_relative_humidity,
        frost_point_from_relative_humidity,
        wet_bulb,
        ice_bulb,
        absolute_humidity,
        humidity_ratio,
    ],
)
@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct"),
    [(math.nan, 50.0), (-5.0, math.nan), (-5.0, 100.5), (-5.0, -1.0), (59.0, 50.0), (-200.0, 50.0)],
)
def test_what_is_missing_or_impossible_is_not_a_number(
    function, temperature_c: float, humidity_pct: float
) -> None:
    """NaN and out of range give NaN, alone and in an array, and spoil nothing beside them."""
    assert math.isnan(function(temperature_c, humidity_pct))
    beside = function(np.array([temperature_c, -5.0]), np.array([humidity_pct, 50.0]))
    assert np.isnan(beside).tolist() == [True, False]


def test_saturated_air_comes_back_as_saturated_in_spite_of_rounding() -> None:
    """Found by the round trip: a last bit above saturation was taken for impossible. Damper air still is."""
    temperatures_c = np.arange(-20.0, 40.0, 0.1)
    back_pct = relative_humidity(temperatures_c, vapour_pressure(temperatures_c, 100.0))

    assert back_pct == pytest.approx(100.0, abs=1e-9)
    assert back_pct.max() <= 100.0
    assert math.isnan(relative_humidity(1.5, 1.001 * vapour_pressure(1.5, 100.0)))
    assert math.isnan(relative_humidity(1.5, -0.1))


def test_an_array_of_temperatures_goes_with_one_humidity() -> None:
    """Arrays broadcast against a number."""
    many = vapour_pressure_deficit(np.array([5.0, 10.0]), 60.0)

    assert many == pytest.approx([vapour_pressure_deficit(5.0, 60.0), vapour_pressure_deficit(10.0, 60.0)])


@pytest.mark.parametrize("pressure_kpa", [0.0, -1.0, 29.0, 1013.25, math.nan])
def test_an_air_pressure_that_cannot_be_is_refused(pressure_kpa: float) -> None:
    """A configured pressure out of range, such as one in hPa, is refused and named."""
    for refused in (humidity_ratio, wet_bulb, ice_bulb):
        with pytest.raises(ValueError, match="air pressure must be between 30 and 110 kPa"):
            refused(10.0, 50.0, pressure_kpa=pressure_kpa)
    with pytest.raises(ValueError, match="air pressure"):
        psychrometric_constant(10.0, pressure_kpa=pressure_kpa)
    with pytest.raises(ValueError, match="air pressure"):
        vapour_pressure_from_wet_bulb(10.0, 5.0, pressure_kpa=pressure_kpa)


@pytest.mark.parametrize("elevation_m", [-501.0, 9001.0, math.nan])
def test_an_elevation_that_is_not_on_earth_is_refused(elevation_m: float) -> None:
    """A configured elevation out of range is refused and named."""
    with pytest.raises(ValueError, match="elevation above sea level"):
        pressure_from_elevation(elevation_m)


def test_a_wet_bulb_above_the_air_is_not_a_number() -> None:
    """A bulb warmer than the air is a wrong reading."""
    assert math.isnan(vapour_pressure_from_wet_bulb(10.0, 10.5))
    assert np.isnan(
        vapour_pressure_from_wet_bulb(np.array([10.0, 10.0]), np.array([10.5, 9.0]))
    ).tolist() == [
        True,
        False,
    ]


def test_there_is_no_ice_bulb_in_warm_air() -> None:
    """At 15 °C and 90 % the ice would melt.

    In air saturated over water at −10 °C hoar warms the bulb above the air.
    """
    assert math.isnan(ice_bulb(15.0, 90.0))
    assert ice_bulb(-10.0, 100.0) > -10.0
