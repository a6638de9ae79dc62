"""Drills from the page: each in a thread of its own, one at a time, so that a slow way holds up nobody."""

import queue
import threading
from typing import TYPE_CHECKING

from monitor.delivery.workers import DrillResult

if TYPE_CHECKING:
    from monitor.app import Guard

WAITS_S = 20.0


class Drills:
    """Runs a drill and waits a little for its result."""

    def __init__(self, guard: "Guard", waits_s: float = WAITS_S) -> None:
        self._guard = guard
        self._waits_s = waits_s
        self._one = threading.Lock()

    def run(self, notifier: str) -> DrillResult | None:
        """The result; None where it is not there in time, or another drill is under way."""
        if not self._one.acquire(blocking=False):
            return None
        answer: queue.SimpleQueue[DrillResult] = queue.SimpleQueue()

        def drill() -> None:
            try:
                answer.put(self._guard.drill(notifier))
            finally:
                self._one.release()

        threading.Thread(target=drill, name="drill", daemon=True).start()
        try:
            return answer.get(timeout=self._waits_s)
        except queue.Empty:
            return None
