"""The program's own troubles: notices that do not get through, a store that does not keep, a clock, restarts.

Outcomes and starts in, assessments out. It knows no mail server and no disk.
"""

from collections.abc import Mapping
from typing import Any

from monitor.clock import is_trusted
from monitor.model import Assessment, Judgement, Notice, Outcome, Priority
from monitor.settings import Settings

RECORDS = frozenset({"journal", "cap"})
"""Notifiers that keep a record and reach nobody."""
FAILURES = 3
FAILURES_SPAN_S = 60.0
STARTS = 3
STARTS_WITHIN_S = 3600.0


class Troubles:
    """What fails at present."""

    def __init__(self, settings: Settings) -> None:
        self._reach = frozenset(n for n, known in settings.notifiers.items() if known.type not in RECORDS)
        self._failures: dict[str, tuple[float, ...]] = {}
        self._permanent: set[str] = set()
        self._high: dict[str, dict[str, bool | None]] = {}
        """High notices under way: notifier -> delivered, failed, or None while nothing is known."""
        self._starts: tuple[float, ...] = ()

    def load(self, kept: Mapping[str, Any]) -> None:
        """Take over what was known before a restart."""
        self._starts = tuple(kept.get("starts", ()))
        self._failures = {name: tuple(at_s) for name, at_s in kept.get("failures", {}).items()}
        self._permanent = set(kept.get("permanent", ()))
        self._high = {notice: dict(each) for notice, each in kept.get("high", {}).items()}

    def as_json(self) -> dict[str, Any]:
        """Plain values for a row."""
        return {
            "starts": list(self._starts),
            "failures": {name: list(at_s) for name, at_s in self._failures.items()},
            "permanent": sorted(self._permanent),
            "high": {notice: dict(each) for notice, each in self._high.items()},
        }

    @staticmethod
    def _found(kind: str, now_s: float, bad: bool, priority: Priority) -> Assessment:
        if bad:
            return Assessment(kind, "site", now_s, Judgement.BREACH, priority, immediate=True)
        return Assessment(kind, "site", now_s, Judgement.NORMAL, returned=True)

    # ---- delivery ------------------------------------------------------------------------------------------

    def sent(self, notice: Notice) -> None:
        """A notice is on its way; only a high one to somebody who can be reached is followed."""
        if notice.priority is Priority.HIGH and notice.notifier in self._reach:
            self._high.setdefault(notice.notice, {})[notice.notifier] = None

    def withdrawn(self, notice: str) -> None:
        """A notice need not go out any more."""
        self._high.pop(notice, None)

    def delivery(self, outcome: Outcome, now_s: float) -> Assessment | None:
        """One attempt ended: three failures in over a minute, one for good, or a high notice nobody got."""
        if outcome.notifier not in self._reach:
            return None
        if outcome.ok:
            self._failures.pop(outcome.notifier, None)
            self._permanent.discard(outcome.notifier)
            self._high.pop(outcome.notice, None)
        else:
            self._failures[outcome.notifier] = (*self._failures.get(outcome.notifier, ()), now_s)[-8:]
            if outcome.permanent:
                self._permanent.add(outcome.notifier)
            if outcome.notice in self._high:
                self._high[outcome.notice][outcome.notifier] = False
        nobody = any(all(got is False for got in each.values()) for each in self._high.values() if each)
        priority = Priority.HIGH if nobody else Priority.MEDIUM
        return self._found("delivery-failing", now_s, nobody or bool(self.failing()), priority)

    def failing(self) -> tuple[str, ...]:
        """Notifiers that cannot be relied on now."""
        return tuple(sorted(name for name in self._reach if self._fails(name)))

    def _fails(self, name: str) -> bool:
        at_s = self._failures.get(name, ())
        often = len(at_s) >= FAILURES and at_s[-1] - at_s[0] >= FAILURES_SPAN_S
        return often or name in self._permanent

    def ways_left(self) -> tuple[str, ...]:
        """Every notifier that has not just failed; all of them when none is left."""
        all_known = self._reach
        left = tuple(sorted(name for name in all_known if name not in self._failures))
        return left or tuple(sorted(all_known))

    # ---- store, clock, starts ------------------------------------------------------------------------------

    def store(self, ok: bool, now_s: float) -> Assessment:
        """The store keeps, or it does not."""
        return self._found("storage-failing", now_s, not ok, Priority.MEDIUM)

    def clock(self, label_s: float, now_s: float) -> Assessment:
        """Whether the wall clock can be right at all."""
        return self._found("clock-doubtful", now_s, not is_trusted(label_s), Priority.MEDIUM)

    def started(self, now_s: float, orderly: bool = False) -> Assessment:
        """A start: three within an hour are too many, but for those after an orderly end."""
        self._starts = tuple(at for at in self._starts if now_s - at < STARTS_WITHIN_S)
        if not orderly:
            self._starts = (*self._starts, now_s)
        return self.restarting(now_s)

    def restarting(self, now_s: float) -> Assessment:
        """Whether the program starts again and again."""
        recent = [at for at in self._starts if now_s - at < STARTS_WITHIN_S]
        return self._found("restarting", now_s, len(recent) >= STARTS, Priority.MEDIUM)

    def calm_at_s(self) -> float | None:
        """When the starts of the last hour will be too old to count."""
        return self._starts[-1] + STARTS_WITHIN_S if len(self._starts) >= STARTS else None
