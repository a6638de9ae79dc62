"""What others see of the trees is dated by people's clocks, whatever the guard's own time.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from pathlib import Path

import pytest

from monitor.clock import rfc3339
from tests.app.live import Live


def test_after_the_clock_was_set_trees_are_shown_in_peoples_time(tmp_path: Path) -> None:
    """Bent now, says the page, and the guard holds it to that at once."""
    with Live(tmp_path) as live:
        live.write(kind="tree", tree="larch-3", name="Larch 3", sensor="bench-a")
        live.clock_steps(3 * 3600.0)
        live.write(kind="work", tree="larch-3", work="heavy-bend")

        shown = live.guard.trees["larch-3"]
        assert shown.tree.works[0].at_s == pytest.approx(live.guard.label_s(), abs=1.0)
        assert shown.stages[0].stage == "fresh"
        assert shown.limits["low_harm_c"] == 0.0
        ends_s = shown.stages[0].days_end_at_s
        assert ends_s is not None
        assert ends_s - live.guard.label_s() == pytest.approx(14 * 86_400.0, abs=2.0)


def test_where_nothing_was_set_the_trees_are_those_that_are_guarded(tmp_path: Path) -> None:
    """No copy is made."""
    with Live(tmp_path) as live:
        live.write(kind="tree", tree="larch-3", name="Larch 3", sensor="bench-a")
        assert live.guard.trees is live.guard.engine.guarding.trees


def test_a_rest_is_over_by_peoples_time(tmp_path: Path) -> None:
    """An hour of theirs, though the clock was set three hours forward before."""
    with Live(tmp_path) as live:
        live.clock_steps(3 * 3600.0)
        live.write(kind="rest", sensor="bench-b", until=rfc3339(live.guard.label_s() + 60.0))
        assert "bench-b" in live.guard.engine.resting.sensors
        live.passes(70.0)
        assert "bench-b" not in live.guard.engine.resting.sensors
