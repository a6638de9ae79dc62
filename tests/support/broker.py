"""A real mosquitto for tests: found or fetched, on a free port, kept, restarted, killed.

    with Mosquitto(need_broker(), tmp_path) as broker:
        ... broker.port ...

Without one the tests that need it are skipped with the reason; under `CI=true` that is a failure.
"""

import contextlib
import functools
import os
import random
import re
import shutil
import signal
import socket
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple, NoReturn

import pytest

from tests.support.waiting import until


class Program(NamedTuple):
    """A mosquitto that can be started: its path and what it needs in the environment."""

    path: str
    environment: dict[str, str]


def need_broker() -> Program:
    """The mosquitto to test with; skips the test without one, and fails it under `CI=true`."""
    program, reason = _find()
    if program is None:
        _without(reason)
    return program


def hash_passwords(file: Path) -> None:
    """Hash a file of `name:password` lines in place, with mosquitto's tool; it takes no others."""
    program = need_broker()
    beside = Path(program.path).parent.parent / "bin" / "mosquitto_passwd"
    tool = str(beside) if beside.exists() else "mosquitto_passwd"
    subprocess.run([tool, "-U", str(file)], check=True, env={**os.environ, **program.environment})


def _without(reason: str) -> NoReturn:
    if os.environ.get("CI") == "true":
        pytest.fail(f"no mosquitto to test with, and CI must have one: {reason}")
    pytest.skip(f"no mosquitto to test with: {reason}")


def need_dynamic_security() -> str:
    """Path of mosquitto's own plug-in for rights on subscriptions; skips or fails as `need_broker`."""
    program = need_broker()
    folders = [*program.environment.get("LD_LIBRARY_PATH", "").split(":"), "/usr/lib", "/usr/local/lib"]
    for folder in filter(None, folders):
        found = next(Path(folder).rglob("mosquitto_dynamic_security.so"), None)
        if found is not None:
            return str(found)
    _without("its plug-in mosquitto_dynamic_security.so is not installed")


class Mosquitto:
    """One mosquitto; `settings` are lines of its configuration file, after those for the one listener."""

    def __init__(
        self,
        program: Program,
        directory: Path,
        settings: Sequence[str] = (),
        *,
        port: int = 0,
        anonymous: bool = True,
    ) -> None:
        self.port = port or free_port()
        self._program = program
        self._directory = directory / f"mosquitto-{self.port}"
        self._settings = tuple(settings)
        self._anonymous = anonymous
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it answers."""
        self._directory.mkdir(parents=True, exist_ok=True)
        config = self._directory / "mosquitto.conf"
        lines = [
            f"listener {self.port} 127.0.0.1",
            f"allow_anonymous {str(self._anonymous).lower()}",
            "user root",  # only when root starts it; else it could not write its own files
            "persistence true",
            f"persistence_location {self._directory}/",
            "max_queued_messages 0",
            "log_dest stderr",
            "log_type all",
            *self._settings,
        ]
        config.write_text("\n".join(lines) + "\n", encoding="utf-8")
        with (self._directory / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [self._program.path, "-c", str(config)],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                env={**os.environ, **self._program.environment},
            )
        until(
            lambda: self._process is None or self._process.poll() is not None or answers(self.port),
            10.0,
            "mosquitto",
        )
        if self._process.poll() is not None:
            raise AssertionError(f"mosquitto did not start: {self.log()}")

    def stop(self) -> None:
        """End it in order: it writes down its sessions."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """`kill -9`: what it did not write yet is lost."""
        self._end(signal.SIGKILL)

    def forget(self) -> None:
        """Throw away its sessions and retained messages; only while it is stopped."""
        with contextlib.suppress(FileNotFoundError):
            (self._directory / "mosquitto.db").unlink()

    def reload(self) -> None:
        """Read its access list and passwords again."""
        assert self._process is not None
        self._process.send_signal(signal.SIGHUP)

    def log(self) -> str:
        """Everything it said so far."""
        return (self._directory / "log").read_text(encoding="utf-8", errors="replace")

    def __enter__(self) -> "Mosquitto":
        self.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self.stop()

    def _end(self, how: signal.Signals) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        process.send_signal(how)
        try:
            process.wait(10.0)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(10.0)


def free_port() -> int:
    """A port that nothing listens on just now, and that no outgoing connection is given meanwhile.

    Systems give connections ports from 32768 on (ip(7), ip_local_port_range): a server that is stopped and
    started again on one of those may find it taken.
    """
    dice = random.SystemRandom()
    while True:
        port = dice.randrange(10_000, 32_000)
        with socket.socket() as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port


def answers(port: int) -> bool:
    """Whether something accepts connections on that port of this computer."""
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=0.5):
            return True
    except OSError:
        return False


# ---- finding one -------------------------------------------------------------------------------------------


@functools.cache
def _find() -> tuple[Program | None, str]:
    """PATH, /usr/sbin, apt as root, `apt-get download` unpacked beside: the first that works."""
    path = _on_path()
    if path:
        return Program(path, {}), ""
    if not shutil.which("apt-get"):
        return None, "it is not on PATH nor in /usr/sbin, and there is no apt-get to fetch it"
    if os.geteuid() == 0:
        done = _quietly("apt-get", "install", "-y", "--no-install-recommends", "mosquitto")
        path = _on_path()
        if path:
            return Program(path, {}), ""
        return None, f"apt-get install mosquitto failed: {done}"
    return _unpack(Path(tempfile.gettempdir()) / f"mosquitto-for-tests-{os.geteuid()}")


def _on_path() -> str | None:
    return shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


def _unpack(directory: Path) -> tuple[Program | None, str]:
    """Fetch mosquitto and what it lacks as packages, and unpack them without being root."""
    root = directory / "root"
    program = root / "usr/sbin/mosquitto"
    if not program.exists():
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
        plan = _quietly("apt-get", "install", "--simulate", "--no-install-recommends", "mosquitto")
        packages = re.findall(r"^Inst (\S+)", plan, re.MULTILINE)
        if "mosquitto" not in packages:
            return None, f"apt-get knows no way to mosquitto: {plan[-300:]}"
        said = _quietly("apt-get", "download", *packages, cwd=directory)
        for package in directory.glob("*.deb"):
            said += _quietly("dpkg-deb", "-x", str(package), str(root))
        if not program.exists():
            return None, f"apt-get download mosquitto failed: {said[-300:]}"
    libraries = sorted({str(library.parent) for library in root.glob("usr/lib/**/*.so*")})
    return Program(str(program), {"LD_LIBRARY_PATH": ":".join(libraries)}), ""


def _quietly(*command: str, cwd: Path | None = None) -> str:
    """Run a command; whatever it says, and never a prompt."""
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive", "LC_ALL": "C"}
    try:
        done = subprocess.run(
            command,
            check=False,
            cwd=cwd,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=300,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return str(error)
    return done.stdout + done.stderr
