"""Payload kind `senml`: a pack of Sensor Measurement Lists in JSON, RFC 8428.

    [{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":4.1},{"n":"air","u":"%RH","v":88.5}]

The unit says which quantity a record is: `Cel` (or `K`) temperature, `%RH` humidity, `%EL` battery; records
in other units are read over. A sensor's `name` is the beginning of its records' names, with or without the
separator that ends it; the longest name that fits gets the record. `ut` is read over for now.
"""

import base64
import re
from collections.abc import Callable, Mapping
from typing import Any, Final, NamedTuple

from monitor.errors import PayloadError
from monitor.model import Quantity, Sample
from monitor.payloads.kind import Decode, SettingProblem, keys_without_use, offset_of
from monitor.payloads.text import LARGEST_NUMBER, LATEST_INSTANT_S, json_of, shown
from monitor.settings import Sensor

KIND = "senml"

#: Version of the format that RFC 8428 defines; packs of a later one must not be used (section 4.4).
VERSION: Final = 10

#: Times below this are relative to now, from it on Unix time. [s] RFC 8428 section 4.5.3.
ABSOLUTE_FROM_S: Final = 2**28

#: Unit -> quantity, and what is added to get to the quantity's own unit. RFC 8428 section 12.1.
UNITS: Final[Mapping[str | None, tuple[Quantity, float]]] = {
    "Cel": (Quantity.TEMPERATURE_C, 0.0),
    "K": (Quantity.TEMPERATURE_C, -273.15),
    "%RH": (Quantity.RELATIVE_HUMIDITY_PCT, 0.0),
    "%EL": (Quantity.BATTERY_PCT, 0.0),
}

_TEXT: Final = (str,)
_NUMBER: Final = (float, int)
_BOOLEAN: Final = (bool,)

#: What a field is for: it sets a base, it belongs to an entry, it is the entry's value.
_BASE, _ENTRY, _VALUE = 1, 2, 4

_FIELDS: Final[Mapping[str, tuple[tuple[type, ...], int]]] = {
    "n": (_TEXT, _ENTRY),
    "u": (_TEXT, _ENTRY),
    "v": (_NUMBER, _ENTRY | _VALUE),
    "t": (_NUMBER, _ENTRY),
    "bn": (_TEXT, _BASE),
    "bt": (_NUMBER, _BASE),
    "bu": (_TEXT, _BASE),
    "bv": (_NUMBER, _BASE),
    "bs": (_NUMBER, _BASE),
    "bver": (_NUMBER, _BASE),
    "vs": (_TEXT, _ENTRY | _VALUE),
    "vb": (_BOOLEAN, _ENTRY | _VALUE),
    "vd": (_TEXT, _ENTRY | _VALUE),
    "s": (_NUMBER, _ENTRY),
    "ut": (_NUMBER, _ENTRY),
}
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", flags=re.ASCII)
_SEPARATORS: Final = "-:./_"
_BASE64URL = re.compile(r"[A-Za-z0-9_-]*", flags=re.ASCII)

Value = float | str | bool | bytes | None


_TEMPERATURE_C: Final = Quantity.TEMPERATURE_C


class Record(NamedTuple):
    """One resolved record: its whole name, its unit, its value, and its instant.

    `at_s` is None where the device has no clock of its own (a time of 0 or none). `value` is None for a
    record that only carries a sum.
    """

    name: str
    unit: str | None
    value: Value
    at_s: float | None
    sum: float | None = None


#: The base fields before the first record sets any (RFC 8428 section 4.1).
_NO_BASES: Final[Mapping[str, Any]] = {"bn": "", "bt": 0, "bu": None, "bv": None, "bs": None, "bver": VERSION}


def resolve(pack: Any, sent_at_s: float | None) -> list[Record]:
    """The records of a parsed pack without base fields and relative times, in the order of the pack.

    Parameters
    ----------
    pack
        the JSON value of a payload
    sent_at_s
        what relative times are relative to [s since 1970]; None where it is not known, and then records with
        a relative time have none

    Raises
    ------
    PayloadError
        the pack breaks RFC 8428
    """
    if type(pack) is not list:
        raise PayloadError("SenML is an array of records, and this payload is not an array.")
    bases: Mapping[str, Any] = _NO_BASES
    records: list[Record] = []
    for place, fields in enumerate(pack, 1):
        if type(fields) is not dict:
            raise PayloadError(f"record {place} is {shown(fields)} and not an object.")
        uses = _uses(fields, place)
        if uses & _BASE:
            if "bver" in fields:
                _check_version(fields["bver"], bases["bver"], place)
            bases = {**bases, **fields}  # the other fields come along and are never looked at
        if uses & _ENTRY:
            records.append(_record(bases, fields, uses, place, sent_at_s))
    return records


def decoder(sensors: Mapping[str, Sensor]) -> Decode:
    """A function that gives each sensor the temperature, humidity and battery records under its name."""
    owner_of = _ownership(sensors)
    meanings = {sensor_id: _meanings(sensor) for sensor_id, sensor in sensors.items()}

    def decode(payload: bytes, sent_at_s: float | None) -> list[Sample]:
        records = resolve(json_of(payload), sent_at_s)
        others: list[Sample] = []
        temperatures: list[Sample] = []
        for name, unit, value, at_s, _ in records:
            owner = owner_of(name)
            if owner is None or unit not in UNITS:
                if unit == "%" and owner is not None:
                    raise _ratio(name)
                continue
            if type(value) is not float and type(value) is not int:
                raise PayloadError(f"the record {shown(name)} in {unit} has no number as its value.")
            quantity, shift = meanings[owner][unit]
            found = temperatures if quantity is _TEMPERATURE_C else others
            found.append(Sample(owner, quantity, value + shift, at_s))
        if not others and not temperatures:
            raise _nothing(records, sensors)
        return _in_order(others + temperatures, sent_at_s)

    return decode


def problems(sensor: Sensor) -> list[SettingProblem]:
    """A name must be one that SenML allows; pointers have no use."""
    unused = ("quantity", "temperature_c", "relative_humidity_pct", "battery_pct", "observed_at")
    found = keys_without_use(sensor, unused, "SenML says itself what each record is.")
    if sensor.name is not None and not _NAME.fullmatch(sensor.name):
        found.append(
            ("name", f"{sensor.name!r} cannot begin a SenML name.", "Use letters, digits and - : . / _ only.")
        )
    return found


def _uses(fields: dict[str, Any], place: int) -> int:
    """What the fields of a record are for, after each was checked for its type."""
    uses = 0
    for label, value in fields.items():
        known = _FIELDS.get(label)
        if known is None:
            if label.endswith("_"):
                raise PayloadError(
                    f"record {place} has {shown(label)}: who does not know it must not read on."
                )
            continue
        types, use = known
        if type(value) not in types:
            raise PayloadError(f"record {place} has {shown(value)} as {label!r}.")
        if types is _NUMBER and not -LARGEST_NUMBER < value < LARGEST_NUMBER:
            raise PayloadError(f"record {place} has a number as {label!r} that is too large.")
        if use & uses & _VALUE:
            raise PayloadError(f"record {place} has two values; one is allowed.")
        uses |= use
    return uses


def _check_version(version: float, before: float, place: int) -> None:
    if version > VERSION:
        raise PayloadError(f"the pack is of SenML version {version}; this program knows {VERSION}.")
    if version < 1 or version != int(version):
        raise PayloadError(f"record {place} has {shown(version)} as 'bver'.")
    if place > 1 and version != before:
        raise PayloadError(f"record {place} is of another SenML version than those before it.")


def _record(
    bases: Mapping[str, Any], fields: dict[str, Any], uses: int, place: int, sent_at_s: float | None
) -> Record:
    name = bases["bn"] + fields.get("n", "")
    if not _NAME.fullmatch(name):
        raise PayloadError(f"record {place} has the name {shown(name)}, which SenML does not allow.")
    value: Value = fields.get("v")
    if value is None:
        value = _other_value(bases, fields, uses, place)
    elif bases["bv"] is not None:
        value = bases["bv"] + value
    at_s = bases["bt"] + fields.get("t", 0)
    own_at_s = None if at_s == 0 else _instant(at_s, sent_at_s)
    return Record(name, fields.get("u", bases["bu"]), value, own_at_s, _sum(bases, fields))


def _sum(bases: Mapping[str, Any], fields: dict[str, Any]) -> float | None:
    base: float | None = bases["bs"]
    own: float | None = fields.get("s")
    return base if own is None else own if base is None else base + own


def _other_value(bases: Mapping[str, Any], fields: dict[str, Any], uses: int, place: int) -> Value:
    """The value of a record that has no number of its own: text, a truth, data, or the base value alone."""
    if not uses & _VALUE:
        if "s" not in fields and bases["bv"] is None:
            raise PayloadError(f"record {place} has no value.")
        value: Value = None if "s" in fields else bases["bv"]
        return value
    return _decoded(fields["vd"], place) if "vd" in fields else fields.get("vs", fields.get("vb"))


def _decoded(value: Any, place: int) -> bytes:
    """The bytes of a base64url text without padding (RFC 4648 section 5)."""
    if not _BASE64URL.fullmatch(value) or len(value) % 4 == 1:
        raise PayloadError(f"record {place} has data that are not base64url without padding.")
    return base64.urlsafe_b64decode(value + "=" * (-len(value) % 4))


def _instant(at_s: float, sent_at_s: float | None) -> float | None:
    """Base time plus time as an instant to the millisecond; None if it is relative to nobody knows what."""
    if at_s >= ABSOLUTE_FROM_S:
        instant_s = at_s
    elif sent_at_s is None:
        return None
    else:
        instant_s = sent_at_s + at_s
    if not 0 <= instant_s <= LATEST_INSTANT_S:
        raise PayloadError(f"the time {shown(at_s)} does not lead to an instant between 1970 and 2100.")
    return round(float(instant_s), 3)


def _meanings(sensor: Sensor) -> dict[str | None, tuple[Quantity, float]]:
    """The units with what is to be added, the sensor's own offset included."""
    return {unit: (quantity, add + offset_of(sensor, quantity)) for unit, (quantity, add) in UNITS.items()}


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
    if len(samples) == 1 or len({sample[3] for sample in samples}) == 1:
        return samples
    without_s = LATEST_INSTANT_S if sent_at_s is None else sent_at_s
    return sorted(samples, key=lambda at: without_s if at.observed_at_s is None else at.observed_at_s)


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
        f"{f' under {wanted}' if wanted else ''}; the payload has {seen or 'no records'}."
    )
