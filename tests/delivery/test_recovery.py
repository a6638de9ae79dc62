"""Delivery through real mail and HTTP servers that fail: it is said at once, and it passes by itself."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from random import Random

import pytest

from monitor.delivery.notifier import Notifier
from monitor.delivery.notifiers import email, webhook
from monitor.delivery.workers import Delivery
from monitor.model import NoticeKind, Outcome, Priority
from monitor.testing import ManualClock, sample_notice
from tests.delivery.cases import SECRET, mail_values
from tests.support.servers import DROP, HANG, HttpServer, MailServer, Status
from tests.support.waiting import until


@dataclass
class Night:
    """Both servers, a delivery over both, and what it said."""

    mail: MailServer
    hook: HttpServer
    delivery: Delivery
    clock: ManualClock
    outcomes: list[Outcome]

    def said(self, notifier: str, count: int) -> list[Outcome]:
        """Wait for so many outcomes of one notifier."""
        until(lambda: len(self._of(notifier)) >= count, what=f"outcome {count} of {notifier}")
        return self._of(notifier)

    def _of(self, notifier: str) -> list[Outcome]:
        return [outcome for outcome in self.outcomes if outcome.notifier == notifier]

    def ids(self, notifier: str) -> list[str]:
        """The notices that the other side has, in order of arrival."""
        if notifier == "mail":
            return [str(mail.message["X-Aftercare-Notice"]) for mail in self.mail.mails]
        return [request.headers["webhook-id"] for request in self.hook.requests]


@contextmanager
def night(*, mail_up: bool = True, hook_up: bool = True) -> Iterator[Night]:
    """A mailer and a webhook over real servers of this computer, and a clock that the test sets."""
    mail, hook = MailServer(), HttpServer()
    notifiers: Mapping[str, Notifier] = {
        "mail": email.create("mail", mail_values(mail.port), {}.__getitem__),
        "hook": webhook.create(
            "hook", {"url": hook.url, "secret_file": "s", "timeout_s": 1}, {"s": SECRET}.__getitem__
        ),
    }
    clock, outcomes = ManualClock(sample_notice().at_s), list[Outcome]()
    if mail_up:
        mail.start()
    if hook_up:
        hook.start()
    delivery = Delivery(notifiers, outcomes.append, clock, Random(5))
    try:
        yield Night(mail, hook, delivery, clock, outcomes)
    finally:
        delivery.stop(5.0)
        mail.stop()
        hook.stop()


def mail_fault(stage: str, reply: str) -> Callable[[Night], None]:
    """The mail server's next answer at a stage."""
    return lambda at: at.mail.faults.update({stage: iter([reply])})


def hook_fault(fault: int | str | Status) -> Callable[[Night], None]:
    """The HTTP server's next answer."""

    def set_it(at: Night) -> None:
        at.hook.faults = iter([fault])

    return set_it


@pytest.mark.parametrize(
    ("notifier", "break_it", "words"),
    [
        ("mail", mail_fault("DATA", "451 4.3.0 try later"), "451 4.3.0 try later"),
        ("mail", mail_fault("RCPT", "450 4.2.0 greylisted"), "450 4.2.0 greylisted"),
        ("mail", mail_fault("MAIL", "421 4.3.2 shutting down"), "421 4.3.2 shutting down"),
        ("mail", mail_fault("DATA", HANG), "did not answer within 1 s"),
        ("mail", mail_fault("DATA", DROP), "broke off"),
        ("hook", hook_fault(500), "answered 500"),
        ("hook", hook_fault(503), "answered 503"),
        ("hook", hook_fault(408), "answered 408"),
        ("hook", hook_fault(429), "answered 429"),
        ("hook", hook_fault(HANG), "did not answer within 1 s"),
        ("hook", hook_fault(DROP), "broke off"),
    ],
)
def test_a_passing_fault_is_said_and_the_notice_arrives_by_itself(
    notifier: str, break_it: Callable[[Night], None], words: str
) -> None:
    """One failure with its reason, then success on the first retry, with the same id."""
    with night() as at:
        break_it(at)
        at.delivery.send(sample_notice(notifier))
        failed = at.said(notifier, 1)[0]
        assert (failed.ok, failed.permanent) == (False, False)
        assert words in failed.detail
        at.clock.advance(5.0)

        assert at.said(notifier, 2)[1].ok
        assert set(at.ids(notifier)) == {"n-000001"}
        assert at.delivery.pending() == ()


@pytest.mark.parametrize("notifier", ["mail", "hook"])
def test_a_server_that_is_down_for_hours_gets_everything_when_it_is_back(notifier: str) -> None:
    """High first, and each says how late it is; a high one waits for a minute at the longest."""
    with night(mail_up=notifier != "mail", hook_up=notifier != "hook") as at:
        for name, priority in (("low", Priority.LOW), ("high", Priority.HIGH)):
            at.delivery.send(sample_notice(notifier, notice=name, priority=priority))
        for attempts in range(1, 7):
            assert not at.said(notifier, 2 * attempts)[-1].ok
            at.clock.advance(300.0)
        at.said(notifier, 14)
        (at.mail if notifier == "mail" else at.hook).start()
        at.clock.advance(60.0)
        at.said(notifier, 15)
        assert at.ids(notifier) == ["high"]
        at.clock.advance(240.0)
        at.said(notifier, 16)

        assert at.ids(notifier) == ["high", "low"]
        if notifier == "mail":
            assert at.mail.mails[0].message.get_content().startswith("Delayed 31 min: Yew 2")
            assert "Delayed" not in at.mail.mails[0].message["Subject"]


def test_a_permanent_refusal_is_said_at_once_and_does_not_stop_the_next_notice() -> None:
    """5xx of mail and 4xx of a webhook: never again for this notice; the next one is tried."""
    with night() as at:
        at.mail.faults["RCPT"] = iter(["550 5.1.1 no such user"])
        at.hook.faults = iter([404])
        for notice in ("a", "b"):
            at.delivery.send(sample_notice("mail", notice=notice))
            at.delivery.send(sample_notice("hook", notice=notice))

        for notifier in ("mail", "hook"):
            outcomes = at.said(notifier, 2)
            assert [(one.notice, one.ok, one.permanent) for one in outcomes] == [
                ("a", False, True),
                ("b", True, False),
            ]
        at.clock.advance(3600.0)
        assert at.ids("mail") == ["b"]


def test_retry_after_is_obeyed_within_its_cap() -> None:
    """120 s are waited for a medium notice; an hour is cut to five minutes, for a high one to one."""
    with night() as at:
        for number, (priority, asked, waited_s) in enumerate(
            [(Priority.MEDIUM, "120", 120), (Priority.MEDIUM, "3600", 300), (Priority.HIGH, "3600", 60)]
        ):
            at.clock.advance(3600.0)
            at.hook.faults = iter([Status(429, {"Retry-After": asked})])
            at.delivery.send(sample_notice("hook", notice=f"n{number}", priority=priority))
            at.said("hook", 2 * number + 1)
            at.clock.advance(waited_s - 1.0)
            # Asked from the same thread after each look of the worker: a drill is answered, the notice waits.
            drill = sample_notice("hook", notice=f"d{number}", kind=NoticeKind.DRILL, priority=Priority.LOW)
            at.hook.faults = iter(())
            assert at.delivery.drill("hook", drill).ok
            assert at.ids("hook")[-2:] == [f"n{number}", f"d{number}"]
            at.clock.advance(1.0)
            until(lambda number=number: at.ids("hook")[-1] == f"n{number}", what="the retry")
            at.outcomes[:] = [one for one in at.outcomes if one.notice.startswith("n")]


def test_gone_stays_closed_until_a_drill_arrives() -> None:
    """410: nothing is sent any more but a drill."""
    with night() as at:
        at.hook.faults = iter([410])
        for notice in ("a", "b"):
            at.delivery.send(sample_notice("hook", notice=notice))
        assert all(one.permanent for one in at.said("hook", 2))
        assert at.ids("hook") == ["a"]
        assert at.delivery.drill("hook", sample_notice("hook", notice="drill", kind=NoticeKind.DRILL)).ok
        at.delivery.send(sample_notice("hook", notice="c"))
        at.said("hook", 4)

        assert at.ids("hook") == ["a", "drill", "c"]


def test_a_hanging_mail_server_never_delays_the_webhook() -> None:
    """All ten are posted before the first mail has even failed."""
    with night() as at:
        at.mail.faults["DATA"] = iter([HANG])
        for number in range(10):
            at.delivery.send(sample_notice("mail", notice=f"n{number}"))
            at.delivery.send(sample_notice("hook", notice=f"n{number}"))
        posted = at.said("hook", 10)
        failed_at = at.outcomes.index(at.said("mail", 1)[0])

        assert all(one.ok for one in posted)
        assert all(at.outcomes.index(one) < failed_at for one in posted)


def test_high_pre_empts_a_queue_of_low_ones() -> None:
    """What arrives while the first mail is on its way goes next if it is high."""
    with night() as at:
        for number in range(20):
            at.delivery.send(sample_notice("mail", notice=f"low{number}", priority=Priority.LOW))
        at.delivery.send(sample_notice("mail", notice="high", priority=Priority.HIGH))
        at.said("mail", 21)

        assert at.ids("mail").index("high") < 20
        assert [name for name in at.ids("mail") if name != "high"] == [f"low{n}" for n in range(20)]
