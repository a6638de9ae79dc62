"""When a notice is tried again; pure: chance and time are handed in."""

from dataclasses import dataclass
from random import Random

from monitor.model import Priority

GAPS_S = (5.0, 15.0, 45.0, 120.0)
"""Between the first attempts [s]: a short hiccup costs seconds, and a server that is down is not hammered."""
LONGEST_GAP_S = 300.0
LONGEST_GAP_HIGH_S = 60.0
"""Somebody must be woken: a minute after the way is back at the latest."""
LEAST_SHARE = 0.8
"""Jitter takes up to a fifth off a gap, so that many notices do not come back at the same instant."""


@dataclass(frozen=True, slots=True)
class RetryPlan:
    """The gaps between attempts; `random` only spreads them."""

    random: Random

    def gap_s(self, attempts: int, priority: Priority, retry_after_s: float | None = None) -> float:
        """How long to wait after the `attempts`-th attempt failed [s]; `attempts` counts from 1.

        `retry_after_s` is what the other side asked for: obeyed up to the longest gap of the priority.
        """
        longest_s = longest_gap_s(priority)
        gap_s = min(GAPS_S[attempts - 1] if attempts <= len(GAPS_S) else LONGEST_GAP_S, longest_s)
        gap_s *= self.random.uniform(LEAST_SHARE, 1.0)
        return gap_s if retry_after_s is None else min(max(gap_s, retry_after_s), longest_s)


def longest_gap_s(priority: Priority) -> float:
    """The longest gap between two attempts of a notice of this priority [s]."""
    return LONGEST_GAP_HIGH_S if priority is Priority.HIGH else LONGEST_GAP_S
