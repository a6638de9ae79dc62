"""The package as a whole: what is tested is what is shipped."""

import os
from pathlib import Path

import monitor


def test_ci_tests_the_wheel_and_not_the_checkout() -> None:
    """Under CI the package comes from where the wheel was installed."""
    checkout = Path(__file__).resolve().parent.parent

    if os.environ.get("CI") == "true":
        assert checkout not in Path(monitor.__file__).resolve().parents
    assert monitor.__version__
