"""For all tests: the checkout comes last on the path, so that `monitor` is the installed wheel."""

import os
import sys
from pathlib import Path

import pytest
from hypothesis import settings

# A slow machine is no fault of the program: no test fails on a time. Where a change is judged, chance has
# no say: the same examples each time; at home every run looks for new ones.
settings.register_profile("patient", deadline=None, derandomize=os.environ.get("CI") == "true")
settings.load_profile("patient")

CHECKOUT = Path(__file__).resolve().parent.parent
if str(CHECKOUT) not in sys.path:
    sys.path.append(str(CHECKOUT))


@pytest.fixture(autouse=True)
def _clean_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    """No test sees the settings of whoever runs it."""
    for name in list(os.environ):
        if name.startswith("AFTERCARE_") or name in {"STATE_DIRECTORY", "RUNTIME_DIRECTORY", "NOTIFY_SOCKET"}:
            monkeypatch.delenv(name)
