"""A broker for a whole file of this room, and the figures at its end."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults import figures
from tests.support.broker import Mosquitto, need_broker


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    """One that lets everybody in."""
    with Mosquitto(need_broker(), tmp_path_factory.mktemp("broker")) as running:
        yield running


@pytest.fixture
def own_broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """One for a test that has a house of its own: two of one client id would push each other out."""
    with Mosquitto(need_broker(), tmp_path) as running:
        yield running


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for one house that several tests of a file look at."""
    return tmp_path_factory.mktemp("house")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What was measured."""
    found = figures.lines()
    if found:
        terminalreporter.write_sep("-", "faults: what was measured")
        for line in found:
            terminalreporter.write_line(line)
