"""The guard does not notice the page: a daemon raises and clears alarms while the page is asked on and on.

How late an alarm then is, `tests/run bench page` measures; a busy machine must not make a test fail.
"""

from pathlib import Path

from tests.benchmarks.bench_page import house, measured


def test_alarms_get_through_while_the_page_is_asked_fifty_times_a_second(tmp_path: Path) -> None:
    """Every alarm and its end reach somebody, and every question is answered."""
    with house(tmp_path) as found:
        idle, busy, loads = measured(found, seconds=2.0, turns=1)

    assert idle
    assert busy
    assert all(load["answered"] == load["asked"] > 50 for load in loads)
