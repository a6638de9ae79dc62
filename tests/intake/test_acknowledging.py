"""Nothing is lost between the broker and the commit: real mosquitto, real `kill -9`."""

import queue
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tests.intake import scripted
from tests.intake.scripted import ScriptedServer
from tests.support.waiting import until

CHILD = Path(__file__).with_name("child_guard.py")


def test_a_message_killed_between_receive_and_acknowledge_comes_again(
    broker, publisher_on, start_intake, tmp_path
) -> None:
    """`kill -9` of the process that had it; published: MQTT 5.0, 4.4 (redelivery with DUP on resume)."""
    taken = tmp_path / "taken"
    child = subprocess.Popen(
        [sys.executable, str(CHILD), str(broker.port), "guard", "house/bench", str(taken), "1"],
    )
    try:
        until(taken.exists, 20, "the child's link")
        publisher_on(broker.port).publish("house/bench", b"acknowledged", b"in flight", b"and this")
        until(lambda: taken.read_bytes().count(b"\n") == 3, 10, "the child's three messages")
        until(lambda: "Received PUBACK from guard" in broker.log(), 10, "the one acknowledgement")
    finally:
        child.kill()
        child.wait()
    _, inbox = start_intake(broker.port)
    messages = inbox.wait_messages(2)
    assert inbox.payloads() == [b"in flight", b"and this"]
    assert all(message.dup for message in messages)


def test_what_was_acknowledged_never_comes_again(broker, publisher_on, start_intake) -> None:
    """Acknowledging from another thread than the network's settles the message at the broker."""
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    publisher = publisher_on(broker.port)
    publisher.publish("house/bench", *(b"%d" % number for number in range(50)))
    for count in (20, 40, 50):
        intake.acknowledge(inbox.wait_messages(count)[count - 20 : count])
    until(lambda: broker.log().count("Received PUBACK from guard") >= 50, 10, "all acknowledgements")
    intake.stop()
    _, later = start_intake(broker.port)
    later.wait_linked()
    publisher.publish("house/bench", b"last")
    later.wait_messages(1)
    assert later.payloads() == [b"last"]
    assert inbox.payloads() == [b"%d" % number for number in range(50)]


def test_acknowledgements_of_an_earlier_connection_are_dropped(broker, publisher_on, start_intake) -> None:
    """The old number could be a new message's: after a restart without the session it would swallow that."""
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    publisher_on(broker.port).publish("house/bench", b"old")
    old = list(inbox.wait_messages(1))
    broker.kill()
    inbox.wait_lost()
    broker.forget()
    broker.start()
    inbox.wait_linked(2)
    publisher_on(broker.port, client_id="more").publish("house/bench", b"new")
    new = inbox.wait_messages(2)[1]
    assert new.payload == b"new"
    assert new.mid == old[0].mid, "the case that is dangerous"
    assert new.connection > old[0].connection
    intake.acknowledge(old)
    intake.stop()
    _, later = start_intake(broker.port)
    assert later.wait_messages(1)[0].payload == b"new"


def test_nothing_is_acknowledged_before_what_came_earlier(start_intake) -> None:
    """Published: MQTT 5.0, 4.6: in the order of arrival; own state and foreign topics must not overtake."""
    packets: queue.SimpleQueue = queue.SimpleQueue()

    def script(connection: socket.socket, _number: int) -> None:
        scripted.read_packet(connection)
        connection.sendall(scripted.CONNACK_OK)
        asked = scripted.read_until(connection, 0x80)
        connection.sendall(scripted.suback(asked, 1))
        connection.sendall(scripted.publish("house/bench", b"first", 1))
        own = scripted.read_until(connection, 0x80)
        packets.put(own)
        connection.sendall(scripted.publish("house/old", b"second", 2))
        packets.put(scripted.read_until(connection, 0x40))
        packets.put(scripted.read_until(connection, 0x40))

    with ScriptedServer(script) as server:
        intake, inbox = start_intake(server.port)
        assert packets.get(timeout=10)[-1] & 3 == 0, "the state is asked for at QoS 0: nothing to acknowledge"
        intake.acknowledge(inbox.wait_messages(2))
        acknowledged = [packets.get(timeout=10)[2:4] for _ in range(2)]
        assert acknowledged == [b"\x00\x01", b"\x00\x02"]


def test_more_than_the_stock_limit_of_twenty_can_be_in_flight(broker, publisher_on, start_intake) -> None:
    """Receive Maximum 500 in CONNECT stands over mosquitto's own 20; published: MQTT 5.0, 3.1.2.11.3."""
    _, inbox = start_intake(broker.port)
    inbox.wait_linked()
    publisher_on(broker.port).publish("house/bench", *(b"%d" % number for number in range(300)))
    inbox.wait_messages(300)


@pytest.mark.parametrize("qos", [0, 1])
def test_a_message_keeps_its_quality_of_service(broker, publisher_on, start_intake, qos) -> None:
    """QoS 0 stays 0 and needs no acknowledgement; published: MQTT 5.0, 3.8.4 (minimum of both)."""
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    publisher_on(broker.port).publish("house/bench", b"x", qos=qos)
    messages = inbox.wait_messages(1)
    assert (messages[0].qos, messages[0].retain, messages[0].dup) == (qos, False, False)
    intake.acknowledge(messages)
    assert intake.alive()


def test_acknowledging_without_a_link_is_no_error(start_intake) -> None:
    """The guard need not know whether there is a connection."""
    from monitor.model import Message
    from tests.support.broker import free_port

    intake, inbox = start_intake(free_port())
    inbox.wait_lost()
    intake.acknowledge([Message(0.0, "house/bench", b"", connection=1, mid=1)])
    assert intake.alive()
