"""Instants at which something can change without a message, each under a name; the earliest comes first."""

import heapq


class Timers:
    """A heap of named instants; setting a name again moves it."""

    def __init__(self) -> None:
        self._heap: list[tuple[float, str]] = []
        self._at: dict[str, float] = {}

    def set(self, name: str, at_s: float | None) -> None:
        """(Re)set one timer; None takes it away."""
        if at_s is None:
            self._at.pop(name, None)
        elif self._at.get(name) != at_s:
            self._at[name] = at_s
            heapq.heappush(self._heap, (at_s, name))

    def names(self, prefix: str) -> tuple[str, ...]:
        """Timers that are set and whose name begins so."""
        return tuple(name for name in self._at if name.startswith(prefix))

    def due_s(self) -> float:
        """The earliest instant, or infinity."""
        while self._heap:
            at_s, name = self._heap[0]
            if self._at.get(name) == at_s:
                return at_s
            heapq.heappop(self._heap)
        return float("inf")

    def pop(self, now_s: float) -> tuple[float, str] | None:
        """Take the earliest timer if it is due."""
        if self.due_s() > now_s:
            return None
        at_s, name = heapq.heappop(self._heap)
        del self._at[name]
        return at_s, name
