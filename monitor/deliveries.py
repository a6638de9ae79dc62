"""What the engine knows of notices under way: which wait, since when, and which ways failed last."""

from collections.abc import Iterable

from monitor.model import Notice, OutboxChange, Outcome
from monitor.troubles import Troubles


class Deliveries:
    """Follows each notice from its writing to its end at every notifier."""

    def __init__(self, troubles: Troubles) -> None:
        self._troubles = troubles
        self.waiting: dict[tuple[str, str], float] = {}
        """(notice, notifier) -> since when it waits [guard time]."""
        self.last_error: dict[str, str] = {}
        """Notifier -> why its last try failed; nothing where that went through."""

    def sent(self, notices: Iterable[Notice], now_s: float) -> None:
        """Notices that go out now."""
        for notice in notices:
            self.waiting[(notice.notice, notice.notifier)] = now_s
            self._troubles.sent(notice)

    def withdrawn(self, changes: Iterable[OutboxChange]) -> None:
        """Notices that need not go out any more."""
        for change in changes:
            self.waiting.pop((change.notice, change.notifier), None)
            self._troubles.withdrawn(change.notice)

    def heard(self, event: Outcome, label_s: float) -> OutboxChange:
        """What became of one try: the change of its row."""
        status = "sent" if event.ok else "failed" if event.permanent else "pending"
        if status != "pending":
            self.waiting.pop((event.notice, event.notifier), None)
        if event.ok:
            self.last_error.pop(event.notifier, None)
        else:
            self.last_error[event.notifier] = event.detail
        return OutboxChange(label_s, event.notice, event.notifier, status, event.detail)
