"""Runs the benchmarks and prints one table; nothing in it fails on a time.

tests/run bench                everything
tests/run bench replay store   only these
tests/run bench --json FILE    writes the figures (date, machine, versions) so that runs can be compared
"""

import argparse
import importlib
import json
import platform
import sys
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

HERE = Path(__file__).resolve().parent
if str(HERE.parent.parent) not in sys.path:
    sys.path.append(str(HERE.parent.parent))

PACKAGES = ("greenhouse-aftercare-monitor", "numpy", "pandas", "paho-mqtt", "pydantic")


def machine() -> dict[str, str]:
    """What the figures were measured on."""
    return {
        "date": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": platform.machine(),
        "system": platform.platform(),
        "python": platform.python_version(),
        **{name: _version(name) for name in PACKAGES},
    }


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "from its source"


def show(row: dict[str, object]) -> str:
    """One line: name, figure, what it is compared with, ratio, what it stands for."""
    figure = row["figure"]
    number = f"{figure:,.3g}" if isinstance(figure, float) and abs(figure) < 1000 else f"{figure:,.0f}"
    ratio = row.get("ratio")
    against = f"  {ratio:.2f} x {row.get('compared_with')}" if isinstance(ratio, int | float) else ""
    if ratio is None and row.get("compared_with"):
        against = f"  ({row['compared_with']})"
    return f"{row['name']:<58} {number:>12} {row['unit']:<14}{against}\n{'':<4}{row.get('stands_for', '')}"


def main() -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("only", nargs="*", help="names of benchmarks, without bench_")
    parser.add_argument("--json", type=Path, help="write the figures to this file")
    asked = parser.parse_args()
    names = sorted(path.stem for path in HERE.glob("bench_*.py"))
    rows: list[dict[str, object]] = []
    for name in names:
        if asked.only and name.removeprefix("bench_") not in asked.only:
            continue
        print(f"\n== {name.removeprefix('bench_')}", flush=True)
        for row in importlib.import_module(f"tests.benchmarks.{name}").main():
            rows.append({"benchmark": name, **row})
            print(show(row), flush=True)
    if asked.json:
        asked.json.write_text(json.dumps({**machine(), "figures": rows}, indent=1), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
