"""A guarded house for the tests of this folder: a real daemon, its broker, a sensor, and whoever listens."""

import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from tests.support.broker import Mosquitto, free_port
from tests.support.servers import HttpServer
from tests.support.waiting import until

END = "END"
CHECKOUT = Path(__file__).resolve().parents[2]

SETTINGS = """\
[site]
name = "Heather Bank"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1

[broker]
port = {broker}

[houses.cold]
name = "Cold house"

[sensors.bench-a]
house = "cold"
topic = "heather/cold/bench-a"
payload = "plain"
quantity = "temperature_c"
every_s = 1

[notifiers.log]
type = "journal"

[[calls]]
tell = ["high", "medium", "report"]
who = ["log"]

[liveness]
url = "{alive}"
every_s = 1

[web]
listen = "127.0.0.1:{page}"
"""


class Sensor:
    """Publishes a temperature five times a second while it is `well`."""

    def __init__(self, port: int) -> None:
        self.well = True
        self._port = port
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def _run(self) -> None:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        client.reconnect_delay_set(1, 1)
        client.connect("127.0.0.1", self._port)
        client.loop_start()
        count = 0
        while not self._ending.wait(0.2):
            count += 1
            if self.well:
                client.publish("heather/cold/bench-a", f"{4 + count % 7 / 10:.1f}")
        client.disconnect()
        client.loop_stop()

    def __enter__(self) -> "Sensor":
        self._thread.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._ending.set()
        self._thread.join(10.0)


class Daemon:
    """The daemon as a process; `said` are the lines that the service manager got from it."""

    def __init__(
        self,
        folder: Path,
        broker: Mosquitto,
        outside: HttpServer,
        address: str = "",
        under: Sequence[str] = (),
    ) -> None:
        """`under` are words in place of those that run a Python module."""
        self.folder = folder
        self.said: list[str] = []
        self._under = under or (sys.executable, "-P", "-m")
        self.config = folder / "monitor.toml"
        self.config.write_text(
            SETTINGS.format(broker=broker.port, alive=outside.url, page=free_port()), encoding="utf-8"
        )
        self._manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._address = address or str(folder / "notify")
        self._manager.bind("\0" + address[1:] if address.startswith("@") else self._address)
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._process: subprocess.Popen[str] | None = None

    def _listen(self) -> None:
        while True:
            lines = self._manager.recv(4096).decode()
            if lines == END:
                return
            self.said.append(lines)

    def tell(self, signal: int) -> None:
        """Send it a signal."""
        assert self._process is not None
        self._process.send_signal(signal)

    def end(self) -> int:
        """Wait for its end; the exit status."""
        assert self._process is not None
        return self._process.wait(15.0)

    def __enter__(self) -> "Daemon":
        self._listener.start()
        path = os.pathsep.join([*sys.path, str(CHECKOUT)])
        with (self.folder / "log").open("w") as log:
            self._process = subprocess.Popen(
                [*self._under, "tests.liveness.child", str(self.config)],
                env={**os.environ, "PYTHONPATH": path, "NOTIFY_SOCKET": self._address},
                stderr=log,
                text=True,
            )
        return self

    def __exit__(self, *exc: object) -> None:
        assert self._process is not None
        self._process.kill()
        self._process.wait(15.0)
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as closing:
            closing.sendto(END.encode(), self._manager.getsockname())
        self._listener.join(5.0)
        self._manager.close()


def resumes(outside: HttpServer) -> None:
    """Wait for a sign that has not been there yet."""
    seen = len(outside.requests)
    until(lambda: len(outside.requests) > seen, 15.0, "a sign of life")


def falls_silent(outside: HttpServer, for_s: float = 3.0) -> None:
    """Wait until no sign came for three periods."""
    state = [len(outside.requests), time.monotonic()]

    def silent() -> bool:
        if len(outside.requests) != state[0]:
            state[:] = [len(outside.requests), time.monotonic()]
        return time.monotonic() - state[1] >= for_s

    until(silent, 25.0, "silence")
