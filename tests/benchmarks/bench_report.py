"""The morning report of sixty trees: how long the guard is held, how long the child draws, what stays."""

import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from monitor.engine import Engine
from monitor.model import Effects
from monitor.replay import replay
from monitor.report.pictures import draw
from monitor.trees.plans import load_plans
from tests.report.nights import SUNDAY, Scenario, scenarios

REPEATS = 5


class _Nowhere:
    """Keeps nothing."""

    def commit(self, effects: Sequence[Effects], at_s: float) -> None:
        """Forget it."""


def _best_s(act: Callable[[], object]) -> float:
    times = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        act()
        times.append(time.perf_counter() - began)
    return min(times)


def _resident_mb() -> float:
    return int(Path("/proc/self/statm").read_text(encoding="utf-8").split()[1]) * 4096 / 1e6


def _lived(night: Scenario) -> Engine:
    """The guard after that time."""
    with tempfile.TemporaryDirectory() as folder:
        settings = night.settings(Path(folder))
    return replay(settings, load_plans(None), night.messages(), night.entries, _Nowhere(), night.to_s)


def main() -> list[dict[str, object]]:
    """Figures as rows."""
    night = scenarios()["sixty-trees"]
    engine, after_a_week = _lived(night), _lived(replace(night, from_text=SUNDAY, every_s=300.0))
    report_s = _best_s(lambda: engine.report("2027-01-17"))
    before_mb = _resident_mb()
    sunday_s = _best_s(lambda: after_a_week.report("2027-01-17"))
    grown_mb = _resident_mb() - before_mb
    report = engine.report("2027-01-17")
    before_mb = _resident_mb()
    draw_s = _best_s(lambda: draw(report.pictures))
    return [
        {
            "name": "report: sixty trees, six benches, made",
            "figure": report_s,
            "unit": "s",
            "ratio": report_s / 3.0,
            "compared_with": "the three seconds it may take",
            "stands_for": "text, page, calendar and what pictures show; the guard thread is held so long",
        },
        {
            "name": "report: the same on a Sunday, with its week",
            "figure": sunday_s,
            "unit": "s",
            "ratio": sunday_s / 3.0,
            "compared_with": "the three seconds it may take",
            "stands_for": "every hour of the week against the limits then in force, for every tree",
        },
        {
            "name": "report: growth of this process by five such reports",
            "figure": grown_mb,
            "unit": "MB",
            "stands_for": "resident",
        },
        {
            "name": "report: its picture, drawn by the child",
            "figure": draw_s,
            "unit": "s",
            "stands_for": "start of Python and matplotlib included; only the report waits",
        },
        {
            "name": "report: growth of this process by five drawings",
            "figure": _resident_mb() - before_mb,
            "unit": "MB",
            "stands_for": "resident; what draws lives and dies in the child",
        },
    ]
