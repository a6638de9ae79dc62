"""Workers with notifiers made for the test and a clock that the test sets."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from random import Random

import pytest

from monitor.delivery.workers import Delivery
from monitor.errors import PermanentFailure, TemporaryFailure
from monitor.model import Notice, NoticeKind, Outcome, Priority
from monitor.testing import ManualClock, RecordingNotifier, sample_notice
from tests.support.waiting import until

MEDIUM = Priority.MEDIUM


class Desk:
    """A delivery with its notifiers, what it said, and the clock."""

    def __init__(self, deadline_s: float, rate: float, **notifiers: RecordingNotifier) -> None:
        self.clock = ManualClock(sample_notice().at_s, rate)
        self.outcomes: list[Outcome] = []
        self.delivery = Delivery(notifiers, self.outcomes.append, self.clock, Random(3), deadline_s)

    def said(self, count: int) -> list[Outcome]:
        """Wait for so many outcomes."""
        until(lambda: len(self.outcomes) >= count, what=f"outcome {count}")
        return self.outcomes


@contextmanager
def desk(*, deadline_s: float = 10.0, rate: float = 1.0, **notifiers: RecordingNotifier) -> Iterator[Desk]:
    """A delivery that is stopped at the end."""
    made = Desk(deadline_s, rate, **notifiers)
    try:
        yield made
    finally:
        made.delivery.stop(5.0)


def failing(*failures: Exception) -> Callable[[Notice], None]:
    """Fails once in each of these ways, then all is well."""
    left = list(failures)

    def answer(notice: Notice) -> None:
        if left:
            raise left.pop(0)

    return answer


def hold() -> tuple[Callable[[Notice], None], threading.Event, threading.Event]:
    """An answer that waits until it is let go: the answer, "it waits", "let it go"."""
    waits, go = threading.Event(), threading.Event()

    def answer(notice: Notice) -> None:
        waits.set()
        go.wait(10)

    return answer, waits, go


def test_a_delivered_notice_is_reported_once() -> None:
    """The outcome names notice and notifier."""
    mail = RecordingNotifier()
    with desk(mail=mail) as at:
        at.delivery.send(sample_notice("mail"))

        outcome = at.said(1)[0]

    assert mail.delivered == [sample_notice("mail")]
    assert (outcome.part, outcome.ok, outcome.notice, outcome.notifier) == (
        "delivery",
        True,
        "n-000001",
        "mail",
    )


def test_a_notifier_that_fails_for_now_is_tried_again_when_its_time_comes() -> None:
    """Each attempt is reported; nothing happens before the gap is over."""
    mail = RecordingNotifier(failing(TemporaryFailure("busy"), TemporaryFailure("still busy")))
    with desk(mail=mail) as at:
        at.delivery.send(sample_notice("mail"))
        at.said(1)
        assert at.delivery.pending() == ((sample_notice("mail"), 1),)
        at.clock.advance(5.0)
        at.said(2)
        at.clock.advance(15.0)

        assert [(one.ok, one.permanent, one.detail) for one in at.said(3)] == [
            (False, False, "busy"),
            (False, False, "still busy"),
            (True, False, ""),
        ]
    assert mail.delays_s == [20.0]


def test_a_permanent_failure_is_said_with_its_hint_and_ends_the_notice() -> None:
    """So that the engine can say it by another way."""
    mail = RecordingNotifier(failing(PermanentFailure("no such person.", "Check the addresses.")))
    with desk(mail=mail) as at:
        at.delivery.send(sample_notice("mail"))

        outcome = at.said(1)[0]

        assert (outcome.ok, outcome.permanent) == (False, True)
        assert outcome.detail == "no such person. Check the addresses."
        assert at.delivery.pending() == ()


def test_a_fault_inside_a_notifier_counts_as_temporary(caplog: pytest.LogCaptureFixture) -> None:
    """It is logged for its author, and tried again: it must not end the delivery."""
    mail = RecordingNotifier(failing(ZeroDivisionError("secret")))
    with desk(mail=mail) as at:
        at.delivery.send(sample_notice("mail"))
        assert at.said(1)[0].detail == "fault inside the notifier: ZeroDivisionError"
        at.clock.advance(5.0)

        assert at.said(2)[1].ok
    assert "ZeroDivisionError" in caplog.text


def test_high_pre_empts_what_waits() -> None:
    """While one notice is under way a low, a medium and a high arrive: high goes next."""
    answer, waits, go = hold()
    mail = RecordingNotifier(answer)
    with desk(mail=mail) as at:
        at.delivery.send(sample_notice("mail", notice="first", priority=Priority.LOW))
        assert waits.wait(5)
        for name, priority in (("low", Priority.LOW), ("medium", MEDIUM), ("high", Priority.HIGH)):
            at.delivery.send(sample_notice("mail", notice=name, priority=priority))
        go.set()
        at.said(4)

    assert [notice.notice for notice in mail.delivered] == ["first", "high", "medium", "low"]


def test_one_hung_notifier_never_delays_another() -> None:
    """Ten notices for each: nine are out by mail while the phone still hangs in its first."""
    answer, waits, go = hold()
    phone, mail = RecordingNotifier(answer), RecordingNotifier()
    with desk(phone=phone, mail=mail) as at:
        for number in range(10):
            at.delivery.send(sample_notice("phone", notice=f"n{number}"))
            at.delivery.send(sample_notice("mail", notice=f"n{number}"))
        assert waits.wait(5)
        until(lambda: len(mail.delivered) == 10, what="ten mails")
        assert phone.delivered == []
        go.set()


def test_a_call_that_hangs_is_given_up_and_no_second_one_is_begun() -> None:
    """Every attempt fails at once until the call that hangs has ended; then delivery goes on."""
    answer, _, go = hold()
    phone = RecordingNotifier(answer)
    with desk(phone=phone, deadline_s=0.05) as at:
        at.delivery.send(sample_notice("phone", notice="a"))
        assert at.said(1)[0].detail == "no answer within 0.05 s"
        at.delivery.send(sample_notice("phone", notice="b"))
        assert at.said(2)[1].detail == "an earlier attempt still hangs"
        assert sum(thread.name == "call-phone" for thread in threading.enumerate()) == 1
        go.set()
        until(lambda: ("a", True) in [(one.notice, one.ok) for one in at.outcomes], what="the late success")
        at.clock.advance(5.0)
        until(lambda: ("b", True) in [(one.notice, one.ok) for one in at.outcomes], what="the other notice")
        at.clock.advance(300.0)

    assert [notice.notice for notice in phone.delivered] == ["a", "b"]


def test_a_hung_call_that_fails_in_the_end_changes_nothing() -> None:
    """It was counted when it was given up; the retry comes in its own time."""
    _, waits, go = hold()
    first = iter([True, False])

    def answer(notice: Notice) -> None:
        if next(first):
            waits.set()
            go.wait(10)
            raise TemporaryFailure("after all")

    phone = RecordingNotifier(answer)
    with desk(phone=phone, deadline_s=0.05) as at:
        at.delivery.send(sample_notice("phone"))
        at.said(1)
        go.set()
        until(lambda: not any(thread.name == "call-phone" for thread in threading.enumerate()))
        at.clock.advance(5.0)

        assert [one.ok for one in at.said(2)] == [False, True]


def test_a_withdrawn_notice_is_never_delivered() -> None:
    """Cleared before it was ever delivered: the engine takes it back and sends one that says both."""
    mail = RecordingNotifier(failing(TemporaryFailure("busy")))
    with desk(mail=mail) as at:
        at.delivery.send(sample_notice("mail"))
        at.said(1)

        assert at.delivery.withdraw("n-000001", "mail") is True
        assert at.delivery.withdraw("n-000001", "mail") is False
        assert at.delivery.withdraw("n-000001", "nobody") is False
        at.clock.advance(3600.0)
        at.delivery.send(sample_notice("mail", notice="both"))
        at.said(2)

    assert [notice.notice for notice in mail.delivered] == ["both"]


def test_a_notice_withdrawn_under_way_may_arrive_and_is_not_tried_again() -> None:
    """The one who withdraws is told that it may still arrive."""
    answer, waits, go = hold()

    def fail(notice: Notice) -> None:
        answer(notice)
        raise TemporaryFailure("busy")

    with desk(mail=RecordingNotifier(fail)) as at:
        at.delivery.send(sample_notice("mail"))
        assert waits.wait(5)
        assert at.delivery.withdraw("n-000001", "mail") is False
        go.set()
        at.said(1)

        assert at.delivery.pending() == ()


def test_a_late_notice_says_how_late_it_is() -> None:
    """In its text; the notice itself keeps its instant and its subject."""
    mail = RecordingNotifier(failing(TemporaryFailure("busy")))
    with desk(mail=mail) as at:
        at.delivery.send(sample_notice("mail"))
        at.said(1)
        at.clock.advance(14 * 60.0)
        at.said(2)

    assert mail.delivered[0].text.startswith("Delayed 14 min: Yew 2 at")
    assert mail.delivered[0].subject == sample_notice().subject
    assert mail.at_s == [sample_notice().at_s + 840.0]


def test_in_a_demo_a_moment_of_real_time_is_no_delay() -> None:
    """At 600 guard seconds a second the ten minutes of one real second are nobody's fault."""
    mail = RecordingNotifier()
    with desk(mail=mail, rate=600.0) as at:
        at.clock.advance(600.0)
        at.delivery.send(sample_notice("mail"))
        at.said(1)

    assert mail.delivered[0].text == sample_notice().text


def test_times_for_people_follow_the_clock_and_delays_do_not() -> None:
    """The clock on the wall is set forward by an hour while a notice waits; the next one has the new time."""
    mail = RecordingNotifier(failing(TemporaryFailure("busy")))
    with desk(mail=mail) as at:
        began_s = at.clock.now_s()
        at.delivery.send(sample_notice("mail", notice="before"))
        at.said(1)
        at.delivery.clock_stepped(3600.0)
        at.clock.advance(10.0)
        at.said(2)
        at.clock.advance(10.0)
        at.delivery.send(sample_notice("mail", notice="after", at_s=began_s + 3618.0))
        at.said(3)

    assert mail.at_s == [began_s + 3610.0, began_s + 3620.0]
    assert mail.delays_s == [10.0, 2.0]


def test_a_way_that_is_gone_stays_closed_until_a_drill_succeeds() -> None:
    """410: everything fails at once without an attempt, a drill is attempted, and its success opens again."""
    gone = PermanentFailure("gone", until_drill=True)
    hook = RecordingNotifier(failing(gone, TemporaryFailure("busy")))
    with desk(hook=hook) as at:
        at.delivery.send(sample_notice("hook", notice="a"))
        at.said(1)
        at.delivery.send(sample_notice("hook", notice="b"))
        assert at.said(2)[1].detail == "closed until a drill succeeds, since gone"
        assert at.outcomes[1].permanent
        drill = sample_notice("hook", notice="drill", kind=NoticeKind.DRILL, priority=MEDIUM)
        assert at.delivery.drill("hook", drill).ok is False
        at.delivery.send(sample_notice("hook", notice="c"))
        assert at.said(4)[3].permanent
        result = at.delivery.drill("hook", drill)
        assert (result.ok, result.detail) == (True, "")
        at.delivery.send(sample_notice("hook", notice="d"))
        at.said(6)

    assert [notice.notice for notice in hook.delivered] == ["drill", "d"]


def test_a_drill_says_what_went_wrong() -> None:
    """Also when there is no such notifier at all."""
    with desk(mail=RecordingNotifier(failing(TemporaryFailure("mail server x did not answer")))) as at:
        result = at.delivery.drill("mail", sample_notice("mail"))

        assert (result.notifier, result.ok, result.detail) == ("mail", False, "mail server x did not answer")
        assert result.took_s < 5.0
        assert at.delivery.drill("nobody", sample_notice()).detail == "no notifier nobody is configured"
        assert at.delivery.pending() == ()


def test_a_drill_does_not_wait_for_ever() -> None:
    """Two deadlines at most, whatever hangs before it."""
    answer, waits, go = hold()
    with desk(phone=RecordingNotifier(answer), deadline_s=0.1) as at:
        at.delivery.send(sample_notice("phone"))
        assert waits.wait(5)

        assert at.delivery.drill("phone", sample_notice("phone", notice="drill")).ok is False
        go.set()


def test_a_notice_for_a_notifier_that_is_not_configured_any_more_fails_for_good() -> None:
    """An outbox row of before the configuration changed is said, not lost."""
    with desk() as at:
        at.delivery.send(sample_notice("old"))

        assert (at.outcomes[0].ok, at.outcomes[0].permanent) == (False, True)
        assert at.outcomes[0].detail == "no notifier old is configured any more"


def test_stopping_tries_what_is_due_and_gives_back_the_rest() -> None:
    """What has just been decided still goes out; what failed waits in the outbox for the next start."""
    answer, waits, go = hold()
    mail = RecordingNotifier(answer)
    phone = RecordingNotifier(failing(TemporaryFailure("busy"), TemporaryFailure("busy")))
    with desk(mail=mail, phone=phone) as at:
        at.delivery.send(sample_notice("mail", notice="first"))
        assert waits.wait(5)
        at.delivery.send(sample_notice("mail", notice="second"))
        at.delivery.send(sample_notice("phone", notice="first"))
        until(lambda: len(at.outcomes) == 1)
        go.set()

        left = at.delivery.stop(5.0)

    assert [notice.notice for notice in mail.delivered] == ["first", "second"]
    assert [(notice.notice, attempts) for notice, attempts in left] == [("first", 1)]
    assert mail.closed
    assert phone.closed
    assert not at.delivery.alive()


def test_stopping_ends_in_time_though_a_notifier_hangs() -> None:
    """Its notice goes back, to be sent again after the next start."""
    answer, waits, go = hold()
    with desk(phone=RecordingNotifier(answer)) as at:
        assert at.delivery.alive()
        at.delivery.send(sample_notice("phone"), attempts=3)
        assert waits.wait(5)

        assert at.delivery.stop(0.05) == ((sample_notice("phone"), 3),)
        go.set()


def test_a_notifier_that_cannot_be_closed_does_not_spoil_the_stop(caplog: pytest.LogCaptureFixture) -> None:
    """It is logged, no more."""

    class Stubborn(RecordingNotifier):
        def close(self) -> None:
            raise RuntimeError("no")

    with desk(phone=Stubborn()) as at:
        assert at.delivery.stop(5.0) == ()
    assert "could not be closed" in caplog.text
