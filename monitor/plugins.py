"""Parts from other packages: a broken one is said, and never keeps the guard from guarding.

Their code runs in the guard's own thread, so nothing can end one that never returns: then passes stop, and
the service manager's watchdog starts the guard again.
"""

import logging
from collections.abc import Iterable, Iterator
from importlib.metadata import EntryPoint
from typing import Any

_log = logging.getLogger(__name__)
_faults: dict[str, str] = {}


def loaded(points: Iterable[EntryPoint], what: str) -> Iterator[tuple[str, Any]]:
    """(name, part) of each that can be loaded; of the others `faults` says so. `what` is `limit`, ..."""
    for point in points:
        try:
            part = point.load()
        except Exception as error:  # noqa: BLE001 - the plug-in boundary
            note(f"{what} {point.name}", "cannot be loaded", error)
            continue
        yield point.name, part


def note(part: str, what: str, error: Exception) -> None:
    """A part failed: the first time with all that is known in the log, and from then on in `faults`."""
    if part not in _faults:
        _log.error("The %s %s.", part, what, exc_info=error)
    _faults[part] = f"the {part} {what} ({type(error).__name__}); it does not count"


def faults() -> tuple[str, ...]:
    """What failed since this process began, a sentence each."""
    return tuple(_faults.values())


def forget() -> None:
    """As if nothing had failed yet."""
    _faults.clear()
