"""What a payload kind is: the shape that every module of this folder with a `KIND` has.

Knows no kind in particular.
"""

from collections.abc import Callable, Mapping
from typing import Protocol

from monitor.model import Quantity, Sample
from monitor.settings import Sensor

Decode = Callable[[bytes, float | None], list[Sample]]
"""Payload and instant of sending [s since 1970] -> samples, ascending in time.

The instant is None where nobody knows it, as with a retained message: then only a device's absolute times
count, and a sample without one has no time. Raises PayloadError and nothing else.
"""

SettingProblem = tuple[str, str, str]
"""Key of the sensor, what is wrong, what to do."""


class PayloadKind(Protocol):
    """What a payload module must offer."""

    KIND: str
    """The word that stands in the settings, `payload = "senml"`."""

    def decoder(self, sensors: Mapping[str, Sensor]) -> Decode:
        """A function that decodes the payloads of one topic for the sensors that share it."""

    def problems(self, sensor: Sensor) -> list[SettingProblem]:
        """What is wrong with this sensor's settings, as far as this kind can tell."""


def offset_of(sensor: Sensor, quantity: Quantity) -> float:
    """What a test at a known point says must be added to the sensor's values, in the quantity's unit."""
    if quantity is Quantity.TEMPERATURE_C:
        return sensor.temperature_offset_k
    if quantity is Quantity.RELATIVE_HUMIDITY_PCT:
        return sensor.humidity_offset_pct
    return 0.0


def keys_without_use(sensor: Sensor, keys: tuple[str, ...], why: str) -> list[SettingProblem]:
    """A problem for each key that is set although this kind has no use for it."""
    return [(key, why, "Remove this key.") for key in keys if getattr(sensor, key) is not None]
