"""Messages a second at QoS 1 through a real broker: the barest subscriber, the intake alone, the whole guard.

Each drains the same backlog from a session of its own on the same mosquitto in the same run, round after
round in turn, so that nobody publishes while it is timed; the median round counts. Nothing fails on a time.
"""

import contextlib
import json
import math
import queue
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from unittest import mock

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from monitor.intake import broker as embedded
from monitor.intake.mqtt import Intake
from monitor.model import Message
from monitor.settings import Broker, Settings
from tests.support.broker import Mosquitto, Program
from tests.support.waiting import until

SENSORS = 40
MESSAGES = 20_000
TIMED = 19_900
"""The guard may hold its last few messages for half a minute before it commits: not what is timed here."""
ROUNDS = 3
TOPICS = tuple(f"bench/{number}" for number in range(SENSORS))

Drain = Callable[[Broker, Path], contextlib.AbstractContextManager[Callable[[], int]]]
"""Starts a subscriber with this broker's client id, and gives a function that counts what it acknowledged."""


def main() -> list[dict[str, object]]:
    """One row a figure: name, figure, unit, compared_with, ratio, stands_for."""
    path = embedded.find_mosquitto()
    if path is None:
        return []
    with tempfile.TemporaryDirectory() as folder, Mosquitto(Program(path, {}), Path(folder), QUIET) as broker:
        rates: dict[Drain, list[float]] = {barest: [], intake_alone: [], whole_guard: []}
        for number in range(ROUNDS):
            for drain, found in rates.items():
                place = Path(folder) / f"{drain.__name__}-{number}"
                place.mkdir()
                found.append(measure_whole(drain, broker.port, place))
    bare, alone, whole = (statistics.median(found) for found in rates.values())
    return [
        _figure("intake: barest subscriber", bare, "paho-mqtt alone, acknowledging each message by hand"),
        _figure("intake: network thread alone", alone, "queued, taken, acknowledged; nothing decided", bare),
        _figure(
            "intake: the whole guard",
            whole,
            "decoded, judged, kept (SQLite, FULL) before acknowledging",
            bare,
        ),
    ]


QUIET = ("log_type error", "persistence false")


def measure_whole(drain: Drain, port: int, place: Path) -> float:
    """Fill a session's backlog, let `drain` empty it, and say how many messages a second it acknowledged."""
    broker = Broker(port=port, client_id=f"bench-{place.name}")
    _fill(broker)
    with drain(broker, place) as acknowledged:
        first = until(acknowledged, 60, f"{place.name}: the first message", every_s=0.001)
        began_s = time.perf_counter()
        until(lambda: acknowledged() >= TIMED, 300, f"{place.name}: the last message", every_s=0.002)
        return (acknowledged() - first) / (time.perf_counter() - began_s)


@contextlib.contextmanager
def barest(broker: Broker, _place: Path) -> Iterator[Callable[[], int]]:
    """The least that takes MQTT 5 QoS 1 and acknowledges by hand."""
    count = [0]

    def on_message(client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        client.ack(message.mid, 1)
        count[0] += 1

    client = _client(broker.client_id, manual_ack=True)
    client.on_message = on_message
    _connect(client, broker, clean_start=False)
    try:
        yield lambda: count[0]
    finally:
        client.disconnect()
        client.loop_stop()


@contextlib.contextmanager
def intake_alone(broker: Broker, _place: Path) -> Iterator[Callable[[], int]]:
    """Our network thread with a thread behind it that acknowledges whatever is queued."""
    events: queue.SimpleQueue = queue.SimpleQueue()
    count = [0]
    intake = Intake(broker, TOPICS, Path, events.put, time.time)

    def take() -> None:
        while (event := events.get()) is not None:
            if isinstance(event, Message):
                intake.acknowledge([event])
                count[0] += 1

    taker = threading.Thread(target=take)
    taker.start()
    intake.start()
    try:
        yield lambda: count[0]
    finally:
        intake.stop()
        events.put(None)
        taker.join()


@contextlib.contextmanager
def whole_guard(broker: Broker, place: Path) -> Iterator[Callable[[], int]]:
    """The daemon's own guard on a state directory of its own, everything committed before acknowledging."""
    from monitor import app

    count = [0]

    class Counting(Intake):
        def acknowledge(self, messages: Sequence[Message]) -> None:
            super().acknowledge(messages)
            count[0] += len(messages)

    with mock.patch.object(app, "Intake", Counting):
        guard = app.open_guard(_settings(broker, place))
    thread = threading.Thread(target=guard.run)
    thread.start()
    try:
        yield lambda: count[0]
    finally:
        guard.stop()
        thread.join()


def _settings(broker: Broker, place: Path) -> Settings:
    return Settings.model_validate(
        {
            "file": place / "monitor.toml",
            "site": {"name": "Bench", "timezone": "UTC", "latitude_deg": 54.6, "longitude_deg": -3.1},
            "state": {"directory": place / "state"},
            "broker": broker,
            "houses": {"cold": {"name": "Cold house"}},
            "sensors": {
                f"s{number}": {"house": "cold", "topic": topic, "payload": "senml", "every_s": 60}
                for number, topic in enumerate(TOPICS)
            },
            "notifiers": {"log": {"type": "journal"}},
            "calls": [{"tell": ["high", "medium", "low", "report"], "who": ["log"]}],
        }
    )


def _fill(broker: Broker) -> None:
    """A session that wants all topics, then the backlog: four minutes of 40 sensors, up to now."""
    subscriber = _client(broker.client_id)
    _connect(subscriber, broker, clean_start=True)
    granted = threading.Event()
    subscriber.on_subscribe = lambda *_: granted.set()
    subscriber.subscribe([(topic, mqtt.SubscribeOptions(qos=1)) for topic in TOPICS])
    until(granted.is_set, 10, "the subscription")
    subscriber.disconnect()
    subscriber.loop_stop()
    publisher = _client(f"{broker.client_id}-publisher")
    _connect(publisher, broker, clean_start=True)
    step_s = 240.0 * SENSORS / MESSAGES
    begin_s = time.time() - 240.0
    sent = None
    for number in range(MESSAGES):
        sent = publisher.publish(
            TOPICS[number % SENSORS], _payload(begin_s + step_s * (number // SENSORS)), 1
        )
    if sent is not None:
        sent.wait_for_publish(120)
    until(lambda: not publisher.want_write(), 60, "the backlog")
    publisher.disconnect()
    publisher.loop_stop()


def _payload(at_s: float) -> bytes:
    """A SenML pack (RFC 8428) of temperature and humidity, some 120 bytes."""
    wave = math.sin(at_s / 600.0)
    return json.dumps(
        [
            {"bt": round(at_s, 3), "n": "temperature", "u": "Cel", "v": round(6.0 + wave, 2)},
            {"n": "humidity", "u": "%RH", "v": round(80.0 - 5 * wave, 1)},
        ],
        separators=(",", ":"),
    ).encode()


def _client(client_id: str, manual_ack: bool = False) -> mqtt.Client:
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2, client_id=client_id, protocol=mqtt.MQTTv5, manual_ack=manual_ack
    )
    client.max_inflight_messages_set(200)
    return client


def _connect(client: mqtt.Client, broker: Broker, clean_start: bool) -> None:
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 3600
    properties.ReceiveMaximum = 500
    linked = threading.Event()
    client.on_connect = lambda *_: linked.set()
    client.connect(broker.host, broker.port, clean_start=clean_start, properties=properties)
    client.loop_start()
    until(linked.is_set, 10, "the benchmark's link")


def _figure(name: str, figure: float, stands_for: str, bare: float | None = None) -> dict[str, object]:
    return {
        "name": name,
        "figure": round(figure),
        "unit": "messages/s",
        "compared_with": "" if bare is None else "barest subscriber",
        "ratio": None if bare is None else round(figure / bare, 3),
        "stands_for": stands_for,
    }


if __name__ == "__main__":
    for row in main():
        print(row)
