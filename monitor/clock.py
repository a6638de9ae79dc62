"""The only place that asks what time it is.

Two axes: *wall time* is what the operating system says and may step; *guard time* starts at the wall time
of the first start and then only follows the monotonic clock. Everything that lasts is measured in guard
time; wall time labels what people read. Instants are float seconds since 1970, rounded to milliseconds so
that a recording gives them back exactly.
"""

import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo

RELEASED_AT_S = 1_795_564_800.0
"""2026-11-25: a clock before the release's own date cannot be right."""


def wall_s() -> float:
    """Wall time now [s since 1970]."""
    return round(time.time(), 3)


def monotonic_s() -> float:
    """A clock that never steps [s]; only differences mean anything."""
    return time.monotonic()


@dataclass(slots=True)
class GuardClock:
    """Guard time: `started_at_s` plus what the monotonic clock has run, times `rate` (1 but in a demo)."""

    started_at_s: float
    rate: float = 1.0
    _origin_s: float = field(default_factory=monotonic_s)

    def now_s(self) -> float:
        """Guard time now [s since 1970]."""
        return round(self.started_at_s + (monotonic_s() - self._origin_s) * self.rate, 3)

    def real_wait_s(self, until_s: float) -> float:
        """How long to wait in real seconds until the guard instant `until_s`; never negative."""
        return max(0.0, (until_s - self.now_s()) / self.rate)


def is_trusted(wall_at_s: float) -> bool:
    """Whether a wall time can be right at all: not before this release existed."""
    return wall_at_s >= RELEASED_AT_S


def rfc3339(at_s: float) -> str:
    """`2026-01-09T10:00:00.250Z`; whole seconds without a fraction."""
    text = datetime.fromtimestamp(round(at_s, 3), UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z").replace(".000Z", "Z")


def parse_rfc3339(text: str) -> float:
    """Float seconds since 1970; ValueError without an offset, since guessing a zone would be a lie."""
    instant = datetime.fromisoformat(text)
    if instant.tzinfo is None:
        raise ValueError(f"{text!r} has no offset from UTC; write for example 2026-01-09T10:00:00Z")
    return instant.timestamp()


def local(at_s: float, zone: tzinfo) -> datetime:
    """The instant as a local date and time of `zone`."""
    return datetime.fromtimestamp(at_s, zone)
