"""Payload kind `json`: any JSON value; the settings say with RFC 6901 pointers where each quantity stands.

    {"t": 4.1, "rh": 88.5, "time": "2026-01-09T10:00:00Z"}     temperature_c = "/t", observed_at = "/time"

A pointer that leads nowhere, or to null, is a quantity that this payload does not carry.
"""

import re
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from monitor.errors import PayloadError
from monitor.model import Quantity, Sample
from monitor.payloads.kind import Decode, SettingProblem, keys_without_use, offset_of
from monitor.payloads.text import LARGEST_NUMBER, instant_of, json_of, shown
from monitor.settings import Sensor

KIND = "json"

Pointer = tuple[str, ...]
"""A pointer's reference tokens, unescaped; empty for the whole document."""

_INDEX = re.compile(r"0|[1-9][0-9]{0,8}", flags=re.ASCII)
_WRONG_ESCAPE = re.compile(r"~(?![01])")

#: At one instant temperature comes last, since the others help to judge it.
_ORDER: Final = (Quantity.RELATIVE_HUMIDITY_PCT, Quantity.BATTERY_PCT, Quantity.TEMPERATURE_C)
_POINTER_KEYS: Final = ("temperature_c", "relative_humidity_pct", "battery_pct", "observed_at")


def pointer_of(text: str) -> Pointer:
    """The tokens of an RFC 6901 pointer; ValueError when it is not one."""
    if text and not text.startswith("/"):
        raise ValueError(f"{text!r} does not begin with /")
    if _WRONG_ESCAPE.search(text):
        raise ValueError(f"{text!r} has a ~ that is neither ~0 (for ~) nor ~1 (for /)")
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in text.split("/")[1:])


def find(document: Any, pointer: Pointer) -> Any:
    """The value a pointer leads to in a JSON document, None where it leads nowhere (RFC 6901 section 4)."""
    for token in pointer:
        if isinstance(document, dict):
            document = document.get(token)
        elif isinstance(document, list) and _INDEX.fullmatch(token) and int(token) < len(document):
            document = document[int(token)]
        else:
            return None
    return document


class _Target(NamedTuple):
    sensor: str
    observed_at: Pointer | None
    places: tuple[tuple[Quantity, Pointer, float], ...]


def decoder(sensors: Mapping[str, Sensor]) -> Decode:
    """A function that reads every sensor's quantities out of one document; ValueError for a bad pointer."""
    targets = [_target(sensor_id, sensor) for sensor_id, sensor in sensors.items()]

    def decode(payload: bytes, sent_at_s: float | None) -> list[Sample]:
        document = json_of(payload)
        samples = [sample for target in targets for sample in _samples(document, target)]
        if not samples:
            raise PayloadError(f"none of the pointers {_listed(sensors)} leads to a number in the message.")
        return samples

    return decode


def problems(sensor: Sensor) -> list[SettingProblem]:
    """Pointers must be pointers, and at least one must say where temperature or humidity stands."""
    found = keys_without_use(sensor, ("name", "quantity"), "a json payload is read by pointers.")
    if sensor.temperature_c is None and sensor.relative_humidity_pct is None:
        found.append(
            ("temperature_c", "a json payload needs a pointer.", 'Write for example temperature_c = "/t".')
        )
    for key in _POINTER_KEYS:
        try:
            pointer_of(getattr(sensor, key) or "")
        except ValueError as error:
            found.append((key, f"{error}.", 'A pointer looks like "/air/0/temperature".'))
    return found


def _target(sensor_id: str, sensor: Sensor) -> _Target:
    pointers = {quantity: getattr(sensor, quantity.value) for quantity in _ORDER}
    places = tuple(
        (quantity, pointer_of(text), offset_of(sensor, quantity))
        for quantity, text in pointers.items()
        if text is not None
    )
    return _Target(sensor_id, None if sensor.observed_at is None else pointer_of(sensor.observed_at), places)


def _samples(document: Any, target: _Target) -> list[Sample]:
    observed_at_s = None
    if target.observed_at is not None:
        time = find(document, target.observed_at)
        observed_at_s = None if time is None else instant_of(time)
    samples = []
    for quantity, pointer, offset in target.places:
        value = find(document, pointer)
        if value is None:
            continue
        if type(value) is not float and type(value) is not int:
            raise PayloadError(f"{shown(value)} at {_written(pointer)} is not a number.")
        if not -LARGEST_NUMBER < value < LARGEST_NUMBER:
            raise PayloadError(f"the number at {_written(pointer)} is too large.")
        samples.append(Sample(target.sensor, quantity, value + offset, observed_at_s))
    return samples


def _written(pointer: Pointer) -> str:
    return shown("".join("/" + token.replace("~", "~0").replace("/", "~1") for token in pointer))


def _listed(sensors: Mapping[str, Sensor]) -> str:
    quantities = [quantity.value for quantity in Quantity]
    texts = [getattr(sensor, key) for sensor in sensors.values() for key in quantities]
    return ", ".join(text for text in dict.fromkeys(texts) if text is not None)
