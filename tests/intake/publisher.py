"""What stands in the sensors' place: publishes and waits for the broker's receipt."""

import queue
import socket
import threading
from typing import Any

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from tests.support.waiting import until


class Publisher:
    """A plain MQTT 5 client of the tests; `heard` is what came under the topics of `listen`."""

    def __init__(self, port: int, client_id: str = "sensors", **credentials: Any) -> None:
        self.heard: list[mqtt.MQTTMessage] = []
        self.arrived: queue.SimpleQueue[mqtt.MQTTMessage] = queue.SimpleQueue()
        """The same for whoever waits for each."""
        self._port = port
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=mqtt.MQTTv5)
        if credentials:
            self._client.username_pw_set(credentials["username"], credentials.get("password"))
        self._client.on_socket_open = lambda _client, _data, opened: opened.setsockopt(
            socket.IPPROTO_TCP, socket.TCP_NODELAY, 1
        )
        self._client.on_message = lambda _client, _data, message: self._hear(message)

    def _hear(self, message: mqtt.MQTTMessage) -> None:
        self.heard.append(message)
        self.arrived.put(message)

    def publish(self, topic: str, *payloads: bytes, qos: int = 1, retain: bool = False) -> None:
        """Publish these in order, and wait until the broker has them."""
        for info in [self._client.publish(topic, payload, qos, retain) for payload in payloads]:
            info.wait_for_publish(10)

    def listen(self, topic: str) -> None:
        """Take what comes under a topic into `heard`; returns when the broker has granted it."""
        granted = threading.Event()
        self._client.on_subscribe = lambda *_: granted.set()
        until(self._client.is_connected, what="the connection")
        self._client.subscribe(topic, 1)
        assert granted.wait(10.0), f"{topic} was not granted"

    def __enter__(self) -> "Publisher":
        self._client.connect("127.0.0.1", self._port)
        self._client.loop_start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()
