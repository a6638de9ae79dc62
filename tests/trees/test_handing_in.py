"""What people hand in while the computer's clock cannot be right: an entry then brings its own time.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from collections.abc import Mapping
from typing import Any

import pytest

from monitor.errors import BookError
from monitor.trees.book import Book
from monitor.trees.handing_in import handed_in
from monitor.trees.plans import load_plans
from tests.engine.house import instant, settings_of

WRONG_S = instant("2012-01-01 00:00")
RIGHT_S = instant("2027-01-14 20:00")
NOTE: Mapping[str, Any] = {"kind": "note", "note": "snow on the roof"}


def hand_in(given: Any, now_s: float) -> list[dict[str, Any]]:
    """Into an empty book."""
    return handed_in(given, "ann", now_s, Book.fold(()), settings_of(), load_plans(None))


def test_with_a_clock_that_cannot_be_right_an_entry_needs_its_time() -> None:
    """Else it would be dated to a year in which nobody had this program."""
    with pytest.raises(BookError, match="clock cannot be right, so the entry needs its time"):
        hand_in([NOTE], WRONG_S)


def test_with_its_time_it_is_taken_and_written_down_at_that_time() -> None:
    """`--at`; nobody knows better when it was entered."""
    (entry,) = hand_in([{**NOTE, "at": "2027-01-14T18:00:00Z"}], WRONG_S)

    assert entry["at"] == entry["entered_at"] == "2027-01-14T18:00:00Z"


def test_a_file_waits_for_the_clock() -> None:
    """Its lines may lean on one another's times."""
    with pytest.raises(BookError, match="Set it, then import"):
        hand_in('{"at":"2027-01-14T18:00:00Z","kind":"note","note":"snow"}\n', WRONG_S)


def test_with_a_right_clock_what_has_not_come_yet_is_refused() -> None:
    """An hour ahead."""
    with pytest.raises(BookError, match="has not come yet"):
        hand_in([{**NOTE, "at": "2027-01-14T21:00:00Z"}], RIGHT_S)
