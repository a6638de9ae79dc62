"""The daemon as a process: how soon it guards after a restart, and what it takes of a board's memory."""

import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from monitor.intake.broker import EmbeddedBroker
from monitor.model import Effects, Flag, Quantity, Reading
from monitor.store.sqlite import Store
from tests.benchmarks import winter

SENSORS = 40
DAYS = 14
BARE = "import paho.mqtt.client, pandas, apscheduler.triggers.cron, pydantic_settings"
TELL = 'print(next(l.split()[1] for l in open("/proc/self/status") if l.startswith("VmRSS")))'


def _rss_kb(pid: int | str) -> int:
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))


def _bare_kb() -> int:
    """Resident size of nothing but the four packages that were asked for."""
    done = subprocess.run(
        [sys.executable, "-c", f"{BARE}\n{TELL}"], capture_output=True, text=True, check=True
    )
    return int(done.stdout)


def _readings(to_s: float) -> Iterator[Effects]:
    """A fortnight of minutes, an hour an effect."""
    begin_s = to_s - DAYS * 86_400.0
    for hour in range(DAYS * 24):
        found = []
        for minute in range(60):
            at_s = begin_s + hour * 3600.0 + minute * 60.0
            for n in range(SENSORS):
                value = 4.0 + 0.01 * ((minute * 7 + n) % 100)
                found.append(Reading(f"s{n}", Quantity.TEMPERATURE_C, value, at_s, at_s, Flag.GOOD))
                found.append(
                    Reading(f"s{n}", Quantity.RELATIVE_HUMIDITY_PCT, 80 + value, at_s, at_s, Flag.GOOD)
                )
        yield Effects(readings=tuple(found))


def _fill(folder: Path) -> None:
    now_s = time.time()
    with Store.open(folder / "state", now_s) as store:
        for effects in _readings(now_s - 3600.0):
            store.commit([effects], effects.readings[-1].observed_at_s)


def _started(folder: Path, log: Path) -> tuple[subprocess.Popen[bytes], float]:
    """The daemon, once it says that it guards, and how long that took [s]."""
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    address = str(folder / "notify")
    Path(address).unlink(missing_ok=True)
    listener.bind(address)
    listener.settimeout(60.0)
    began = time.perf_counter()
    daemon = subprocess.Popen(
        [sys.executable, "-m", "monitor.cli.entry", "run", "--config", str(folder / "monitor.toml")],
        env={**os.environ, "NOTIFY_SOCKET": address},
        stderr=log.open("wb"),
    )
    while b"READY=1" not in listener.recv(4096):
        pass
    while b"WATCHDOG=1" not in listener.recv(4096):
        pass
    took_s = time.perf_counter() - began
    listener.close()
    return daemon, took_s


def main() -> list[dict[str, object]]:
    """Start with a fortnight to take over, then look at the size."""
    with tempfile.TemporaryDirectory() as name, EmbeddedBroker() as broker:
        folder = Path(name)
        winter.settings(folder, SENSORS, broker.port)
        text = (folder / "monitor.toml").read_text(encoding="utf-8")
        (folder / "monitor.toml").write_text(text + '[web]\nlisten = "127.0.0.1:0"\n', encoding="utf-8")
        _fill(folder)
        daemon, took_s = _started(folder, folder / "log")
        resident_kb = _rss_kb(daemon.pid)
        daemon.terminate()
        status = daemon.wait(30)
    bare_kb = _bare_kb()
    return [
        {
            "name": f"start to first completed pass, {DAYS} days of {SENSORS} sensors",
            "figure": took_s,
            "unit": "s",
            "compared_with": "the 3 s asked for",
            "ratio": took_s / 3.0,
            "stands_for": "how long nobody watches after a restart",
        },
        {
            "name": f"resident size, {DAYS} days of {SENSORS} sensors in memory",
            "figure": resident_kb / 1024,
            "unit": "MB",
            "compared_with": f"the bare import of its four named packages ({bare_kb / 1024:.0f} MB)",
            "ratio": resident_kb / bare_kb,
            "stands_for": f"what a small board has left for the rest (the daemon ended with {status})",
        },
    ]
