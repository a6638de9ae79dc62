"""One connection to the broker, from connecting to its end; the next one is a new `Link`.

Everything of paho-mqtt is here. All methods but `acknowledge`, `publish` and `close` are for the network
thread alone. A new client for each connection means that nothing of an earlier one can be sent into it:
what lives on between connections is the session at the broker.
"""

import logging
from collections.abc import Callable, Collection
from typing import Any

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from monitor.clock import monotonic_s
from monitor.errors import PermanentFailure, TemporaryFailure
from monitor.intake import words
from monitor.intake.credentials import Credentials
from monitor.model import Message
from monitor.settings import Broker

SESSION_EXPIRY_S = 7 * 86_400
RECEIVE_MAXIMUM = 500
LARGEST_PACKET_BYTES = 1 << 18
"""What the broker may send at all; with RECEIVE_MAXIMUM that many can be on the way."""
LONGEST_KEPT_BYTES = (1 << 16) + 1
"""A payload is cut here: one byte more than anybody looks at, so that it is still known to be too long."""
WILL_DELAY_S = 30
CONNECT_TIMEOUT_S = 5.0
ASK_AGAIN_S = 60.0
"""Topics that the broker refused are asked for again after this time: its access list may have changed."""

_LOG = logging.getLogger(__name__)
# Retain handling 0 with retain-as-published off: the retain bit means "kept from before", never "live".
_OPTIONS = SubscribeOptions(qos=1, noLocal=False, retainAsPublished=False, retainHandling=0)


class Link:
    """One connection; `number` counts them and stands on every message that came through it.

    `put` takes messages, `report(ok, detail)` what becomes of the connection; both are called by the network
    thread and must not block.
    """

    def __init__(
        self,
        number: int,
        broker: Broker,
        topics: Collection[str],
        keepalive_s: int,
        put: Callable[[Message], None],
        report: Callable[[bool, str], None],
        now_s: Callable[[], float],
    ) -> None:
        self.number = number
        self.linked_at_s: float | None = None
        """On the monotonic clock; None until the broker has let us in."""
        self.detail = ""
        self.taken_over = False
        self._broker = broker
        self._topics = frozenset(topics)
        self._wild = tuple(topic for topic in topics if "+" in topic or "#" in topic)
        self._keepalive_s = keepalive_s
        self._put = put
        self._report = report
        self._now_s = now_s
        self._closing = False
        self._asked: dict[int, tuple[list[str], float]] = {}
        self._refused_topics: set[str] = set()
        self._ask_again_at_s = 0.0
        self._refused_publishes: set[int] = set()
        self._state_topic = state_topic(broker)
        self._client = self._new_client()

    # ---- the network thread's side -----------------------------------------------------------------------

    def connect(self, credentials: Credentials) -> None:
        """Open the connection; OSError, UnicodeError or ValueError as the socket and paho raise them."""
        client = self._client
        if credentials.username is not None:
            client.username_pw_set(credentials.username, credentials.password)
        if credentials.tls is not None:
            client.tls_set_context(credentials.tls)
        properties = _properties(
            PacketTypes.CONNECT,
            SessionExpiryInterval=SESSION_EXPIRY_S,
            ReceiveMaximum=RECEIVE_MAXIMUM,
            MaximumPacketSize=LARGEST_PACKET_BYTES,
        )
        client.connect(
            self._broker.host,
            self._broker.port,
            self._keepalive_s,
            clean_start=False,
            properties=properties,
        )

    def turn(self) -> bool:
        """Wait up to a second for traffic and handle it; False once the connection has ended."""
        if self._closing and self.linked_at_s is None:
            return False
        if self._client.loop(timeout=1.0) != mqtt.MQTT_ERR_SUCCESS:
            return False
        return self._look_after_topics()

    def release(self) -> None:
        """Let go of the socket and of what refers back here."""
        client = self._client
        client.on_connect = client.on_subscribe = client.on_message = None
        client.on_publish = client.on_disconnect = None
        sock = client.socket()
        if sock is not None:
            sock.close()

    # ---- any thread's side -------------------------------------------------------------------------------

    def acknowledge(self, mid: int) -> None:
        """Tell the broker that the message is safe with us."""
        self._client.ack(mid, 1)

    def publish(self, topic: str, payload: bytes, retain: bool, within_s: float) -> None:
        """Publish at QoS 1 and wait for the broker's receipt; DeliveryFailure without it."""
        where = words.place(self._broker)
        try:
            info = self._client.publish(topic, payload, qos=1, retain=retain)
            info.wait_for_publish(within_s)
        except (RuntimeError, ValueError) as error:
            raise TemporaryFailure(f"Nothing could be handed to {where} ({error}).") from None
        if not info.is_published():
            raise TemporaryFailure(f"Receipt was not confirmed within {within_s:g} s by {where}.")
        if info.mid in self._refused_publishes:
            self._refused_publishes.discard(info.mid)
            raise PermanentFailure(
                f"Publishing to {topic} was refused by {where}.", "Allow this user to write that topic there."
            )

    def close(self, within_s: float) -> None:
        """Say `offline`, then end in order: the broker keeps the session and sends no Will."""
        self._closing = True
        if self.linked_at_s is not None:
            try:
                self.publish(self._state_topic, b"offline", True, within_s)
            except (TemporaryFailure, PermanentFailure) as failure:
                _LOG.info("no farewell: %s", failure)
        self._client.disconnect()

    # ---- paho's callbacks (network thread) ---------------------------------------------------------------

    def _new_client(self) -> mqtt.Client:
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=self._broker.client_id,
            protocol=mqtt.MQTTv5,
            manual_ack=True,
            reconnect_on_failure=False,
        )
        client.connect_timeout = CONNECT_TIMEOUT_S
        client.max_queued_messages_set(1000)
        will = _properties(PacketTypes.WILLMESSAGE, WillDelayInterval=WILL_DELAY_S)
        client.will_set(self._state_topic, b"offline", qos=1, retain=True, properties=will)
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        client.on_disconnect = self._on_disconnect
        # With this set paho never writes to the socket from a thread that acknowledges or publishes.
        client.on_socket_register_write = _leave_writing_to_the_loop
        return client

    def _on_connect(
        self,
        _client: mqtt.Client,
        _data: Any,
        _flags: mqtt.ConnectFlags,
        code: ReasonCode,
        _more: Properties | None,
    ) -> None:
        if code.is_failure:
            self.detail = words.refused(self._broker, code.value, str(code))
            return
        self.linked_at_s = monotonic_s()
        if self._topics:
            self._ask_for(sorted(self._topics))
        else:
            self._report(True, "")
        self._say_online()
        # At QoS 0, since what needs no commit must not be acknowledged before what waits for one.
        self._client.subscribe(self._state_topic, options=SubscribeOptions(qos=0))

    def _on_subscribe(
        self, _client: mqtt.Client, _data: Any, mid: int, codes: list[ReasonCode], _more: Properties | None
    ) -> None:
        topics, _ = self._asked.pop(mid, ([], 0.0))
        if not topics:
            return
        refused = {topic for topic, code in zip(topics, codes, strict=False) if code.is_failure}
        self._refused_topics = refused
        self._ask_again_at_s = monotonic_s() + ASK_AGAIN_S
        self._report(not refused, words.topics_refused(self._broker, refused) if refused else "")

    def _on_message(self, client: mqtt.Client, _data: Any, message: mqtt.MQTTMessage) -> None:
        # Boundary to whatever the network sends and the queue does: the network thread must outlive it.
        try:
            self._take(message)
        except UnicodeError:
            _LOG.warning("a message came under a topic that is not UTF-8 and was dropped")
            client.ack(message.mid, message.qos)
        except Exception:  # noqa: BLE001
            _LOG.exception("a message could not be queued; the broker keeps it")

    def _take(self, message: mqtt.MQTTMessage) -> None:
        topic = message.topic
        if topic == self._state_topic and topic not in self._topics:
            self._look_at_own_state(bytes(message.payload))
            return
        if topic not in self._topics and not self._is_wanted(topic):
            # An earlier configuration of this session asked for it. It is queued all the same:
            # acknowledgements must go out in the order of arrival (MQTT 5.0, 4.6).
            self._client.unsubscribe(topic)
        self._put(
            Message(
                self._now_s(),
                topic,
                bytes(message.payload[:LONGEST_KEPT_BYTES]),
                message.qos,
                message.retain,
                message.dup,
                self.number,
                message.mid,
            )
        )

    def _on_publish(
        self, _client: mqtt.Client, _data: Any, mid: int, code: ReasonCode, _more: Properties | None
    ) -> None:
        if code.is_failure:
            self._refused_publishes.add(mid)

    def _on_disconnect(
        self,
        _client: mqtt.Client,
        _data: Any,
        _flags: mqtt.DisconnectFlags,
        code: ReasonCode,
        _more: Properties | None,
    ) -> None:
        self.taken_over = code.value == words.TAKEN_OVER
        if self.detail:
            return
        if self.linked_at_s is None and not self.taken_over and code.value != words.SILENT:
            self.detail = words.closed_unanswered(self._broker)
        else:
            self.detail = words.ended(self._broker, code.value, str(code))

    # ---- topics ------------------------------------------------------------------------------------------

    def _ask_for(self, topics: list[str]) -> None:
        _, mid = self._client.subscribe([(topic, _OPTIONS) for topic in topics])
        if mid is not None:
            self._asked[mid] = (topics, monotonic_s() + 2 * self._keepalive_s)

    def _look_after_topics(self) -> bool:
        if not self._asked and not self._refused_topics:
            return True
        now_s = monotonic_s()
        if any(answer_by_s < now_s for _, answer_by_s in self._asked.values()):
            self.detail = words.topics_unanswered(self._broker)
            return False
        if self._refused_topics and now_s >= self._ask_again_at_s:
            self._ask_again_at_s = now_s + ASK_AGAIN_S
            self._ask_for(sorted(self._refused_topics))
        return True

    def _is_wanted(self, topic: str) -> bool:
        return any(mqtt.topic_matches_sub(wild, topic) for wild in self._wild)

    def _look_at_own_state(self, payload: bytes) -> None:
        # The Will of an earlier connection can arrive after this one said `online`.
        if payload == b"offline" and not self._closing:
            self._say_online()

    def _say_online(self) -> None:
        self._client.publish(self._state_topic, b"online", qos=1, retain=True)


def state_topic(broker: Broker) -> str:
    """`<client_id>/state`, where `online` or `offline` stands retained."""
    return broker.client_id.replace("+", "-").replace("#", "-") + "/state"


def _properties(packet: int, **values: int) -> Properties:
    properties = Properties(packet)  # type: ignore[no-untyped-call]
    for name, value in values.items():
        setattr(properties, name, value)
    return properties


def _leave_writing_to_the_loop(_client: mqtt.Client, _data: Any, _sock: Any) -> None:
    return
