"""What one reading costs on its way: decoded, judged, appended, and the whole way of a message.

Each figure is the best of several runs. Beside it stands the least that the same work could cost: the
standard library's JSON parser for the message that is decoded, a plain list for what is kept.
"""

import json
import time
from collections.abc import Callable

from monitor.history import History
from monitor.model import Flag, Quantity, Reading
from monitor.payloads import topic_decoders
from monitor.quality import Judge
from monitor.settings import Sensor

_START_S = 1_800_000_000.0
_MINUTES = 14 * 1440
_RUNS = 7

_SENSORS = {
    "bench": Sensor(house="cold", topic="senml", name="urn:dev:ow:10e2073a01080063"),
    "yard": Sensor(
        house="cold", topic="json", payload="json", temperature_c="/t", relative_humidity_pct="/rh"
    ),
    "pot": Sensor(house="cold", topic="plain", payload="plain", quantity=Quantity.TEMPERATURE_C),
}
_MESSAGES = {
    "senml": b'[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":4.1}]',
    "senml two": b'[{"bn":"urn:dev:ow:10e2073a01080063:","bt":1800000000,"n":"temp","u":"Cel","v":4.1},'
    b'{"n":"air","u":"%RH","v":88.5}]',
    "json": b'{"t":4.1,"rh":88.5}',
    "plain": b"4.1",
}


def main() -> list[dict[str, object]]:
    """One row a figure: name, figure, unit, compared_with, ratio, stands_for."""
    return [*_decoding(), *_judging(), *_keeping(), *_views(), *_whole_way()]


def _decoding() -> list[dict[str, object]]:
    decoders = topic_decoders(_SENSORS)
    rows = []
    for name, payload in _MESSAGES.items():
        decode = decoders[name.split()[0]].decode
        ours_us = _each_us(lambda decode=decode, payload=payload: decode(payload, _START_S))  # type: ignore[misc]
        bare_us = _each_us(lambda payload=payload: json.loads(payload))  # type: ignore[misc]
        stands_for = "one message of one sensor to samples"
        rows.append(_row(f"reading: decode {name}", ours_us, "µs", stands_for, "json.loads", bare_us))
    return rows


def _judging() -> list[dict[str, object]]:
    def run() -> float:
        flag = Judge(_SENSORS["bench"]).flag
        began_s = time.perf_counter()
        for minute in range(_MINUTES):
            flag(Quantity.TEMPERATURE_C, 4.0 + minute % 17 / 10, _START_S + 60.0 * minute)
        return (time.perf_counter() - began_s) / _MINUTES * 1e6

    return [_row("reading: judge", min(run() for _ in range(_RUNS)), "µs", "five checks of one reading")]


def _keeping() -> list[dict[str, object]]:
    def run(append: Callable[[Reading], object]) -> float:
        readings = [_reading(minute) for minute in range(2 * _MINUTES)]
        began_s = time.perf_counter()
        for reading in readings:
            append(reading)
        return (time.perf_counter() - began_s) / len(readings) * 1e6

    ours_us = min(run(History(_SENSORS).append) for _ in range(_RUNS))
    bare_us = min(run([].append) for _ in range(_RUNS))
    stands_for = "one reading into a fortnight of minutes"
    return [_row("reading: append", ours_us, "µs", stands_for, "list.append", bare_us)]


def _views() -> list[dict[str, object]]:
    history = History(_SENSORS)
    for minute in range(2 * _MINUTES):
        history.append(_reading(minute))
    end_s = _START_S + 60.0 * _MINUTES
    frame_ms = _each_us(lambda: history.frame("bench", 0.0, end_s), 20) / 1e3
    hour_ms = _each_us(lambda: history.hour_row("bench", end_s - 7200.0), 100) / 1e3
    saved = {
        (f"s{number}", quantity): history.arrays("bench", quantity, 0.0, end_s)
        for number in range(40)
        for quantity in (Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT)
    }
    forty = {f"s{number}": _SENSORS["bench"] for number in range(40)}
    load_ms = _each_us(lambda: History(forty).load(saved), 1) / 1e3
    return [
        _row("reading: frame", frame_ms, "ms", "14 days of minutes of one sensor as a table"),
        _row("reading: hour", hour_ms, "ms", "one hour of one sensor as a row"),
        _row("reading: load", load_ms, "ms", "14 days of minutes of 40 sensors at a start"),
    ]


def _whole_way() -> list[dict[str, object]]:
    decode = topic_decoders(_SENSORS)["json"].decode
    payloads = [
        b'{"t":%.1f,"rh":%.1f}' % (4 + minute % 17 / 10, 80 + minute % 9) for minute in range(_MINUTES)
    ]

    def run() -> float:
        history, judge = History(_SENSORS), Judge(_SENSORS["yard"])
        began_s = time.perf_counter()
        for minute, payload in enumerate(payloads):
            at_s = _START_S + 60.0 * minute
            for sensor, quantity, value, _ in decode(payload, at_s):
                flag = judge.flag(quantity, value, at_s)
                history.append(Reading(sensor, quantity, value, at_s, at_s, flag))
        return (time.perf_counter() - began_s) / _MINUTES / 2 * 1e6

    def bare() -> float:
        began_s = time.perf_counter()
        for payload in payloads:
            json.loads(payload)
        return (time.perf_counter() - began_s) / _MINUTES / 2 * 1e6

    ours_us, bare_us = min(run() for _ in range(_RUNS)), min(bare() for _ in range(_RUNS))
    stands_for = "a reading from a message's bytes to the history, two readings a message"
    return [_row("reading: whole way", ours_us, "µs", stands_for, "json.loads", bare_us)]


def _reading(number: int) -> Reading:
    """Temperature and humidity by turns, both of the same minute."""
    at_s = _START_S + 60.0 * (number // 2)
    if number % 2:
        return Reading("bench", Quantity.RELATIVE_HUMIDITY_PCT, 80.0 + number % 9, at_s, at_s, Flag.GOOD)
    return Reading("bench", Quantity.TEMPERATURE_C, 4.0 + number % 17 / 10, at_s, at_s, Flag.GOOD)


def _each_us(call: Callable[[], object], times: int = 5000) -> float:
    """Best of several runs, for one call. [µs]"""
    best_s = float("inf")
    for _ in range(_RUNS):
        began_s = time.perf_counter()
        for _ in range(times):
            call()
        best_s = min(best_s, time.perf_counter() - began_s)
    return best_s / times * 1e6


def _row(
    name: str, figure: float, unit: str, stands_for: str, compared_with: str = "", other: float | None = None
) -> dict[str, object]:
    return {
        "name": name,
        "figure": round(figure, 3),
        "unit": unit,
        "compared_with": compared_with,
        "ratio": None if other is None else round(figure / other, 2),
        "stands_for": stands_for,
    }


if __name__ == "__main__":
    for row in main():
        print(row)
