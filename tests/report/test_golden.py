"""Whole reports, word for word, each read as a grower would; and what no report may ever say.

`snapshot`: they guard words against changes by accident; `python -m tests.report.golden` writes them anew.
"""

import re
from collections.abc import Callable

import pytest

from monitor.safety import SAFETY_LINES
from tests.report.golden import FOLDER
from tests.report.nights import Played, scenarios

NEVER = ("VPD", "deadband", "p10", "p90", "broker", "K·h", "OK", "WARN", "CRIT", "None", "nan", "{", "}")
"""Design 2: what is never on screen, and what only a fault would print."""


@pytest.mark.parametrize("name", scenarios())
def test_a_night_has_its_report_word_for_word(name: str, played: Callable[[str], Played]) -> None:
    """Snapshot, reviewed."""
    report = played(name).reports[-1]

    assert f"Subject: {report.subject}\n\n{report.text}" == (FOLDER / f"{name}.txt").read_text("utf-8")


@pytest.mark.parametrize("name", scenarios())
def test_a_report_speaks_a_growers_words_and_fits_a_mail(name: str, played: Callable[[str], Played]) -> None:
    """No technical words, no line too long, the verdict first, the safety text last."""
    report = played(name).reports[-1]
    lines = report.text.splitlines()

    assert [word for word in NEVER if re.search(rf"(?<!\w){re.escape(word)}(?!\w)", report.text)] == []
    assert max(map(len, lines)) <= 78
    assert re.sub(r"\s+", " ", report.text).index(lines[0].rstrip(".")) == 0
    assert re.sub(r"\s+", " ", report.text).rstrip().endswith(SAFETY_LINES[-1])
    assert "No report by 07:30 means that I am not running." in report.text
    assert len(report.subject) <= 112


@pytest.mark.parametrize("name", scenarios())
def test_no_report_asks_for_what_does_harm(name: str, played: Callable[[str], Played]) -> None:
    """Nobody is asked to bring a tree into warmth, or to handle a frozen branch."""
    text = re.sub(r"\s+", " ", played(name).reports[-1].text).lower()

    for harm in ("warm room", "into the house", "hot water", "unwind", "carry it", "pour"):
        assert harm not in text


@pytest.mark.parametrize("name", scenarios())
def test_seven_things_at_most_are_asked_and_each_says_how_long_it_can_wait(
    name: str, played: Callable[[str], Played]
) -> None:
    """Common practice, no source: more than a walk through the house is not done."""
    text = played(name).reports[-1].text
    today = text[text.index("Today\n") : text.index("\nThe night")]
    asked = re.split(r"\n\d\. ", today)[1:]

    assert 1 <= len(asked) <= 7
    for ask in asked:
        plain = re.sub(r"\s+", " ", ask)
        assert re.search(r"it (can wait|cannot wait|was due|should not wait)", plain), plain
