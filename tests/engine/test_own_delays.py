"""`[alarms.KIND]` holds for any kind: how long its condition must last, and by how much it must be gone.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from pathlib import Path
from typing import Any

import pytest

from monitor.settings.checks import disagreements
from tests.engine.house import House, clock_time, settings_of

SILENT, BROKER = "sensor-silent/bench-a", "broker-lost/site"


def house_with(alarms: dict[str, Any], **more: Any) -> House:
    """Larch 3 in the cold house, with delays of the settings' own."""
    house = House(settings_of(alarms=alarms), **more)
    house.reading(4.0)
    return house


def test_an_alarm_that_is_found_once_waits_for_its_on_delay() -> None:
    """Three minutes without a word, and ten minutes more."""
    house = house_with({"sensor-silent": {"on_delay_s": 600}})
    house.passes(until="20:12:59")
    assert house.steps(SILENT) == []

    house.passes(until="20:13:00")
    assert [clock_time(change.at_s) for change in house.transitions(SILENT)] == ["20:13:00"]
    assert house.transitions(SILENT)[0].quality == "missing"


def test_what_is_over_within_its_on_delay_was_nothing() -> None:
    """Heard again after nine minutes."""
    house = house_with({"sensor-silent": {"on_delay_s": 600}})
    house.reading(4.0, "20:09")
    house.stays(until="20:30")

    assert house.steps(SILENT) == []


def test_an_alarm_that_is_found_once_is_over_after_its_off_delay() -> None:
    """Back for five minutes."""
    house = house_with({"sensor-silent": {"off_delay_s": 300}})
    house.reading(4.0, "20:30")
    house.stays(until="20:34:59")
    assert house.state(SILENT) == "unacknowledged"

    house.stays(until="20:35:00")
    assert house.steps(SILENT)[-1] == ("returned-unacknowledged", "returned")


def test_what_falls_silent_again_within_its_off_delay_was_not_over() -> None:
    """The same occurrence goes on."""
    house = house_with({"sensor-silent": {"off_delay_s": 300}})
    house.reading(4.0, "20:30")
    house.passes(until="20:50")

    assert house.steps(SILENT) == [("unacknowledged", "condition")]


def test_a_second_sample_is_not_waited_for_where_none_will_come() -> None:
    """`on_samples` is for what is looked at again and again."""
    house = house_with({"broker-lost": {"on_samples": 3, "on_delay_s": 60}})
    house.link(up=False)
    house.passes(until="20:10")

    assert [clock_time(change.at_s) for change in house.transitions(BROKER)] == ["20:04:00"]


def test_a_delay_that_runs_goes_on_after_a_restart(tmp_path: Path) -> None:
    """It is part of what is kept."""
    house = house_with({"sensor-silent": {"on_delay_s": 600}}, keep=tmp_path)
    house.passes(until="20:05")
    house.restart()
    house.passes(until="20:14")

    assert [clock_time(change.at_s) for change in house.transitions(SILENT)] == ["20:13:00"]
    house.close()


def test_battery_low_is_over_by_its_own_deadband() -> None:
    """Below twenty it is said; ten more than that, and it is over."""
    sensors = {
        "bench-a": {
            "house": "cold", "topic": "t/bench-a", "payload": "json", "every_s": 60,
            "temperature_c": "/t", "battery_pct": "/rh",
        }
    }  # fmt: skip
    house = House(settings_of(sensors, alarms={"battery-low": {"deadband": 10}}))
    for battery_pct, state in ((15.0, "unacknowledged"), (29.0, "unacknowledged"), (30.0, "returned")):
        for _ in range(6):
            house.reading(4.0, house.now_s + 60.0, rh_pct=battery_pct)
        assert house.state("battery-low/bench-a").startswith(state)


@pytest.mark.parametrize("kind", ["heater-not-holding", "wrap-freezing", "sensor-silent"])
def test_a_kind_that_is_over_by_something_else_than_a_number_has_no_deadband(kind: str) -> None:
    """It would be ignored; the settings say so instead."""
    found = [
        message
        for path, message, _ in disagreements({"alarms": {kind: {"deadband": 1.0}}})
        if path[0] == "alarms"
    ]
    assert found == ["this kind of alarm has no number, so it has no deadband."]
