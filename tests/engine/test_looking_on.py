"""Whoever looks on, at the page or by `status`, changes nothing of what the guard finds."""

from collections.abc import Sequence

from monitor.model import Transition
from monitor.watches import make_watches

from .house import House, settings_of


def _night(looks_on: bool) -> Sequence[Transition]:
    """Two hours of quick cooling; somebody may look right after each reading."""
    house = House(settings_of(("bench-a", "bench-b")), begins="2027-01-14 18:00", watches=make_watches)
    for minute in range(150):
        value_c = round(6.0 - 0.05 * minute - 0.02 * (minute % 3), 2)
        house.reading(value_c, house.start_s + 60.0 * (minute + 1))
        if looks_on:
            house.engine.snapshot()
    return house.transitions_seen


def test_a_snapshot_at_every_reading_changes_no_word_of_any_alarm() -> None:
    """What is foreseen is kept for some minutes; those who only look have answers of their own."""
    alone = _night(looks_on=False)
    assert any(t.respond_within_s is not None for t in alone)
    assert alone == _night(looks_on=True)
