"""The order in which one notifier's notices go out; pure, time is a number."""

from random import Random

from monitor.delivery.retries import RetryPlan
from monitor.delivery.rows import NEVER_S, Row, Rows
from monitor.errors import PermanentFailure, TemporaryFailure
from monitor.model import Priority
from monitor.testing import sample_notice


def rows_with(*notices: tuple[str, Priority]) -> Rows:
    """Rows that took these notices at the instant 0."""
    rows = Rows(RetryPlan(Random(1)))
    for notice, priority in notices:
        rows.add(sample_notice(notice=notice, priority=priority), 0, 0.0)
    return rows


def taken(rows: Rows, now_s: float) -> Row:
    """The row that is tried now."""
    row = rows.take(now_s)
    assert row is not None
    return row


def test_high_goes_before_what_has_waited_longer() -> None:
    """Among equals the order is that of arrival."""
    rows = rows_with(("a", Priority.LOW), ("b", Priority.MEDIUM), ("c", Priority.HIGH), ("d", Priority.HIGH))

    order = []
    while (row := rows.take(0.0)) is not None:
        order.append(row.notice.notice)
        rows.settle(row, None, 0.0)

    assert order == ["c", "d", "b", "a"]


def test_a_notice_that_failed_lets_the_others_pass_and_comes_back() -> None:
    """One retry waits four to five seconds, and the next notice does not wait for it."""
    rows = rows_with(("a", Priority.HIGH), ("b", Priority.LOW))
    rows.settle(taken(rows, 0.0), TemporaryFailure("busy"), 0.0)

    assert taken(rows, 0.0).notice.notice == "b"
    assert rows.take(3.9) is None
    assert taken(rows, 5.0).notice.notice == "a"


def test_the_same_notice_twice_is_one_row() -> None:
    """Sending is idempotent as long as the notice is on its way."""
    rows = rows_with(("a", Priority.LOW), ("a", Priority.LOW))

    assert len(rows.rows) == 1


def test_attempts_made_before_a_restart_count() -> None:
    """The gap after the eleventh attempt is the longest one, jitter aside."""
    rows = Rows(RetryPlan(Random(1)))
    rows.add(sample_notice(priority=Priority.MEDIUM), 10, 0.0)
    rows.settle(taken(rows, 0.0), TemporaryFailure("busy"), 0.0)

    assert rows.rows[0].attempts == 11
    assert 240.0 <= rows.next_due_at_s() <= 300.0


def test_a_permanent_failure_ends_the_notice() -> None:
    """Nothing is tried again."""
    rows = rows_with(("a", Priority.LOW))
    rows.settle(taken(rows, 0.0), PermanentFailure("no such person"), 0.0)

    assert rows.rows == []
    assert rows.next_due_at_s() == NEVER_S


def test_a_withdrawn_notice_is_not_tried_again() -> None:
    """Withdrawn while it waits it is gone; withdrawn under way it goes when the attempt fails."""
    rows = rows_with(("a", Priority.LOW), ("b", Priority.LOW))
    row = taken(rows, 0.0)

    assert rows.withdraw("b") is True
    assert rows.withdraw("a") is False
    assert rows.withdraw("c") is False
    rows.settle(row, TemporaryFailure("busy"), 0.0)
    assert rows.rows == []


def test_retry_after_holds_for_everything_that_goes_this_way() -> None:
    """A server that asks for 200 s is left alone for 200 s, but for high notices only for a minute."""
    rows = rows_with(("a", Priority.MEDIUM))
    rows.settle(taken(rows, 0.0), TemporaryFailure("slow down", retry_after_s=200.0), 0.0)
    rows.add(sample_notice(notice="b", priority=Priority.MEDIUM), 0, 1.0)
    rows.add(sample_notice(notice="c", priority=Priority.HIGH), 0, 1.0)

    assert rows.take(59.0) is None
    assert taken(rows, 60.0).notice.notice == "c"
    assert rows.take(199.0) is None
    assert taken(rows, 200.0).notice.notice == "a"


def test_one_who_waits_for_an_attempt_gets_it_at_once_and_only_once() -> None:
    """A drill by hand goes first, does not heed a pause, and is not tried again."""
    rows = rows_with(("a", Priority.HIGH))
    rows.settle(taken(rows, 0.0), TemporaryFailure("slow down", retry_after_s=50.0), 0.0)
    answers = rows.add_once(sample_notice(notice="drill", priority=Priority.LOW), 1.0)
    failure = TemporaryFailure("still busy")

    rows.settle(taken(rows, 1.0), failure, 1.0)

    assert answers.get_nowait() is failure
    assert [row.notice.notice for row in rows.rows] == ["a"]
