"""Somebody who asks the page for one thing after another, at an even pace, from a process of their own.

    python -m tests.benchmarks.page_load 8380 50 60

Prints one line of JSON: how many answers came, how many were refused, and how long the middle one took [ms].
"""

import http.client
import json
import sys
import threading
import time

PATHS = ("/", "/tree/t0", "/record", "/", "/tonight", "/", "/tree/t1?span=7d", "/workings")
HANDS = 5
"""Connections that are kept open: as many phones in a household, all in hurry."""


class Hand(threading.Thread):
    """One of them; asks when its turn comes, and never twice at once."""

    def __init__(self, port: int, first_at_s: float, every_s: float, until_s: float, start: int) -> None:
        super().__init__()
        self._port, self._at_s, self._every_s, self._until_s = port, first_at_s, every_s, until_s
        self._turn = start
        self.took_s: list[float] = []
        self.statuses: list[int] = []
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)

    def run(self) -> None:
        """Until the end."""
        pause = threading.Event()
        while self._at_s < self._until_s:
            pause.wait(max(0.0, self._at_s - time.monotonic()))
            began_s = time.monotonic()
            self.statuses.append(self._ask(PATHS[self._turn % len(PATHS)]))
            self.took_s.append(time.monotonic() - began_s)
            self._turn += 1
            self._at_s += self._every_s

    def _ask(self, path: str) -> int:
        for _ in range(2):
            try:
                self._connection.request("GET", path)
                answer = self._connection.getresponse()
                answer.read()
                return answer.status
            except (http.client.HTTPException, OSError):
                self._connection.close()  # kept too long; once anew
        return 0


def main(port: int, per_s: float, seconds: float) -> None:
    """Ask, then say how it went."""
    begin_s = time.monotonic() + 0.2
    hands = [Hand(port, begin_s + n / per_s, HANDS / per_s, begin_s + seconds, n) for n in range(HANDS)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    took_s = sorted(took for hand in hands for took in hand.took_s)
    statuses = [status for hand in hands for status in hand.statuses]
    print(json.dumps({
        "asked": len(statuses), "answered": statuses.count(200), "per_s": len(statuses) / seconds,
        "middle_ms": took_s[len(took_s) // 2] * 1000, "slow_ms": took_s[int(len(took_s) * 0.99)] * 1000,
    }))  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3]))
