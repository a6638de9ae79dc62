"""Who watches the watcher: the real daemon gives its sign while it really guards, and only then.

Each fault has its twin: the sign stops, and it comes back by itself once the fault is gone. The service
manager's part is played by a real datagram socket, as sd_notify(3) describes it.
"""

import signal
import sqlite3
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.liveness.daemon import Daemon, Sensor, falls_silent, resumes
from tests.support.broker import Mosquitto, need_broker
from tests.support.servers import HttpServer
from tests.support.waiting import until


class House(NamedTuple):
    """Everything that a test of this file plays with."""

    daemon: Daemon
    broker: Mosquitto
    sensor: Sensor
    outside: HttpServer


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """One daemon for the tests of faults that pass; each leaves it well."""
    folder = tmp_path_factory.mktemp("house")
    with ExitStack() as stack:
        broker = stack.enter_context(Mosquitto(need_broker(), folder))
        outside = stack.enter_context(HttpServer())
        sensor = stack.enter_context(Sensor(broker.port))
        daemon = stack.enter_context(Daemon(folder, broker, outside))
        resumes(outside)
        yield House(daemon, broker, sensor, outside)


def test_the_sign_is_a_bare_get(house: House) -> None:
    """Nothing of the house goes out."""
    request = house.outside.requests[0]

    assert (request.method, request.path, request.body) == ("GET", "/in", b"")


def test_no_sign_while_no_sensor_is_heard(house: House) -> None:
    """A living program that hears nothing guards nothing."""
    house.sensor.well = False
    falls_silent(house.outside)

    house.sensor.well = True
    resumes(house.outside)


def test_no_sign_while_the_broker_is_away(house: House) -> None:
    """The program lives on, its watchdog is fed: a restart would mend nothing. But nobody is guarded."""
    house.broker.stop()
    falls_silent(house.outside)
    fed = house.daemon.said.count("WATCHDOG=1")
    until(lambda: house.daemon.said.count("WATCHDOG=1") > fed, what="the watchdog fed without a broker")

    house.broker.start()
    resumes(house.outside)


def test_no_sign_while_the_store_cannot_write(house: House) -> None:
    """Another program holds the database locked; it guards on from memory, and somebody is to look."""
    with closing(sqlite3.connect(house.daemon.folder / "state" / "aftercare.db")) as other:
        other.execute("BEGIN IMMEDIATE")
        falls_silent(house.outside)
        other.rollback()

    resumes(house.outside)


def test_neither_sign_nor_watchdog_while_a_pass_hangs(house: House) -> None:
    """The threads beside the guard live on, and must not speak for it."""
    hang = house.daemon.folder / "hang"
    hang.touch()
    falls_silent(house.outside)
    fed = house.daemon.said.count("WATCHDOG=1")
    silent_from_s = time.monotonic()
    until(lambda: time.monotonic() - silent_from_s > 2.0, what="two seconds")
    assert house.daemon.said.count("WATCHDOG=1") == fed

    hang.unlink()
    resumes(house.outside)
    until(lambda: house.daemon.said.count("WATCHDOG=1") > fed, what="the watchdog fed again")


def test_no_sign_of_a_stopped_process(house: House) -> None:
    """SIGSTOP stands for a machine that hangs as a whole."""
    house.daemon.tell(signal.SIGSTOP)
    falls_silent(house.outside)

    house.daemon.tell(signal.SIGCONT)
    resumes(house.outside)


def test_an_address_that_fails_is_asked_no_more_often(house: House) -> None:
    """Three refusals take three periods; the next answer counts again."""
    house.outside.faults = iter([503] * 3)
    seen, from_s = len(house.outside.requests), time.monotonic()
    until(lambda: len(house.outside.requests) >= seen + 4, 15.0, "four attempts")

    assert time.monotonic() - from_s >= 2.5


@pytest.mark.parametrize("abstract", [False, True], ids=["path", "abstract"])
def test_the_service_manager_hears_ready_then_watchdog_then_stopping(tmp_path: Path, abstract: bool) -> None:
    """READY with no broker to be had, pings after passes, STOPPING on SIGTERM, and status 0."""
    address = f"@aftercare-test-{tmp_path.name}-{time.monotonic_ns()}" if abstract else ""
    with (
        HttpServer() as outside,
        Daemon(tmp_path, Mosquitto(need_broker(), tmp_path), outside, address) as daemon,
    ):
        until(lambda: "WATCHDOG=1" in daemon.said, 15.0, "the first ping")
        assert daemon.said.index("READY=1") == 0
        until(lambda: "STATUS=0 of 1 sensors heard; 0 trees; 1 alarm stands" in daemon.said, 15.0, "a status")

        daemon.tell(signal.SIGTERM)
        assert daemon.end() == 0
        until(lambda: "STOPPING=1" in daemon.said, what="STOPPING=1")
        assert outside.requests == []


def test_pings_do_not_flood_the_service_manager(house: House) -> None:
    """One a second at most, however many messages come."""
    from_s, seen = time.monotonic(), house.daemon.said.count("WATCHDOG=1")
    until(lambda: house.daemon.said.count("WATCHDOG=1") >= seen + 3, what="three pings")

    assert time.monotonic() - from_s >= 1.9
