"""A sensor at rest is out of service (ISA-18.2 / IEC 62682): it raises and clears nothing until it is back.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from pathlib import Path
from typing import Any

import pytest

from monitor.clock import rfc3339
from monitor.errors import BookError
from tests.engine.house import LARCH, LARCH_ALONE, House, clock_time, settings_of, tree

SILENT, BROKER = "sensor-silent/bench-a", "broker-lost/site"
TWO_SENSORS = settings_of(("bench-a", "bench-b"))


def rests(house: House, until: str, sensor: str = "bench-a", **more: Any) -> None:
    """Somebody takes a sensor out of service."""
    house.entry("rest", sensor=sensor, until=rfc3339(house.at(until) + house.offset_s), **more)


def wakes(house: House, sensor: str = "bench-a") -> None:
    """Somebody says that it is back."""
    house.entry("rest", sensor=sensor, until=rfc3339(house.now_s + house.offset_s))


def new_house(**more: Any) -> House:
    """Larch 3 on a cold night, its sensor heard a minute ago."""
    house = House(**more)
    house.air(4.0, by="20:10")
    return house


def test_a_sensor_at_rest_is_out_of_service_and_its_silence_rings_nobody() -> None:
    """On a night on which its silence would have been high."""
    house = new_house()
    rests(house, "21:00")
    house.passes(until="20:59:59")

    assert house.state(SILENT) == "out-of-service"
    assert house.steps(SILENT) == [("out-of-service", "rest")]
    assert house.notices("sensors") == []


def test_it_comes_back_by_itself_and_then_has_its_usual_time_to_be_heard() -> None:
    """At `until` it is in service again; three minutes later its silence is one."""
    house = new_house()
    rests(house, "21:00")
    house.passes(until="21:02:59")
    assert house.state(SILENT) == "normal"

    house.passes(until="21:03")
    assert [(str(t.to_state), t.because, clock_time(t.at_s)) for t in house.transitions(SILENT)] == [
        ("out-of-service", "rest", "20:10:00"),
        ("normal", "rest-ended", "21:00:00"),
        ("unacknowledged", "condition", "21:03:00"),
    ]


def test_somebody_says_that_it_is_back_before_its_time() -> None:
    """`sensor wake` is a rest that ends now."""
    house = new_house()
    rests(house, "23:00")
    house.passes(until="20:30")
    wakes(house)
    house.passes(until="20:33")

    assert house.steps(SILENT)[1:] == [("normal", "rest-ended"), ("unacknowledged", "condition")]


def test_it_is_back_at_once_also_where_the_clock_of_who_says_so_is_a_little_ahead() -> None:
    """The next reading counts."""
    house = new_house()
    rests(house, "21:00")
    ahead = rfc3339(house.now_s + 0.4)
    house.written({"kind": "rest", "sensor": "bench-a", "at": ahead, "until": ahead})

    assert house.state(SILENT) == "normal"


def test_what_a_sensor_at_rest_says_raises_nothing_and_is_not_kept() -> None:
    """In melting ice for its offset: 0 °C there is no frost at the larch."""
    house = new_house()
    rests(house, "21:00")
    before = len(house.readings)
    house.air(-3.0, by="20:40")

    assert house.state(LARCH) == "normal"
    assert len(house.readings) == before
    assert house.engine.snapshot().houses[0]["sensors"][0]["quality"] == "at-rest"


def test_what_a_sensor_at_rest_says_clears_nothing() -> None:
    """In a warm hand: the frost that stood goes on standing."""
    house = new_house()
    house.air(-0.5, by="20:20")
    rests(house, "21:00")
    house.air(20.0, by="20:50")

    assert house.state(LARCH) == "unacknowledged"


def test_a_silence_that_stood_ends_when_its_sensor_is_put_to_rest_and_they_are_told_why() -> None:
    """Nobody may think that it was heard again."""
    house = House()
    house.reading(4.0)
    house.passes(until="20:10")
    house.notices("sensors")
    rests(house, "21:00")

    said = house.notices("sensors", "mail")[-1]
    assert (said.kind, said.subject) == ("cleared", "At rest: trouble with sensor bench-a (Cold house)")
    assert "It comes back by itself" in said.text


def test_that_nobody_watches_the_tree_meanwhile_is_said() -> None:
    """Unknown is not fine."""
    house = new_house()
    rests(house, "21:00")

    said = house.engine.snapshot().unknown
    assert any("bench-a is at rest until" in line and "nobody watches Larch 3" in line for line in said)


def test_while_a_tree_depends_on_it_a_rest_is_refused_beyond_a_day() -> None:
    """Twenty-four hours at most."""
    house = new_house()
    with pytest.raises(BookError, match="24 h"):
        rests(house, "01-16 20:11")


def test_a_long_rest_ends_within_a_day_once_a_tree_stands_there() -> None:
    """It was allowed while nothing depended on it."""
    house = House(TWO_SENSORS)
    house.air(4.0, by="20:10")
    rests(house, "01-20 20:00", sensor="bench-b")
    house.entry("move", trees=["larch-3"], sensor="bench-b")
    house.passes(until="01-15 20:09:59")
    assert house.state("sensor-silent/bench-b") == "out-of-service"

    house.passes(until="01-15 20:10:00")
    assert house.state("sensor-silent/bench-b") == "normal"


def test_a_rest_outlasts_a_start_and_a_clock_that_is_set(tmp_path: Path) -> None:
    """Neither ends it nor lengthens it: it lasts in guard time."""
    house = new_house(keep=tmp_path)
    rests(house, "21:00")
    ends_s = house.at("21:00")
    house.clock_steps(3600.0)
    house.restart()
    assert house.state(SILENT) == "out-of-service"

    house.passes(ends_s - 1.0)
    assert house.state(SILENT) == "out-of-service"
    house.passes(ends_s)
    assert house.state(SILENT) == "normal"
    house.restart()
    assert house.state(SILENT) == "normal"
    house.close()


def test_a_rest_that_was_written_while_the_guard_was_off_counts_from_its_start(tmp_path: Path) -> None:
    """The book is the truth."""
    house = new_house(keep=tmp_path)
    until = rfc3339(house.at("21:00"))
    rest = {"at": rfc3339(house.now_s), "kind": "rest", "sensor": "bench-a", "until": until}
    house.restart(after_s=60.0, book=[*house.engine.book.entries, rest])

    assert house.state(SILENT) == "out-of-service"
    house.close()


def test_a_rest_that_is_taken_back_never_was() -> None:
    """`book void` of the entry brings the sensor back at once."""
    house = new_house()
    rests(house, "21:00")
    house.entry("void", entry=house.engine.book.entries[-1]["id"], reason="wrong sensor")

    assert house.state(SILENT) == "normal"


def test_a_lost_broker_is_not_high_for_a_sensor_at_rest() -> None:
    """It takes the highest priority that the silence of a sensor in service would have."""
    house = House(TWO_SENSORS)
    house.air(4.0, by="20:10")
    rests(house, "22:00")
    house.link(up=False)
    house.passes(until="20:20")

    assert [str(change.priority) for change in house.transitions(BROKER)] == ["low"]


def test_an_alarm_at_rest_is_neither_made_quiet_nor_resumed() -> None:
    """Only its sensor comes back, and the answer says how."""
    house = new_house()
    rests(house, "21:00")

    reply = house.shelve(SILENT, 1.0)
    assert not reply.ok
    assert "aftercare sensor wake bench-a" in reply.message
    assert house.state(SILENT) == "out-of-service"


# ---- suppressed by design ----------------------------------------------------------------------------------


def silent_then_cut_off() -> House:
    """Bench A silent and told, then no connection at all; Yew 2 stands at bench B."""
    house = House(TWO_SENSORS, [*LARCH_ALONE, *tree("Yew 2", "bench-b", -1.0, -4.0)])
    house.air(4.0, by="20:10")
    for _ in range(10):
        house.reading(4.0, house.now_s + 60, by="bench-b")
    house.link(up=False)
    house.passes(until="20:30")
    return house


def test_a_lost_broker_stands_for_silences_that_are_known_already() -> None:
    """One cause, one voice: the silent sensor is suppressed and does not repeat."""
    house = silent_then_cut_off()
    assert house.state(BROKER) == "unacknowledged"
    assert house.state(SILENT) == "suppressed"

    house.notices("sensors")
    house.passes(until="22:00")
    assert house.notices("sensors") == []


def test_a_silence_that_outlasts_the_lost_broker_rings_again() -> None:
    """That the connection is back must not read as if all were well."""
    house = silent_then_cut_off()
    house.notices("sensors")
    house.link(up=True)
    for _ in range(4):
        house.reading(4.0, house.now_s + 60, by="bench-b")

    assert house.steps(SILENT)[-1] == ("unacknowledged", "broker-back")
    assert [(n.kind, n.notifier) for n in house.notices("sensors")] == [("activation", "mail")]


def test_a_silence_that_was_seen_comes_back_as_seen() -> None:
    """Whoever saw it knows of it."""
    house = House(TWO_SENSORS, [*LARCH_ALONE, *tree("Yew 2", "bench-b", -1.0, -4.0)])
    house.air(4.0, by="20:10")
    for _ in range(10):
        house.reading(4.0, house.now_s + 60, by="bench-b")
    house.ack(SILENT)
    house.link(up=False)
    house.passes(until="20:30")
    house.notices("sensors")
    house.link(up=True)
    for _ in range(4):
        house.reading(4.0, house.now_s + 60, by="bench-b")

    assert house.state(SILENT) == "acknowledged"
    assert house.notices("sensors") == []


def test_a_suppressed_silence_ends_when_its_sensor_is_heard_again() -> None:
    """Back from the lost link, and fresh."""
    house = silent_then_cut_off()
    house.link(up=True)
    house.reading(4.0, house.now_s + 30)

    assert house.state(SILENT) == "normal"
