"""A replay's progress on a terminal: how much of the recording's time has gone by."""

import contextlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path

from monitor.clock import parse_rfc3339
from monitor.store.recording import recording_files

TAIL_BYTES = 65536
EVERY = 500


@contextlib.contextmanager
def bar(recording: Path) -> Iterator[Callable[[float], None]]:
    """Something to call with each event's instant [s]."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"),
               TimeRemainingColumn())  # fmt: skip
    ends_s = _ends_s(recording)
    began: list[float] = []
    count = [0]
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("playing", total=None)

        def move(at_s: float) -> None:
            if not began:
                began.append(at_s)
                if ends_s is not None and ends_s > at_s:
                    progress.update(task, total=ends_s - at_s)
            count[0] += 1
            if count[0] % EVERY == 0:
                progress.update(task, completed=at_s - began[0])

        yield move


def _ends_s(recording: Path) -> float | None:
    """The instant of the recording's last line; None where only reading all of it would tell."""
    try:
        files = recording_files(recording) if recording.is_dir() else [recording]
        last = files[-1]
        if last.name.endswith(".gz"):
            return None
        with last.open("rb") as file:
            file.seek(max(0, last.stat().st_size - TAIL_BYTES))
            lines = file.read().splitlines()
        return parse_rfc3339(json.loads(lines[-1])["received_at"])
    except (OSError, ValueError, KeyError, TypeError, IndexError):
        return None
