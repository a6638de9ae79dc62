"""`aftercare run`: the daemon. Imports nothing of the command line's libraries."""

import signal
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import FrameType

from monitor.app import open_guard
from monitor.errors import UsageError
from monitor.settings import load_settings
from monitor.web.server import serve

SECOND_SIGNAL = 1


def run(words: Sequence[str], environ: Mapping[str, str]) -> int:
    """Guard until told to stop; 0 after an orderly end."""
    settings = load_settings(_config(words), environ)
    guard = open_guard(settings)
    told: list[int] = []

    def end(number: int, frame: FrameType | None) -> None:
        """The first signal ends in order, a second one at once."""
        del frame
        told.append(number)
        if len(told) > 1:
            sys.exit(SECOND_SIGNAL)
        guard.stop()

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    with serve(guard, environ):
        guard.run()
    return 0


def _config(words: Sequence[str]) -> Path | None:
    """`--config F` or `--config=F`; nothing else is an option of `run`."""
    rest = list(words)
    config: Path | None = None
    while rest:
        word = rest.pop(0)
        if word == "--config" and rest:
            config = Path(rest.pop(0))
        elif word.startswith("--config="):
            config = Path(word.removeprefix("--config="))
        else:
            raise UsageError(f"aftercare run does not know {word!r}.", "It takes --config FILE only.")
    return config
