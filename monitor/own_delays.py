"""Delays that the settings ask for where an alarm has none of its own: for every kind but limits.

A limit is judged at each reading, so its delays count samples. Most other kinds are judged when something
happens, once: the end of their delay is an instant that is waited for.
"""

from collections.abc import Mapping

from monitor.alarms import lifecycle
from monitor.alarms.lifecycle import AlarmRow, Change, Delays
from monitor.model import Assessment, Judgement, Priority
from monitor.settings import AlarmSettings

AT_ONCE = Delays()
JUDGED_BY_THE_READING = frozenset({"low-temperature", "high-temperature"})
HOLDS_ITSELF = frozenset({"dry-air"})
"""Its usual hold time is what an on-delay stands for."""
JUDGED_ONCE = frozenset(
    {
        "sensor-silent",
        "unwatched",
        "was-off",
        "broker-lost",
        "storage-failing",
        "delivery-failing",
        "clock-doubtful",
        "restarting",
    }
)
"""Nobody looks at these again while they stand, so that time alone ends a delay."""


class OwnDelays:
    """The delays of each kind that the settings name."""

    def __init__(self, alarms: Mapping[str, AlarmSettings]) -> None:
        self._of = {
            kind: _delays(kind, own) for kind, own in alarms.items() if kind not in JUDGED_BY_THE_READING
        }

    def applied(self, found: Assessment) -> tuple[Assessment, Delays]:
        """A finding and the delays that hold for it; one that must wait is not immediate any more."""
        delays = self._of.get(found.kind, AT_ONCE)
        waits = delays.on_delay_s > 0 or delays.on_samples > 1
        return (found._replace(immediate=False) if waits and found.immediate else found), delays

    def due_s(self, row: AlarmRow) -> float | None:
        """When a delay of this row ends by time alone; None where none does."""
        delays = self._of.get(row.kind)
        if delays is None or row.kind not in JUDGED_ONCE:
            return None
        if row.returning_since_s is not None:
            return row.returning_since_s + delays.off_delay_s
        above = row.priority.rank if row.active else 0
        waits = [since_s + delays.on_delay_s for level, since_s, _ in row.pending if level.rank > above]
        return min(waits, default=None)

    def ended(self, row: AlarmRow, now_s: float) -> tuple[AlarmRow, Change | None]:
        """The row once the instant of `due_s` has come."""
        delays = self._of.get(row.kind, AT_ONCE)
        if row.returning_since_s is not None:
            return lifecycle.end(row, now_s, "returned")
        ready = [level for level, since_s, _ in row.pending if now_s - since_s >= delays.on_delay_s]
        priority = max(ready, key=lambda level: level.rank, default=Priority.LOW)
        quality = "missing" if row.kind in {"sensor-silent", "broker-lost", "was-off"} else "good"
        found = Assessment(
            row.kind, row.subject, now_s, Judgement.BREACH, priority, quality=quality, immediate=True
        )
        return lifecycle.step(row, found, AT_ONCE)


def _delays(kind: str, own: AlarmSettings) -> Delays:
    """What the settings say; what is judged once cannot wait for a second sample."""
    on_delay_s = 0.0 if kind in HOLDS_ITSELF else own.on_delay_s or 0.0
    on_samples = 1 if kind in JUDGED_ONCE else own.on_samples or 1
    return Delays(on_delay_s, on_samples, own.off_delay_s or 0.0)
