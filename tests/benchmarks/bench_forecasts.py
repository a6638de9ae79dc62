"""What looking ahead costs: one forecast update, a night's learning, one hour of a hundred wraps.

Each figure is the shortest of several rounds of calls. Nothing fails on a time.
"""

import time
from collections.abc import Callable

import numpy as np

from monitor.science.frost_book import temperature_trend
from monitor.science.house_ahead import Courses, courses
from monitor.science.house_fit import fit_night
from monitor.science.house_response import HouseResponse
from monitor.science.night_low import forecast_low, refresh_low
from monitor.science.night_memory import KEPT_COUNT, NightMemory
from monitor.science.night_methods import Evening, Night
from monitor.science.roots import pot, root_ball_at, root_ball_step
from monitor.science.wrap_estimates import estimates
from monitor.science.wraps import WrapAir, WrapState, new_wrap, wrap_step

WRAPS = 100
FORECAST_BUDGET_MS = 5.0
WRAPS_BUDGET_MS = 2.0


def main() -> list[dict[str, object]]:
    """One row a figure: name, figure, unit, compared_with, ratio, stands_for."""
    return [*_forecasts(), *_learning(), *_wraps(), *_pots()]


def _forecasts() -> list[dict[str, object]]:
    """One bench sensor at an hour of the night, with four months of nights behind it."""
    memory, evening = _memory(), Evening(3.0, -2.0, 13.0)
    hours = np.arange(0, 6.01, 1 / 12)
    air = temperature_trend(3.0, -4.0, 13.0, hours)
    outside = air - 1.0
    refreshed_ms = 1e3 * _each(lambda: refresh_low(memory, evening, hours, air))
    ahead_ms = 1e3 * _each(lambda: _courses(air, outside))
    ahead = _courses(air, outside)
    limit_ms = 1e3 * _each(lambda: ahead.reaches(0.0))
    whole_ms = refreshed_ms + ahead_ms + limit_ms
    return [
        _row(
            "forecast: low from the evening", 1e3 * _each(lambda: forecast_low(memory, evening)), "one sensor"
        ),
        _row("forecast: low refreshed", refreshed_ms, "one sensor at one hour of the night"),
        _row("forecast: courses of a house", ahead_ms, "256 courses over 12 h for one house"),
        _row("forecast: time to one limit", limit_ms, "one tree's limit by those courses"),
        _row(
            "forecast: one whole update",
            whole_ms,
            "low, courses and time to a limit of one sensor",
            f"a budget of {FORECAST_BUDGET_MS:g} ms",
            FORECAST_BUDGET_MS / whole_ms,
        ),
    ]


def _learning() -> list[dict[str, object]]:
    """What happens once a morning."""
    memory = _memory()
    outside = temperature_trend(3.0, -5.0, 13.0, np.arange(0, 13.01, 1 / 6))
    inside = outside + 6 * np.exp(-np.arange(len(outside)) / 20)
    fold_ms = 1e3 * _each(lambda: memory.fold(memory.nights[-1]))
    fit_ms = 1e3 * _each(lambda: fit_night(inside, outside, step_s=600, heated=False), 5)
    return [
        _row("forecast: one night folded in", fold_ms, "one sensor, once a morning"),
        _row("forecast: one night's lags fitted", fit_ms, "one house, once a morning"),
    ]


def _wraps() -> list[dict[str, object]]:
    """One hour of a hundred wraps, at once and one by one."""
    wraps = tuple(
        new_wrap("raffia", ("none", "tape-overlapped")[index % 2], branch_mm=5 + index % 30)
        for index in range(WRAPS)
    )
    air = WrapAir(np.full(WRAPS, 6.0), np.full(WRAPS, 85.0))
    (wraps, step_ms), one_ms = (
        _stepped(wraps, air),
        1e3 * _each(lambda: wrap_step(wraps[:1], WrapAir(6.0, 85.0))),
    )
    said_ms = 1e3 * _each(lambda: estimates(wraps, air))
    return [
        _row(
            f"wraps: one hour of {WRAPS}",
            step_ms,
            "hourly work for a full house",
            f"a budget of {WRAPS_BUDGET_MS:g} ms",
            WRAPS_BUDGET_MS / step_ms,
        ),
        _row(
            f"wraps: one hour of {WRAPS}",
            step_ms,
            "hourly work for a full house",
            "as fast as one by one",
            WRAPS * one_ms / step_ms,
        ),
        _row(f"wraps: what is said of {WRAPS}", said_ms, "hourly stream and page"),
    ]


def _pots() -> list[dict[str, object]]:
    """One hour of forty pots."""
    vessel = pot(5.0)
    lags, plateaus = np.full(40, vessel.lag_h), np.full(40, vessel.plateau_k_h)
    balls = root_ball_at(np.linspace(-4, 8, 40), plateaus)
    air = np.linspace(-8, 4, 40)
    step_ms = 1e3 * _each(lambda: root_ball_step(balls, air, 1.0, lag_h=lags, plateau_k_h=plateaus))
    return [_row("pots: one hour of 40", step_ms, "hourly work for a full house")]


def _memory() -> NightMemory:
    """Four months of made nights."""
    chance = np.random.default_rng(1)
    memory = NightMemory()
    for _ in range(KEPT_COUNT):
        evening_c = float(chance.normal(3, 4))
        low_c = evening_c - float(chance.gamma(2, 1.5))
        track = temperature_trend(evening_c, low_c, 13.0, np.linspace(0, 14, 13))
        night = Night(Evening(evening_c, evening_c - 3, 13.0), low_c, 13.0, tuple(track.tolist()))
        memory = memory.fold(night)
    return memory


def _courses(inside: np.ndarray, outside: np.ndarray) -> Courses:
    ahead = courses(HouseResponse(), inside, outside, step_s=300)
    if ahead is None:
        raise RuntimeError("the made readings show no course")
    return ahead


def _stepped(wraps: tuple[WrapState, ...], air: WrapAir) -> tuple[tuple[WrapState, ...], float]:
    """The wraps an hour later, and what an hour costs [ms]."""
    return wrap_step(wraps, air), 1e3 * _each(lambda: wrap_step(wraps, air))


def _each(action: Callable[[], object], count: int = 50) -> float:
    """Time of one call, the shortest of five rounds of calls. [s]"""
    taken_s = []
    for _ in range(5):
        started = time.perf_counter()
        for _ in range(count):
            action()
        taken_s.append(time.perf_counter() - started)
    return min(taken_s) / count


def _row(
    name: str, figure_ms: float, stands_for: str, compared_with: str = "", ratio: float | None = None
) -> dict[str, object]:
    return {
        "name": name,
        "figure": round(figure_ms, 3),
        "unit": "ms",
        "compared_with": compared_with,
        "ratio": None if ratio is None else round(ratio, 2),
        "stands_for": stands_for,
    }


if __name__ == "__main__":
    for row in main():
        print(row)
