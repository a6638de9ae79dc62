"""What the science costs.

A million pairs against two other libraries in the same run, and one value at a time.
"""

import time
from collections.abc import Callable
from datetime import UTC, datetime

import metpy.calc
import numpy as np
import psychrolib
from metpy.units import units

from monitor.science.change import cusum
from monitor.science.psychrometrics import (
    dew_point_from_relative_humidity,
    vapour_pressure_deficit,
    wet_bulb,
)
from monitor.science.sun import next_sunset, solar_elevation
from monitor.science.thermal_time import degree_days
from monitor.science.uncertainty import drying_power
from monitor.science.wetness import wetness_index

PAIRS = 1_000_000

#: psychrolib takes one value at a time; it is measured on so many pairs and scaled up to the million.
PSYCHROLIB_PAIRS = 2_000


def main() -> list[dict[str, object]]:
    """One row a figure: name, figure, unit, compared_with, ratio, stands_for."""
    return [*_million(), *_one_by_one(), *_series()]


def _million() -> list[dict[str, object]]:
    """A million pairs to deficit and dew point: here, MetPy on arrays with units, psychrolib one by one."""
    generator = np.random.default_rng(1)
    t_c, rh_pct = generator.uniform(-20.0, 40.0, PAIRS), generator.uniform(5.0, 100.0, PAIRS)
    theirs = units.Quantity(t_c, "degC"), units.Quantity(rh_pct, "percent")
    # turn about, so that whatever else the machine does meets both
    runs = [(_best(lambda: _ours(t_c, rh_pct), 1), _best(lambda: _metpy(*theirs), 1)) for _ in range(9)]
    ours_s, metpy_s = (min(column) for column in zip(*runs, strict=True))
    some = slice(0, PSYCHROLIB_PAIRS)
    psychrolib_s = _best(lambda: _psychrolib(t_c[some].tolist(), (rh_pct[some] / 100.0).tolist()), 3)
    psychrolib_s *= PAIRS / PSYCHROLIB_PAIRS
    stands_for = "deficit and dew point of a year of minutes of two sensors"
    scaled = f"psychrolib one by one ({PSYCHROLIB_PAIRS} pairs, scaled up)"
    return [
        _row("science: million pairs", ours_s * 1e3, "ms", stands_for, "as fast as MetPy", metpy_s / ours_s),
        _row(
            "science: million pairs",
            ours_s * 1e3,
            "ms",
            stands_for,
            f"as fast as {scaled}",
            psychrolib_s / ours_s,
        ),
        _row("science: million pairs by MetPy", metpy_s * 1e3, "ms", "comparison"),
        _row("science: million pairs by psychrolib, scaled up", psychrolib_s * 1e3, "ms", "comparison"),
    ]


def _one_by_one() -> list[dict[str, object]]:
    """One value where one is asked for, beside the same function given an array of one."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    one_t_c, one_rh_pct = np.array([7.5]), np.array([63.0])
    at_s = datetime(2026, 1, 10, 17, tzinfo=UTC).timestamp()
    deficit_s = _each(lambda: vapour_pressure_deficit(7.5, 63.0))
    dew_s = _each(lambda: dew_point_from_relative_humidity(7.5, 63.0))
    bulb_s = _each(lambda: wet_bulb(7.5, 63.0))
    dew_array_s = _each(lambda: dew_point_from_relative_humidity(one_t_c, one_rh_pct))
    dew_psychrolib_s = _each(lambda: psychrolib.GetTDewPointFromRelHum(7.5, 0.63))
    return [
        _row("science: one deficit", deficit_s * 1e6, "µs", "one reading against its limit"),
        _row(
            "science: one dew point",
            dew_s * 1e6,
            "µs",
            "one reading on the page",
            "as fast as by an array of one",
            dew_array_s / dew_s,
        ),
        _row(
            "science: one dew point",
            dew_s * 1e6,
            "µs",
            "one reading on the page",
            "as fast as psychrolib",
            dew_psychrolib_s / dew_s,
        ),
        _row("science: one wet bulb", bulb_s * 1e6, "µs", "one reading near freezing"),
        _row(
            "science: one drying power", _each(lambda: drying_power(7.5, 63.0)) * 1e6, "µs", "one wrap's air"
        ),
        _row(
            "science: one sun height",
            _each(lambda: solar_elevation(at_s, 54.6, -3.1)) * 1e6,
            "µs",
            "one pass",
        ),
        _row(
            "science: next sunset",
            _each(lambda: next_sunset(at_s, 54.6, -3.1), 50) * 1e6,
            "µs",
            "one evening",
        ),
    ]


def _series() -> list[dict[str, object]]:
    """A season of hours and a day of minutes."""
    generator = np.random.default_rng(2)
    hours = 24 * 120
    at_s = np.arange(hours) * 3600.0
    t_c, rh_pct = generator.normal(6.0, 4.0, hours), generator.uniform(60.0, 100.0, hours)
    end_s = float(at_s[-1])
    thermal_s = _each(lambda: degree_days(at_s, t_c, 5.0, start_s=0.0, end_s=end_s), 100)
    return [
        _row(
            "science: degree-days of 120 days of hours", thermal_s * 1e6, "µs", "one tree's stage, recomputed"
        ),
        _row(
            "science: wetness of 120 days of hours",
            _best(lambda: wetness_index(t_c, rh_pct), 3) * 1e3,
            "ms",
            "one place's mould index, recomputed",
        ),
        _row(
            "science: CUSUM of 120 days of hours",
            _each(lambda: cusum(t_c), 200) * 1e6,
            "µs",
            "one heater's past",
        ),
    ]


def _ours(t_c: np.ndarray, rh_pct: np.ndarray) -> tuple[object, object]:
    return vapour_pressure_deficit(t_c, rh_pct), dew_point_from_relative_humidity(t_c, rh_pct)


def _metpy(t: units.Quantity, rh: units.Quantity) -> tuple[object, object]:
    deficit = (metpy.calc.saturation_vapor_pressure(t) * (1.0 - rh)).to("kPa")
    return deficit, metpy.calc.dewpoint_from_relative_humidity(t, rh)


def _psychrolib(t_c: list[float], fractions: list[float]) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    for t, fraction in zip(t_c, fractions, strict=True):
        ratio = psychrolib.GetHumRatioFromRelHum(t, fraction, 101_325.0)
        psychrolib.GetVaporPressureDeficit(t, ratio, 101_325.0)
        psychrolib.GetTDewPointFromRelHum(t, fraction)


def _best(action: Callable[[], object], times: int) -> float:
    """Shortest of several runs. [s]"""
    taken_s = []
    for _ in range(times):
        started = time.perf_counter()
        action()
        taken_s.append(time.perf_counter() - started)
    return min(taken_s)


def _each(action: Callable[[], object], count: int = 5_000) -> float:
    """Time of one call, the shortest of three rows of calls. [s]"""
    return _best(lambda: [action() for _ in range(count)], 3) / count


def _row(
    name: str, figure: float, unit: str, stands_for: str, compared_with: str = "", ratio: float | None = None
) -> dict[str, object]:
    return {
        "name": name,
        "figure": round(figure, 3),
        "unit": unit,
        "compared_with": compared_with,
        "ratio": None if ratio is None else round(ratio, 2),
        "stands_for": stands_for,
    }


if __name__ == "__main__":
    for row in main():
        print(row)
