"""How a wrap's drying is told: a range that somebody can plan with, never one number."""

import math

import pytest

from monitor.notices.recovery_words import dry_in

DAY_H = 24.0


@pytest.mark.parametrize(
    ("p10_h", "p90_h", "said"),
    [
        (10.2, 29.5, "dry in 10–30 h"),
        (4.2 * DAY_H, 10.5 * DAY_H, "dry in 4–11 days"),
        (20.0, 60.0, "dry in 20 h to 3 days"),
        (0.2, 9.0, "dry now or within 9 h"),
        (0.1, 0.5, "dry now"),
        (9.6 * DAY_H, 214.0 * DAY_H, "dry in 9 days at the soonest"),
        (30.7, math.inf, "dry in 30 h at the soonest"),
        (0.5, math.inf, "dry now or not for weeks"),
        (math.inf, math.inf, "it will not dry in this air"),
        (math.nan, math.nan, "when it will be dry is not known in air this damp"),
    ],
)
def test_a_range_is_told_as_far_as_anybody_plans(p10_h: float, p90_h: float, said: str) -> None:
    """Beyond two months only the sooner end is told, and that is rounded down."""
    assert dry_in(p10_h, p90_h) == said
