"""Ways to reach people fail, each in its own manner, while a frost is to be told through all of them at once.

Truth is what the servers took, held against what the guard decided to send: nothing lost, nothing doubled
but where a reply was lost, and then under one id.
"""

import itertools
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path

import pytest

from monitor.model import NoticeKind
from tests.faults.figures import measured
from tests.faults.house import DELIVERY, FROST_C, JOURNAL, LARCH, YEW, email, guarded, told, webhook
from tests.support.broker import Mosquitto
from tests.support.servers import DROP, HANG, HttpServer, MailServer, Status
from tests.support.waiting import until

MAIL_FAULTS: Mapping[str, tuple[str, str, str]] = {
    "mail-later": ("DATA", "451 4.3.0 try later", "451"),
    "mail-never": ("RCPT", "550 5.1.1 no such user", "550"),
    "mail-hang": ("DATA", HANG, "did not answer within 1 s"),
    "mail-lost": ("DATA", DROP, "broke off"),
}
HOOK_FAULTS: Mapping[str, tuple[int | Status, str]] = {
    "hook-busy": (Status(429, {"Retry-After": "2"}), "answered 429"),
    "hook-ill": (503, "answered 503"),
    "hook-moved": (Status(302, {"Location": "http://127.0.0.1:9/"}), "answered 302"),
    "hook-gone": (410, "answered 410"),
}
REFUSING = "mail-refusing"
PERMANENT = ("mail-never", "hook-moved", "hook-gone")
PASSING = (REFUSING, "mail-later", "mail-hang", "hook-busy", "hook-ill")


class Ways:
    """A house, and all the servers that its notices go to."""

    def __init__(self, stack: ExitStack, folder: Path, broker: Mosquitto) -> None:
        self.mail = {name: MailServer() for name in (REFUSING, *MAIL_FAULTS)}
        self.hook = {name: HttpServer() for name in HOOK_FAULTS}
        text = "".join(email(name, server.port) for name, server in self.mail.items())
        text += "".join(webhook(name, server.url) for name, server in self.hook.items())
        names = (*self.mail, *self.hook)
        self.begin(but=REFUSING)
        stack.callback(self.close)
        calls = told(*names, tell=("high",)) + JOURNAL
        self.house = stack.enter_context(guarded(folder, broker.port, ways=text + calls))

    def begin(self, but: str = "") -> None:
        """All servers listen, but perhaps one."""
        for name, server in (*self.mail.items(), *self.hook.items()):
            if name != but:
                server.start()

    def close(self) -> None:
        """None of them listens."""
        for server in (*self.mail.values(), *self.hook.values()):
            server.stop()

    def ids(self, name: str) -> list[str]:
        """The notices that one server took, in order; an answer that was none of 2xx took nothing."""
        if name in self.mail:
            return [str(mail.message["X-Aftercare-Notice"]) for mail in self.mail[name].mails]
        return [r.headers["webhook-id"] for r in self.hook[name].requests]

    def sent(self, name: str, alarm: str) -> list[str]:
        """The activations of an alarm that the guard decided to send that way."""
        found = [each.notice for each in self.house.notices()]
        return [
            n.notice
            for n in found
            if n.notifier == name and n.kind is NoticeKind.ACTIVATION and alarm in n.alarms
        ]

    def error(self, name: str) -> str:
        """What anybody sees of the last attempt."""
        delivery = self.house.status().get("delivery", ())
        return next((str(way["last_error"]) for way in delivery if way["notifier"] == name), "")


@pytest.fixture(scope="module")
def ways(folder: Path, broker: Mosquitto) -> Iterator[Ways]:
    """Each server has its fault once; the frost comes."""
    with ExitStack() as stack:
        ways = Ways(stack, folder, broker)
        for name, (stage, reply, _) in MAIL_FAULTS.items():
            ways.mail[name].faults[stage] = iter([reply])
        for name, (answer, _) in HOOK_FAULTS.items():
            ways.hook[name].faults = iter([answer])
        ways.house.air["bench-a"] = FROST_C
        ways.house.rises(LARCH)
        yield ways


WORDS = {
    REFUSING: "Connection refused",
    **{name: words for name, (_, _, words) in MAIL_FAULTS.items()},
    **{name: words for name, (_, words) in HOOK_FAULTS.items()},
}


@pytest.fixture(scope="module")
def seen(ways: Ways) -> Mapping[str, str]:
    """What was to be seen of each way while its fault lasted."""
    found: dict[str, str] = {}

    def all_seen() -> bool:
        for way in ways.house.status().get("delivery", ()):
            if way["last_error"]:
                found.setdefault(way["notifier"], way["last_error"])
        for each in ways.house.notices():
            if each.last_error:
                found.setdefault(each.notice.notifier, each.last_error)
        return WORDS.keys() <= found.keys()

    until(all_seen, 15.0, "a word of each fault")
    return found


@pytest.mark.parametrize("name", WORDS)
def test_each_fault_is_said_with_its_reason(seen: Mapping[str, str], name: str) -> None:
    """In `status` while it lasts, and beside the notice for good."""
    assert WORDS[name] in seen[name]


@pytest.mark.parametrize("name", PASSING)
def test_what_passes_is_delivered_by_itself(ways: Ways, seen: Mapping[str, str], name: str) -> None:
    """By the first attempt after the fault: once, under the id that it had."""
    if name == REFUSING and ways.mail[name]._controller is None:
        ways.mail[name].start()
    began_s = time.monotonic()
    (sent,) = ways.sent(name, LARCH)
    until(lambda: ways.ids(name)[-1:] == [sent] and not _error(ways, name), 70.0, f"{sent} through {name}")
    measured("time to deliver after a way has recovered [s]", time.monotonic() - began_s)
    taken = ways.ids(name) if name in ways.mail else ways.ids(name)[1:]
    measured("notices lost", taken.count(sent) < 1)
    measured("notices doubled", taken.count(sent) > 1)
    assert taken.count(sent) == 1


def test_a_lost_reply_comes_twice_under_one_id(ways: Ways, seen: Mapping[str, str]) -> None:
    """Nobody can know that the mail was taken; a reader sees by Message-ID that it is the same."""
    (sent,) = ways.sent("mail-lost", LARCH)
    until(lambda: ways.ids("mail-lost").count(sent) == 2, 30.0, "the second copy")
    copies = [m.message for m in ways.mail["mail-lost"].mails if m.message["X-Aftercare-Notice"] == sent]
    assert len({copy["Message-ID"] for copy in copies}) == 1


def test_what_is_refused_for_good_is_an_alarm_and_the_next_notice_is_tried(
    ways: Ways, seen: Mapping[str, str]
) -> None:
    """5xx of mail and a redirect hold for one notice; 410 until a drill gets through."""
    house = ways.house
    cause = house.rises(DELIVERY)["cause"]
    assert "hook-gone" in cause
    assert "answered 410" in cause
    assert house.ask("/api/drill", notifier="hook-gone")["results"][0]["ok"]
    house.air["bench-b"] = FROST_C
    house.rises(YEW)
    for name in PERMANENT:
        until(lambda name=name: set(ways.sent(name, YEW)) & set(ways.ids(name)), 20.0, f"the next by {name}")
        assert ways.sent(name, LARCH)[0] not in (ways.ids(name) if name in ways.mail else ways.ids(name)[1:])
    house.ends(DELIVERY)


def test_all_ways_down_at_once(tmp_path: Path, own_broker: Mosquitto) -> None:
    """A high alarm about that stands at once; nothing is lost, and it goes out when one way is back."""
    with ExitStack() as stack:
        ways = Ways(stack, tmp_path, own_broker)
        ways.close()
        ways.house.air["bench-a"] = FROST_C
        ways.house.rises(LARCH)
        assert until(lambda: ways.house.rises(DELIVERY)["priority"] == "high", 20.0, "high")
        assert LARCH in ways.house.standing()
        ways.begin()
        began_s = time.monotonic()
        names = (*ways.mail, *ways.hook)
        until(lambda: any(set(ways.sent(n, LARCH)) & set(ways.ids(n)) for n in names), 70.0, "the first one")
        measured("time to deliver after all ways have recovered [s]", time.monotonic() - began_s)
        for name in names:
            until(lambda name=name: set(ways.sent(name, LARCH)) <= set(ways.ids(name)), 70.0, name)
            repeats = [count for _, count in _counted(ways.ids(name)) if count > 1]
            measured("notices lost", 0 if set(ways.sent(name, LARCH)) <= set(ways.ids(name)) else 1)
            measured("notices doubled", len(repeats))
            assert repeats == []
        ways.house.ends(DELIVERY)


def _error(ways: Ways, name: str) -> bool:
    return ways.error(name) not in ("", "None")


def _counted(ids: list[str]) -> list[tuple[str, int]]:
    return [(key, len(list(group))) for key, group in itertools.groupby(sorted(ids))]
