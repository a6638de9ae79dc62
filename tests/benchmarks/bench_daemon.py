"""The daemon as a process: how soon it guards after a restart, and what it takes of a board's memory."""

import os
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import httpx

from monitor.intake.broker import EmbeddedBroker
from monitor.model import Effects, Flag, Quantity, Reading
from monitor.store.sqlite import Store
from tests.benchmarks import winter

SENSORS = 40
DAYS = 14
TRIES = 3
BARE = "import paho.mqtt.client, pandas, apscheduler.triggers.cron, pydantic_settings"
TELL = 'print(next(l.split()[1] for l in open("/proc/self/status") if l.startswith("VmRSS")))'


def _rss_kb(pid: int | str) -> int:
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))


def _busy_s(pid: int) -> float:
    """Processor time that a process has taken [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _bare_kb() -> int:
    """Resident size of nothing but the four packages that were asked for."""
    done = subprocess.run(
        [sys.executable, "-c", f"{BARE}\n{TELL}"], capture_output=True, text=True, check=True
    )
    return int(done.stdout)


def _readings(to_s: float, days: int, sensors: int) -> Iterator[Effects]:
    """Days of minutes, an hour an effect."""
    begin_s = to_s - days * 86_400.0
    for hour in range(days * 24):
        found = []
        for minute in range(60):
            at_s = begin_s + hour * 3600.0 + minute * 60.0
            for n in range(sensors):
                value = 4.0 + 0.01 * ((minute * 7 + n) % 100)
                found.append(Reading(f"s{n}", Quantity.TEMPERATURE_C, value, at_s, at_s, Flag.GOOD))
                found.append(
                    Reading(f"s{n}", Quantity.RELATIVE_HUMIDITY_PCT, 80 + value, at_s, at_s, Flag.GOOD)
                )
        yield Effects(readings=tuple(found))


def _fill(folder: Path, days: int, sensors: int) -> None:
    now_s = time.time()
    with Store.open(folder / "state", now_s) as store:
        for effects in _readings(now_s - 3600.0, days, sensors):
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


def _command_s(*words: str) -> float:
    """The best wall time of a command of Python [s]."""
    best_s = float("inf")
    for _ in range(TRIES):
        began = time.perf_counter()
        subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)
        best_s = min(best_s, time.perf_counter() - began)
    return best_s


def _used(folder: Path) -> None:
    """The page is looked at and a report is made, as on any morning."""
    transport = httpx.HTTPTransport(uds=str(folder / "state" / "aftercare.sock"))
    with httpx.Client(transport=transport, base_url="http://aftercare", timeout=60) as client:
        for path in ("/", "/api/status", "/api/report"):
            client.get(path)


def main(days: int = DAYS, sensors: int = SENSORS) -> list[dict[str, object]]:
    """Start with a fortnight to take over, then look at the size, then ask it things."""
    with tempfile.TemporaryDirectory() as name, EmbeddedBroker() as broker:
        folder = Path(name)
        winter.settings(folder, sensors, broker.port)
        text = (folder / "monitor.toml").read_text(encoding="utf-8")
        (folder / "monitor.toml").write_text(text + '[web]\nlisten = "127.0.0.1:0"\n', encoding="utf-8")
        _fill(folder, days, sensors)
        daemon, took_s = _started(folder, folder / "log")
        resident_kb, busy_s = _rss_kb(daemon.pid), _busy_s(daemon.pid)
        config = ("--config", str(folder / "monitor.toml"))
        status_s = _command_s("-m", "monitor.cli.entry", "status", *config)
        _used(folder)
        used_kb = _rss_kb(daemon.pid)
        daemon.terminate()
        status = daemon.wait(30)
    bare_kb, bare_s = _bare_kb(), _command_s("-c", "pass")
    held = f"{days} days of {sensors} sensors"
    four = f"the bare import of its four named packages ({bare_kb / 1024:.0f} MB)"
    python = f"python that does nothing ({bare_s * 1000:.0f} ms)"
    help_s = _command_s("-m", "monitor.cli.entry", "--help")
    return [
        _row(f"start to first completed pass, {held}", took_s, "s", "the 3 s asked for", took_s / 3.0,
             "how long nobody watches after a restart"),
        _row("processor time of that start", busy_s, "s", "the 3 s asked for", busy_s / 3.0,
             "the same on a machine that has other things to do"),
        _row(f"resident size, {held} in memory", resident_kb / 1024, "MB", four, resident_kb / bare_kb,
             f"what a small board has left for the rest (the daemon ended with {status})"),
        _row("resident size, page open and one report made", used_kb / 1024, "MB", four, used_kb / bare_kb,
             "the same on an ordinary morning"),
        _row("aftercare --help", help_s * 1000, "ms", python, help_s / bare_s,
             "how long somebody waits to be told what there is"),
        _row("aftercare status, of a running guard", status_s * 1000, "ms", python, status_s / bare_s,
             "how long somebody waits to be told how it stands"),
    ]  # fmt: skip


def _row(
    name: str, figure: float, unit: str, compared_with: str, ratio: float, stands_for: str
) -> dict[str, object]:
    return {
        "name": name,
        "figure": round(figure, 2),
        "unit": unit,
        "compared_with": compared_with,
        "ratio": ratio,
        "stands_for": stands_for,
    }
