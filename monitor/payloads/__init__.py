"""From a message's bytes to samples: one file a payload kind, found by scan or by an entry point.

A kind is a module with `KIND`, `decoder` and `problems`, as `monitor.payloads.kind` says. Modules of this
folder count if they have `KIND`; other distributions offer theirs in the entry point group
`monitor.payloads`. Payloads know nothing of quality, history or the time of day.
"""

import importlib
import pkgutil
from collections.abc import Mapping
from importlib.metadata import entry_points
from typing import Final, cast

from monitor import plugins
from monitor.errors import AftercareError
from monitor.model import Sample
from monitor.payloads.kind import Decode, PayloadKind, SettingProblem
from monitor.settings import Sensor

__all__ = [
    "ENTRY_POINTS",
    "Decode",
    "PayloadKind",
    "SettingProblem",
    "TopicDecoder",
    "kinds",
    "topic_decoders",
]

#: Where other distributions offer payload kinds.
ENTRY_POINTS: Final = "monitor.payloads"


class TopicDecoder:
    """Decodes what arrives on one topic, once for all sensors that share it.

    `decode(payload, sent_at_s)` returns samples ascending in time with each sensor's offsets applied, or
    raises PayloadError; give None as the instant for a retained message, since nobody knows when it was sent.
    """

    __slots__ = ("_parts", "decode", "sensors", "topic")

    def __init__(self, topic: str, sensors: Mapping[str, Sensor], known: Mapping[str, PayloadKind]) -> None:
        by_kind: dict[str, dict[str, Sensor]] = {}
        for sensor_id, sensor in sensors.items():
            by_kind.setdefault(sensor.payload, {})[sensor_id] = sensor
        self.topic = topic
        self.sensors = tuple(sensors)
        self._parts = [_kind(name, known).decoder(of_kind) for name, of_kind in by_kind.items()]
        self.decode: Decode = self._parts[0] if len(self._parts) == 1 else self._decode_parts

    def _decode_parts(self, payload: bytes, sent_at_s: float | None) -> list[Sample]:
        """Samples for sensors that read the same payload in different ways."""
        return [sample for part in self._parts for sample in part(payload, sent_at_s)]


def topic_decoders(sensors: Mapping[str, Sensor]) -> dict[str, TopicDecoder]:
    """One decoder a topic; AftercareError for a payload kind that does not exist."""
    by_topic: dict[str, dict[str, Sensor]] = {}
    for sensor_id, sensor in sensors.items():
        by_topic.setdefault(sensor.topic, {})[sensor_id] = sensor
    known = kinds()
    return {topic: TopicDecoder(topic, sharing, known) for topic, sharing in by_topic.items()}


def kinds() -> dict[str, PayloadKind]:
    """Every payload kind there is, by its word; AftercareError when two claim the same word."""
    found: dict[str, PayloadKind] = {}
    for kind in [*_shipped(), *_installed()]:
        if kind.KIND in found:
            raise AftercareError(
                f"two payload kinds are called {kind.KIND!r}.", "Uninstall one of the two packages."
            )
        found[kind.KIND] = kind
    return dict(sorted(found.items()))


def _kind(name: str, known: Mapping[str, PayloadKind]) -> PayloadKind:
    try:
        return known[name]
    except KeyError:
        raise AftercareError(
            f"there is no payload kind {name!r}.", f"Known kinds: {', '.join(known)}."
        ) from None


def _shipped() -> list[PayloadKind]:
    names = [found.name for found in pkgutil.iter_modules(__path__)]
    modules = [importlib.import_module(f"{__name__}.{name}") for name in names]
    return [cast("PayloadKind", module) for module in modules if hasattr(module, "KIND")]


def _installed() -> list[PayloadKind]:
    found = plugins.loaded(entry_points(group=ENTRY_POINTS), "payload")
    return [cast("PayloadKind", kind) for _, kind in found]
