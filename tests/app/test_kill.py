"""The whole daemon, killed again and again between commit and acknowledgement: nothing lost, nothing doubled.

Real processes: mosquitto, the daemon, an SMTP server. Truth: what the publisher sent, counted (independent).
"""

import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from monitor.store.queries import Reader
from tests.support.broker import Mosquitto, free_port, need_broker
from tests.support.servers import MailServer
from tests.support.waiting import until

READINGS = 1500
KILLS = 3
FROST_FROM = 1200

SETTINGS = """\
[site]
name = "Heather Bank"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1
[broker]
port = {broker}
[houses.cold]
name = "Cold house"
[sensors.bench-a]
house = "cold"
topic = "heather/cold/bench-a"
payload = "json"
every_s = 60
temperature_c = "/t"
observed_at = "/at"
[alarms.low-temperature]
on_delay_s = 1
[notifiers.mail]
type = "email"
host = "127.0.0.1"
port = {mail}
from = "house@example.org"
to = ["grower@example.org"]
[[calls]]
tell = ["high", "medium"]
who = ["mail"]
[web]
listen = "127.0.0.1:{page}"
"""

BOOK = (
    {"kind": "tree", "tree": "larch-3", "name": "Larch 3", "sensor": "bench-a"},
    {"kind": "limit", "tree": "larch-3", "limit": "low_warn_c", "value": 1.5, "reason": "to test"},
    {"kind": "limit", "tree": "larch-3", "limit": "low_harm_c", "value": 0.0, "reason": "to test"},
)


class Killed:
    """A daemon that is started, killed without warning, and started again."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._address = str(folder / "notify")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> float:
        """Start it and wait until it says that it guards; how long that took [s]."""
        Path(self._address).unlink(missing_ok=True)
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
            manager.bind(self._address)
            manager.settimeout(60.0)
            began_s = time.perf_counter()
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "monitor.cli.entry", "run", "--config",
                 str(self._folder / "monitor.toml")],
                env={**os.environ, "NOTIFY_SOCKET": self._address},
            )  # fmt: skip
            while b"READY=1" not in manager.recv(4096):
                pass
            return time.perf_counter() - began_s

    def kill(self) -> None:
        """`kill -9`."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(10)

    def end(self) -> int:
        """SIGTERM; its exit status."""
        assert self._process is not None
        self._process.send_signal(signal.SIGTERM)
        return self._process.wait(30)


def publish(port: int, base_s: float) -> None:
    """Numbered readings at QoS 1, with times of their own; the last ones are frost."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, "publisher", protocol=mqtt.MQTTv5)
    client.max_inflight_messages_set(50)
    client.connect("127.0.0.1", port)
    client.loop_start()
    pause = threading.Event()
    for number in range(READINGS):
        value = -0.5 if number >= FROST_FROM else 4.0 + number % 7 / 10
        body = {"t": value, "at": round(base_s + number * 0.1, 3)}
        sent = client.publish("heather/cold/bench-a", json.dumps(body), qos=1)
        if number % 20 == 0:
            sent.wait_for_publish(30)
            pause.wait(0.05)
    sent.wait_for_publish(30)
    client.disconnect()
    client.loop_stop()


def kept(folder: Path, base_s: float) -> list[float]:
    """The instants of all readings in the store, as often as they stand there."""
    try:
        with Reader(folder / "state") as reader:
            return [reading.observed_at_s for reading in reader.readings(base_s - 1.0, base_s + 1000.0)]
    except Exception:  # noqa: BLE001 - the store may be between two of its states just now
        return []


def test_a_daemon_killed_again_and_again_loses_and_doubles_nothing(tmp_path: Path) -> None:
    """Three kills at random moments: every reading once, one occurrence, its mail under one Message-ID."""
    dice = random.Random(11)
    with Mosquitto(need_broker(), tmp_path / "broker") as broker, MailServer() as mail:
        text = SETTINGS.format(broker=broker.port, mail=mail.port, page=free_port())
        (tmp_path / "monitor.toml").write_text(text, encoding="utf-8")
        (tmp_path / "state").mkdir(mode=0o700)
        lines = [json.dumps({"at": "2026-01-10T10:00:00Z", **entry}) + "\n" for entry in BOOK]
        (tmp_path / "state" / "book.jsonl").write_text("".join(lines), encoding="utf-8")
        daemon, base_s = Killed(tmp_path), round(time.time() - 160.0, 1)
        starts_s = [daemon.start()]
        said: list[bytes] = []
        listener = mqtt.Client(CallbackAPIVersion.VERSION2, "listener", protocol=mqtt.MQTTv5)
        listener.on_message = lambda client, userdata, message: said.append(message.payload)
        listener.connect("127.0.0.1", broker.port)
        listener.subscribe("aftercare/state", qos=1)
        listener.loop_start()
        until(lambda: any(b"online" in payload for payload in said), 20, "the daemon at the broker")
        sender = threading.Thread(target=publish, args=(broker.port, base_s), daemon=True)
        sender.start()
        for _ in range(KILLS):
            threading.Event().wait(dice.uniform(0.4, 1.2))
            daemon.kill()
            starts_s.append(daemon.start())
        sender.join(60)
        until(lambda: len(set(kept(tmp_path, base_s))) >= READINGS, 90, "all readings in the store")
        until(lambda: mail.mails, 30, "a mail about the frost")
        assert daemon.end() == 0
        listener.disconnect()
        listener.loop_stop()

        instants = kept(tmp_path, base_s)
        assert len(instants) == len(set(instants)) == READINGS
        with Reader(tmp_path / "state") as reader:
            changes = [c for c in reader.transitions() if c.kind == "low-temperature"]
        assert len({change.occurrence for change in changes}) == 1
        assert len({(change.occurrence, change.seq) for change in changes}) == len(changes)
        messages = [each.message for each in mail.mails]
        activations = [message for message in messages if message["X-Aftercare-Kind"] == "activation"]
        assert len({m["Message-ID"] for m in activations if "Larch 3" in str(m["Subject"])}) == 1
        print(f"\nrestart to guarding: at most {max(starts_s):.1f} s (asked for: 3 s)")
