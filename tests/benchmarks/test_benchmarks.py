"""The parts of the benchmarks work: each in its smallest size, and every row can be shown and compared.

Nothing here looks at a time; what a figure is worth shows only in a whole run.
"""

import importlib
import json
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.benchmarks import bench_latency, bench_month, bench_pass, bench_replay, bench_store, run

Rows = list[dict[str, object]]

SMALL: dict[str, Callable[[], Rows]] = {
    "replay": lambda: bench_replay.main((1,)),
    "pass": lambda: bench_pass.main((6,), (4,), filled_min=40),
    "month": lambda: bench_month.main(2, 0),
    "latency": lambda: bench_latency.main(1, 100),
}
KEYS = {"name", "figure", "unit", "compared_with", "ratio", "stands_for"}


@pytest.mark.parametrize("name", SMALL)
def test_a_benchmark_gives_rows_that_can_be_shown(name: str) -> None:
    """Name, figure, unit, what it is compared with, the ratio, what it stands for: one line each."""
    rows = SMALL[name]()
    assert rows
    for row in rows:
        assert set(row) == KEYS
        assert str(row["name"]) in run.show(row)
        assert "\n" not in str(row["stands_for"])
        assert isinstance(row["figure"], int | float)


def test_quiet_hours_are_counted_in_commits_and_pages() -> None:
    """Far fewer commits than messages, and some page for each commit."""
    with tempfile.TemporaryDirectory() as folder:
        commits, pages = bench_store._quiet(Path(folder), hours=1)
    assert 0 < float(str(commits["ratio"])) < 1
    assert float(str(pages["figure"])) >= float(str(commits["figure"]))


def test_every_benchmark_has_a_main_and_says_what_it_is() -> None:
    """What `tests/run bench` finds can be run."""
    for path in sorted(Path(run.HERE).glob("bench_*.py")):
        module = importlib.import_module(f"tests.benchmarks.{path.stem}")
        assert callable(module.main)
        assert module.__doc__


def test_what_was_measured_on_is_plain_values() -> None:
    """Date, machine and versions go into the file beside the figures."""
    assert json.loads(json.dumps(run.machine()))["date"].startswith("20")
