"""Uncertainty of what is derived from a sensor.

Against worked values and against a sensor that errs at random.
"""

import math

import numpy as np
import pytest

from monitor.science.psychrometrics import (
    absolute_humidity,
    dew_point_from_relative_humidity,
    frost_point_from_relative_humidity,
    humidity_ratio,
    ice_bulb,
    saturation_slope,
    saturation_vapour_pressure,
    surface_vapour_pressure_deficit,
    vapour_pressure,
    vapour_pressure_deficit,
    wet_bulb,
)
from monitor.science.uncertainty import SensorAccuracy, drying_power, standard_uncertainty


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "deficit_kpa", "deficit_off_kpa", "dew_point_off_k"),
    [
        (0.0, 80.0, 0.122, 0.019, 0.58),
        (5.0, 90.0, 0.087, 0.026, 0.56),
        (10.0, 60.0, 0.491, 0.038, 0.76),
        (10.0, 90.0, 0.123, 0.037, 0.57),
        (10.0, 97.0, 0.037, 0.037, 0.55),
        (15.0, 70.0, 0.512, 0.052, 0.70),
        (20.0, 50.0, 1.170, 0.073, 0.93),
        (25.0, 60.0, 1.268, 0.098, 0.84),
        (30.0, 40.0, 2.548, 0.13, 1.20),
    ],
)
def test_an_ordinary_sensor_leaves_deficit_and_dew_point_so_uncertain(
    temperature_c: float,
    humidity_pct: float,
    deficit_kpa: float,
    deficit_off_kpa: float,
    dew_point_off_k: float,
) -> None:
    """Independent: a table worked out twice by separate code, ± 0.3 K and ± 3 %.

    A little over half the last digit.
    """
    power = drying_power(temperature_c, humidity_pct)
    dew_off_k = standard_uncertainty(dew_point_from_relative_humidity, temperature_c, humidity_pct)

    assert power.vpd_kpa == pytest.approx(deficit_kpa, abs=6e-4)
    assert power.uncertainty_kpa == pytest.approx(deficit_off_kpa, abs=6e-4 if temperature_c < 30.0 else 6e-3)
    assert dew_off_k == pytest.approx(dew_point_off_k, abs=6e-3)


def test_the_deficit_by_the_written_out_formula() -> None:
    """Independent: σ² = ((1−h) e' σT)² + (e σh)², its derivatives taken by hand."""
    t_c, fraction = 12.0, 0.65
    by_hand_kpa = math.hypot(
        (1.0 - fraction) * saturation_slope(t_c) * 0.2, saturation_vapour_pressure(t_c) * 0.02
    )
    ours_kpa = standard_uncertainty(vapour_pressure_deficit, t_c, 100.0 * fraction, SensorAccuracy(0.2, 2.0))

    assert ours_kpa == pytest.approx(by_hand_kpa, rel=1e-6)


@pytest.mark.parametrize(
    "quantity",
    [
        vapour_pressure,
        vapour_pressure_deficit,
        dew_point_from_relative_humidity,
        frost_point_from_relative_humidity,
        wet_bulb,
        ice_bulb,
        absolute_humidity,
        humidity_ratio,
        lambda t_c, rh_pct: surface_vapour_pressure_deficit(t_c - 1.5, t_c, rh_pct),
    ],
)
def test_a_sensor_that_errs_at_random_spreads_as_said(quantity) -> None:
    """Independent: 100,000 readings with normal errors (JCGM 101).

    1 % for chance and for bends of the function.
    """
    generator = np.random.default_rng(11)
    t_c, rh_pct = generator.normal(-3.0, 0.1, 100_000), generator.normal(70.0, 1.0, 100_000)

    said = standard_uncertainty(quantity, -3.0, 70.0, SensorAccuracy(0.1, 1.0))
    assert said == pytest.approx(np.std(quantity(t_c, rh_pct)), rel=0.012)


@pytest.mark.parametrize(
    ("humidity_pct", "accuracy", "known"),
    [
        (90.0, SensorAccuracy(), True),
        (93.5, SensorAccuracy(), True),
        (94.5, SensorAccuracy(), False),
        (97.0, SensorAccuracy(), False),
        (100.0, SensorAccuracy(), False),
        (94.5, SensorAccuracy(0.1, 1.0), True),
        (95.0, SensorAccuracy(0.1, 1.0), False),
        (88.0, SensorAccuracy(0.5, 5.0), True),
        (91.0, SensorAccuracy(0.5, 5.0), False),
    ],
)
def test_near_saturation_the_drying_power_is_not_known(
    humidity_pct: float, accuracy: SensorAccuracy, known: bool
) -> None:
    """Within two standard uncertainties of nothing, and from 95 % on however good the sensor is."""
    assert drying_power(10.0, humidity_pct, accuracy).known is known


def test_the_drying_power_of_a_missing_reading_is_not_known() -> None:
    """NaN in: NaN out, and not known."""
    for temperature_c, humidity_pct in ((math.nan, 50.0), (10.0, math.nan), (10.0, 101.0)):
        power = drying_power(temperature_c, humidity_pct)
        assert math.isnan(power.vpd_kpa)
        assert power.known is False


def test_arrays_and_numbers_are_equally_uncertain() -> None:
    """Scalar equals vector, missing stays missing, the very end of the scale has an uncertainty too."""
    t_c, rh_pct = np.array([10.0, math.nan, 10.0]), np.array([60.0, 60.0, 100.0])
    many = standard_uncertainty(vapour_pressure_deficit, t_c, rh_pct)

    assert many[0] == pytest.approx(standard_uncertainty(vapour_pressure_deficit, 10.0, 60.0), rel=1e-9)
    assert np.isnan(many).tolist() == [False, True, False]
    assert many[2] == pytest.approx(0.03 * saturation_vapour_pressure(10.0), rel=1e-6)


@pytest.mark.parametrize(
    ("accuracy", "named"),
    [
        (SensorAccuracy(-0.1, 3.0), "temperature accuracy"),
        (SensorAccuracy(0.3, -1.0), "humidity accuracy"),
        (SensorAccuracy(0.3, 51.0), "humidity accuracy"),
        (SensorAccuracy(math.nan, 3.0), "temperature accuracy"),
    ],
)
def test_an_accuracy_that_cannot_be_is_refused(accuracy: SensorAccuracy, named: str) -> None:
    """A configured accuracy out of range is refused and named."""
    with pytest.raises(ValueError, match=named):
        drying_power(10.0, 60.0, accuracy)
