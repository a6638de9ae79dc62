"""What a guarded house asks: wraps by the hour, when a tree may leave, the worst hours of a dead branch."""

from collections.abc import Mapping
from typing import Any

import pytest

from monitor.settings import Settings
from tests.engine.house import House, instant, sensor, settings_of
from tests.watches.recovery.test_wrap_watch import larch, slow, weather


def asked(house: House) -> list[Mapping[str, Any]]:
    """The wraps that are asked for now."""
    return house.engine.snapshot().more["wrap_asks"]  # type: ignore[no-any-return]


def with_yard() -> Settings:
    """A bench and a sensor outside."""
    sensors = {"bench-a": sensor("bench-a", 3600.0), "yard": sensor("yard", 3600.0, place="outdoor")}
    return settings_of(sensors, houses={"cold": {"name": "Cold house", "outdoor": "yard"}})


def test_a_wrap_that_dries_before_tomorrow_is_wetted_this_morning() -> None:
    """Asked for before its alarm stands; not while it was wetted just now."""
    house = House(slow(), larch())
    weather(house, 1.2, 10.0, 60.0)
    assert asked(house) == []

    weather(house, 4, 10.0, 60.0)
    (ask,) = asked(house)
    assert (ask["tree"], ask["need"], ask["urgent"]) == ("larch-3", "water", True)
    assert "before noon" in ask["text"]
    assert "dry" in ask["because"]


def test_a_frozen_wrap_is_left_alone() -> None:
    """Nothing is asked of it until it has thawed."""
    house = House(slow(), larch())
    weather(house, 3, 3.0)
    weather(house, 10, -5.0)

    assert asked(house) == []


def test_the_report_asks_for_it_in_the_morning() -> None:
    """One line among seven, with the hours as a range."""
    house = House(slow(), larch())
    weather(house, 11, 8.0, 65.0)
    report = house.reports[-1].text

    assert "Larch 3, wrap first-branch" in report
    assert "then wet it again before noon" in " ".join(report.split())


def test_a_tree_may_leave_when_nights_outside_are_known_to_be_mild() -> None:
    """Light wiring is over after a week; then it is the season that decides."""
    tree = {
        "at": "2027-05-01T10:00:00Z",
        "kind": "tree",
        "tree": "yew-2",
        "name": "Yew 2",
        "sensor": "bench-a",
    }
    work = {"at": "2027-05-01T10:00:00Z", "kind": "work", "tree": "yew-2", "work": "light-wiring"}
    house = House(with_yard(), [tree, work], "2027-05-01 12:00")

    def days(count: int) -> Mapping[str, Any]:
        begin_s = house.now_s
        for hour in range(1, count * 24 + 1):
            house.reading(12.0 + 0.1 * (hour % 7), begin_s + hour * 3600.0, "bench-a")
            house.reading(7.0 + 0.1 * (hour % 7), begin_s + hour * 3600.0 + 1.0, "yard")
        return house.engine.snapshot().more["leaving"][0]  # type: ignore[no-any-return]

    assert days(3)["missing"][-1] == "how cold the nights outside are is not known for a week"
    assert "light wiring is still fresh" in days(1)["said"]
    assert days(5) == {"tree": "yew-2", "ready": True, "missing": [], "said": "ready to leave the house"}
    days(1)
    assert "ready to leave the house for good: Yew 2" in " ".join(house.reports[-1].text.split())


@pytest.mark.parametrize("found", ["dieback", "dead"])
def test_a_finding_of_death_points_at_the_worst_hours_before_it(found: str) -> None:
    """A night at -3 and a warm week after it: the night."""
    house = House(slow(3600.0), larch(work=True))
    weather(house, 6, -3.0)
    weather(house, 40, 8.0)
    house.entry("finding", tree="larch-3", part="first-branch", found=found)

    (worst,) = house.engine.snapshot().more["worst_hours"]
    assert (worst["tree"], worst["found"]) == ("larch-3", found)
    assert worst["low_c"] == pytest.approx(-3.0)
    assert instant("01-14 20:00") <= worst["from_s"] < worst["to_s"] <= instant("01-15 04:00")
    weather(house, 24, 8.0)
    told = " ".join(house.reports[-1].text.split())
    assert f"Larch 3, {'dieback' if found == 'dieback' else 'death'} of first branch: its worst hours" in told


def test_any_other_finding_points_at_nothing() -> None:
    """A crack was made by hand."""
    house = House(slow(), larch())
    weather(house, 3, 5.0)
    house.entry("finding", tree="larch-3", part="first-branch", found="crack")

    assert house.engine.snapshot().more["worst_hours"] == []
