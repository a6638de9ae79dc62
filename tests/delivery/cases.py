"""Each kind of notifier with a real other side, for the contract and for tests of its own."""

import base64
import contextlib
import io
import logging
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import repeat
from pathlib import Path

from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from monitor.delivery.notifiers import apprise, cap, email, journal, mqtt, webhook
from monitor.settings import Broker, Site
from monitor.testing import NotifierCase
from tests.support.broker import Mosquitto, need_broker
from tests.support.servers import HANG, HttpServer, MailServer, greeting
from tests.support.waiting import until

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"  # the published example's, and so nobody's
OTHER_SECRET = "whsec_" + base64.b64encode(b"quite another secret key").decode()


def mail_values(port: int, **more: object) -> dict[str, object]:
    """Settings of a mailer to this computer."""
    return {
        "host": "127.0.0.1",
        "port": port,
        "from": "house@example.org",
        "to": ["grower@example.org"],
        "timeout_s": 1,
        **more,
    }


@contextmanager
def email_case() -> Iterator[NotifierCase]:
    """A mail server that wants a password."""
    with MailServer(login=("house", "correct horse")) as server:
        yield NotifierCase(
            kind=email,
            values=mail_values(server.port, username="house", password_file="mail-password"),
            secrets={"mail-password": "correct horse"},
            bad_secrets={"mail-password": "wrong horse"},
            received=lambda: [mail.raw for mail in server.mails],
            hang=lambda: server.faults.update(DATA=repeat(HANG)),
        )


SITE = Site(name="Heather Bank", timezone="Europe/London", latitude_deg=54.6, longitude_deg=-3.1)


@contextmanager
def journal_case() -> Iterator[NotifierCase]:
    """Standard error, kept."""
    kept = io.StringIO()
    with contextlib.redirect_stderr(kept):
        yield NotifierCase(kind=journal, values={}, received=lambda: [kept.getvalue().encode()])


@contextmanager
def cap_case() -> Iterator[NotifierCase]:
    """A directory for the files."""
    with tempfile.TemporaryDirectory() as folder:
        yield NotifierCase(
            kind=cap,
            values={"directory": "cap"},
            needs={"folder": Path(folder), "site": SITE},
            received=lambda: [path.read_bytes() for path in sorted(Path(folder, "cap").glob("*.xml"))],
        )


@contextmanager
def mqtt_case() -> Iterator[NotifierCase]:
    """A real broker and a listener; what hangs is a port that accepts and never says anything."""
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        broker = stack.enter_context(Mosquitto(need_broker(), folder))
        heard = stack.enter_context(listener(broker.port))
        silent_port = stack.enter_context(greeting(HANG))
        needs: dict[str, object] = {"broker": Broker(port=broker.port), "find": Path}
        yield NotifierCase(
            kind=mqtt,
            values={"topic": "heather/notices", "timeout_s": 1},
            needs=needs,
            received=lambda: until(lambda: list(heard), what="the message"),
            hang=lambda: needs.update(broker=Broker(port=silent_port)),
        )


@contextmanager
def listener(port: int, topic: str = "heather/#") -> Iterator[list[bytes]]:
    """Everything that is published under a topic while the block runs."""
    heard: list[bytes] = []
    ready = threading.Event()
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.on_connect = lambda *_: client.subscribe(topic, qos=1)
    client.on_subscribe = lambda *_: ready.set()
    client.on_message = lambda _client, _data, message: heard.append(message.payload)
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        assert ready.wait(10)
        yield heard
    finally:
        client.disconnect()
        client.loop_stop()


@contextmanager
def apprise_case() -> Iterator[NotifierCase]:
    """A service that takes JSON; its address holds a token."""
    level = logging.getLogger("apprise").level
    with HttpServer() as server:

        def hang() -> None:
            server.faults = repeat(HANG)

        yield NotifierCase(
            kind=apprise,
            values={"url_file": "phone-url"},
            secrets={"phone-url": f"json://127.0.0.1:{server.port}/hunter2?rto=1&cto=1\n"},
            received=lambda: [request.body for request in server.requests],
            hang=hang,
        )
    logging.getLogger("apprise").setLevel(level)


@contextmanager
def webhook_case() -> Iterator[NotifierCase]:
    """A server that checks the signature as an outsider would."""
    with HttpServer() as server:
        server.verify_with = SECRET

        def hang() -> None:
            server.faults = repeat(HANG)

        yield NotifierCase(
            kind=webhook,
            values={"url": server.url, "secret_file": "hook-secret", "timeout_s": 1},
            secrets={"hook-secret": SECRET},
            bad_secrets={"hook-secret": OTHER_SECRET},
            received=lambda: [
                b"\n".join(f"{name}: {value}".encode() for name, value in request.headers.items())
                + b"\n\n"
                + request.body
                for request in server.requests
            ],
            hang=hang,
        )
