"""A small installation and the command line in this process."""

from pathlib import Path

import pytest

from tests.cli.place import Command, Place


@pytest.fixture
def place(tmp_path: Path) -> Place:
    """An installation whose broker nobody runs."""
    return Place(tmp_path)


@pytest.fixture
def aftercare(capsys: pytest.CaptureFixture[str]) -> Command:
    """The command line."""
    return Command(capsys)
