"""How fast the database keeps and gives back, on the disk that the temporary directory lies on."""

import random
import sqlite3
import struct
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from unittest import mock

from monitor import keeping
from monitor.model import Effects, Flag, Message, Quantity, Reading, Row
from monitor.store.queries import Reader
from monitor.store.recorder import Recorder
from monitor.store.recording import read_recording
from monitor.store.sink import JsonLinesSink
from monitor.store.sqlite import Store

_START_S = 1_796_000_400.0
_SENSORS = 40
_MINUTES = 14 * 24 * 60
_QUANTITIES = (Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT)


def main() -> list[dict[str, object]]:
    """One row a figure: name, figure, unit, compared_with, ratio, stands_for."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        return [
            *_commits(place),
            *_history(place),
            *_quiet(place),
            *_recording(place),
            *_sink(place),
        ]


def _figure(
    name: str, figure: float, unit: str, stands_for: str, compared_with: str = "", ratio: float | None = None
) -> dict[str, object]:
    return {
        "name": name,
        "figure": round(figure, 3),
        "unit": unit,
        "compared_with": compared_with,
        "ratio": None if ratio is None else round(ratio, 3),
        "stands_for": stands_for,
    }


def _commits(place: Path, count: int = 500) -> Iterator[dict[str, object]]:
    """Single synced commits of one alarm row, beside the barest SQLite commit on the same disk."""
    with Store.open(place / "commits", _START_S) as store:
        started = time.perf_counter()
        for number in range(count):
            effect = Effects(rows=(Row("alarm", "low-temperature/larch-3", {"seq": number}),))
            store.commit([effect], _START_S + number)
        ours = count / (time.perf_counter() - started)
    bare = _bare_commits(place / "bare.db", count)
    yield _figure(
        "store: single commits",
        ours,
        "1/s",
        "an alarm kept before anybody is told",
        "bare sqlite3",
        ours / bare,
    )


def _bare_commits(path: Path, count: int) -> float:
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = FULL")
        db.execute("CREATE TABLE one (key INTEGER PRIMARY KEY, value TEXT)")
        started = time.perf_counter()
        for number in range(count):
            db.execute("INSERT OR REPLACE INTO one VALUES (1, ?)", (f'{{"seq":{number}}}',))
        return count / (time.perf_counter() - started)


def _history(place: Path) -> Iterator[dict[str, object]]:
    """14 days of 40 sensors, a reading of each quantity a minute, committed twice a minute and read back."""
    chance = random.Random(1)
    spent_s, rows, late = 0.0, 0, 0.0
    with Store.open(place / "history", _START_S) as store:
        for minute in range(0, _MINUTES, 5):
            effects = [Effects(readings=tuple(_minutes(chance, minute, 5)))]
            at_s = _START_S + (minute + 5) * 60
            started = time.perf_counter()
            store.commit(effects, at_s)
            spent_s += time.perf_counter() - started
            late = max(late, time.perf_counter() - started)
            rows += len(effects[0].readings)
        store.checkpoint()
        size = store.size()["database_bytes"]
    yield _figure(
        "store: readings kept", rows / spent_s, "1/s", "5-minute batches of 40 sensors, packing included"
    )
    yield _figure(
        "store: longest commit", late * 1000, "ms", "a batch of 400 readings and the packing of an hour"
    )
    yield _figure(
        "store: room a reading",
        size / rows,
        "B",
        "14 days of 40 sensors",
        "an instant and a value as plain numbers, 12 B",
        size / rows / 12,
    )
    a_year = size / rows * _SENSORS * len(_QUANTITIES) * 525_600
    yield _figure(
        "store: a year of 40 sensors, by extrapolation",
        a_year / 1e9,
        "GB",
        "whether the card is big enough; 400 days are kept",
        "a card of 16 GB",
        a_year / 16e9,
    )
    with Reader(place / "history") as reader:
        started = time.perf_counter()
        last_s = _START_S + _MINUTES * 60
        reader.series("bench-7", Quantity.TEMPERATURE_C, last_s - 86_400, last_s)
        curve_s = time.perf_counter() - started
    yield _figure("store: a day's curve", curve_s * 1000, "ms", "one sensor's last 24 hours for the page")
    started = time.perf_counter()
    with Store.open(place / "history", _START_S) as store:
        opened_s = time.perf_counter() - started
        started = time.perf_counter()
        saved = store.load(_START_S)
        loaded_s = time.perf_counter() - started
    read = sum(len(series[0]) for series in saved.readings.values())
    yield _figure("store: open and check", opened_s, "s", "restart with 14 days of 40 sensors")
    yield _figure("store: load", loaded_s, "s", f"{read} readings into arrays at restart")


def _quiet(place: Path, sensors: int = 6, hours: int = 2) -> Iterator[dict[str, object]]:
    """Quiet hours as the guard keeps them: each message held until its commit is due."""
    held_s = [0.0]
    commits = pages = messages = 0
    with (
        mock.patch.object(keeping, "monotonic_s", side_effect=lambda: held_s[0]),
        Store.open(place / "quiet", _START_S) as store,
    ):
        keep = keeping.Keeping(store, lambda answered: None)
        frames = _frames(place / "quiet")
        for second in range(hours * 3600):
            held_s[0] = float(second)
            if second % 60 % (60 // sensors) == 0:
                at_s = _START_S + second
                found = tuple(Reading(f"s{second % 60}", q, 4.0, at_s, at_s, Flag.GOOD) for q in _QUANTITIES)
                keep.hold(Effects(readings=found), Message(at_s, "b/s", b"%d" % second))
                messages += 1
            if keep.is_due(idle=True):
                keep.commit(_START_S + second)
                now = _frames(place / "quiet")
                commits, pages, frames = commits + 1, pages + (now - frames if now >= frames else now), now
    yield _figure(
        "store: commits an hour in quiet times",
        commits / hours,
        "1/h",
        "wear of the card while nothing happens",
        f"one a message, as {sensors} sensors send them",
        commits / messages,
    )
    yield _figure(
        "store: pages of 4 kB written an hour in quiet times",
        pages / hours,
        "1/h",
        "the same, in what the card has to write",
        "pages that the readings would fill by themselves, 12 B each",
        pages / (messages * 2 * 12 / 4096),
    )


def _frames(directory: Path) -> int:
    """Pages in the write-ahead log since it last began anew: `mxFrame` of SQLite's wal-index header."""
    index = next(directory.glob("*-shm")).read_bytes()
    return int(struct.unpack_from("=I", index, 16)[0])


def _minutes(chance: random.Random, minute: int, count: int) -> Iterator[Reading]:
    for number in range(minute, minute + count):
        for sensor in range(_SENSORS):
            at_s = _START_S + number * 60 + sensor * 1.371
            for quantity in _QUANTITIES:
                value = round(chance.uniform(-5, 12), 2)
                yield Reading(f"bench-{sensor}", quantity, value, at_s, at_s + 0.4, Flag.GOOD)


def _recording(place: Path, count: int = 50_000) -> Iterator[dict[str, object]]:
    """Messages into lines and back."""
    payload = b'[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temperature","u":"Cel","v":3.25}]'
    messages = [Message(_START_S + n, "heather/cold/bench-a", payload) for n in range(count)]
    recorder = Recorder(place / "recording")
    started = time.perf_counter()
    for message in messages:
        recorder.record(message)
    recorder.flush()
    written_s = time.perf_counter() - started
    recorder.close()
    started = time.perf_counter()
    read = sum(1 for _ in read_recording(place / "recording"))
    read_s = time.perf_counter() - started
    yield _figure("recording: line written", written_s / count * 1e6, "µs", "what recording costs a message")
    yield _figure("recording: line read", read_s / read * 1e6, "µs", "what reading costs a replayed message")


def _sink(place: Path, count: int = 100_000) -> Iterator[dict[str, object]]:
    """What `replay --readings` writes."""
    readings = tuple(_minutes(random.Random(1), 0, count // _SENSORS // 2))
    started = time.perf_counter()
    with JsonLinesSink(place / "out", readings=True) as sink:
        for reading in readings:
            sink.commit([Effects(readings=(reading,))], reading.received_at_s)
    spent_s = time.perf_counter() - started
    yield _figure(
        "replay: line of a reading", spent_s / len(readings) * 1e6, "µs", "`replay --readings`, a reading"
    )


if __name__ == "__main__":
    for row in main():
        print(row)
