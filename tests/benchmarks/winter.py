"""Recordings of made-up winter nights for the benchmarks: sensors that report every minute as SenML."""

import json
import math
from collections.abc import Iterator
from pathlib import Path

from monitor.settings import Settings, load_settings

BEGINS_AT_S = 1_800_000_000.0 - 1_800_000_000.0 % 86_400.0 + 16 * 3600.0
NIGHT_S = 16 * 3600.0

HEAD = """
[site]
name = "Bench"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1
[broker]
port = {port}
[houses.cold]
heater_setpoint_c = 4.0
[notifiers.log]
type = "journal"
[[calls]]
tell = ["high", "medium", "report"]
who = ["log"]
"""
WRAP = {
    "wrap": "first-branch",
    "fibre": "raffia",
    "cover": "tape-overlapped",
    "branch_mm": 20,
    "thickness_mm": 1.5,
}
SENSOR = '[sensors.s{n}]\nhouse = "cold"\ntopic = "b/s{n}"\npayload = "senml"\nevery_s = {every_s}\n'


def settings(
    folder: Path, sensors: int, port: int = 1883, outdoor: bool = False, every_s: int = 60
) -> Settings:
    """An installation with so many sensors on benches; the last one may hang outside."""
    text = HEAD.format(port=port) + "".join(SENSOR.format(n=n, every_s=every_s) for n in range(sensors))
    if outdoor:
        text = text.replace("[houses.cold]", f'[houses.cold]\noutdoor = "s{sensors - 1}"')
        text += 'place = "outdoor"\n'
    (folder / "monitor.toml").write_text(text, encoding="utf-8")
    return load_settings(folder / "monitor.toml", {})


def entries(sensors: int, trees: int, wrapped: bool = False) -> list[dict[str, object]]:
    """Trees spread over the sensors, each after a heavy bend, perhaps with a damp wrap under tape."""
    at = "2027-01-10T12:00:00Z"
    found: list[dict[str, object]] = []
    for n in range(trees):
        found.append(
            {"at": at, "kind": "tree", "tree": f"t{n}", "name": f"Tree {n}", "sensor": f"s{n % sensors}"}
        )
        found.append({"at": at, "kind": "work", "tree": f"t{n}", "work": "heavy-bend"})
        if wrapped:
            found.append({"at": at, "kind": "wrap", "tree": f"t{n}", **WRAP})
    return found


def payload(sensor: int, minute: int) -> str:
    """One message: a house at 4 °C whose heater cycles; a night in five comes near the limits."""
    night = minute // 960
    low = 2.2 if night % 5 else 0.8
    temperature = low + 2.0 + 1.8 * math.cos(minute / 153.0) + 0.3 * math.sin(minute / 3.0 + sensor)
    humidity = 85.0 + 5.0 * math.sin(minute / 60.0)
    return (
        f'[{{"bn":"urn:dev:b:{sensor}:","n":"t","u":"Cel","v":{temperature:.2f}}},'
        f'{{"n":"h","u":"%RH","v":{humidity:.1f}}}]'
    )


def lines(nights: int, sensors: int) -> Iterator[str]:
    """A recording, line by line: the hours from four in the afternoon to eight in the morning."""
    for night in range(nights):
        for minute in range(int(NIGHT_S // 60)):
            at_s = BEGINS_AT_S + night * 86_400.0 + minute * 60.0
            day, second = divmod(at_s, 86_400.0)
            stamp = _date(int(day)) + f"T{int(second // 3600):02d}:{int(second % 3600 // 60):02d}:"
            for sensor in range(sensors):
                text = json.dumps(payload(sensor, night * 960 + minute))
                yield (
                    f'{{"received_at":"{stamp}{sensor % 60:02d}Z","topic":"b/s{sensor}","payload":{text},'
                    '"qos":1,"retain":false,"dup":false}\n'
                )


def _date(day: int) -> str:
    from datetime import date, timedelta

    return (date(1970, 1, 1) + timedelta(days=day)).isoformat()


def write(path: Path, nights: int, sensors: int) -> int:
    """Write a recording; returns how many readings it holds."""
    with path.open("w", encoding="utf-8") as file:
        file.writelines(lines(nights, sensors))
    return nights * int(NIGHT_S // 60) * sensors * 2
