"""deploy/mosquitto-aftercare.conf and deploy/aftercare.acl in a real mosquitto, beside Debian's own file.

Held against mosquitto itself; what each may do is the project's own choice.
"""

import contextlib
import os
import subprocess
import time
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

import pytest
from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from monitor.intake.mqtt import Intake
from monitor.model import Message
from monitor.settings import Broker
from tests.deploy.unit_file import DEPLOY
from tests.intake.inbox import Inbox
from tests.intake.publisher import Publisher
from tests.support.broker import answers, free_port, hash_passwords, need_broker
from tests.support.waiting import until

DEBIANS = """\
pid_file {folder}/mosquitto.pid
persistence true
persistence_location {folder}/
log_dest file {folder}/mosquitto.log
include_dir {folder}/conf.d
"""
"""mosquitto.conf of Debian's package 2.0.11-1.2, with other paths."""
GUARD = {"username": "aftercare", "password": "guards-word"}
SENSORS = {"username": "sensors", "password": "sensors-word"}
STOCK_QUEUE = 1000
"""published: mosquitto.conf(5), max_queued_messages, default."""


class MessagePost:
    """mosquitto with the shipped configuration, in a folder, on a port."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self._folder = folder
        (folder / "conf.d").mkdir()
        text = (DEPLOY / "mosquitto-aftercare.conf").read_text(encoding="utf-8")
        assert text.count("\nlistener 1883\n") == 1
        text = text.replace("listener 1883", f"listener {self.port} 127.0.0.1")
        (folder / "conf.d/aftercare.conf").write_text(text.replace("/etc/mosquitto", str(folder)))
        (folder / "mosquitto.conf").write_text("user root\n" + DEBIANS.format(folder=folder))
        (folder / "aftercare.acl").write_bytes((DEPLOY / "aftercare.acl").read_bytes())
        words = [f"{who['username']}:{who['password']}\n" for who in (GUARD, SENSORS)]
        (folder / "aftercare.passwd").write_text("".join(words))
        hash_passwords(folder / "aftercare.passwd")

    def start(self) -> None:
        """Start it and wait until it answers."""
        program = need_broker()
        self._process = subprocess.Popen(
            [program.path, "-c", str(self._folder / "mosquitto.conf")],
            env={**os.environ, **program.environment},
            stderr=subprocess.DEVNULL,
        )
        until(lambda: self._process.poll() is not None or answers(self.port), what="mosquitto")
        assert self._process.poll() is None, self.log()

    def stop(self) -> None:
        """End it in order."""
        self._process.terminate()
        self._process.wait(10.0)

    def log(self) -> str:
        """What it said."""
        return (self._folder / "mosquitto.log").read_text(encoding="utf-8")


@pytest.fixture
def post(tmp_path: Path) -> Iterator[MessagePost]:
    """A message post that runs."""
    found = MessagePost(tmp_path)
    found.start()
    yield found
    found.stop()


@contextlib.contextmanager
def listening(post: MessagePost, folder: Path, password: str) -> Iterator[tuple[Intake, Inbox]]:
    """The guard's own intake, as the settings of an installed guard have it."""
    (folder / "broker-password").write_text(password)
    broker = Broker(port=post.port, username="aftercare", password_file="broker-password")
    inbox = Inbox()
    intake = Intake(broker, ["heather/bench"], lambda name: folder / name, inbox.put, time.time)
    intake.start()
    try:
        yield intake, inbox
    finally:
        intake.stop()


def _more_than(messages: Sequence[Message], count: int) -> bool:
    return len(messages) > count


def test_debians_own_file_and_ours_agree(post: MessagePost) -> None:
    """No key twice, none unknown: mosquitto refuses to start on such."""
    assert "Error" not in post.log()
    assert "Warning" not in post.log()


@pytest.mark.parametrize("credentials", [{}, {"username": "sensors", "password": "guess"}])
def test_nobody_comes_in_without_a_password(post: MessagePost, credentials: dict[str, str]) -> None:
    """Neither nameless nor with a wrong word."""
    answers: list[str] = []
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    if credentials:
        client.username_pw_set(credentials["username"], credentials["password"])
    client.on_connect = lambda _client, _data, _flags, reason, _more: answers.append(str(reason))
    client.connect("127.0.0.1", post.port)
    client.loop_start()
    until(lambda: answers, what="an answer")
    client.loop_stop()

    assert answers[0] == "Not authorized"


def test_a_wrong_password_of_the_guard_is_told_as_that(post: MessagePost, tmp_path: Path) -> None:
    """And not as a message post that is away."""
    with listening(post, tmp_path, "guess") as (_, inbox):
        assert "password" in inbox.wait_lost().detail


def test_the_guard_hears_a_sensor_with_its_own_password(post: MessagePost, tmp_path: Path) -> None:
    """From the sensor's publication to the guard's queue."""
    with listening(post, tmp_path, GUARD["password"]) as (_, inbox):
        inbox.wait_linked()
        with Publisher(post.port, **SENSORS) as sensor:
            sensor.publish("heather/bench", b"4.5")
        message = inbox.wait_messages(1)[0]
    assert (message.topic, message.payload) == ("heather/bench", b"4.5")


def test_the_guard_may_speak_for_itself_and_for_lamps_only(post: MessagePost) -> None:
    """Its state and notices arrive; a reading that it would make up does not."""
    with (
        Publisher(post.port, "listener", **SENSORS) as listener,
        Publisher(post.port, "guard", **GUARD) as guard,
    ):
        listener.listen("#")
        guard.publish("heather/bench", b"99")
        guard.publish("aftercare/state", b"online", retain=True)
        guard.publish("heather/notices", b"frost")
        until(lambda: any(m.topic == "heather/notices" for m in listener.heard), what="the notice")
    assert not any(m.topic == "heather/bench" for m in listener.heard)


def test_a_sensor_may_not_speak_for_the_guard(post: MessagePost) -> None:
    """Nobody but the guard says that it is online."""
    with Publisher(post.port, "guard", **GUARD) as guard, Publisher(post.port, "sensor", **SENSORS) as sensor:
        guard.listen("#")
        sensor.publish("aftercare/state", b"online", retain=True)
        sensor.publish("heather/bench", b"4.5")
        until(lambda: any(m.topic == "heather/bench" for m in guard.heard), what="the reading")
    assert not any(m.topic.startswith("aftercare/") for m in guard.heard)


def test_a_long_backlog_waits_for_the_guard_also_over_a_restart(post: MessagePost, tmp_path: Path) -> None:
    """Three times what a stock message post keeps: nothing lost, in order."""
    count = 3 * STOCK_QUEUE
    with listening(post, tmp_path, GUARD["password"]) as (_, inbox):
        inbox.wait_linked()
    with Publisher(post.port, **SENSORS) as sensor:
        sensor.publish("heather/bench", *(str(number).encode() for number in range(count)))
    post.stop()
    post.start()

    with listening(post, tmp_path, GUARD["password"]) as (intake, inbox):
        taken = 0
        while taken < count:
            until(partial(_more_than, inbox.messages, taken), what=f"message {taken}")
            fresh = inbox.messages[taken:]
            intake.acknowledge(fresh)
            taken += len(fresh)
        assert inbox.payloads() == [str(number).encode() for number in range(count)]
