"""`aftercare run` as a real process, and what is said to it."""

import json
import signal
import subprocess
import sys
from types import TracebackType
from typing import Any, Self

from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from monitor.cli.client import Daemon as Socket
from monitor.settings import load_settings
from tests.cli.place import Place, environment
from tests.support.waiting import until

STARTS_WITHIN_S = 30.0


class Daemon:
    """The daemon of one installation, from the start of a block to its end."""

    def __init__(self, place: Place) -> None:
        self.place = place
        self._socket = Socket(load_settings(place.config, {}), {})
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        with (self.place.folder / "daemon.log").open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "monitor.cli.entry", "run", "--config", str(self.place.config)],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd=self.place.folder,
                env=environment(),
            )
        until(lambda: self._process is None or self._process.poll() is not None or self._socket.runs(),
              STARTS_WITHIN_S, "the daemon")  # fmt: skip
        assert self._process.poll() is None, self.log()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
            self._process.wait(10.0)

    def end(self, how: signal.Signals) -> int:
        """Send a signal; its exit status, once it has ended within the promised ten seconds."""
        assert self._process is not None
        self._process.send_signal(how)
        return self._process.wait(10.0)

    def status(self) -> Any:
        """What it sees now."""
        return self._socket.get("/api/status")

    def log(self) -> str:
        """All it said."""
        return (self.place.folder / "daemon.log").read_text(encoding="utf-8", errors="replace")


def publish(port: int, topic: str, value_c: float) -> None:
    """One message of a sensor, delivered to the broker when this returns."""
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
    client.connect("127.0.0.1", port)
    client.loop_start()
    pack = [{"n": "t", "u": "Cel", "v": value_c}, {"n": "rh", "u": "%RH", "v": 80}]
    client.publish(topic, json.dumps(pack), qos=1).wait_for_publish(10.0)
    client.disconnect()
    client.loop_stop()
