"""Arrows point one way: every import between rooms is held to a table."""

import ast
from pathlib import Path

import pytest

import monitor

PACKAGE = Path(monitor.__file__).parent

VOCABULARY = {"errors", "model", "clock", "settings", "safety", "shipped"}
"""What every room may know."""

MAY_IMPORT: dict[str, set[str]] = {
    "errors": set(),
    "model": set(),
    "clock": set(),
    "service": set(),
    "timers": set(),
    "safety": set(),
    "shipped": set(),
    "nearest": set(),
    "plugins": set(),
    "links": {"settings"},
    "toml_file": {"errors"},
    "settings": {"errors", "model", "clock", "nearest", "toml_file", "shipped"},
    "science": set(),
    "payloads": {"plugins", "errors", "model", "clock", "settings"},
    "quality": {"plugins", "errors", "model", "settings", "science"},
    "history": {"model", "settings", "science"},
    "service_lows": {"model", "settings"},
    "readings": {"plugins", "errors", "model", "settings", "payloads", "quality", "history", "service_lows"},
    "trees": {"plugins", "errors", "model", "clock", "settings", "shipped", "nearest", "toml_file"},
    "conditions": {"model", "settings", "history", "science", "trees"},
    "alarms": {"model", "clock"},
    "guarding": {"plugins", "model", "settings", "conditions", "trees", "alarms"},
    "silence": {"model", "settings", "conditions", "guarding", "science", "timers"},
    "notices": {"model", "clock", "settings", "alarms", "links"},
    "scenes": {
        "model", "settings", "alarms", "conditions", "guarding", "silence", "notices", "trees", "troubles",
        "watch",
    },
    "report": {"model", "clock", "notices", "safety", "trees"},
    "troubles": {"clock", "model", "settings"},
    "night_lows": {"clock", "model"},
    "usual_nights": {"engine", "night_lows", "trees"},
    "watch": {
        "model", "service_lows", "settings", "alarms", "conditions", "guarding", "history",
        "notices", "silence", "trees",
    },
    "watches": {
        "model", "clock", "settings", "alarms", "conditions", "guarding", "history", "notices", "silence",
        "science", "trees", "watch", "quality", "night_lows",
    },
    "own_delays": {"model", "alarms", "settings"},
    "occurrences": {"model", "alarms", "conditions", "guarding", "own_delays", "scenes", "timers"},
    "told_book": {"clock", "trees"},
    "resting": {"model", "alarms", "occurrences", "silence", "timers", "trees"},
    "commands": {"model", "settings", "alarms", "notices", "occurrences", "scenes"},
    "deliveries": {"model", "troubles"},
    "gathered": {"model"},
    "standing": {"alarms", "guarding", "model", "occurrences", "settings", "timers", "trees"},
    "memory": {"engine", "model", "readings", "trees"},
    "morning": {
        "links", "notices", "settings",
        "model", "clock", "guarding", "report", "engine", "alarms", "science", "trees", "views", "watches",
        "night_lows",
    },
    "views": {"plugins", "model", "clock", "guarding", "engine", "alarms", "notices"},
    "start": {"clock"},
    "asking": {"model"},
    "rooms": {
        "alarms", "commands", "conditions", "deliveries", "gathered", "guarding", "morning",
        "night_lows", "notices",
        "occurrences", "own_delays", "readings", "resting", "scenes", "settings", "silence", "standing",
        "timers", "told_book", "trees", "troubles", "watch",
    },
    "engine": {
        "model", "settings", "alarms", "memory", "morning", "notices", "readings", "resting", "rooms",
        "trees", "views", "watch", "watches",
    },
    "tree_record": {"conditions", "model", "store", "trees", "watches"},
    "almanac": {"settings"},
    "drive": {"almanac", "engine", "model"},
    "replay": {"almanac", "clock", "drive", "engine", "model", "settings", "trees"},
    "store": {"errors", "model", "clock"},
    "intake": {"errors", "model", "clock", "settings"},
    "delivery": {"errors", "model", "clock", "settings", "intake", "store", "links"},
    "liveness": {"clock", "settings"},
    "checkup": {"clock", "delivery", "engine", "keeping", "liveness", "model", "settings"},
    "telling": {"clock", "errors", "model", "science"},
    "keeping": {"errors", "model", "clock"},
    "upkeep": {"errors", "clock"},
    "check": VOCABULARY | {"payloads", "delivery", "intake", "trees", "nearest", "toml_file", "links"},
    "testing": VOCABULARY | {"delivery", "payloads", "quality"},
}  # fmt: skip
"""Room -> rooms that it may import; rooms that are not listed are the rim and may import anything."""

RIM = {"app", "web", "cli", "demo"}


def room_of(path: Path) -> str:
    """`monitor/trees/book.py` -> `trees`; `monitor/clock.py` -> `clock`."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    """The rooms that a module imports, wherever in it the import stands."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module] if node.module != "monitor" else [f"monitor.{a.name}" for a in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        found |= {name.split(".")[1] for name in names if name.startswith("monitor.")}
    return found


MODULES = sorted(
    path for path in PACKAGE.rglob("*.py") if path.name != "__init__.py" or path.parent != PACKAGE
)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_what_its_room_may(path: Path) -> None:
    """The table above is the house."""
    room = room_of(path)
    if room in RIM:
        return

    assert room in MAY_IMPORT, f"{room} is a new room: say in the table what it may know"
    allowed = MAY_IMPORT[room] | {room}
    if room.startswith("settings"):
        allowed |= {name for name in imported_rooms(path) if name.startswith("settings")}
    strangers = {name for name in imported_rooms(path) - allowed if not name.startswith("settings")} | (
        {name for name in imported_rooms(path) if name.startswith("settings")}
        if "settings" not in allowed
        else set()
    )
    assert strangers == set()


def test_science_knows_nothing_but_numbers() -> None:
    """Pure: no clock, no logging, no files, no pandas."""
    for path in (PACKAGE / "science").rglob("*.py"):
        imported = {
            (node.module or "").split(".")[0]
            if isinstance(node, ast.ImportFrom)
            else alias.name.split(".")[0]
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Import | ast.ImportFrom)
            for alias in node.names
        }
        assert imported <= {
            "math", "numpy", "astral", "collections", "dataclasses", "typing", "datetime", "enum",
            "functools", "itertools", "bisect", "statistics", "types", "monitor",
        }, path  # fmt: skip


def test_only_the_clock_asks_what_time_it_is() -> None:
    """No wall clock anywhere else."""
    for path in MODULES:
        if path.name == "clock.py" and path.parent == PACKAGE:
            continue
        text = path.read_text(encoding="utf-8")
        for call in ("time.time(", "datetime.now(", "datetime.utcnow(", "Timestamp.now(", "time.monotonic("):
            assert call not in text, f"{path} asks for the time"
