"""Asking what there is, or how it stands, loads nothing that only a running guard or a picture needs."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.benchmarks import winter

HEAVY = ("numpy", "pandas", "matplotlib", "starlette", "uvicorn", "monitor.engine", "monitor.watches")
ASK = """
import sys
from monitor.cli.entry import main
status = main({words!r})
print(sorted(set(sys.modules) & set({heavy!r})), file=sys.stderr)
"""


@pytest.mark.parametrize("words", [["--help"], ["status", "--help"], ["book", "add", "touch", "--help"]])
def test_help_loads_no_numbers_and_no_guard(words: list[str]) -> None:
    """It is asked for in a greenhouse, on a board that has other things to do."""
    code = ASK.format(words=words, heavy=HEAVY)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


def test_status_without_a_guard_loads_no_numbers_either(tmp_path: Path) -> None:
    """It asks the guard over its socket, and only writes down the answer."""
    winter.settings(tmp_path, 1)
    words = ["status", "--config", f"{tmp_path}/monitor.toml"]
    code = ASK.format(words=words, heavy=HEAVY)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip().splitlines()[-1] == "[]"
