"""The page: its size, its first answer, and whether an alarm is any later while it is asked without end.

The daemon, the broker, and whoever asks are processes of their own. The daemon's limit of notices in ten
minutes is lifted, since an alarm is raised and cleared again and again.
"""

import gzip
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from monitor.clock import rfc3339
from monitor.model import Effects, Flag, Quantity, Reading
from monitor.store.sqlite import Store
from tests.intake.publisher import Publisher
from tests.support.broker import Mosquitto, free_port, need_broker
from tests.support.waiting import until

TREES = 40
SENSORS = 10
PER_S = 50.0
SECONDS = float(os.environ.get("AFTERCARE_BENCH_PAGE_S", "60"))
TURNS = 6
"""Idle and asked take turns, so that both meet the same machine."""
COLD_C, MILD_C = -0.1, 0.7
RUN = (
    "import sys; from monitor.notices import rate; rate.AT_MOST = 10**9; "
    "from monitor.cli.entry import main; sys.exit(main(sys.argv[1:]))"
)
SETTINGS = """\
[site]
name = "Heather Bank"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1
[broker]
port = {broker}
[alarms.low-temperature]
on_delay_s = 0
on_samples = 1
off_delay_s = 0
[notifiers.lamp]
type = "mqtt"
topic = "bench/notices"
[[calls]]
tell = ["high", "medium", "low", "report"]
who = ["lamp"]
[web]
listen = "127.0.0.1:{page}"
"""
PLACE = """\
[houses.h{n}]
name = "House {n}"
[sensors.s{n}]
house = "h{n}"
topic = "bench/s{n}"
payload = "plain"
quantity = "temperature_c"
every_s = 60
longest_gap_s = 3600
"""


class House(NamedTuple):
    """A daemon under way."""

    broker: int
    page: int
    daemon: int


@contextmanager
def house(folder: Path) -> Iterator[House]:
    """A daemon with forty trees in ten houses, that has heard every sensor."""
    with Mosquitto(need_broker(), folder, ["set_tcp_nodelay true"]) as broker:
        page = free_port()
        text = SETTINGS.format(broker=broker.port, page=page)
        text += "".join(PLACE.format(n=n) for n in range(SENSORS))
        (folder / "monitor.toml").write_text(text, encoding="utf-8")
        _write_book(folder / "state")
        _fill(folder / "state")
        with (folder / "log").open("wb") as log:
            daemon = subprocess.Popen(
                [sys.executable, "-c", RUN, "run", "--config", str(folder / "monitor.toml")],
                stdout=log, stderr=log, env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
            )  # fmt: skip
        try:
            until(lambda: _guards(page), 60.0, "the guard", every_s=0.1)
            yield House(broker.port, page, daemon.pid)
        finally:
            daemon.terminate()
            daemon.wait(30)


def _write_book(state: Path) -> None:
    """Trees with a damage line of their own and wraps, so that the pages are as full as in a winter."""
    state.mkdir(mode=0o700)
    at, recent, lines = "2026-01-05T10:00:00Z", rfc3339(time.time() - 5 * 86400.0), []
    for n in range(TREES):
        about = {"at": at, "tree": f"t{n}"}
        lines += [
            {**about, "kind": "tree", "name": f"Larch {n}", "species": "Larix decidua",
             "sensor": f"s{n % SENSORS}"},
            {**about, "kind": "work", "work": "heavy-bend", "at": recent},
            {**about, "kind": "limit", "limit": "low_harm_c", "value": 0.0, "reason": "to measure"},
            {**about, "kind": "limit", "limit": "low_warn_c", "value": 0.0, "reason": "to measure"},
            {**about, "kind": "wrap", "wrap": "first-branch", "fibre": "raffia", "keep": "any", "at": recent},
        ]  # fmt: skip
    (state / "book.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")


def _fill(state: Path) -> None:
    """Half a day of minutes, so that there is a night to draw."""
    now_s = time.time()
    with Store.open(state, now_s) as store:
        for minute in range(840, 1, -1):
            at_s = now_s - minute * 60.0
            found = [
                Reading(f"s{n}", Quantity.TEMPERATURE_C, round(2.0 + 0.1 * ((minute // 7 + n) % 20), 1),
                        at_s, at_s, Flag.GOOD)
                for n in range(SENSORS)
            ]  # fmt: skip
            store.commit([Effects(readings=tuple(found))], at_s)


def _guards(page: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{page}/api/status", timeout=5) as answer:
            return len(json.load(answer)["trees"]) == TREES
    except OSError:
        return False


class Alarms:
    """Raises and clears one alarm after another, and measures how long each takes to reach somebody."""

    def __init__(self, publisher: Publisher) -> None:
        self._publisher = publisher
        self._turn = 0
        publisher.listen("bench/notices")
        for n in range(SENSORS):
            publisher.publish(f"bench/s{n}", str(MILD_C).encode())

    def latencies_s(self, seconds: float) -> list[float]:
        """From a sensor's message to the notice of it, one after another for so long."""
        found, until_s = [], time.monotonic() + seconds
        while time.monotonic() < until_s:
            n = self._turn % SENSORS
            self._turn += 1
            found.append(self._wait(n, COLD_C, "activation"))
            self._wait(n, MILD_C, "cleared")
        return found

    def _wait(self, n: int, value_c: float, kind: str) -> float:
        began_s = time.monotonic()
        self._publisher.publish(f"bench/s{n}", str(value_c).encode())
        while not _is(self._publisher.arrived.get(timeout=30.0).payload, kind, n):
            pass
        return time.monotonic() - began_s


def _is(payload: bytes, kind: str, n: int) -> bool:
    said = json.loads(payload)
    return said.get("kind") == kind and any(alarm.endswith(f"/t{n}") for alarm in _names(said))


def _names(said: dict[str, object]) -> list[str]:
    return [each if isinstance(each, str) else each["alarm"] for each in said.get("alarms", ())]  # type: ignore[attr-defined]


def asked(page: int, seconds: float) -> "subprocess.Popen[bytes]":
    """Somebody who asks the page, in a process of their own."""
    command = [sys.executable, "-m", "tests.benchmarks.page_load", str(page), str(PER_S), str(seconds)]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    )


Measured = tuple[list[float], list[float], list[dict[str, float]]]


def measured(found: House, seconds: float, turns: int = TURNS) -> Measured:
    """Latencies while nobody asks [s], while the page is asked, and how those who asked fared."""
    idle: list[float] = []
    busy: list[float] = []
    loads: list[dict[str, float]] = []
    with Publisher(found.broker, "bench") as publisher:
        alarms = Alarms(publisher)
        alarms.latencies_s(1.0)
        for _ in range(turns):
            idle += alarms.latencies_s(seconds / turns)
            with asked(found.page, seconds / turns + 0.5) as load:
                assert load.stdout is not None
                alarms.latencies_s(0.5)
                busy += alarms.latencies_s(seconds / turns)
                loads.append(json.loads(load.stdout.read()))
    return idle, busy, loads


def _first_answer_ms(page: int) -> float:
    """A new connection each time, and never a page that was drawn before: the middle of twenty [ms]."""
    took = []
    for turn in range(20):
        began_s = time.perf_counter()
        with urllib.request.urlopen(f"http://127.0.0.1:{page}/?turn={turn}") as answer:
            answer.read()
        took.append((time.perf_counter() - began_s) * 1000)
    return statistics.median(took)


def main() -> list[dict[str, object]]:
    """Size, first answer, and alarms while the page is asked."""
    with tempfile.TemporaryDirectory() as name, house(Path(name)) as found:
        with urllib.request.urlopen(f"http://127.0.0.1:{found.page}/") as answer:
            page = answer.read()
        first_ms = _first_answer_ms(found.page)
        idle, busy, loads = measured(found, SECONDS)
    per_s = statistics.mean(each["per_s"] for each in loads)
    came, sent = (sum(each[key] for each in loads) for key in ("answered", "asked"))
    answer_ms = statistics.median(each["middle_ms"] for each in loads)
    packed_kb = len(gzip.compress(page)) / 1000
    return [
        {"name": f"page of now with {TREES} trees, without its style", "figure": len(page) / 1000,
         "unit": "kB", "compared_with": "the 60 kB asked for", "ratio": len(page) / 60_000,
         "stands_for": f"what a phone fetches at three in the morning ({packed_kb:.0f} kB if packed)"},
        {"name": "first answer of the page of now", "figure": first_ms, "unit": "ms",
         "compared_with": "the 100 ms asked for", "ratio": first_ms / 100.0,
         "stands_for": "a new connection, drawn anew, the middle of twenty"},
        *[
            {"name": f"alarm while the page is asked {per_s:.0f} times a second, {which}",
             "figure": _part_ms(busy, part), "unit": "ms",
             "compared_with": f"while nobody asks ({_part_ms(idle, part):.1f} ms; 1.10 was asked for)",
             "ratio": _part_ms(busy, part) / _part_ms(idle, part),
             "stands_for": f"sensor's message to notice; {len(busy)} alarms; {came:.0f} of {sent:.0f} "
             f"answers came, the middle one after {answer_ms:.0f} ms"}
            for which, part in (("least disturbed tenth", 0.1), ("middle", 0.5))
        ],
    ]  # fmt: skip


def _part_ms(latencies_s: list[float], part: float) -> float:
    """A quantile [ms]."""
    return sorted(latencies_s)[int(len(latencies_s) * part)] * 1000
