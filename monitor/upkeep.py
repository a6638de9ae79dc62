"""Keeps the store in good order beside the guarding: pruning, the nightly check, how big everything is.

Driven by the guard thread, a little at each turn; only reading the whole database through has a thread of
its own. It knows the store and the calendar's jobs; it decides nothing about alarms.
"""

import threading
from collections.abc import Mapping
from typing import Any, Protocol

from monitor.clock import is_trusted, monotonic_s
from monitor.errors import StoreError

SIZE_EVERY_S = 60.0
WAL_AT_MOST_BYTES = 64 << 20
"""Eight times what the log is cut to: only a program that holds the database open lets it grow so far."""
DAY_S = 86_400.0


class Tended(Protocol):
    """What upkeep needs of a store."""

    def prune(self, before_s: float) -> int:
        """Drop some of the readings before an instant; how many went."""
        ...

    def checkpoint(self) -> None:
        """Take the log in and cut it."""
        ...

    def is_sound(self) -> bool | None:
        """Whether the whole database is sound; None where it cannot be looked at. From any thread."""
        ...

    def distrust(self) -> None:
        """The database was found damaged: the next commit begins it afresh."""
        ...

    def size(self) -> Mapping[str, Any]:
        """Figures about what is kept."""
        ...


class Upkeep:
    """Hears of the calendar's jobs (`job`) and gets a `turn` with each pass."""

    def __init__(self, store: Tended, keep_days: float) -> None:
        self._store = store
        self._keep_s = keep_days * DAY_S
        self._pruning = False
        self._checking: threading.Thread | None = None
        self._verdict: bool | None = None
        self._sized_at_s = float("-inf")
        self.sizes: Mapping[str, Any] = {}
        """What `status` shows of the store, a minute old at most."""
        self.trouble = ""
        """Why the store cannot be relied on though it takes commits; empty while all is well."""

    def job(self, name: str) -> None:
        """A job of the calendar is due."""
        if name == "prune":
            self._pruning = True
        elif name == "check" and self._checking is None:
            self._checking = threading.Thread(target=self._check, name="store-check", daemon=True)
            self._checking.start()

    def turn(self, now_s: float, wall_s: float) -> bool:
        """A pass is over; True when the database was just found damaged, and must be begun afresh.

        `now_s` is guard time; only while `wall_s` can be right is anything pruned: a jump must not empty the
        store.
        """
        if self._pruning:
            self._pruning = is_trusted(wall_s) and self._pruned(now_s - self._keep_s)
        self._measure()
        return self._has_found_damage()

    def wait(self, timeout_s: float) -> None:
        """Wait for a check that is under way [s]."""
        if self._checking is not None:
            self._checking.join(timeout_s)

    def _pruned(self, before_s: float) -> bool:
        """One step; whether there may be more."""
        try:
            return self._store.prune(before_s) > 0
        except StoreError:
            return False

    def _measure(self) -> None:
        real_s = monotonic_s()
        if real_s - self._sized_at_s < SIZE_EVERY_S:
            return
        self.sizes, self._sized_at_s = self._store.size(), real_s
        grown = self.sizes.get("wal_bytes", 0)
        self.trouble = ""
        if grown > WAL_AT_MOST_BYTES:
            held = "another program holds the database open. End that one."
            self.trouble = f"the database's log has grown to {grown / 1e6:.0f} MB: {held}"

    def _check(self) -> None:
        """In a thread of its own: read everything through."""
        self._verdict = self._store.is_sound()

    def _has_found_damage(self) -> bool:
        """Take the verdict of a check that is over; a sound database has its log taken in."""
        if self._checking is None or self._checking.is_alive():
            return False
        self._checking, verdict, self._verdict = None, self._verdict, None
        if verdict is False:
            self._store.distrust()
            return True
        try:
            self._store.checkpoint()
        except StoreError:
            self._sized_at_s = float("-inf")  # a reader is in the way: look how far the log has grown
        return False
