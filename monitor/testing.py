"""Stand-ins and a contract for whoever writes a notifier of their own; nothing in the daemon needs this.

    @pytest.mark.parametrize("check", notifier_contract(my_case), ids=str)
    def test_my_notifier_keeps_the_contract(check):
        check()

`my_case` is a context manager that gives a `NotifierCase`: the kind, settings that work, and what arrived on
the other side, for which it starts a real server where it can.
"""

import logging
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field, replace

from monitor.clock import monotonic_s
from monitor.delivery.notifier import Notifier, NotifierKind
from monitor.errors import DeliveryFailure, PermanentFailure, SettingsError, TemporaryFailure
from monitor.model import Notice, NoticeKind, Priority

LONGEST_REAL_WAIT_S = 0.01


class ManualClock:
    """Guard time that a test sets; whoever waits for it looks again a hundred times a second."""

    def __init__(self, now_s: float = 1_768_359_600.0, rate: float = 1.0) -> None:
        self.rate = rate
        self._now_s = now_s

    def now_s(self) -> float:
        """Guard time now [s since 1970]."""
        return self._now_s

    def advance(self, by_s: float) -> None:
        """Let time pass [s]."""
        self._now_s += by_s

    def real_wait_s(self, until_s: float) -> float:
        """A moment, since nobody knows when the test lets time pass; 0 once `until_s` has come."""
        return LONGEST_REAL_WAIT_S if until_s > self._now_s else 0.0


@dataclass(slots=True)
class RecordingNotifier:
    """A notifier that keeps what it was given, once `answer` (which may raise, or wait) has returned."""

    answer: Callable[[Notice], None] = lambda notice: None
    delivered: list[Notice] = field(default_factory=list)
    delays_s: list[float] = field(default_factory=list)
    at_s: list[float] = field(default_factory=list)
    closed: bool = False

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Ask `answer`, then keep the notice."""
        self.answer(notice)
        self.delivered.append(notice)
        self.delays_s.append(delayed_s)
        self.at_s.append(at_s)

    def close(self) -> None:
        """Remember that it was closed."""
        self.closed = True


def sample_notice(notifier: str = "sample", **changes: object) -> Notice:
    """A notice as the program makes them, with anything in it changed that a test cares about."""
    action = "Put the second heater on. No burner or charcoal in a shut house; do not stay inside."
    alarm = {
        "at": "2026-01-14T03:10:00Z",
        "alarm": "low-temperature/yew-2",
        "kind": "low-temperature",
        "subject": "yew-2",
        "occurrence": "low-temperature/yew-2@2026-01-14T03:10:00Z",
        "seq": 1,
        "from": "normal",
        "to": "unacknowledged",
        "priority": "high",
        "value": -2.4,
        "limit": -2.0,
        "quality": "good",
        "respond_within_s": 1800.0,
        "cause": "The air at Yew 2 is at −2.4 °C.",
        "consequence": "Damage likely below −2.0 °C.",
        "action": action,
        "because": "at or below the limit for 60 s",
    }
    notice = Notice(
        at_s=1_768_360_200.0,
        notice="n-000001",
        kind=NoticeKind.ACTIVATION,
        priority=Priority.HIGH,
        notifier=notifier,
        subject="Yew 2 at −2.4 °C, damage likely below −2.0",
        text=f"Yew 2 at −2.4 °C and falling 1.1 K an hour.\n{action}",
        alarms=("low-temperature/yew-2",),
        occurrences=("low-temperature/yew-2@2026-01-14T03:10:00Z",),
        details=(alarm,),
    )
    return replace(notice, **changes)  # type: ignore[arg-type]


# ---- the contract --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NotifierCase:
    """One kind of notifier and the other side of it.

    `values` are settings that work, with a time-out of a second or two; `needs` is what the kind's NEEDS ask
    for, `secrets` the text of each secret file. `received()` gives everything that arrived so far, raw.
    `hang()` makes the other side accept and then say nothing; `bad_secrets` are secrets that it must refuse:
    None where a kind has no such thing.
    """

    kind: NotifierKind
    values: Mapping[str, object]
    received: Callable[[], Sequence[bytes]]
    needs: Mapping[str, object] = field(default_factory=dict)
    secrets: Mapping[str, str] = field(default_factory=dict)
    bad_secrets: Mapping[str, str] | None = None
    hang: Callable[[], None] | None = None
    hang_within_s: float = 10.0

    def notifier(self, secrets: Mapping[str, str] | None = None) -> Notifier:
        """A new notifier with these settings."""
        texts = self.secrets if secrets is None else secrets
        return self.kind.create("sample", {**self.values, **self.needs}, lambda name: texts[name])


CaseFactory = Callable[[], AbstractContextManager[NotifierCase]]


@dataclass(frozen=True, slots=True)
class ContractCheck:
    """One demand of the contract; calling it raises AssertionError when it is not met."""

    name: str
    demand: Callable[[NotifierCase], None]
    factory: CaseFactory

    def __call__(self) -> None:
        """Check it on a fresh case."""
        with self.factory() as case:
            self.demand(case)

    def __str__(self) -> str:
        return self.name


def notifier_contract(factory: CaseFactory) -> tuple[ContractCheck, ...]:
    """Everything the daemon relies on in a notifier, as separate checks."""
    return tuple(
        ContractCheck(demand.__name__.removeprefix("_"), demand, factory)
        for demand in (
            _good_settings_have_no_problems,
            _an_unknown_setting_is_refused,
            _a_notice_arrives,
            _the_same_notice_may_come_twice,
            _odd_characters_do_no_harm,
            _a_hanging_other_side_is_a_temporary_failure,
            _a_refused_secret_is_a_permanent_failure,
            _no_secret_is_ever_said,
            _it_may_be_closed_twice,
        )
    )


def _good_settings_have_no_problems(case: NotifierCase) -> None:
    _demand(case.kind.problems("sample", case.values) == [], "settings that work have no problems")


def _an_unknown_setting_is_refused(case: NotifierCase) -> None:
    values = {**case.values, "no-such-setting": 1}
    keys = [key for key, _, _ in case.kind.problems("sample", values)]
    _demand("no-such-setting" in keys, "problems() names an unknown setting")
    try:
        replace(case, values=values).notifier()
    except SettingsError:
        return
    raise AssertionError("create() refuses an unknown setting with SettingsError")


def _a_notice_arrives(case: NotifierCase) -> None:
    case.notifier().deliver(sample_notice(), 0.0, sample_notice().at_s)
    _demand(len(case.received()) > 0, "a notice arrives")


def _the_same_notice_may_come_twice(case: NotifierCase) -> None:
    notifier = case.notifier()
    notifier.deliver(sample_notice(), 0.0, sample_notice().at_s)
    notifier.deliver(sample_notice(), 60.0, sample_notice().at_s + 60.0)


def _odd_characters_do_no_harm(case: NotifierCase) -> None:
    odd = "Yew\r\nX-Injected: yes\n\n\x00\x1b[31m\x9b31m\u202e\ud800 2"
    notice = sample_notice(
        notice=odd, subject=odd, text="\x00\x1b[31m\ud800 cold", alarms=(odd,), occurrences=(odd,)
    )
    case.notifier().deliver(notice, 0.0, notice.at_s)
    for raw in case.received():
        _demand(b"\nX-Injected" not in raw.replace(b"\r", b"\n"), "a subject cannot begin a new line")
        _demand(not set(raw) & {0x00, 0x1B}, "control characters are taken out")


def _a_hanging_other_side_is_a_temporary_failure(case: NotifierCase) -> None:
    if case.hang is None:
        return
    case.hang()
    began_s = monotonic_s()
    failure = _failure(case.notifier(), sample_notice())
    _demand(isinstance(failure, TemporaryFailure), "silence is a TemporaryFailure")
    _demand(monotonic_s() - began_s < case.hang_within_s, "silence is noticed in time")


def _a_refused_secret_is_a_permanent_failure(case: NotifierCase) -> None:
    if case.bad_secrets is None:
        return
    failure = _failure(case.notifier(case.bad_secrets), sample_notice())
    _demand(isinstance(failure, PermanentFailure), "a refused secret is a PermanentFailure")


def _no_secret_is_ever_said(case: NotifierCase) -> None:
    said: list[str] = []
    with _logs_kept(said):
        for secrets in (case.secrets, case.bad_secrets or {}):
            if not secrets:
                continue
            notifier = case.notifier(secrets)
            said.append(repr(notifier))
            failure = _failure(notifier, sample_notice())
            said.append(f"{failure!s} {failure!r} {failure.hint if failure else ''}")
    words = "\n".join(said)
    for secret in (*case.secrets.values(), *(case.bad_secrets or {}).values()):
        _demand(secret.strip() not in words, "no secret stands in a log, a failure or a repr")


def _it_may_be_closed_twice(case: NotifierCase) -> None:
    notifier = case.notifier()
    notifier.close()
    notifier.close()


def _failure(notifier: Notifier, notice: Notice) -> DeliveryFailure | None:
    """How the delivery fails; None if it does not."""
    try:
        notifier.deliver(notice, 0.0, notice.at_s)
    except DeliveryFailure as failure:
        return failure
    return None


@contextmanager
def _logs_kept(said: list[str]) -> Iterator[None]:
    """Every line that anybody logs, down to the least important, goes to `said`."""

    class Keeper(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            said.append(record.getMessage())

    root, keeper = logging.getLogger(), Keeper()
    level = root.level
    root.addHandler(keeper)
    root.setLevel(logging.DEBUG)
    try:
        yield
    finally:
        root.setLevel(level)
        root.removeHandler(keeper)


def _demand(met: bool, what: str) -> None:
    if not met:
        raise AssertionError(f"the contract demands: {what}")
