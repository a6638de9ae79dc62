"""What one notifier still has to deliver, and in which order; pure: time is an argument."""

import queue
from dataclasses import dataclass, field

from monitor.delivery.retries import RetryPlan, longest_gap_s
from monitor.errors import DeliveryFailure, TemporaryFailure
from monitor.model import Notice, Priority

Answer = DeliveryFailure | None
"""What became of an attempt; None is success."""

NEVER_S = float("inf")


@dataclass(slots=True, eq=False)
class Row:
    """A notice on its way; who waits at `asker` hears of its first attempt, then its only one."""

    notice: Notice
    attempts: int
    made_at_s: float
    """When the notice was made, in guard time, whatever the clock on the wall has done since."""
    due_at_s: float
    asker: "queue.SimpleQueue[Answer] | None" = None
    under_way: bool = False
    withdrawn: bool = False


@dataclass(slots=True)
class Rows:
    """All rows of one notifier, in order of arrival."""

    plan: RetryPlan
    rows: list[Row] = field(default_factory=list)
    paused_until_s: dict[Priority, float] = field(default_factory=dict)

    def add(self, notice: Notice, attempts: int, now_s: float, offset_s: float = 0.0) -> None:
        """Take a notice on, due at once; nothing changes if it is here already.

        `offset_s` is by how much people's clock, by which the notice is dated, is ahead of guard time [s].
        """
        if self._find(notice.notice) is None:
            self.rows.append(Row(notice, attempts, min(now_s, notice.at_s - offset_s), now_s))

    def add_once(self, notice: Notice, now_s: float) -> "queue.SimpleQueue[Answer]":
        """Take a notice on for one attempt; its result comes out of the queue."""
        asker: queue.SimpleQueue[Answer] = queue.SimpleQueue()
        self.rows.append(Row(notice, 0, now_s, now_s, asker))
        return asker

    def withdraw(self, notice: str) -> bool:
        """Give a notice up; True if it was here and no attempt is under way."""
        row = self._find(notice)
        if row is None:
            return False
        row.withdrawn = True
        if not row.under_way:
            self.rows.remove(row)
        return not row.under_way

    def take(self, until_s: float) -> Row | None:
        """The next row of those due by `until_s`: one that is waited for, else high, else the oldest."""
        due = [row for row in self.rows if self._due_at_s(row) <= until_s]
        if not due:
            return None
        row = min(due, key=lambda row: (row.asker is None, -row.notice.priority.rank))
        row.under_way = True
        return row

    def next_due_at_s(self) -> float:
        """The instant at which the next row is due; NEVER_S if there is none."""
        return min(map(self._due_at_s, self.rows), default=NEVER_S)

    def settle(self, row: Row, answer: Answer, now_s: float) -> None:
        """An attempt has ended: the row goes, or becomes due again."""
        row.under_way = False
        row.attempts += 1
        if row.asker is not None:
            row.asker.put(answer)
        if isinstance(answer, TemporaryFailure) and not row.withdrawn and row.asker is None:
            self._put_off(row, answer.retry_after_s, now_s)
        elif row in self.rows:
            self.rows.remove(row)

    def _put_off(self, row: Row, retry_after_s: float | None, now_s: float) -> None:
        """Make the row due again; what the other side asks for holds for everything that goes its way."""
        priority = row.notice.priority
        row.due_at_s = now_s + self.plan.gap_s(row.attempts, priority, retry_after_s)
        if retry_after_s is not None:
            for each in Priority:
                self.paused_until_s[each] = now_s + min(retry_after_s, longest_gap_s(each))

    def _due_at_s(self, row: Row) -> float:
        if row.under_way:
            return NEVER_S
        if row.asker is not None:
            return row.due_at_s
        return max(row.due_at_s, self.paused_until_s.get(row.notice.priority, row.due_at_s))

    def _find(self, notice: str) -> Row | None:
        return next((row for row in self.rows if row.notice.notice == notice and row.asker is None), None)
