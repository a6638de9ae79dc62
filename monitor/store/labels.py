"""Instants as RFC 3339 labels, fast where many follow each other: a minute's label is made once."""

from monitor.clock import rfc3339


class Labels:
    """Call it with an instant [s since 1970]: the same text as `clock.rfc3339`."""

    def __init__(self) -> None:
        self._minute = -(1 << 62)
        self._prefix = ""
        self._last_at_s = -1.0
        self._last = ""

    def __call__(self, at_s: float) -> str:
        """For example `2026-01-09T10:00:00.250Z`; whole seconds without a fraction."""
        if at_s == self._last_at_s:
            return self._last
        minute, left_ms = divmod(round(at_s * 1000), 60_000)
        if minute != self._minute:
            self._minute, self._prefix = minute, rfc3339(minute * 60.0)[:17]
        digits = str(100_000 + left_ms)
        fraction = "" if digits.endswith("000") else f".{digits[3:]}"
        self._last_at_s, self._last = at_s, f"{self._prefix}{digits[1:3]}{fraction}Z"
        return self._last
