"""`listen`: a while at the message post, to see which topics carry temperature or humidity, and how often."""

import os
import queue
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer
from paho.mqtt.client import Client, MQTTMessage, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from monitor import clock
from monitor.cli import show
from monitor.cli.heard import Heard, blocks, summary
from monitor.cli.options import Config, example
from monitor.errors import AftercareError, SettingsError, UsageError
from monitor.intake import credentials, words
from monitor.settings import Broker, find_settings_file, load_settings, secret_path

Filter = Annotated[str, typer.Argument(metavar="[FILTER]", help="Which topics: greenhouse/#; left out: all.")]
Seconds = Annotated[
    float, typer.Option("--seconds", metavar="N", min=1.0, max=3600.0, help="How long to listen.")
]
Host = Annotated[str | None, typer.Option("--host", metavar="NAME", help="Another broker than in the file.")]
Port = Annotated[int | None, typer.Option("--port", metavar="N", min=1, max=65535, help="Its port.")]
CONNECT_WITHIN_S = 10.0


def add_to(app: typer.Typer) -> None:
    """Hang the command into the tree."""
    app.command("listen", epilog=example("listen", "listen 'greenhouse/#' --seconds 300"))(listen)


def listen(
    topics: Filter = "#",
    seconds: Seconds = 60.0,
    host: Host = None,
    port: Port = None,
    config: Config = None,
) -> int:
    """Hear the broker for a minute: which topics carry temperature or humidity, and how often.

    It proposes [sensors] blocks for the settings file, or says what is amiss: no broker, a wrong password, a
    broker where nothing is said, or values of which none is a temperature.
    """
    broker, find = _broker(config)
    broker = broker.model_copy(
        update={key: value for key, value in (("host", host), ("port", port)) if value is not None}
    )
    show.aside(f"Listening to {topics} at {broker.host} port {broker.port} for {seconds:g} s …")
    heard = _hear(broker, find, topics, seconds)
    if not heard.topics:
        show.say(
            f"Connected, but nothing was said on {topics} in {seconds:g} s. Are the sensors on, and do they "
            "publish to this broker? Some report every few minutes only: try --seconds 900."
        )
        return 1
    show.table(["topic", "messages", "every", "what it carries"], summary(heard))
    proposed = blocks(heard)
    if not proposed:
        show.say()
        show.say("Values came, but none that looks like a temperature or a humidity.")
        return 1
    show.say()
    show.say("For the settings file; look at the names, and say where each sensor hangs:")
    show.say()
    show.say("\n".join(proposed))
    return 0


def _broker(config: Path | None) -> tuple[Broker, Callable[[str], Path]]:
    """The broker of the settings; the usual one where there are none yet."""
    if config is None:
        try:
            find_settings_file(None)
        except SettingsError:
            return Broker(), Path
    settings = load_settings(config, os.environ)
    return settings.broker, lambda name: secret_path(settings, name)


def _hear(broker: Broker, find: Callable[[str], Path], topics: str, seconds: float) -> Heard:
    """Everything that was said in that time; AftercareError in one sentence when nobody let us listen."""
    heard = Heard()
    said: queue.SimpleQueue[str] = queue.SimpleQueue()
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
    let_in = credentials.load(broker, find)
    if let_in.username is not None:
        client.username_pw_set(let_in.username, let_in.password)
    if let_in.tls is not None:
        client.tls_set_context(let_in.tls)

    def on_connect(client: Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            said.put(words.refused(broker, reason.value, str(reason)))
        else:
            client.subscribe(topics, qos=0)

    def on_subscribe(_client: Client, _data: Any, _mid: int, reasons: Any, _properties: Any) -> None:
        refused = any(reason.is_failure for reason in reasons)
        said.put(words.topics_refused(broker, [topics]) if refused else "")

    def on_message(_client: Client, _data: Any, message: MQTTMessage) -> None:
        heard.take(message.topic, bytes(message.payload), message.retain, clock.monotonic_s())

    client.on_connect, client.on_subscribe, client.on_message = on_connect, on_subscribe, on_message
    try:
        client.connect(broker.host, broker.port)
    except ValueError as error:
        raise UsageError(f"{topics!r} or the broker's address cannot be used ({error}).") from error
    except OSError as error:
        raise AftercareError(words.cannot_connect(broker, error)) from error
    client.loop_start()
    try:
        _wait_until_heard(said, broker)
        _wait(seconds)
    finally:
        client.disconnect()
        client.loop_stop()
    return heard


def _wait_until_heard(said: "queue.SimpleQueue[str]", broker: Broker) -> None:
    try:
        refused = said.get(timeout=CONNECT_WITHIN_S)
    except queue.Empty:
        raise AftercareError(words.closed_unanswered(broker)) from None
    if refused:
        raise AftercareError(refused)


def _wait(seconds: float) -> None:
    """That long; a bar on a terminal; Ctrl-C ends it early and what was heard is shown."""
    from rich.console import Console
    from rich.progress import track

    pause = threading.Event()
    steps = max(1, round(seconds))
    try:
        for _ in track(
            range(steps), "listening", console=Console(stderr=True), transient=True,
            disable=not sys.stderr.isatty(),
        ):  # fmt: skip
            pause.wait(seconds / steps)
    except KeyboardInterrupt:
        return
