"""`listen`: which topics carry temperature or humidity; and if not, which of four reasons it is."""

import threading
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from monitor.cli.heard import Heard, blocks, understood, usual_s
from monitor.model import Quantity
from monitor.settings import Sensor
from tests.cli.place import Command
from tests.support.broker import Mosquitto, free_port, need_broker

T, RH = Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT


@pytest.mark.parametrize(
    ("topic", "payload", "kind", "values"),
    [
        ("a/bench", b'{"temperature": 3.2, "humidity": 88, "battery": 80}', "json", {T: 3.2, RH: 88}),
        ("a/bench", b'{"s": {"temp_c": -1, "rh": 50}}', "json", {T: -1, RH: 50}),
        ("a/bench", b'[{"bn":"urn:dev:x:","n":"t","u":"Cel","v":2.5}]', "senml", {T: 2.5}),
        ("a/bench/temperature", b"-1.5", "plain", {T: -1.5}),
        ("a/bench/humidity", b"71", "plain", {RH: 71}),
        ("a/heater", b'{"set_temp": 20, "device_temperature": 31}', "json", {}),
        ("a/oven", b'{"temperature": 350}', "json", {}),
        ("a/light", b'{"state": "ON", "temperature": true}', "json", {}),
        ("a/text", b"hello", "", {}),
        ("a/bytes", b"\xff\xfe", "", {}),
        ("a/count", b"17", "", {}),
    ],
)
def test_what_a_message_carries(topic: str, payload: bytes, kind: str, values: dict[Quantity, float]) -> None:
    """Common practice, no source: how such messages look."""
    found_kind, _, found = understood(topic, payload)

    assert (found_kind, found) == (kind, values)


def test_pointers_lead_to_the_values() -> None:
    """RFC 6901: a slash in a key is written ~1 (published, section 3)."""
    _, pointers, _ = understood("a", b'{"in/out": {"temp": 3.5}}')

    assert pointers == {T: "/in~1out/temp"}


def test_proposed_blocks_are_settings() -> None:
    """Each is a sensor as the settings take it, with an id of its own."""
    heard = Heard()
    for at_s in (0.0, 61.0, 119.0):
        heard.take("house/1/temp", b"3.5", False, at_s)
        heard.take("shed/1/temp", b"2.5", False, at_s)
        heard.take("house/bench", b'{"temperature": 3, "humidity": 80}', False, at_s)
        heard.take("house/bench/state", b"online", False, at_s)
    heard.take("kept", b'{"temperature": 3}', True, 0.0)

    sensors = tomllib.loads("\n".join(blocks(heard)))["sensors"]

    assert {sensor["topic"] for sensor in sensors.values()} == {
        "house/1/temp", "shed/1/temp", "house/bench", "kept",
    }  # fmt: skip
    assert len(sensors) == 4
    assert sensors["bench"]["every_s"] == 60
    assert "every_s" not in sensors["kept"]
    for sensor in sensors.values():
        Sensor.model_validate({"house": "cold", **sensor})


@pytest.mark.parametrize(("seconds", "usual"), [(0.2, 1), (58.0, 60), (303.0, 300), (90000.0, 3600)])
def test_an_interval_becomes_the_usual_one_that_is_nearest(seconds: float, usual: int) -> None:
    """Nobody sets 58 s."""
    assert usual_s(seconds) == usual


# ---- a real broker -------------------------------------------------------------------------------------


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """One that lets everybody in."""
    with Mosquitto(need_broker(), tmp_path) as running:
        yield running


class Talker:
    """Publishes the same message again and again, as a sensor does, until the block ends."""

    def __init__(self, port: int, topic: str, payload: str) -> None:
        self._message = (topic, payload)
        self._stop = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
        self._client.connect("127.0.0.1", port)
        self._thread = threading.Thread(target=self._talk)

    def _talk(self) -> None:
        while not self._stop.wait(0.1):
            self._client.publish(*self._message)

    def __enter__(self) -> None:
        self._client.loop_start()
        self._thread.start()

    def __exit__(self, *exc: object) -> None:
        self._stop.set()
        self._thread.join(5.0)
        self._client.disconnect()
        self._client.loop_stop()


def test_a_sensor_that_talks_is_proposed(broker: Mosquitto, aftercare: Command) -> None:
    """A table and a block."""
    with Talker(broker.port, "house/bench", '{"temperature": 3.2, "humidity": 88}'):
        done = aftercare("listen", "--port", str(broker.port), "--seconds", "1")

    assert done.status == 0
    assert "3.2 °C, 88 % humidity (json)" in done.out
    assert "[sensors.bench]" in done.out


def test_values_without_a_temperature_are_told_apart(broker: Mosquitto, aftercare: Command) -> None:
    """The broker is the right one, what is said on it is not."""
    with Talker(broker.port, "house/lamp", '{"state": "ON"}'):
        done = aftercare("listen", "--port", str(broker.port), "--seconds", "1")

    assert done.status == 1
    assert "none that looks like a temperature" in done.out


def test_silence_is_told_apart(broker: Mosquitto, aftercare: Command) -> None:
    """Connected, and nothing was said."""
    done = aftercare("listen", "--port", str(broker.port), "--seconds", "1")

    assert done.status == 1
    assert "Connected, but nothing was said" in done.out


def test_a_wrong_password_is_told_apart(tmp_path: Path, aftercare: Command) -> None:
    """The broker is there and does not let us in."""
    with Mosquitto(need_broker(), tmp_path, anonymous=False) as closed:
        done = aftercare("listen", "--port", str(closed.port), "--seconds", "1")

    assert done.status == 1
    assert "User name or password were refused" in done.err


def test_no_broker_is_told_apart(aftercare: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At once, not after a minute."""
    monkeypatch.chdir(tmp_path)

    done = aftercare("listen", "--port", str(free_port()))

    assert done.status == 1
    assert "No message post answers" in done.err
