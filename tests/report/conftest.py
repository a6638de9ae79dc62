"""Each invented night is played once for all tests here."""

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from tests.report.nights import Played, scenarios


@pytest.fixture(scope="session")
def played(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Played]:
    """What came of a night, by its name."""

    @cache
    def play(name: str) -> Played:
        folder: Path = tmp_path_factory.mktemp(name)
        return scenarios()[name].play(folder)

    return play
