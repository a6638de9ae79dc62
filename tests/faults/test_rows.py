"""The table of faults is whole: every row names tests that there are."""

import re
from pathlib import Path

import pytest

from tests.faults.rows import ROWS, Fault

TESTS = Path(__file__).resolve().parents[1]
NAMED = (
    "down at the start", "mid-run", "half open", "password", "retained", "garbage", "huge", "deep", "NaN",
    "duplicates", "late", "dies", "freezes", "SMTP refuses", "4xx", "SMTP answers 5xx", "SMTP hangs",
    "reply is lost", "429", "webhook answers 5xx", "redirects", "410", "all notifiers", "full", "read-only",
    "locked", "truncated", "corrupt", "newer", "an hour", "1970", "summer time", "no clock",
    "every transition", "mid-write", "two daemons", "raises", "hangs", "grow", "crash equivalence",
)  # fmt: skip
"""What the owner asked for, a word or two each."""


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.what)
def test_each_row_has_its_tests(row: Fault) -> None:
    """A test that is renamed or lost is missed here."""
    for named in (row.seen, row.passes, *row.also):
        file, _, name = named.partition("::")
        text = (TESTS / file).read_text(encoding="utf-8")
        assert re.search(rf"^def {name}\(", text, re.MULTILINE), named


def test_no_fault_that_was_asked_for_is_left_out() -> None:
    """Each has a row."""
    said = [row.what for row in ROWS]

    assert [word for word in NAMED if not any(word in what for what in said)] == []
