"""A small invented installation in a folder, and the command line called in this process or as a real one."""

import json
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from monitor.cli.entry import main

SETTINGS = """\
[site]
name = "Heather Bank"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1
[broker]
port = {port}
[houses.cold]
name = "Cold house"
heater_setpoint_c = 4.0
[sensors.bench-a]
topic = "heather/cold/bench-a"
every_s = {every_s}
[alarms.low-temperature]
on_delay_s = 0
on_samples = 1
off_delay_s = 0
[notifiers.log]
type = "journal"
[notifiers.spool]
type = "cap"
directory = "cap"
[people.ann]
notifiers = ["log", "spool"]
[web]
listen = "127.0.0.1:{web_port}"
"""
BOOK: Sequence[Mapping[str, Any]] = (
    {
        "at": "2026-01-09T10:00:00Z", "kind": "tree", "tree": "larch-3", "name": "Larch 3",
        "species": "Larix decidua", "sensor": "bench-a",
    },
    {"at": "2026-01-10T15:00:00Z", "kind": "work", "tree": "larch-3", "work": "heavy-bend"},
)  # fmt: skip


class Done(NamedTuple):
    """What a command came to."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """Standard output as JSON."""
        return json.loads(self.out)


class Place:
    """The folder of one installation."""

    def __init__(self, folder: Path, port: int = 1, web_port: int = 0, every_s: float = 60.0) -> None:
        self.folder = folder
        self.config = folder / "monitor.toml"
        self.state = folder / "state"
        self.config.write_text(
            SETTINGS.format(port=port, web_port=web_port, every_s=every_s), encoding="utf-8"
        )

    def write_book(self, entries: Sequence[Mapping[str, Any]] = BOOK) -> Path:
        """Put entries into the state directory, as if they had been there for long."""
        self.state.mkdir(mode=0o700, exist_ok=True)
        path = self.state / "book.jsonl"
        path.write_text("".join(json.dumps(entry) + "\n" for entry in entries), encoding="utf-8")
        return path


class Command:
    """`aftercare` in this process, with its output caught."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def __call__(self, *words: str | Path) -> Done:
        """Run it; nothing that a user can cause may come as an exception."""
        self._capsys.readouterr()
        status = main([str(word) for word in words])
        caught = self._capsys.readouterr()
        return Done(status, caught.out, caught.err)


def environment(**more: str) -> dict[str, str]:
    """What a real process gets: ours, with the same packages to import."""
    path = os.pathsep.join(part for part in sys.path if part)
    return {**os.environ, "PYTHONPATH": path, "PYTHONWARNINGS": "default", **more}


def process(*words: str | Path, cwd: Path, stdin: str = "", **more: str) -> Done:
    """`aftercare` as a real process without a terminal."""
    done = subprocess.run(
        [sys.executable, "-m", "monitor.cli.entry", *map(str, words)],
        check=False,
        cwd=cwd,
        env=environment(**more),
        input=stdin,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
    )
    return Done(done.returncode, done.stdout, done.stderr)
