"""Links that come, go and come again: with a real mosquitto, and with a server that says what it is told."""

import socket
import threading
import time

import pytest

from monitor.intake import link
from monitor.intake.mqtt import Pace
from monitor.payloads.text import LONGEST_PAYLOAD
from tests.intake import scripted
from tests.intake.inbox import Inbox
from tests.intake.proxy import Wire
from tests.intake.scripted import ScriptedServer
from tests.support.waiting import until


def test_a_broker_that_restarted_without_its_session_is_subscribed_to_again(
    broker, publisher_on, start_intake
) -> None:
    """Subscribed once at the start only, the guard would be linked and deaf."""
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    broker.kill()
    assert "127.0.0.1 port" in inbox.wait_lost().detail
    broker.forget()
    broker.start()
    inbox.wait_linked(2)
    publisher_on(broker.port).publish("house/bench", b"after")
    assert inbox.wait_messages(1)[0].payload == b"after"
    assert intake.alive()


def test_what_came_while_the_guard_was_off_waits_at_the_broker_in_order(
    broker, publisher_on, start_intake
) -> None:
    """The session outlives the guard's stop and a broker's orderly restart."""
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    intake.stop()
    publisher_on(broker.port).publish("house/bench", *(b"%d" % number for number in range(200)))
    broker.stop()
    broker.start()
    _, later = start_intake(broker.port)
    later.wait_messages(200)
    assert later.payloads() == [b"%d" % number for number in range(200)]
    assert not any(message.retain for message in later.messages)


def test_a_retained_message_is_marked_and_a_live_one_is_not(broker, publisher_on, start_intake) -> None:
    """Published: MQTT 5.0, 3.3.1.3: with retain-as-published 0 the bit means a replay."""
    publisher = publisher_on(broker.port)
    publisher.publish("house/bench", b"kept", retain=True)
    intake, inbox = start_intake(broker.port)
    intake.acknowledge(inbox.wait_messages(1))
    publisher.publish("house/bench", b"live, kept too", retain=True)
    intake.acknowledge(inbox.wait_messages(2)[1:])
    assert [message.retain for message in inbox.messages] == [True, False]
    until(lambda: broker.log().count("PUBACK from guard") >= 2, 10, "acknowledgements")
    intake.stop()
    _, later = start_intake(broker.port)
    message = later.wait_messages(1)[0]
    assert (message.payload, message.retain, message.dup) == (b"live, kept too", True, False)


def test_a_link_that_hangs_half_open_is_noticed_and_made_anew(broker, publisher_on, start_intake) -> None:
    """No byte and no FIN: only the keepalive finds that out."""
    with Wire(broker.port) as wire:
        _, inbox = start_intake(wire.port, keepalive_s=1)
        inbox.wait_linked()
        wire.go_dead()
        assert "Nothing more is heard" in inbox.wait_lost().detail
        inbox.wait_linked(2)
        publisher_on(broker.port).publish("house/bench", b"again")
        assert inbox.wait_messages(1)[-1].connection >= 2


def test_the_servers_own_keepalive_is_obeyed(start_intake) -> None:
    """Published: MQTT 5.0, 3.2.2.3.14: the client must use the value the server sends."""
    pings = threading.Event()

    def script(connection: socket.socket, _number: int) -> None:
        scripted.read_packet(connection)
        connection.sendall(scripted.connack_keep_alive(1))
        connection.sendall(scripted.suback(scripted.read_until(connection, 0x80), 1))
        if scripted.read_until(connection, 0xC0):
            pings.set()
        scripted.read_until(connection, 0xE0)

    with ScriptedServer(script) as server:
        _, inbox = start_intake(server.port, keepalive_s=30)
        inbox.wait_linked()
        assert pings.wait(10)


def test_two_programs_with_one_client_id_do_not_storm(broker, start_intake) -> None:
    """Each pushes the other out (mosquitto 2.0 says nothing of it): the waits double all the same."""
    pace = Pace(first_s=0.05)
    began_s = time.monotonic()
    _, first = start_intake(broker.port, pace=pace)
    first.wait_linked()
    _, second = start_intake(broker.port, pace=pace)
    second.wait_linked()
    until(lambda: broker.log().count("as guard (") >= 10, 20, "ten connections")
    assert time.monotonic() - began_s > 0.05 * (1 + 2 + 4 + 8), "four waits of each, doubling"
    lost = [outcome.detail for outcome in first.outcomes + second.outcomes if not outcome.ok]
    assert all("whether another program uses the client id 'guard'" in detail for detail in lost)


def test_a_broker_that_names_the_other_program_is_left_alone_for_long(start_intake) -> None:
    """Published: MQTT 5.0, 3.1.4: DISCONNECT with 0x8E (session taken over)."""

    def script(connection: socket.socket, _number: int) -> None:
        scripted.read_packet(connection)
        connection.sendall(scripted.CONNACK_OK)
        connection.sendall(scripted.suback(scripted.read_until(connection, 0x80), 1))
        connection.sendall(scripted.disconnect(0x8E))
        while scripted.read_packet(connection):
            pass

    with ScriptedServer(script) as server:
        intake, inbox = start_intake(server.port)
        assert "Another program uses the client id 'guard'" in inbox.wait_detail("client id").detail
        assert (server.connections, intake.alive()) == (1, True)


def test_garbage_payloads_never_end_the_network_thread(broker, publisher_on, start_intake) -> None:
    """Empty, binary, zeros, lone surrogates, one that is cut, and one that the broker keeps back."""
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    garbage = [b"", b"\x00" * 1000, b"\xff\xfe", b"\xed\xa0\x80", b"[" * 100_000, bytes(range(256))]
    publisher = publisher_on(broker.port)
    publisher.publish("house/bench", *garbage)
    publisher.publish("house/bench", b"x" * (2 << 20))
    publisher.publish("house/bench", b"fine")
    inbox.wait_messages(len(garbage) + 1)
    assert inbox.payloads() == [*(payload[: LONGEST_PAYLOAD + 1] for payload in garbage), b"fine"]
    assert intake.alive()


def test_a_queue_that_fails_costs_no_message_and_no_thread(
    broker, publisher_on, start_intake, caplog
) -> None:
    """What could not be queued is not acknowledged: the broker sends it again to the next connection."""

    class Full(Inbox):
        def put(self, event: object) -> None:
            if getattr(event, "payload", None) == b"too much":
                raise MemoryError("no room")
            super().put(event)

    intake, inbox = start_intake(broker.port, inbox=Full())
    inbox.wait_linked()
    publisher_on(broker.port).publish("house/bench", b"too much", b"next")
    inbox.wait_messages(1)
    assert intake.alive()
    assert "the broker keeps it" in caplog.text
    intake.stop()
    _, later = start_intake(broker.port)
    assert b"too much" in [message.payload for message in later.wait_messages(2)]


def test_topics_of_an_earlier_configuration_are_let_go(broker, publisher_on, start_intake) -> None:
    """The session remembers them: what waits still comes, to be acknowledged in turn, then no more."""
    intake, inbox = start_intake(broker.port, "house/bench", "house/old")
    inbox.wait_linked()
    intake.stop()
    publisher = publisher_on(broker.port)
    publisher.publish("house/old", b"a")
    publisher.publish("house/bench", b"b")
    intake, later = start_intake(broker.port, "house/bench")
    intake.acknowledge(later.wait_messages(2))
    until(lambda: "Received UNSUBSCRIBE from guard" in broker.log(), 10, "an UNSUBSCRIBE")
    publisher.publish("house/old", b"c")
    publisher.publish("house/bench", b"d")
    later.wait_messages(3)
    assert later.payloads() == [b"a", b"b", b"d"]


def test_a_wildcard_topic_is_taken(broker, publisher_on, start_intake) -> None:
    """Sensors have plain topics; listening around needs filters."""
    _, inbox = start_intake(broker.port, "house/+/air")
    inbox.wait_linked()
    publisher_on(broker.port).publish("house/3/air", b"x")
    assert inbox.wait_messages(1)[0].topic == "house/3/air"


def test_refused_topics_are_named_and_asked_for_again(start_intake, monkeypatch) -> None:
    """A SUBACK code of 0x80 or more is a refusal (published: MQTT 5.0, 3.9.3); the others still arrive."""
    monkeypatch.setattr(link, "ASK_AGAIN_S", 0.1)

    def script(connection: socket.socket, _number: int) -> None:
        scripted.read_packet(connection)
        connection.sendall(scripted.CONNACK_OK)
        asked = scripted.read_until(connection, 0x80)
        connection.sendall(scripted.suback(asked, 1, 0x87))
        again = scripted.read_until(connection, 0x80)
        while b"house/b" not in again:
            again = scripted.read_until(connection, 0x80)
        assert b"house/a" not in again
        connection.sendall(scripted.suback(again, 1))
        scripted.read_until(connection, 0xE0)

    with ScriptedServer(script) as server:
        _, inbox = start_intake(server.port, "house/a", "house/b")
        refused = inbox.wait_lost()
        assert "house/b" in refused.detail
        assert "house/a" not in refused.detail
        inbox.wait_linked()


def test_a_request_for_topics_that_nobody_answers_ends_the_link(start_intake) -> None:
    """Linked, pinged, and deaf all the same: not a state to stay in."""

    def script(connection: socket.socket, _number: int) -> None:
        scripted.read_packet(connection)
        connection.sendall(scripted.CONNACK_OK)
        while packet := scripted.read_packet(connection):
            if packet[0] == 0xC0:
                connection.sendall(b"\xd0\x00")

    with ScriptedServer(script) as server:
        _, inbox = start_intake(server.port, keepalive_s=1)
        inbox.wait_detail("was not answered")


@pytest.mark.parametrize(
    "noise",
    [
        b"\x30\x05\xff\xff",
        b"\x20\x01\x00",
        b"\x90\x03\x00\x01\xff",
        b"HTTP/1.1 400 Bad Request\r\n\r\n",
        b"\xff" * 64,
    ],
)
@pytest.mark.parametrize("greeting", [b"", scripted.CONNACK_OK])
def test_bytes_that_are_not_mqtt_never_end_the_network_thread(start_intake, noise, greeting) -> None:
    """Another server on that port, or a broken one: said in one sentence, and tried again."""

    def script(connection: socket.socket, number: int) -> None:
        scripted.read_packet(connection)
        if number > 1:
            connection.sendall(scripted.CONNACK_OK)
            connection.sendall(scripted.suback(scripted.read_until(connection, 0x80), 1))
            scripted.read_until(connection, 0xE0)
        else:
            connection.sendall(greeting + noise)

    with ScriptedServer(script) as server:
        intake, inbox = start_intake(server.port)
        inbox.wait_linked()
        assert intake.alive()
        assert "message post" in inbox.outcomes[0].detail
        assert inbox.outcomes[0].ok is False
