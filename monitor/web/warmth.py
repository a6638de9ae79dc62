"""What is to be done on a tree, worked out beside the guard: from its book, and warmth read from the store.

The guard's own sums are not touched: they belong to its thread. Hours that the store does not give make dates
go by days alone.
"""

import threading
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.clock import monotonic_s
from monitor.conditions import ThermalSums
from monitor.errors import StoreError
from monitor.guarding import GuardedTree
from monitor.store.queries import Reader
from monitor.trees.follow_ups import FollowUpNow, follow_ups_of, moment
from monitor.trees.species import shipped_species

if TYPE_CHECKING:
    from monitor.app import Guard

READ_EVERY_S = 300.0
HOUR_S = 3600.0


class Warmth:
    """Degree-days of each sensor, read on from where it stopped."""

    def __init__(self, directory: Path) -> None:
        self._directory = directory
        self._lock = threading.Lock()
        self._sums = ThermalSums()
        self._next_hour_s = 0.0
        self._read_at_s = float("-inf")
        self._is_known = False

    def follow_ups(self, guard: "Guard", guarded: GuardedTree) -> tuple[FollowUpNow, ...]:
        """What comes, is due and is late on a tree, the soonest first."""
        now_s, tree = guard.label_s(), guarded.tree
        with self._lock:
            self._read_on()
            known = self._is_known

            def degree_days_since(at_s: float) -> float | None:
                return self._sums.degree_days_k_d(tree.placements, at_s, now_s) if known else None

            zone, species = guard.settings.site.zone, shipped_species().find(tree.species)
            present = moment(
                tree, guard.plans, guarded.stages, now_s, zone, degree_days_since, species
            )  # fmt: skip
            return follow_ups_of(present)

    def _read_on(self) -> None:
        real_s = monotonic_s()
        if real_s - self._read_at_s < READ_EVERY_S:
            return
        self._read_at_s = real_s
        try:
            with Reader(self._directory) as reader:
                hours = list(reader.hours(self._next_hour_s))
        except StoreError:
            self._is_known = self._next_hour_s > 0.0
            return
        self._sums.add(hours)
        self._is_known = True
        self._next_hour_s = max([self._next_hour_s, *(hour.hour_at_s + HOUR_S for hour in hours)])
