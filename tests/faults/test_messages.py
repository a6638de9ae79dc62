"""What comes in is old, wrong, doubled, late, or nothing at all: it never clears, never harms, and is said.

A frost stands at bench-a all the while; truth is what was published.
"""

import itertools
import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.store.queries import Reader
from tests.faults.figures import measured
from tests.faults.house import COLD_C, FROST_C, LARCH, TOPIC, WARM_C, House, guarded
from tests.intake.publisher import Publisher
from tests.support.broker import Mosquitto
from tests.support.waiting import until

SILENT = "sensor-silent/bench-a"
BENCH_A = TOPIC + "bench-a"
GARBAGE = {
    "garbage": (b"\xff\xfe\x00 1.5", "not UTF-8"),
    "huge": (b'{"t": ' + b"1" * 200_000 + b"}", "more than"),
    "deep": (b'{"t":' + b"[" * 5000 + b"1" + b"]" * 5000 + b"}", "deep"),
    "NaN": (b'{"t": NaN}', "NaN"),
}


@pytest.fixture(scope="module")
def house(folder: Path, broker: Mosquitto) -> Iterator[House]:
    """One house for all of them; each test leaves it with its frost standing and both sensors heard."""
    with guarded(folder, broker.port) as house:
        house.air["bench-a"] = COLD_C
        house.rises(LARCH)
        yield house


@contextmanager
def dead(house: House, sensor: str) -> Iterator[None]:
    """A sensor that says nothing for as long as the block lasts."""
    value_c = house.air.pop(sensor)
    try:
        yield
    finally:
        house.air[sensor] = value_c


def test_a_dead_sensor(house: House) -> None:
    """After three intervals it is said, until the next reading. The frost stands all the while."""
    began_s = time.monotonic()
    with dead(house, "bench-a"):
        house.rises(SILENT)
        measured("longest silence of a sensor before its alarm, every_s = 1 [s]", time.monotonic() - began_s)
        assert LARCH in house.standing()
    house.ends(SILENT)
    assert len(house.occurrences(LARCH)) == 1


def test_a_retained_replay(house: House, broker: Mosquitto) -> None:
    """Nine degrees of unknown age: shown, neither ends the frost nor the silence; live readings do both."""
    with dead(house, "bench-a"), Publisher(broker.port, "replay") as publisher:
        house.rises(SILENT)
        assert house.end() == 0
        publisher.publish(BENCH_A, b'{"t": 9.0}', qos=0, retain=True)
        house.start()
        house.rises(SILENT)
        assert LARCH in house.standing()
        publisher.publish(BENCH_A, b"", retain=True)
    house.ends(SILENT)
    house.air["bench-a"] = WARM_C
    house.ends(LARCH)
    house.air["bench-a"] = COLD_C
    house.rises(LARCH)
    assert len(house.occurrences(LARCH)) == 2


@pytest.mark.parametrize(("payload", "words"), GARBAGE.values(), ids=GARBAGE)
def test_a_payload_that_nobody_can_read(house: House, broker: Mosquitto, payload: bytes, words: str) -> None:
    """Counted and said with its reason; the sensor's next reading counts as ever."""
    with Publisher(broker.port, "stranger") as stranger:
        stranger.publish(BENCH_A, payload)
        said = until(lambda: [s for s in house.status()["unknown"] if words in s], 10.0, words)
    assert "could not be read" in said[0]
    before = time.monotonic()
    until(lambda: _age_s(house, "bench-a") < time.monotonic() - before, 10.0, "the next reading")
    assert set(house.standing()) == {LARCH}


def test_a_flood_of_garbage_is_no_sign_of_life(house: House, broker: Mosquitto) -> None:
    """A sensor that only says what nobody can read is silent, and a few thousand of those harm nothing."""
    with dead(house, "bench-a"), Publisher(broker.port, "stranger") as stranger:
        for payload, _ in itertools.islice(itertools.cycle(GARBAGE.values()), 200):
            stranger.publish(BENCH_A, payload)
        house.rises(SILENT)
        assert _age_s(house, "bench-b") < 5.0
    house.ends(SILENT)


def test_duplicates(house: House, broker: Mosquitto) -> None:
    """Sent three times, of another value once more: kept once, the first stands, no second occurrence."""
    at_s, before = round(time.time(), 3), len(house.transitions())
    with Publisher(broker.port, "twice") as publisher:
        for value_c in (1.1125, 1.1125, 1.1125, 1.1375):
            publisher.publish(BENCH_A, json.dumps({"t": value_c, "at": at_s}).encode())
    until(lambda: 1.1125 in _kept(house, at_s - 10.0, at_s + 10.0), 10.0, "the reading")
    until(lambda: _age_s(house, "bench-a") < 1.0, 10.0, "live readings after it")
    found = _kept(house, at_s - 10.0, at_s + 10.0)
    assert (found.count(1.1125), found.count(1.1375)) == (1, 0)
    assert [c for c in house.transitions()[before:] if c.kind == "low-temperature"] == []


def test_a_late_backlog(house: House, broker: Mosquitto) -> None:
    """An hour-old warm morning at bench-a, and a frost at bench-b: both kept, neither clears nor raises."""
    begin_s = round(time.time() - 3600.0)
    with Publisher(broker.port, "backlog") as publisher:
        for name, value_c in (("bench-a", 9.0), ("bench-b", -6.0)):
            late = [json.dumps({"t": value_c, "at": begin_s + n}).encode() for n in range(100)]
            publisher.publish(TOPIC + name, *late)
    until(lambda: len(_kept(house, begin_s, begin_s + 100)) == 200, 10.0, "the whole backlog")
    assert set(house.standing()) == {LARCH}
    report = house._socket.get("/api/report?date=")["text"]
    assert "200 readings came too late to guard by" in " ".join(report.split())

    house.air["bench-b"] = FROST_C
    house.rises("low-temperature/yew-2")
    house.air["bench-b"] = WARM_C
    house.ends("low-temperature/yew-2")
    assert len(house.occurrences("low-temperature/yew-2")) == 1


def test_a_frozen_sensor(tmp_path: Path, own_broker: Mosquitto) -> None:
    """At one value for two hours of guard time while its neighbour moves: doubtful, until it moves, too."""
    house = House(tmp_path, own_broker.port, each_s=0.1, every_s=3600)
    house.order("rate", 2400)
    moving = (3.0 + step % 10 / 10 for step in itertools.count())

    def doubtful() -> bool:
        house.air["bench-b"] = next(moving)
        return "sensor-doubtful/bench-a" in house.standing()

    def moves() -> bool:
        house.air["bench-a"] = house.air["bench-b"] = next(moving)
        return bool(house.status()) and "sensor-doubtful/bench-a" not in house.standing()

    with house:
        house.start()
        until(doubtful, 40.0, "a word about the frozen sensor", every_s=0.1)
        until(moves, 40.0, "its end", every_s=0.1)


def _age_s(house: House, sensor: str) -> float:
    for each in house.status().get("houses", ()):
        for found in each["sensors"]:
            if found["sensor"] == sensor and found["age_s"] is not None:
                return float(found["age_s"])
    return float("inf")


def _kept(house: House, from_s: float, to_s: float) -> list[float]:
    with Reader(house.state) as reader:
        return [reading.value for reading in reader.readings(from_s, to_s)]
