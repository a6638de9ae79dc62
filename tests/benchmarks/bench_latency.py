"""From the last sample that makes it true to a notice that a mail server and a web server have accepted."""

import contextlib
import json
import os
import smtplib
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from monitor.cli.client import Daemon
from monitor.intake.broker import find_mosquitto
from monitor.settings import load_settings
from tests.support.broker import Mosquitto, Program
from tests.support.servers import HttpServer, MailServer
from tests.support.waiting import until

HOUSES = 4
"""A notifier rings five times in ten minutes at most, so that a guard gives so many alarms to time."""
GUARDS = 6
LOADED_PER_S = 500
BESIDE = 40
"""Sensors beside those of the houses, that are all the load."""
APART_S = 0.3
"""Of two samples of one sensor that arrive in the same millisecond only the first counts."""
QUIET = ("log_type error", "persistence false")

HEAD = """
[site]
name = "Bench"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1
[broker]
port = {port}
client_id = "guard"
[alarms.low-temperature]
on_samples = 1
on_delay_s = 0
[notifiers.mail]
type = "email"
host = "127.0.0.1"
port = {mail}
security = "none"
from = "house@example.org"
to = ["grower@example.org"]
[notifiers.hook]
type = "webhook"
url = "{url}"
secret_file = "hook-secret"
[[calls]]
tell = ["high", "medium"]
who = ["mail", "hook"]
"""
SENSOR = '[sensors.{name}]\nhouse = "{house}"\ntopic = "b/{name}"\npayload = "json"\ntemperature_c = "/t"\n'
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
"""The example of Standard Webhooks 1.0."""


class Stamped(list):
    """A list that knows when each of its members came."""

    def __init__(self) -> None:
        self.came_s: list[float] = []

    def append(self, item: object) -> None:
        """Keep it with the instant."""
        self.came_s.append(time.perf_counter())
        super().append(item)


class Place:
    """Broker, mail server and web server of one round, and a client that publishes."""

    def __init__(self, broker_port: int, mail: MailServer, web: HttpServer) -> None:
        self.broker_port = broker_port
        self.mail, self.web = mail, web
        self.mails, self.posts = Stamped(), Stamped()
        mail.mails, web.requests = self.mails, self.posts
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self.client.connect("127.0.0.1", broker_port)
        self.client.loop_start()

    def say(self, topic: str, value_c: float) -> float:
        """One sample; the instant just before it was sent."""
        began_s = time.perf_counter()
        self.client.publish(topic, json.dumps({"t": value_c}), 1)
        return began_s

    def timed(self, topic: str, value_c: float) -> tuple[float, float]:
        """Seconds until mail and post about one sample were accepted."""
        mails, posts = len(self.mails), len(self.posts)
        began_s = self.say(topic, value_c)
        until(
            lambda: len(self.mails) > mails and len(self.posts) > posts, 30, f"notices about {topic}", 0.002
        )
        return self.mails.came_s[mails] - began_s, self.posts.came_s[posts] - began_s

    def close(self) -> None:
        """Let the client go."""
        self.client.disconnect()
        self.client.loop_stop()


def main(guards: int = GUARDS, loaded_per_s: int = LOADED_PER_S) -> list[dict[str, object]]:
    """Median and 95th percentile, idle and under load, beside a script that knows nothing but to send."""
    path = find_mosquitto()
    if path is None:
        return []
    with _place(path) as place:
        bare = _barest(place, guards * HOUSES)
    rows = []
    for load, per_s in (("idle", 0), (f"under {loaded_per_s} messages/s", loaded_per_s)):
        found: list[tuple[float, float]] = []
        for _ in range(guards):
            with _place(path) as place:
                found += _guarded(place, per_s)
        for way, index in (("mail", 0), ("webhook", 1)):
            ours, theirs = [each[index] for each in found], [each[index] for each in bare]
            for name, of in (("p50", statistics.median), ("p95", _p95)):
                rows.append(
                    {
                        "name": f"alarm to {way}, {name}, {load}",
                        "figure": round(of(ours) * 1000, 1),
                        "unit": "ms",
                        "compared_with": "a script that sends on each message and keeps nothing, idle",
                        "ratio": of(ours) / of(theirs),
                        "stands_for": "last sample sent until the server accepted the notice",
                    }
                )
    return rows


def _p95(values: list[float]) -> float:
    return sorted(values)[min(len(values) - 1, round(0.95 * (len(values) - 1)))]


@contextlib.contextmanager
def _place(path: str) -> Iterator[Place]:
    with (
        tempfile.TemporaryDirectory() as folder,
        Mosquitto(Program(path, {}), Path(folder), QUIET) as broker,
        MailServer() as mail,
        HttpServer() as web,
    ):
        place = Place(broker.port, mail, web)
        try:
            yield place
        finally:
            place.close()


def _barest(place: Place, count: int) -> list[tuple[float, float]]:
    """A subscriber whose callback sends one mail and one post."""

    def on_message(_client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        with smtplib.SMTP("127.0.0.1", place.mail.port) as smtp:
            smtp.sendmail(
                "house@example.org", ["grower@example.org"], b"Subject: frost\r\n\r\n" + message.payload
            )
        urllib.request.urlopen(place.web.url, data=message.payload).close()

    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.on_message = on_message
    granted = threading.Event()
    client.on_subscribe = lambda *_: granted.set()
    client.connect("127.0.0.1", place.broker_port)
    client.loop_start()
    client.subscribe("b/#", 1)
    until(granted.is_set, 10, "the subscription")
    found = [place.timed("b/h0", -5.0 - number) for number in range(count)]
    client.disconnect()
    client.loop_stop()
    return found


def _guarded(place: Place, per_s: int) -> list[tuple[float, float]]:
    """The daemon as a process; one tree a house comes below its limit, one house after the other."""
    with tempfile.TemporaryDirectory() as name, _daemon(Path(name), place), _load(place, per_s):
        return [place.timed(f"b/h{house}", -5.0) for house in range(HOUSES)]


@contextlib.contextmanager
def _daemon(folder: Path, place: Place) -> Iterator[None]:
    text = HEAD.format(port=place.broker_port, mail=place.mail.port, url=place.web.url)
    text += "".join(f"[houses.h{n}]\n" + SENSOR.format(name=f"h{n}", house=f"h{n}") for n in range(HOUSES))
    text += "".join(SENSOR.format(name=f"s{n}", house="h0") for n in range(BESIDE))
    (folder / "hook-secret").write_text(SECRET, encoding="utf-8")
    (folder / "hook-secret").chmod(0o600)
    (folder / "monitor.toml").write_text(text, encoding="utf-8")
    (folder / "state").mkdir(mode=0o700)
    at = "2026-11-26T12:00:00Z"
    entries: list[dict[str, object]] = []
    for n in range(HOUSES):
        entries.append({"at": at, "kind": "tree", "tree": f"t{n}", "name": f"Tree {n}", "sensor": f"h{n}"})
        entries.append(
            {
                "at": at,
                "kind": "limit",
                "tree": f"t{n}",
                "limit": "low_harm_c",
                "value": 0.0,
                "reason": "bench",
            }
        )
    lines = "".join(json.dumps(entry) + "\n" for entry in entries)
    (folder / "state" / "book.jsonl").write_text(lines, encoding="utf-8")
    with (folder / "log").open("wb") as log:
        daemon = subprocess.Popen(
            [sys.executable, "-m", "monitor.cli.entry", "run", "--config", str(folder / "monitor.toml")],
            env=dict(os.environ),
            stderr=log,
        )
    asked = Daemon(load_settings(folder / "monitor.toml", {}), {})
    try:
        until(asked.runs, 120, "the daemon's start", 0.05)
        until(lambda: _hears(asked, place), 120, "the daemon's subscription", 0.1)
        threading.Event().wait(APART_S)
        yield
    finally:
        daemon.terminate()
        daemon.wait(30)


def _hears(asked: Daemon, place: Place) -> bool:
    """Whether a sample from each house has arrived: then the link stands and the trees are known warm."""
    for house in range(HOUSES):
        place.say(f"b/h{house}", 4.0)
    sensors = [sensor for house in asked.get("/api/status")["houses"] for sensor in house["sensors"]]
    warm = {each["sensor"] for each in sensors if each.get("temperature_c") is not None}
    return {f"h{house}" for house in range(HOUSES)} <= warm


@contextlib.contextmanager
def _load(place: Place, per_s: int) -> Iterator[None]:
    """So many messages a second from the other sensors, in bursts of a fiftieth of a second."""
    ended = threading.Event()

    def send() -> None:
        number = 0
        while not ended.wait(0.02):
            for _ in range(per_s // 50):
                number += 1
                place.client.publish(f"b/s{number % BESIDE}", json.dumps({"t": 5.0 + number % 7 / 10}), 1)

    thread = threading.Thread(target=send)
    if per_s:
        thread.start()
    try:
        yield
    finally:
        ended.set()
        if per_s:
            thread.join()
