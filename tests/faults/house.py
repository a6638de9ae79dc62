"""A guarded house for this room: a real daemon that can be killed and started, its sensors, its servers.

    with House(folder, broker.port) as house:
        house.air["bench-a"] = FROST_C
        until(lambda: "low-temperature/larch-3" in house.standing())

Two benches report four times a second (`every_s` is 1), two trees stand there. WARM_C, COLD_C (one tree
warns) and FROST_C (both are harmed) are so near each other that no step between them looks like a jump.
"""

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from monitor.cli.client import Daemon as Socket
from monitor.errors import AftercareError
from monitor.model import Transition
from monitor.settings import load_settings
from monitor.store.queries import Reader, SentNotice
from tests.faults.figures import measured
from tests.support.broker import free_port
from tests.support.waiting import until

CHECKOUT = Path(__file__).resolve().parents[2]
LARCH, YEW = "low-temperature/larch-3", "low-temperature/yew-2"
LOST, OFF, STORAGE = "broker-lost/site", "was-off/site", "storage-failing/site"
CLOCK, DELIVERY, RESTARTING = "clock-doubtful/site", "delivery-failing/site", "restarting/site"
TOPIC = "heather/cold/"
STARTS_WITHIN_S = 60.0
LOOKS_EVERY_S = 0.05
WARM_C, COLD_C, FROST_C = 1.8, 1.2, 0.5

SETTINGS = """\
[site]
name = "Heather Bank"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1
report_at = "{report_at}"
[broker]
port = {broker}
{login}
[houses.cold]
name = "Cold house"
[sensors.bench-a]
house = "cold"
topic = "heather/cold/bench-a"
payload = "{payload}"
temperature_c = "/t"
observed_at = "/at"
every_s = {every_s}
[sensors.bench-b]
house = "cold"
topic = "heather/cold/bench-b"
payload = "json"
temperature_c = "/t"
observed_at = "/at"
every_s = {every_s}
[alarms.low-temperature]
deadband = 0.1
on_delay_s = {on_delay_s}
off_delay_s = {off_delay_s}
on_samples = 2
{ways}
[web]
listen = "127.0.0.1:{page}"
"""
JOURNAL = """\
[notifiers.log]
type = "journal"
[[calls]]
tell = ["high", "medium", "low", "report"]
who = ["log"]
"""
USUAL = {
    "report_at": "06:45", "login": "", "payload": "json", "every_s": 1, "on_delay_s": 0.5, "off_delay_s": 1,
    "ways": JOURNAL,
}  # fmt: skip
BOOK = tuple(
    {"at": "2026-11-26T10:00:00Z", **entry}
    for entry in (
        {"kind": "tree", "tree": "larch-3", "name": "Larch 3", "sensor": "bench-a"},
        {"kind": "limit", "tree": "larch-3", "limit": "low_warn_c", "value": 1.5, "reason": "to test"},
        {"kind": "limit", "tree": "larch-3", "limit": "low_harm_c", "value": 0.9, "reason": "to test"},
        {"kind": "tree", "tree": "yew-2", "name": "Yew 2", "sensor": "bench-b"},
        {"kind": "limit", "tree": "yew-2", "limit": "low_warn_c", "value": 1.1, "reason": "to test"},
        {"kind": "limit", "tree": "yew-2", "limit": "low_harm_c", "value": 0.8, "reason": "to test"},
    )
)


def webhook(name: str, url: str) -> str:
    """A way that posts; its secret lies beside the settings."""
    return (
        f'[notifiers.{name}]\ntype = "webhook"\nurl = "{url}"\nsecret_file = "hook-secret"\ntimeout_s = 1\n'
    )


def email(name: str, port: int) -> str:
    """A way by mail."""
    return (
        f'[notifiers.{name}]\ntype = "email"\nhost = "127.0.0.1"\nport = {port}\ntimeout_s = 1\n'
        'from = "house@example.org"\nto = ["grower@example.org"]\n'
    )


def told(*names: str, tell: Sequence[str] = ("high", "medium", "low")) -> str:
    """A call that tells these."""
    return f"[[calls]]\ntell = {json.dumps(list(tell))}\nwho = {json.dumps(names)}\n"


class House:
    """One installation, its daemon and its sensors, from the start of a block to its end."""

    def __init__(
        self,
        folder: Path,
        broker_port: int,
        *,
        each_s: float = 0.25,
        sensors_port: int = 0,
        sensors_login: tuple[str, str] | None = None,
        **changes: Any,
    ) -> None:
        """`changes` stand in place of USUAL; sensors report every `each_s` real seconds."""
        self.folder = folder
        self.state = folder / "state"
        self.config = folder / "monitor.toml"
        self.air = {"bench-a": WARM_C, "bench-b": WARM_C}
        """What each sensor measures; one that is taken out is dead."""
        self.log = folder / "log"
        self._sensors_port = sensors_port or broker_port
        self._sensors_login = sensors_login
        self._address = str(folder / "notify")
        (folder / "run").mkdir(exist_ok=True)
        self.runtime = {"RUNTIME_DIRECTORY": str(folder / "run")}
        self._process: subprocess.Popen[bytes] | None = None
        self._ending = threading.Event()
        self._each_s = each_s
        self._sensors = threading.Thread(target=self._report, daemon=True)
        filled = {**USUAL, "broker": broker_port, "page": free_port(), **changes}
        self.config.write_text(SETTINGS.format(**filled), encoding="utf-8")
        secret = folder / "hook-secret"
        secret.write_text("whsec_" + "QUJD" * 10)
        secret.chmod(0o600)
        self.state.mkdir(mode=0o700, exist_ok=True)
        book = self.state / "book.jsonl"
        book.write_text("".join(json.dumps(entry) + "\n" for entry in BOOK), encoding="utf-8")
        book.chmod(0o600)
        self._socket = Socket(load_settings(self.config, {}), self.runtime)

    # ---- the daemon ------------------------------------------------------------------------------------

    def start(self) -> float:
        """Start the daemon, and wait until it says that it guards; how long that took [s]."""
        Path(self._address).unlink(missing_ok=True)
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
            manager.bind(self._address)
            manager.settimeout(STARTS_WITHIN_S)
            began_s = time.perf_counter()
            self._process = self.launch()
            while b"READY=1" not in manager.recv(4096):
                pass
            took_s = time.perf_counter() - began_s
        measured("restart to guarding, time of the processor alone [s]", processor_s(self.process.pid))
        return took_s

    def launch(self) -> "subprocess.Popen[bytes]":
        """A daemon for this installation; nobody waits until it guards."""
        path = os.pathsep.join([*sys.path, str(CHECKOUT)])
        with self.log.open("ab") as log:
            return subprocess.Popen(
                [sys.executable, "-P", "-m", "tests.faults.child", str(self.config)],
                env={**os.environ, **self.runtime, "PYTHONPATH": path, "NOTIFY_SOCKET": self._address},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )

    @property
    def process(self) -> "subprocess.Popen[bytes]":
        """The daemon as it runs."""
        assert self._process is not None
        return self._process

    def kill(self) -> None:
        """`kill -9`."""
        self.process.kill()
        self.process.wait(10.0)

    def end(self) -> int:
        """SIGTERM; its exit status."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(30.0)

    def order(self, what: str, value: object) -> None:
        """Write an order for `child.py`; None takes it back."""
        path = self.folder / what
        if value is None:
            path.unlink(missing_ok=True)
            return
        new = self.folder / f"{what}.new"
        new.write_text(str(value), encoding="utf-8")
        new.replace(path)

    def said(self) -> str:
        """All that it said on its standard error: the journal of the service."""
        return self.log.read_text(encoding="utf-8", errors="replace")

    # ---- the sensors -----------------------------------------------------------------------------------

    def _report(self) -> None:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, "sensors", protocol=mqtt.MQTTv5)
        client.reconnect_delay_set(1, 1)
        if self._sensors_login is not None:
            client.username_pw_set(*self._sensors_login)
        with contextlib.suppress(OSError):
            client.connect_async("127.0.0.1", self._sensors_port)
        client.loop_start()
        count = 0
        while not self._ending.wait(self._each_s):
            count += 1
            for name, value_c in list(self.air.items()):
                payload = json.dumps({"t": round(value_c + count % 3 / 100, 2)})
                if client.is_connected():
                    client.publish(TOPIC + name, payload)
        client.disconnect()
        client.loop_stop()

    # ---- what is seen of it ----------------------------------------------------------------------------

    def status(self) -> dict[str, Any]:
        """What `aftercare status --json` says; empty while nobody answers."""
        try:
            found: dict[str, Any] = self._socket.get("/api/status")
        except AftercareError:
            return {}
        return found

    def standing(self) -> dict[str, dict[str, Any]]:
        """Alarms whose condition holds now, as anybody sees them."""
        return {alarm["alarm"]: alarm for alarm in self.status().get("alarms", ()) if alarm["active"]}

    def rises(self, alarm: str, within_s: float = 20.0) -> dict[str, Any]:
        """Wait until an alarm stands; the alarm."""
        return until(lambda: self.standing().get(alarm), within_s, alarm, LOOKS_EVERY_S)

    def ends(self, alarm: str, within_s: float = 20.0) -> None:
        """Wait until an alarm does not stand any more, in a daemon that answers."""
        until(
            lambda: self.status() and alarm not in self.standing(),
            within_s,
            f"the end of {alarm}",
            LOOKS_EVERY_S,
        )

    def transitions(self, kind: str = "") -> list[Transition]:
        """Every transition that is kept, of one kind of alarm or all."""
        with Reader(self.state) as reader:
            return [change for change in reader.transitions() if kind in ("", change.kind)]

    def occurrences(self, alarm: str) -> list[str]:
        """The occurrences of an alarm, each once."""
        return list(dict.fromkeys(c.occurrence for c in self.transitions() if c.alarm == alarm))

    def notices(self) -> list[SentNotice]:
        """Every notice that is kept."""
        with Reader(self.state) as reader:
            return list(reader.notices())

    def seen(self, alarm: str) -> None:
        """Somebody says "I have seen it"; a daemon that dies over it is no error."""
        with contextlib.suppress(AftercareError):
            self.ask("/api/alarms/ack", alarms=[alarm], by="ann")

    def ask(self, path: str, **body: Any) -> Any:
        """Something that a person asks of it."""
        return self._socket.post(path, body)

    def __enter__(self) -> "House":
        self._sensors.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._ending.set()
        self._sensors.join(10.0)
        if self._process is not None and self._process.poll() is None:
            self._process.kill()
            self._process.wait(10.0)


@contextlib.contextmanager
def guarded(folder: Path, broker_port: int, **changes: Any) -> Iterator[House]:
    """A house whose daemon guards, with both sensors heard."""
    with House(folder, broker_port, **changes) as house:
        house.start()
        until(lambda: heard(house) >= len(house.air), 20.0, "both sensors heard")
        yield house


def processor_s(pid: int) -> float:
    """How long a processor has worked for a process (proc(5): utime and stime) [s]."""
    words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")


def heard(house: House) -> int:
    """How many sensors are heard now."""
    houses = house.status().get("houses", ())
    return sum(sensor["quality"] == "good" for each in houses for sensor in each["sensors"])
