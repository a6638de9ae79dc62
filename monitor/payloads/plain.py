"""Payload kind `plain`: the payload is one bare number, `4.1`, of the quantity that the settings name."""

import re
from collections.abc import Mapping
from typing import Final

from monitor.errors import PayloadError
from monitor.model import Quantity, Sample
from monitor.payloads.kind import Decode, SettingProblem, keys_without_use, offset_of
from monitor.payloads.text import LARGEST_NUMBER, shown, text_of
from monitor.settings import Sensor

KIND = "plain"

#: What a bare number may mean; a battery is never the only thing that a sensor says.
QUANTITIES: Final = (Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT)

_NUMBER = re.compile(r"\s*([+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d{1,3})?)\s*", flags=re.ASCII)


def number(payload: bytes) -> float:
    """The bare number of a payload, blanks around it allowed; PayloadError for anything else."""
    text = text_of(payload)
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise PayloadError(f"{shown(text)} is not a bare number.", "Write for example -3.5.")
    value = float(match[1])
    if not -LARGEST_NUMBER < value < LARGEST_NUMBER:
        raise PayloadError(f"{shown(text)} is too large for a number.")
    return value


def decoder(sensors: Mapping[str, Sensor]) -> Decode:
    """A function that gives the number, with each sensor's own offset, to every sensor of the topic."""
    targets = [
        (sensor_id, sensor.quantity, offset_of(sensor, sensor.quantity))
        for sensor_id, sensor in sensors.items()
        if sensor.quantity is not None
    ]

    def decode(payload: bytes, sent_at_s: float | None) -> list[Sample]:
        value = number(payload)
        return [Sample(sensor_id, quantity, value + offset) for sensor_id, quantity, offset in targets]

    return decode


def problems(sensor: Sensor) -> list[SettingProblem]:
    """Plain needs `quantity`, and has neither names nor pointers."""
    found: list[SettingProblem] = []
    if sensor.quantity is None:
        found.append(("quantity", "a plain payload needs it.", 'Write quantity = "temperature_c".'))
    elif sensor.quantity not in QUANTITIES:
        found.append(
            ("quantity", f"{sensor.quantity} cannot be plain.", f"Choose {' or '.join(QUANTITIES)}.")
        )
    unused = ("name", "temperature_c", "relative_humidity_pct", "battery_pct", "observed_at")
    return found + keys_without_use(sensor, unused, "a plain payload is one number and has no parts.")
