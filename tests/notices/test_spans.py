"""How long something lasts, in words."""

import pytest

from monitor.notices.words import duration, what_of


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (20.0, "1 min"),
        (1800.0, "30 min"),
        (3600.0, "1 h"),
        (5700.0, "1 h 35 min"),
        (7200.0, "2 h"),
        (9000.0, "2 h 30 min"),
        (11_000.0, "3 h"),
        (90_000.0, "25 h"),
        (200_000.0, "2 days"),
    ],
)
def test_a_span_is_said_as_closely_as_it_matters(seconds: float, said: str) -> None:
    """An hour and a half is not two hours to somebody who waits."""
    assert duration(seconds) == said


@pytest.mark.parametrize(
    ("family", "said"),
    [("frost-tonight", "a dangerous night in Cold house"), ("storage-failing", "what happens was not kept")],
)
def test_what_it_was_about_reads_as_words(family: str, said: str) -> None:
    """No name of a kind."""
    assert what_of(family, ["site" if "not kept" in said else "Cold house"]) == said
