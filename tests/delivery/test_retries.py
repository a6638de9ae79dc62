"""When a notice is tried again; expected values are those of the design, and time is a number."""

from random import Random

import pytest

from monitor.delivery.retries import RetryPlan
from monitor.model import Priority


class NoJitter(Random):
    """Chance that always takes the whole gap."""

    def uniform(self, a: float, b: float) -> float:
        """The upper end."""
        return b


WHOLE = RetryPlan(NoJitter())


@pytest.mark.parametrize(
    ("priority", "gaps_s"),
    [
        (Priority.LOW, [5, 15, 45, 120, 300, 300, 300]),
        (Priority.MEDIUM, [5, 15, 45, 120, 300, 300, 300]),
        (Priority.HIGH, [5, 15, 45, 60, 60, 60, 60]),
    ],
)
def test_gaps_grow_to_five_minutes_and_for_high_to_one(priority: Priority, gaps_s: list[float]) -> None:
    """The gaps between attempts, beginning after the first."""
    assert [WHOLE.gap_s(attempts, priority) for attempts in range(1, 8)] == gaps_s


def test_jitter_shortens_a_gap_by_a_fifth_at_most_and_never_lengthens_it() -> None:
    """Somebody who waits for a high notice waits a minute at the longest."""
    plan = RetryPlan(Random(7))

    gaps_s = [plan.gap_s(9, Priority.HIGH) for _ in range(1000)]

    assert min(gaps_s) >= 48.0
    assert max(gaps_s) <= 60.0
    assert max(gaps_s) - min(gaps_s) > 10.0


@pytest.mark.parametrize(
    ("asked_s", "priority", "gap_s"),
    [
        (0.0, Priority.MEDIUM, 5.0),
        (30.0, Priority.MEDIUM, 30.0),
        (3600.0, Priority.MEDIUM, 300.0),
        (30.0, Priority.HIGH, 30.0),
        (3600.0, Priority.HIGH, 60.0),
    ],
)
def test_the_other_sides_wish_is_obeyed_up_to_the_longest_gap(
    asked_s: float, priority: Priority, gap_s: float
) -> None:
    """Retry-After after the first attempt, whose own gap is 5 s."""
    assert WHOLE.gap_s(1, priority, asked_s) == gap_s
