"""Notices as lines of the system's journal: on standard error, each with its priority in front.

The journal writes CRIT through to the disk at once, so an activation survives the power cut that caused it.
A record, not a way to reach anybody. Prefixes: sd-daemon(3); levels: syslog(3).
"""

import sys
from collections.abc import Callable, Mapping
from typing import Final

from monitor.delivery import keys
from monitor.delivery.notifier import Finding, refuse
from monitor.delivery.plain import one_line, plain
from monitor.errors import TemporaryFailure
from monitor.model import Notice, NoticeKind

KIND = "journal"
RECORD_ONLY = True

CRIT, WARNING, NOTICE, INFO = 2, 4, 5, 6

LEVELS: Final[Mapping[NoticeKind, int]] = {
    NoticeKind.ACTIVATION: CRIT,
    NoticeKind.RAISED: CRIT,
    NoticeKind.ESCALATION: CRIT,
    NoticeKind.REPEAT: WARNING,
    NoticeKind.SEEN: NOTICE,
    NoticeKind.CLEARED: NOTICE,
    NoticeKind.DRILL: NOTICE,
    NoticeKind.REPORT: INFO,
}


def problems(name: str, values: Mapping[str, object]) -> list[Finding]:
    """It has no settings."""
    return keys.findings({}, values)


def create(name: str, values: Mapping[str, object], files: Callable[[str], str]) -> "Journal":
    """A journal on the standard error of the moment."""
    refuse(name, problems(name, values))
    return Journal()


class Journal:
    """Writes each notice at once, one line of the journal for each of its lines."""

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Write the subject, then the text's lines that are not empty."""
        lines = [one_line(notice.subject), *plain(notice.text).split("\n")]
        record = "".join(f"<{LEVELS[notice.kind]}>{line.rstrip()}\n" for line in lines if line.strip())
        try:
            sys.stderr.write(record)
            sys.stderr.flush()
        except (OSError, ValueError) as fault:
            raise TemporaryFailure(f"the journal cannot be written: {fault}") from fault

    def close(self) -> None:
        """Nothing is held."""
