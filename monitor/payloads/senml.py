"""Payload kind `senml`: a pack of Sensor Measurement Lists in JSON, RFC 8428.

    [{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":4.1},{"n":"air","u":"%RH","v":88.5}]

The unit says which quantity a record is: `Cel` (or `K`) temperature, `%RH` humidity, `%EL` battery; records
in other units are read over. A sensor's `name` is the beginning of its records' names, with or without the
separator that ends it; the longest name that fits gets the record. `ut` is read over for now.
"""

from collections.abc import Callable, Mapping
from typing import Any, Final, NamedTuple

from monitor.errors import PayloadError
from monitor.model import Quantity, Sample
from monitor.payloads.kind import Decode, SettingProblem, keys_without_use, offset_of
from monitor.payloads.senml_pack import NAME, Record, instant_of_sum, resolve
from monitor.payloads.text import LARGEST_NUMBER, LATEST_INSTANT_S, json_of, shown
from monitor.settings import Sensor

KIND = "senml"

#: Unit -> quantity, and what is added to get to the quantity's own unit. RFC 8428 section 12.1.
UNITS: Final[Mapping[str | None, tuple[Quantity, float]]] = {
    "Cel": (Quantity.TEMPERATURE_C, 0.0),
    "K": (Quantity.TEMPERATURE_C, -273.15),
    "%RH": (Quantity.RELATIVE_HUMIDITY_PCT, 0.0),
    "%EL": (Quantity.BATTERY_PCT, 0.0),
}

#: Names and units that are remembered; a device that makes up a name a message must not fill the memory.
MOST_REMEMBERED: Final = 256

_SEPARATORS: Final = "-:./_"
_TEMPERATURE_C: Final = Quantity.TEMPERATURE_C
_NUMBERS: Final = (float, int)
_PLAIN_FIELDS: Final = frozenset(("bn", "bt", "bu", "n", "u", "v", "t"))


class Meaning(NamedTuple):
    """What a record is to us: whose, which quantity, and what is added to its value."""

    sensor: str
    quantity: Quantity
    shift: float


Remembered = dict[tuple[str, str], Meaning | None]
"""Name and unit of records met before -> their meaning, None for those that are read over."""


def decoder(sensors: Mapping[str, Sensor]) -> Decode:
    """A function that gives each sensor the temperature, humidity and battery records under its name."""
    owner_of = _ownership(sensors)
    remembered: Remembered = {}

    def meaning_of(record: Record) -> Meaning | None:
        owner = owner_of(record.name)
        if owner is None or record.unit not in UNITS:
            if owner is not None and record.unit == "%":
                raise _ratio(record.name)
            return None
        quantity, shift = UNITS[record.unit]
        return Meaning(owner, quantity, shift + offset_of(sensors[owner], quantity))

    def decode(payload: bytes, sent_at_s: float | None) -> list[Sample]:
        pack = json_of(payload)
        samples = usual_samples(pack, sent_at_s, remembered)
        if samples is None:
            records = resolve(pack, sent_at_s)
            samples = [_sample(record, meaning) for record in records if (meaning := meaning_of(record))]
            if not samples:
                raise _nothing(records, sensors)
            if len(remembered) < MOST_REMEMBERED:
                remembered.update(
                    {(one.name, one.unit): meaning_of(one) for one in records if one.unit is not None}
                )
        return _in_order(samples, sent_at_s)

    return decode


def usual_samples(pack: Any, sent_at_s: float | None, remembered: Remembered) -> list[Sample] | None:
    """Samples of a pack of plain numbers under names and units met before, else None.

    A device sends the same pack over and over with other numbers, so the names need no second look. What is
    unusual in any way, or wrong, is left to `resolve`, which also finds the words for it.
    """
    base_name: Any = ""
    base_unit: Any = None
    base_at_s: Any = 0
    samples = []
    try:
        for fields in pack:
            if not fields.keys() <= _PLAIN_FIELDS:
                return None
            base_name = fields.get("bn", base_name)
            base_unit = fields.get("bu", base_unit)
            base_at_s = fields.get("bt", base_at_s)
            meaning = remembered[base_name + fields.get("n", ""), fields.get("u", base_unit)]
            value, own_at_s = fields["v"], fields.get("t", 0)
            if (
                type(value) not in _NUMBERS
                or type(base_at_s) not in _NUMBERS
                or type(own_at_s) not in _NUMBERS
            ):
                return None
            at_s = base_at_s + own_at_s
            if not -LARGEST_NUMBER < value < LARGEST_NUMBER or not -LARGEST_NUMBER < at_s < LARGEST_NUMBER:
                return None
            if meaning is not None:
                sensor, quantity, shift = meaning
                samples.append(Sample(sensor, quantity, value + shift, instant_of_sum(at_s, sent_at_s)))
    except (KeyError, TypeError, AttributeError, OverflowError):
        return None
    return samples or None


def problems(sensor: Sensor) -> list[SettingProblem]:
    """A name must be one that SenML allows; pointers have no use."""
    unused = ("quantity", "temperature_c", "relative_humidity_pct", "battery_pct", "observed_at")
    found = keys_without_use(sensor, unused, "SenML says itself what each record is.")
    if sensor.name is not None and not NAME.fullmatch(sensor.name):
        found.append(
            ("name", f"{sensor.name!r} cannot begin a SenML name.", "Use letters, digits and - : . / _ only.")
        )
    return found


def _sample(record: Record, meaning: Meaning) -> Sample:
    sensor, quantity, shift = meaning
    if type(record.value) is not float and type(record.value) is not int:
        raise PayloadError(f"the record {shown(record.name)} in {record.unit} has no number as its value.")
    return Sample(sensor, quantity, record.value + shift, record.at_s)


def _ownership(sensors: Mapping[str, Sensor]) -> Callable[[str], str | None]:
    """Which sensor a record's name belongs to: the longest fitting name, else the sensor without a name."""
    unnamed = next((key for key, sensor in sensors.items() if sensor.name is None), None)
    names = {
        key: sensor.name.rstrip(_SEPARATORS) for key, sensor in sensors.items() if sensor.name is not None
    }
    prefixes = sorted(((name, key) for key, name in names.items()), key=lambda named: -len(named[0]))

    def owner_of(name: str) -> str | None:
        for prefix, key in prefixes:
            if name.startswith(prefix) and name[len(prefix) : len(prefix) + 1] in _SEPARATORS:
                return key  # the empty text, where the name ends with the prefix, is in any text
        return unnamed

    return owner_of


def _in_order(samples: list[Sample], sent_at_s: float | None) -> list[Sample]:
    """Ascending in time; at one instant temperature comes last, since the others help to judge it."""
    if len(samples) == 1:
        return samples
    first, second = samples[0], samples[1]
    if len(samples) == 2 and first[3] == second[3]:
        swapped = first[1] is _TEMPERATURE_C and second[1] is not _TEMPERATURE_C
        return [second, first] if swapped else samples
    without_s = LATEST_INSTANT_S if sent_at_s is None else sent_at_s

    def place(sample: Sample) -> tuple[float, bool]:
        _, quantity, _, at_s = sample
        return without_s if at_s is None else at_s, quantity is _TEMPERATURE_C

    return sorted(samples, key=place)


def _ratio(name: str) -> PayloadError:
    return PayloadError(
        f"the record {shown(name)} has the unit %, which in SenML is a ratio from 0 to 1 and no percentage.",
        "Humidity is %RH and a battery %EL; where the device cannot be changed, read it as json by pointers.",
    )


def _nothing(records: list[Record], sensors: Mapping[str, Sensor]) -> PayloadError:
    seen = ", ".join(f"{shown(record.name)} in {shown(record.unit or 'no unit')}" for record in records[:3])
    wanted = ", ".join(sensor.name for sensor in sensors.values() if sensor.name is not None)
    return PayloadError(
        f"there is no temperature (Cel), humidity (%RH) or battery (%EL)"
        f"{f' under {wanted}' if wanted else ''}; the message has {seen or 'no records'}."
    )
