"""A broker of our own, for the demo and to try things: a child process that lives as long as this one.

mosquitto when it is installed, else the package `iotcore`. It keeps nothing over a restart, asks for no
password and, unless told otherwise, is heard on this computer only: no broker to rely on.
"""

import contextlib
import importlib.util
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from types import TracebackType

from monitor.clock import monotonic_s
from monitor.errors import AftercareError

READY_WITHIN_S = 10.0

_MOSQUITTO = """\
listener {port} {listen}
allow_anonymous true
persistence false
max_inflight_messages 500
max_queued_messages 100000
set_tcp_nodelay true
log_dest stderr
log_timestamp false
log_type error
log_type warning
"""

# The broker inside iotcore speaks MQTT 5 only where a [v5.1] block says so.
_IOTCORE = """\
id = 0
[router]
id = 0
max_connections = 100
max_outgoing_packet_count = 500
max_segment_size = 10485760
max_segment_count = 10
[v5.1]
name = "v5-1"
listen = "{address}"
next_connection_delay_ms = 1
[v5.1.connections]
connection_timeout_ms = 60000
max_payload_size = 1048576
max_inflight_count = 500
dynamic_filters = true
"""

# Standard input stays open as long as this process lives, however it ends: then the broker goes too.
_GUARDED = """\
exec 3<&0
"$@" & broker=$!
(cat <&3 >/dev/null; kill "$broker") 2>/dev/null & watch=$!
wait "$broker"; end=$?
kill "$watch" 2>/dev/null
exit $end
"""


def find_mosquitto() -> str | None:
    """Path of mosquitto, also where a Debian user's PATH does not lead; None if it is not installed."""
    return shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


def free_port(listen: str = "127.0.0.1") -> int:
    """A port that nothing listens on just now."""
    with socket.socket(socket.AF_INET6 if ":" in listen else socket.AF_INET) as probe:
        probe.bind((listen, 0))
        return int(probe.getsockname()[1])


class EmbeddedBroker:
    """`with EmbeddedBroker() as broker: broker.port`; port 0 takes a free one.

    `kind` is `mosquitto` or `iotcore`; None takes the first that is there. AftercareError when neither is,
    or when it does not come up.
    """

    def __init__(self, port: int = 0, listen: str = "127.0.0.1", kind: str | None = None) -> None:
        self.listen = listen
        self.kind = kind or _best_kind()
        self._wanted_port = port
        self.port = port
        self._directory: tempfile.TemporaryDirectory[str] | None = None
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start the broker and wait until it answers."""
        self.port = self._wanted_port or free_port(self.listen)
        if _answers(self.listen, self.port):
            raise AftercareError(
                f"Port {self.port} is taken by another program, so no message post of our own can use it.",
                "Set embedded = false under [broker] to use the one that runs there, or another port.",
            )
        self._directory = tempfile.TemporaryDirectory(prefix="aftercare-broker-")
        directory = Path(self._directory.name)
        # mosquitto that root starts gives up root before it reads on.
        directory.chmod(0o755)
        with (directory / "log").open("wb") as log:
            self._process = subprocess.Popen(  # noqa: S603 - our own command line
                ["/bin/sh", "-c", _GUARDED, "broker", *self._command(directory)],
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                cwd=directory,
                start_new_session=True,
            )
        self._wait_until_ready(directory)

    def stop(self) -> None:
        """End the broker; safe to call twice."""
        process, self._process = self._process, None
        if process is not None:
            if process.stdin is not None:
                process.stdin.close()
            try:
                process.wait(5.0)
            except subprocess.TimeoutExpired:
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(process.pid, signal.SIGKILL)
                process.wait(5.0)
        if self._directory is not None:
            self._directory.cleanup()
            self._directory = None

    def running(self) -> bool:
        """Whether the child process lives."""
        return self._process is not None and self._process.poll() is None

    def __enter__(self) -> "EmbeddedBroker":
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _command(self, directory: Path) -> list[str]:
        if self.kind == "mosquitto":
            program = find_mosquitto() or "mosquitto"
            config = directory / "mosquitto.conf"
            config.write_text(_MOSQUITTO.format(listen=self.listen, port=self.port), encoding="utf-8")
            return [program, "-c", str(config)]
        config = directory / "iotcore.toml"
        host = f"[{self.listen}]" if ":" in self.listen else self.listen
        config.write_text(_IOTCORE.format(address=f"{host}:{self.port}"), encoding="utf-8")
        # It marks every packet as an error; -P keeps the current folder off the child's module path.
        return [sys.executable, "-P", "-m", "iotcore", "--config", str(config), "--log-level", "CRITICAL"]

    def _wait_until_ready(self, directory: Path) -> None:
        pause = threading.Event()
        deadline_s = monotonic_s() + READY_WITHIN_S
        while not _answers(self.listen, self.port):
            if not self.running() or monotonic_s() > deadline_s:
                last = (
                    (directory / "log").read_text(encoding="utf-8", errors="replace").strip().split("\n")[-1]
                )
                self.stop()
                raise AftercareError(
                    f"A message post of our own ({self.kind}) did not start on {self.listen} port {self.port}"
                    f"{': ' + last if last else ''}.",
                    "Try another port under [broker], or start a broker yourself.",
                )
            pause.wait(0.02)


def _best_kind() -> str:
    if find_mosquitto():
        return "mosquitto"
    if importlib.util.find_spec("iotcore"):
        return "iotcore"
    raise AftercareError(
        "No message post of our own can be started: neither mosquitto nor the package iotcore is installed.",
        "Install one: apt install mosquitto, or pip install 'greenhouse-aftercare-monitor[embedded]'.",
    )


def _answers(listen: str, port: int) -> bool:
    host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(listen, listen)  # noqa: S104 - compared, never bound
    try:
        with socket.create_connection((host, port), timeout=0.5):
            return True
    except OSError:
        return False
