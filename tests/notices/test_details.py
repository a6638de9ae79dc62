"""What other programs get of each alarm in a notice: the line that `alarms.jsonl` has of it.

Every expected value is what the engine itself wrote as the transition.
"""

from collections.abc import Mapping
from typing import Any

import pytest

from monitor.clock import rfc3339
from monitor.model import Transition
from monitor.store.lines import transition_line
from tests.engine.house import LARCH, House


def of(house: House, kind: str) -> Mapping[str, Any]:
    """The first alarm of the first notice of a kind."""
    return next(notice for notice in house.said("frost") if str(notice.kind) == kind).details[0]


def line(change: Transition) -> dict[str, Any]:
    """A transition as it is written."""
    return transition_line(change)


@pytest.fixture(scope="module")
def house() -> House:
    """A frost that came, was seen, and is over."""
    house = House()
    house.air(1.0, by="20:10")
    house.stays(until="20:30")
    house.ack(LARCH, by="tom")
    house.air(6.0, by="21:00")
    return house


@pytest.mark.parametrize(("kind", "number"), [("activation", 0), ("seen", 1), ("cleared", 2)])
def test_a_notice_carries_the_line_of_its_alarm(house: House, kind: str, number: int) -> None:
    """The very change that it is about: `at`, `seq`, `from`, `to`, `quality` and why."""
    written, carried = line(house.transitions(LARCH)[number]), of(house, kind)

    keys = set(written) - {"respond_within_s", "cause", "consequence", "action"}
    assert {key: carried[key] for key in keys} == {key: written[key] for key in keys}
    assert set(written) <= set(carried)


def test_the_first_notice_carries_the_whole_line(house: House) -> None:
    """Words and time left included."""
    written, carried = line(house.transitions(LARCH)[0]), of(house, "activation")

    assert {key: carried[key] for key in written} == written
    assert carried["at"] == rfc3339(house.transitions(LARCH)[0].at_s)


def test_what_is_measured_badly_is_said_so_to_other_programs() -> None:
    """A retained reading may raise, and is no reading of now."""
    house = House()
    house.reading(-2.0, "20:10", observed=house.now_s + 590.0, retain=True)
    house.reading(-2.1, "20:12", observed=house.now_s + 110.0, retain=True)

    details = [detail for notice in house.said("frost") for detail in notice.details]
    assert details
    assert {detail["quality"] for detail in details} == {"retained"}
