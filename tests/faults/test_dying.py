"""`kill -9` at every transition of a frost, just before its commit and just after: nothing lost or doubled.

The truth is the script: one frost that gets worse, is seen, gets worse than when it was seen, and passes.
"""

from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.model import NoticeKind
from tests.faults.figures import measured
from tests.faults.house import (
    COLD_C,
    FROST_C,
    JOURNAL,
    LARCH,
    OFF,
    RESTARTING,
    WARM_C,
    House,
    heard,
    told,
    webhook,
)
from tests.support.broker import Mosquitto
from tests.support.servers import HttpServer
from tests.support.waiting import until

LONG_S = 40.0


def state(house: House) -> str:
    """The larch's alarm as anybody sees it, with its priority."""
    found = [alarm for alarm in house.status().get("alarms", ()) if alarm["alarm"] == LARCH]
    return f"{found[0]['state']} {found[0]['priority']}" if found else "normal" if house.status() else "?"


def seen(house: House) -> None:
    """Somebody says so; an answer that the kill swallowed is asked for again."""
    if state(house).startswith("unacknowledged"):
        house.seen(LARCH)


STEPS: tuple[tuple[Callable[[House], None], str], ...] = (
    (lambda house: house.air.update({"bench-a": COLD_C}), "unacknowledged medium"),
    (lambda house: house.air.update({"bench-a": FROST_C}), "unacknowledged high"),
    (seen, "acknowledged high"),
    (lambda house: house.air.update({"bench-a": WARM_C}), "normal"),
)


@pytest.mark.parametrize("when", ["before", "after"])
def test_killed_at_every_transition(tmp_path: Path, own_broker: Mosquitto, when: str) -> None:
    """Each step is reached all the same, within one occurrence whose numbers are whole."""
    with HttpServer() as hook:
        ways = webhook("hook", hook.url) + told("hook") + JOURNAL
        with House(tmp_path, own_broker.port, ways=ways) as house:
            house.start()
            until(lambda: heard(house) == 2, 20.0, "both sensors heard")
            for act, reached in STEPS:
                house.order("dies", when)
                act(house)
                house.process.wait(LONG_S)
                house.order("dies", None)
                measured("restart to guarding [s]", house.start())
                until(lambda act=act, r=reached: act(house) or state(house) == r, LONG_S, reached, 0.1)
            assert house.end() == 0
            looks_whole(house, hook)


def looks_whole(house: House, hook: HttpServer) -> None:
    """Counts of occurrences, of their numbers and of notices against the script."""
    changes = [change for change in house.transitions() if change.alarm == LARCH]
    measured("occurrences lost at kill -9", 1 - len({c.occurrence for c in changes}))
    measured("occurrences doubled at kill -9", len({c.occurrence for c in changes}) - 1)
    assert len({change.occurrence for change in changes}) == 1
    seqs = [change.seq for change in changes]
    assert seqs == list(range(1, len(seqs) + 1))
    kept = [n.notice for n in house.notices() if n.notice.notifier == "hook" and LARCH in n.notice.alarms]
    by_kind = Counter(notice.kind for notice in kept)
    assert by_kind[NoticeKind.ACTIVATION] == by_kind[NoticeKind.RAISED] == 1, by_kind
    taken = Counter(request.headers["webhook-id"] for request in hook.requests)
    lost = [notice.notice for notice in kept if taken[notice.notice] == 0]
    measured("notices lost at kill -9", len(lost))
    assert lost == []
    # Killed between the post and its commit, a notice goes out once more: under the same id.
    assert all(count <= 2 for count in taken.values()), taken


def test_restarts_within_an_hour_are_an_alarm(tmp_path: Path, own_broker: Mosquitto) -> None:
    """The third start says so; being off for moments is no time that nobody watched."""
    with House(tmp_path, own_broker.port) as house:
        for _ in range(3):
            house.start()
            until(lambda: heard(house) == 2, 20.0, "both sensors heard")
            house.kill()
        house.start()
        cause = house.rises(RESTARTING)["cause"]
        assert "started" in cause
        assert OFF not in house.standing()
