"""What the intake says of itself (`<client_id>/state`), what it publishes for others, how it ends."""

import subprocess
import sys
import threading
from pathlib import Path

import pytest

from monitor.errors import TemporaryFailure
from monitor.intake import link, mqtt
from tests.intake import scripted
from tests.intake.scripted import ScriptedServer
from tests.support.broker import free_port
from tests.support.waiting import until

CHILD = Path(__file__).with_name("child_guard.py")


def last_heard(publisher) -> bytes | None:
    """The payload of the last message that the publisher heard."""
    return bytes(publisher.heard[-1].payload) if publisher.heard else None


def test_online_is_kept_while_linked_and_offline_after_an_orderly_end(
    broker, publisher_on, start_intake
) -> None:
    """Retained, so that whoever asks later hears it too."""
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    watcher = publisher_on(broker.port)
    watcher.listen("guard/state")
    until(lambda: last_heard(watcher) == b"online", 10, "online")
    assert watcher.heard[-1].retain
    intake.stop()
    until(lambda: last_heard(watcher) == b"offline", 10, "offline")
    later = publisher_on(broker.port, client_id="later")
    later.listen("guard/state")
    until(lambda: last_heard(later) == b"offline", 10, "offline, kept")


def test_the_will_says_offline_when_the_guard_is_killed(broker, publisher_on, tmp_path) -> None:
    """After the Will's delay; `kill -9` leaves no time for a farewell."""
    watcher = publisher_on(broker.port)
    watcher.listen("guard/state")
    taken = tmp_path / "taken"
    child = subprocess.Popen(
        [sys.executable, str(CHILD), str(broker.port), "guard", "house/bench", str(taken), "0", "1"]
    )
    try:
        until(lambda: last_heard(watcher) == b"online", 20, "online")
    finally:
        child.kill()
        child.wait()
    until(lambda: last_heard(watcher) == b"offline", 10, "offline by the Will")


def test_a_stale_offline_is_answered_with_online(broker, publisher_on, start_intake) -> None:
    """The Will of an earlier connection can arrive after the new one said online."""
    _, inbox = start_intake(broker.port)
    inbox.wait_linked()
    other = publisher_on(broker.port)
    other.listen("guard/state")
    until(lambda: last_heard(other) == b"online", 10, "online")
    other.publish("guard/state", b"offline", retain=True)
    until(lambda: [bytes(m.payload) for m in other.heard[-2:]] == [b"offline", b"online"], 10, "online again")
    assert inbox.messages == []


def test_a_notice_is_published_at_qos_1_and_confirmed(broker, publisher_on, start_intake) -> None:
    """`publish` returns once the broker has it."""
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    other = publisher_on(broker.port)
    intake.publish("house/notices", b"frost", retain=True)
    other.listen("house/notices")
    until(lambda: other.heard, 10, "the notice")
    assert (bytes(other.heard[0].payload), other.heard[0].qos, other.heard[0].retain) == (b"frost", 1, True)


def test_publishing_without_a_link_fails_for_now(start_intake) -> None:
    """Nothing is queued: whoever publishes tries again, and nothing comes out twice."""
    intake, inbox = start_intake(free_port())
    inbox.wait_lost()
    with pytest.raises(TemporaryFailure, match="There is no connection to the message post"):
        intake.publish("house/notices", b"frost")


def test_publishing_that_nobody_confirms_fails_for_now(start_intake) -> None:
    """Handed over is not received."""

    def script(connection, _number) -> None:
        scripted.read_packet(connection)
        connection.sendall(scripted.CONNACK_OK)
        connection.sendall(scripted.suback(scripted.read_until(connection, 0x80), 1))
        scripted.read_until(connection, 0xE0)

    with ScriptedServer(script) as server:
        intake, inbox = start_intake(server.port)
        inbox.wait_linked()
        with pytest.raises(TemporaryFailure, match=r"not confirmed within 0\.05 s"):
            intake.publish("house/notices", b"frost", within_s=0.05)


def test_an_intake_can_be_stopped_at_any_time(broker, start_intake) -> None:
    """Never linked, linked, linked and deaf, twice: the thread ends, and an end is no lost link."""
    nowhere, inbox = start_intake(free_port())
    inbox.wait_lost()
    nowhere.stop()
    assert not nowhere.alive()
    linked, inbox = start_intake(broker.port)
    inbox.wait_linked()
    linked.stop()
    linked.stop()
    assert not linked.alive()
    assert [outcome.ok for outcome in inbox.outcomes] == [True]


def test_an_intake_that_waits_for_an_answer_can_be_stopped(start_intake) -> None:
    """A server that accepts and says nothing holds nobody up."""
    reached = threading.Event()

    def script(connection, _number) -> None:
        scripted.read_packet(connection)
        reached.set()
        scripted.read_until(connection, 0xE0)

    with ScriptedServer(script) as server:
        intake, _ = start_intake(server.port)
        assert reached.wait(10)
        intake.stop()
        assert not intake.alive()


def test_a_network_thread_that_hangs_is_not_alive(broker, start_intake, monkeypatch) -> None:
    """Whoever watches asks `alive`; a blocked queue is the likeliest reason."""
    gate = threading.Event()

    class Blocked:
        def put(self, event: object) -> None:
            gate.wait(20)

    monkeypatch.setattr(mqtt, "STUCK_AFTER_S", 0.2)
    intake, _ = start_intake(broker.port, inbox=Blocked())
    until(lambda: not intake.alive(), 10, "the stuck thread to be seen")
    gate.set()
    until(intake.alive, 10, "the thread to come round")


def test_a_client_id_with_wildcards_still_has_a_state_topic() -> None:
    """No topic to publish to may hold + or # (published: MQTT 5.0, 4.7.1)."""
    from monitor.settings import Broker

    assert link.state_topic(Broker(client_id="a+b#c")) == "a-b-c/state"
