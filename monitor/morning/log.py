"""Remembers for two days when the program did not run and when the clock on the wall was set."""

from collections.abc import Mapping
from typing import Any

KEEP_S = 48 * 3600.0
AT_MOST = 50
"""Of each; a machine that restarts every minute tells as much by its last fifty."""


class NightLog:
    """What happened to the program itself, for the morning report."""

    def __init__(self) -> None:
        self._off: list[tuple[float, float]] = []
        self._steps: list[tuple[float, float]] = []

    def started(self, last_alive_at_s: float | None, now_s: float) -> None:
        """The program starts; nothing to tell at the very first time."""
        if last_alive_at_s is not None:
            self._off = _young([*self._off, (last_alive_at_s, now_s)], now_s)

    def stepped(self, by_s: float, now_s: float) -> None:
        """People's clock was moved forward by so much [s]."""
        self._steps = _young([*self._steps, (now_s, round(by_s, 1))], now_s)

    def off_since(self, from_s: float) -> tuple[tuple[float, float], ...]:
        """Spans in which the program was off that ended later than an instant."""
        return tuple(span for span in self._off if span[1] > from_s)

    def steps_since(self, from_s: float) -> tuple[tuple[float, float], ...]:
        """When the clock was set, and by how much, since an instant."""
        return tuple(step for step in self._steps if step[0] > from_s)

    def as_json(self) -> dict[str, Any]:
        """Plain values for a row."""
        return {"off": [list(span) for span in self._off], "steps": [list(step) for step in self._steps]}

    def load(self, kept: Mapping[str, Any]) -> None:
        """Take over what was known before a restart."""
        self._off = [(float(a), float(b)) for a, b in kept.get("off", ())]
        self._steps = [(float(at), float(by)) for at, by in kept.get("steps", ())]


def _young(found: list[tuple[float, float]], now_s: float) -> list[tuple[float, float]]:
    return [each for each in found if max(each) > now_s - KEEP_S][-AT_MOST:]
