"""What was heard at the message post: which topics carry temperature or humidity, in what form, how often.

Pure: messages in, a table and [sensors] blocks out. Names of keys are guesses from common practice; every
guess is held against what air in a greenhouse can be.
"""

import json
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from monitor.model import Quantity
from monitor.trees.entries import tree_id_from_name

MOST_TOPICS = 500
TEMPERATURE_C = (-60.0, 70.0)
HUMIDITY_PCT = (0.0, 100.0)
_TEMPERATURE = re.compile(r"^t$|temp", re.IGNORECASE)
_HUMIDITY = re.compile(r"^rh$|^h$|hum", re.IGNORECASE)
_NOT_AIR = re.compile(r"set|target|dew|unit|calib|offset|min|max|cpu|device|alarm|limit", re.IGNORECASE)
_SENML_UNITS = {"Cel": Quantity.TEMPERATURE_C, "%RH": Quantity.RELATIVE_HUMIDITY_PCT}
_USUAL_S = (1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 300, 600, 900, 1200, 1800, 3600)


@dataclass(slots=True)
class Topic:
    """One topic: its messages' arrivals [s] and what the newest carried."""

    at_s: list[float] = field(default_factory=list)
    payload: str = ""
    pointers: Mapping[Quantity, str] = field(default_factory=dict)
    values: Mapping[Quantity, float] = field(default_factory=dict)
    kept: bool = False

    @property
    def every_s(self) -> float | None:
        """The usual time between two messages; None from less than two."""
        gaps = [b - a for a, b in zip(self.at_s, self.at_s[1:], strict=False)]
        return median(gaps) if gaps else None


@dataclass(slots=True)
class Heard:
    """All topics, in the order in which they were first heard."""

    topics: dict[str, Topic] = field(default_factory=lambda: defaultdict(Topic))

    def take(self, topic: str, payload: bytes, retained: bool, at_s: float) -> None:
        """One message; a kept (retained) one says nothing of how often."""
        if topic not in self.topics and len(self.topics) >= MOST_TOPICS:
            return
        entry = self.topics[topic]
        if retained:
            entry.kept = True
        else:
            entry.at_s.append(at_s)
        kind, pointers, values = understood(topic, payload)
        if values:
            entry.payload, entry.pointers, entry.values = kind, pointers, values


Understood = tuple[str, dict[Quantity, str], dict[Quantity, float]]


def understood(topic: str, payload: bytes) -> Understood:
    """What kind of payload it is, where each quantity stands in it, and its value; empty if none is there."""
    try:
        value = json.loads(payload)
    except (ValueError, RecursionError):
        return "", {}, {}
    if isinstance(value, list):
        return _senml(value)
    if isinstance(value, dict):
        return _pointers(value)
    return _plain(topic, value)


def _senml(records: list[Any]) -> Understood:
    values: dict[Quantity, float] = {}
    base_unit = ""
    for record in records:
        if not isinstance(record, dict):
            return "", {}, {}
        base_unit = record.get("bu", base_unit)
        quantity = _SENML_UNITS.get(str(record.get("u", base_unit)))
        if quantity is not None and _is_number(record.get("v")):
            values[quantity] = float(record["v"])
    return "senml", {}, values


def _pointers(value: Mapping[str, Any]) -> Understood:
    pointers: dict[Quantity, str] = {}
    values: dict[Quantity, float] = {}
    for path, number in _numbers(value, ()):
        quantity = _guess(path[-1], number)
        if quantity is not None and quantity not in pointers:
            pointers[quantity] = "/" + "/".join(part.replace("~", "~0").replace("/", "~1") for part in path)
            values[quantity] = number
    return "json", pointers, values


def _plain(topic: str, value: Any) -> Understood:
    quantity = _guess(topic.rpartition("/")[2], float(value)) if _is_number(value) else None
    return ("plain", {}, {quantity: float(value)}) if quantity is not None else ("", {}, {})


def _numbers(value: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], float]]:
    for key, part in value.items():
        if _is_number(part):
            yield (*path, key), float(part)
        elif isinstance(part, dict) and len(path) < 5:
            yield from _numbers(part, (*path, key))


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _guess(name: str, number: float) -> Quantity | None:
    if _NOT_AIR.search(name):
        return None
    if _TEMPERATURE.search(name) and TEMPERATURE_C[0] <= number <= TEMPERATURE_C[1]:
        return Quantity.TEMPERATURE_C
    if _HUMIDITY.search(name) and HUMIDITY_PCT[0] <= number <= HUMIDITY_PCT[1]:
        return Quantity.RELATIVE_HUMIDITY_PCT
    return None


# ---- for people ----------------------------------------------------------------------------------------

_UNITS = {Quantity.TEMPERATURE_C: "°C", Quantity.RELATIVE_HUMIDITY_PCT: "% humidity"}


def summary(heard: Heard) -> list[list[str]]:
    """A row a topic, those with values first: topic, messages, how often, what it carries."""
    ordered = sorted(heard.topics.items(), key=lambda item: (not item[1].values, item[0]))
    return [[name, str(len(topic.at_s)), _every(topic), _carries(topic)] for name, topic in ordered]


def _every(topic: Topic) -> str:
    if not topic.at_s:
        return "kept from before"
    if topic.every_s is None:
        return "heard once"
    return f"{topic.every_s:.0f} s" if topic.every_s >= 1 else "under 1 s"


def _carries(topic: Topic) -> str:
    values = [f"{value:g} {_UNITS[quantity]}" for quantity, value in topic.values.items()]
    return f"{', '.join(values)} ({topic.payload})" if values else "-"


def blocks(heard: Heard) -> list[str]:
    """A [sensors] block for each topic that carries something of use."""
    taken: set[str] = set()
    found: list[str] = []
    for name, topic in sorted(heard.topics.items()):
        if topic.values:
            found.append(_block(_id(name, taken), name, topic))
    return found


def _id(topic: str, taken: set[str]) -> str:
    """A short id from the end of the topic that no other block has."""
    parts = [tree_id_from_name(part) for part in topic.split("/") if tree_id_from_name(part)]
    for count in range(1, len(parts) + 1):
        made = "-".join(parts[-count:])[:63].strip("-_")
        if made not in taken and not made.isdigit():
            taken.add(made)
            return made
    made = f"sensor-{len(taken) + 1}"
    taken.add(made)
    return made


def _block(name: str, topic: str, heard: Topic) -> str:
    lines = [f"[sensors.{name}]", f"topic = {json.dumps(topic, ensure_ascii=False)}"]
    lines.append(f'payload = "{heard.payload}"')
    lines += [f"{quantity} = {json.dumps(pointer)}" for quantity, pointer in heard.pointers.items()]
    if heard.payload == "plain":
        lines.append(f'quantity = "{next(iter(heard.values))}"')
    lines.append('place = "bench"        # bench, outdoor, pot or other')
    if heard.every_s is None:
        lines.append("# every_s = 60         # heard less than twice: how often does it report?")
    else:
        lines.append(f"every_s = {usual_s(heard.every_s)}")
    return "\n".join(lines) + "\n"


def usual_s(every_s: float) -> int:
    """The usual interval of reporting that is nearest, by ratio; never over an hour."""
    return min(_USUAL_S, key=lambda usual: max(usual / max(every_s, 0.1), max(every_s, 0.1) / usual))
