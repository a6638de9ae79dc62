"""Notices as JSON to a topic of the configured broker, for lamps, sirens and other machines.

Each notice has a connection of its own, so what the broker says of it can mean nothing else, and the guard's
own session is left alone. Published at QoS 1 and not retained: an old alarm must not ring when somebody
connects. The broker's receipt does not say that anybody listens.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from monitor.clock import monotonic_s
from monitor.delivery import keys
from monitor.delivery.notifier import Finding, refuse
from monitor.delivery.wire import LONGEST_BYTES, encoded, fitted, notice_data
from monitor.errors import AftercareError, DeliveryFailure, PermanentFailure, TemporaryFailure
from monitor.intake import credentials, words
from monitor.model import Notice
from monitor.settings import Broker

KIND = "mqtt"
NEEDS = ("broker", "find")

TIMEOUT_S = 15.0
KEEPALIVE_S = 30
_LOOK_EVERY_S = 0.2


def _is_topic(value: object) -> bool:
    return (
        isinstance(value, str)
        and value.isprintable()
        and 0 < len(value.encode()) <= 65_535
        and not set(value) & {"+", "#"}
        and not value.startswith("$")
    )


RULES: Final[Mapping[str, keys.Rule]] = {
    "topic": keys.Rule("a topic without + and #, such as heather/notices", _is_topic, required=True),
    "timeout_s": keys.timeout(),
}


def problems(name: str, values: Mapping[str, object]) -> list[Finding]:
    """Wrong keys."""
    return keys.findings(RULES, values)


def create(name: str, values: Mapping[str, Any], files: Callable[[str], str]) -> "Mqtt":
    """A publisher to `values["broker"]`, whose files `values["find"]` finds; it connects for each notice."""
    refuse(name, problems(name, {key: value for key, value in values.items() if key not in NEEDS}))
    broker: Broker = values["broker"]
    own = broker.model_copy(update={"client_id": f"{broker.client_id}-{name}"})
    return Mqtt(own, values["find"], values["topic"], float(values.get("timeout_s", TIMEOUT_S)))


class Mqtt:
    """One topic of the broker."""

    def __init__(self, broker: Broker, find: Callable[[str], Path], topic: str, timeout_s: float) -> None:
        self._broker = broker
        self._find = find
        self._topic = topic
        self._timeout_s = timeout_s

    def __repr__(self) -> str:
        return f"Mqtt({self._broker.host}:{self._broker.port}, {self._topic})"

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Publish the notice and wait for the broker's receipt."""
        try:
            known = credentials.load(self._broker, self._find)
        except AftercareError as error:
            raise PermanentFailure(error.message, error.hint) from error
        body = encoded(fitted(notice_data(notice), LONGEST_BYTES))
        _Publishing(self._broker, self._topic, body, monotonic_s() + self._timeout_s).run(known)

    def close(self) -> None:
        """Nothing is held between two notices."""


class _Publishing:
    """One message on a connection of its own, from connecting to the receipt."""

    def __init__(self, broker: Broker, topic: str, body: bytes, until_s: float) -> None:
        self._broker = broker
        self._topic = topic
        self._body = body
        self._until_s = until_s
        self._answer: DeliveryFailure | bool | None = None
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id=broker.client_id,
            protocol=paho.MQTTv5,
            reconnect_on_failure=False,
        )
        self._client.connect_timeout = max(1.0, until_s - monotonic_s())
        self._client.on_connect = self._on_connect
        self._client.on_publish = self._on_publish

    def run(self, known: credentials.Credentials) -> None:
        """Return once the broker has the message, else raise DeliveryFailure."""
        if known.username is not None:
            self._client.username_pw_set(known.username, known.password)
        if known.tls is not None:
            self._client.tls_set_context(known.tls)
        try:
            self._client.connect(self._broker.host, self._broker.port, KEEPALIVE_S, clean_start=True)
            self._wait()
        except (OSError, ValueError) as error:
            raise TemporaryFailure(words.cannot_connect(self._broker, error)) from error
        finally:
            self._release()
        if isinstance(self._answer, DeliveryFailure):
            raise self._answer

    def _wait(self) -> None:
        """Turn the network loop until there is an answer."""
        while self._answer is None:
            if monotonic_s() > self._until_s:
                raise TimeoutError
            if self._client.loop(_LOOK_EVERY_S) != paho.MQTT_ERR_SUCCESS and self._answer is None:
                self._answer = TemporaryFailure(words.closed_unanswered(self._broker))

    def _release(self) -> None:
        """End the connection; `_client` and its callbacks refer to each other until then."""
        self._client.disconnect()
        self._client.on_connect = self._client.on_publish = None
        sock = self._client.socket()
        if sock is not None:
            sock.close()

    def _on_connect(
        self, client: paho.Client, data: Any, flags: paho.ConnectFlags, code: ReasonCode, more: Any
    ) -> None:
        if not code.is_failure:
            client.publish(self._topic, self._body, qos=1, retain=False)
        elif code.value in (words.BAD_USER_NAME_OR_PASSWORD, words.NOT_AUTHORISED):
            self._answer = PermanentFailure(words.refused(self._broker, code.value, str(code)))
        else:
            self._answer = TemporaryFailure(words.refused(self._broker, code.value, str(code)))

    def _on_publish(self, client: paho.Client, data: Any, mid: int, code: ReasonCode, more: Any) -> None:
        where = words.place(self._broker)
        if not code.is_failure:
            self._answer = True
        elif code.value == words.NOT_AUTHORISED:
            self._answer = PermanentFailure(
                f"Publishing to {self._topic} was refused by {where}.",
                "Allow this user to write that topic there.",
            )
        else:
            self._answer = TemporaryFailure(f"The notice was refused by {where} ({code}).")
