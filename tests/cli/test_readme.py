"""The README says what is true: commands, safety text, the two commands that set everything up."""

import os
import re
from pathlib import Path

import pytest

from monitor.safety import SAFETY_TEXT
from tests.cli.test_help import PATHS

CHECKOUT = Path(__file__).resolve().parents[2]
README = (CHECKOUT / "README.md").read_text(encoding="utf-8")
WORDS = " ".join(README.split())


def test_the_safety_text_is_in_it_word_for_word() -> None:
    """The same text that `check` prints."""
    for paragraph in SAFETY_TEXT:
        assert " ".join(paragraph.split()) in WORDS


def test_its_list_of_commands_is_the_commands() -> None:
    """Every command that does something, and no other."""
    listed = set(re.findall(r"^\| `aftercare ([a-z ]+)` \|", README, re.MULTILINE))
    leaves = {
        " ".join(path)
        for path in PATHS
        if not any(other[: len(path)] == path and other != path for other in PATHS)
    }
    with_kinds = {"book add" if name.startswith("book add ") else name for name in leaves}

    assert listed == with_kinds


def test_every_command_line_in_it_names_a_command() -> None:
    """Nobody types what is not there."""
    known = {path[0] for path in PATHS}
    for line in re.findall(r"`?aftercare ([a-z]+)", README):
        assert line in known | {"does"}, line


def test_the_first_paragraph_is_the_job() -> None:
    """Before anything that must be typed."""
    first = README.split("\n\n")[1]

    assert not first.startswith(("#", "[", "!", "-", "`"))
    assert "Heather Bank" in first


@pytest.mark.parametrize("command", ["deploy/try", "tests/run"])
def test_the_two_commands_are_there_and_can_be_started(command: str) -> None:
    """In this order, each on its own line."""
    assert f"\n{command}\n" in README
    assert os.access(CHECKOUT / command, os.X_OK)
    assert README.index("\ndeploy/try\n") < README.index("\ntests/run\n")


def test_files_that_it_links_to_are_there() -> None:
    """No dead ends."""
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (CHECKOUT / target).exists(), target
