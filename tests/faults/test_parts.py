"""Parts of other packages that raise or hang: found by entry points, as `pip install` leaves them.

Each fails in its own way and only there: the frost is noticed, and reaches people by the ways that work.
"""

import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from tests.faults.figures import measured
from tests.faults.house import FROST_C, JOURNAL, LARCH, House, heard, told, webhook
from tests.support.broker import Mosquitto
from tests.support.servers import HttpServer
from tests.support.waiting import until

POINTS = """\
[monitor.notifiers]
sulks = parts_of_others:sulks
sleeps = parts_of_others:sleeps
[monitor.payloads]
chokes = parts_of_others:chokes
[monitor.quality]
doubts = parts_of_others:doubts
absent = not_there_at_all:part
[monitor.limits]
breaks = parts_of_others:breaks
"""
PARTS = '''\
"""Every kind of part, each broken; while `FOLDER/mended` is there, they work."""
import pathlib, threading, types
from monitor.model import Assessment, Flag, Judgement, Quantity, Sample
from monitor.trees.limits import LimitDefaults

FOLDER = pathlib.Path({folder!r})

def must_be_mended():
    if not (FOLDER / "mended").exists():
        raise RuntimeError("a fault of this part")

class Sulks:
    def deliver(self, notice, delayed_s, at_s):
        must_be_mended()
        (FOLDER / "sulked").write_text(notice.notice)
    def close(self):
        raise RuntimeError("not even this")

class Sleeps:
    def deliver(self, notice, delayed_s, at_s):
        while not (FOLDER / "mended").exists():
            threading.Event().wait(0.05)
        (FOLDER / "slept").write_text(notice.notice)
    def close(self):
        pass

def notifier(kind, made):
    return types.SimpleNamespace(
        KIND=kind, create=lambda name, values, files: made(), problems=lambda name, values: [])

sulks, sleeps = notifier("sulks", Sulks), notifier("sleeps", Sleeps)

def decode(payload, sent_at_s):
    must_be_mended()
    return [Sample("bench-a", Quantity.TEMPERATURE_C, -0.5, None)]

chokes = types.SimpleNamespace(
    KIND="chokes", decoder=lambda sensors: decode, problems=lambda sensor: [])

def check(recent, value, at_s):
    must_be_mended()
    return Flag.GOOD

doubts = types.SimpleNamespace(
    KIND="doubts", TIMELESS=True, check=lambda sensor, quantity, beside: check)

def edges(limits, deadband):
    must_be_mended()
    return ()

def assess(conditions, limits, deadband):
    must_be_mended()
    return Assessment("breaks", conditions.tree, conditions.at_s, Judgement.NORMAL)

breaks = types.SimpleNamespace(
    KIND="breaks", QUANTITY=Quantity.TEMPERATURE_C, WORSE=-1,
    defaults=lambda plans: LimitDefaults(), edges=edges, assess=assess)
'''
WAYS = '[notifiers.sulking]\ntype = "sulks"\n[notifiers.sleeping]\ntype = "sleeps"\n'


def install(folder: Path) -> None:
    """A package with broken parts, as an installer lays it out."""
    packages = folder / "packages"
    about = packages / "parts_of_others-1.0.dist-info"
    about.mkdir(parents=True)
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: parts-of-others\nVersion: 1.0\n")
    (about / "entry_points.txt").write_text(POINTS)
    (packages / "parts_of_others.py").write_text(PARTS.format(folder=str(folder)))


@pytest.fixture(scope="module")
def hook() -> Iterator[HttpServer]:
    """The one way that works."""
    with HttpServer() as server:
        yield server


@pytest.fixture(scope="module")
def house(folder: Path, broker: Mosquitto, hook: HttpServer) -> Iterator[House]:
    """It guards with broken parts, and it freezes at both benches."""
    install(folder)
    call = told("hook", "sulking", "sleeping", tell=("high",))
    with ExitStack() as stack:
        ways = webhook("hook", hook.url) + WAYS + call + JOURNAL
        house = House(folder, broker.port, payload="chokes", ways=ways)
        house.config.write_text(
            house.config.read_text().replace('temperature_c = "/t"\nobserved_at = "/at"\n', "", 1)
        )
        house.air["bench-b"] = FROST_C
        stack.enter_context(house)
        house.start()
        yield house


def test_a_payload_that_raises_is_a_sensor_that_is_silent(house: House) -> None:
    """Bench-a's reader fails on every message: said as that, and the sensor counts as silent."""
    house.rises("sensor-silent/bench-a")
    until(lambda: any("its reader fails" in said for said in house.status()["unknown"]), 10.0, "the reason")


def test_a_quality_check_that_raises_leaves_readings_suspect(house: House) -> None:
    """They still warn, and are marked; that the check fails is said."""
    alarm = house.rises("low-temperature/yew-2")
    assert alarm["priority"] == "high"
    assert any("quality check fails" in said for said in house.status()["unknown"])
    assert any("quality check absent cannot be loaded" in said for said in house.status()["unknown"])
    sensors = {each["sensor"]: each["quality"] for each in house.status()["houses"][0]["sensors"]}
    assert sensors["bench-b"] == "suspect"


def test_a_limit_that_raises_leaves_its_tree_unwatched_and_says_so(house: House) -> None:
    """The other limits of the same tree go on."""
    alarm = house.rises("unwatched/yew-2")
    assert "cannot be judged: the program's part for breaks fails" in alarm["cause"]
    assert "low-temperature/yew-2" in house.rises("low-temperature/yew-2")["alarm"]


def test_notifiers_that_raise_or_hang_hold_up_nobody(house: House, hook: HttpServer) -> None:
    """The webhook has the frost while one notifier raises and another never returns."""
    house.rises("low-temperature/yew-2")
    until(lambda: any(b"Yew 2" in request.body for request in hook.requests), 15.0, "the post")
    said = "fault inside the notifier: RuntimeError"
    until(lambda: said in str(_way(house, "sulking")["last_error"]), 10.0, said)
    assert _way(house, "sleeping")["pending"] >= 1
    assert house.process.poll() is None


def test_all_of_them_are_well_again_once_the_package_is_mended(house: House) -> None:
    """No restart: what waits is delivered, the reader reads, the limit judges, readings are good."""
    house.rises("low-temperature/yew-2")
    (house.folder / "mended").touch()
    began_s = time.monotonic()
    try:
        until((house.folder / "slept").exists, 70.0, "the notice through the one that hung")
        until((house.folder / "sulked").exists, 70.0, "the notice through the one that raised")
        measured("time to deliver after a notifier has recovered [s]", time.monotonic() - began_s)
        house.rises(LARCH)
        house.ends("sensor-silent/bench-a")
        until(lambda: heard(house) == 2, 20.0, "good readings")
        house.ends("unwatched/yew-2")
    finally:
        (house.folder / "mended").unlink()
    assert "Traceback" in house.said(), "the log has the faults in full"


def _way(house: House, notifier: str) -> dict[str, Any]:
    return next(way for way in house.status()["delivery"] if way["notifier"] == notifier)
