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

_TEXT, _NUMBER, _BOOLEAN = (str,), (float, int), (bool,)
_FIELDS: Final[Mapping[str, tuple[type, ...]]] = {
    **dict.fromkeys(("bn", "bu", "n", "u", "vs", "vd"), _TEXT),
    **dict.fromkeys(("bt", "bv", "bs", "bver", "v", "s", "t", "ut"), _NUMBER),
    "vb": _BOOLEAN,
}
_BASE_FIELDS: Final = frozenset(("bn", "bt", "bu", "bv", "bs", "bver"))
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", flags=re.ASCII)
_SEPARATORS: Final = "-:./_"
_BASE64URL = re.compile(r"[A-Za-z0-9_-]*", flags=re.ASCII)


class Record(NamedTuple):
    """One resolved record: its whole name, its unit, its value, and its instant.

    `at_s` is None where the device has no clock of its own (a time of 0 or none). `value` is None for a
    record that only carries a sum.
    """

    name: str
    unit: str | None
    value: float | str | bool | bytes | None
    at_s: float | None
    sum: float | None = None


class _Base(NamedTuple):
    """The base fields in force (RFC 8428 section 4.1)."""

    bn: str = ""
    bt: float = 0
    bu: str | None = None
    bv: float | None = None
    bs: float | None = None
    bver: int = VERSION


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
    base = _Base()
    records: list[Record] = []
    for place, fields in enumerate(pack, 1):
        if type(fields) is not dict:
            raise PayloadError(f"record {place} is {shown(fields)} and not an object.")
        has_base, has_entry = _check_fields(fields, place)
        if has_base:
            base = _rebased(base, fields, place)
        if has_entry:
            records.append(_record(base, fields, place, sent_at_s))
    return records


def decoder(sensors: Mapping[str, Sensor]) -> Decode:
    """A function that gives each sensor the temperature, humidity and battery records under its name."""
    owner_of = _ownership(sensors)
    offsets = {(key, quantity): offset_of(sensor, quantity) for key, sensor in sensors.items() for quantity in Quantity}

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
            quantity, shift = UNITS[unit]
            found = temperatures if quantity is Quantity.TEMPERATURE_C else others
            found.append(Sample(owner, quantity, value + shift + offsets[owner, quantity], at_s))
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


def _check_fields(fields: dict[str, Any], place: int) -> tuple[bool, bool]:
    """Whether a record has base fields, and whether it has others, after each was checked for its type."""
    has_base = has_entry = False
    for label, value in fields.items():
        types = _FIELDS.get(label)
        if types is None:
            if label.endswith("_"):
                raise PayloadError(f"record {place} has {shown(label)}, which a reader must understand or refuse.")
            continue
        if type(value) not in types:
            raise PayloadError(f"record {place} has {shown(value)} as {label!r}.")
        if types is _NUMBER and not -LARGEST_NUMBER < value < LARGEST_NUMBER:
            raise PayloadError(f"record {place} has a number as {label!r} that is too large.")
        if label in _BASE_FIELDS:
            has_base = True
        else:
            has_entry = True
    return has_base, has_entry


def _rebased(base: _Base, fields: dict[str, Any], place: int) -> _Base:
    """The base after a record that has base fields of its own."""
    version = fields.get("bver", base.bver)
    if version > VERSION:
        raise PayloadError(f"the pack is of SenML version {version}; this program knows {VERSION}.")
    if version < 1 or version != int(version):
        raise PayloadError(f"record {place} has {shown(version)} as 'bver'.")
    if place > 1 and version != base.bver:
        raise PayloadError(f"record {place} is of another SenML version than those before it.")
    return base._replace(**{label: value for label, value in fields.items() if label in _BASE_FIELDS})


def _record(base: _Base, fields: dict[str, Any], place: int, sent_at_s: float | None) -> Record:
    name = base.bn + fields.get("n", "")
    if not _NAME.fullmatch(name):
        raise PayloadError(f"record {place} has the name {shown(name)}, which SenML does not allow.")
    sum_ = fields.get("s", base.bs)
    if sum_ is not None and "s" in fields and base.bs is not None:
        sum_ += base.bs
    value = _value(base, fields, place)
    if value is None and sum_ is None:
        raise PayloadError(f"record {place} has no value.")
    at_s = base.bt + fields.get("t", 0)
    return Record(name, fields.get("u", base.bu), value, _instant(at_s, sent_at_s), sum_)


def _value(base: _Base, fields: dict[str, Any], place: int) -> float | str | bool | bytes | None:
    """The one value of a record, the base value added to a number; None if it has none."""
    present = [label for label in ("v", "vs", "vb", "vd") if label in fields]
    if len(present) > 1:
        raise PayloadError(f"record {place} has {' and '.join(present)}; one value is allowed.")
    if not present:
        return base.bv if "s" not in fields else None
    value: float | str | bool = fields[present[0]]
    if present[0] == "v":
        return value if base.bv is None else value + base.bv  # type: ignore[operator]
    return _decoded(value, place) if present[0] == "vd" else value


def _decoded(value: Any, place: int) -> bytes:
    """The bytes of a base64url text without padding (RFC 4648 section 5)."""
    if not _BASE64URL.fullmatch(value) or len(value) % 4 == 1:
        raise PayloadError(f"record {place} has data that are not base64url without padding.")
    return base64.urlsafe_b64decode(value + "=" * (-len(value) % 4))


def _instant(at_s: float, sent_at_s: float | None) -> float | None:
    """Base time plus time as an instant to the millisecond; None where the device had no clock."""
    if at_s >= ABSOLUTE_FROM_S:
        instant_s = at_s
    elif at_s == 0 or sent_at_s is None:
        return None
    else:
        instant_s = sent_at_s + at_s
    if not 0 <= instant_s <= LATEST_INSTANT_S:
        raise PayloadError(f"the time {shown(at_s)} does not lead to an instant between 1970 and 2100.")
    return round(instant_s, 3)


def _ownership(sensors: Mapping[str, Sensor]) -> Callable[[str], str | None]:
    """Which sensor a record's name belongs to: the longest fitting name, else the sensor without a name."""
    unnamed = next((key for key, sensor in sensors.items() if sensor.name is None), None)
    prefixes = sorted(
        ((sensor.name.rstrip(_SEPARATORS), key) for key, sensor in sensors.items() if sensor.name is not None),
        key=lambda named: -len(named[0]),
    )

    def owner_of(name: str) -> str | None:
        for prefix, key in prefixes:
            if name.startswith(prefix) and name[len(prefix) : len(prefix) + 1] in _SEPARATORS:
                return key  # the empty text, where the name ends with the prefix, is in any text
        return unnamed

    return owner_of


def _in_order(samples: list[Sample], sent_at_s: float | None) -> list[Sample]:
    """Ascending in time; at one instant temperature comes last, since the others help to judge it."""
    first_at_s = samples[0].observed_at_s
    if all(sample.observed_at_s == first_at_s for sample in samples):
        return samples
    without_s = LATEST_INSTANT_S if sent_at_s is None else sent_at_s
    return sorted(samples, key=lambda at: without_s if at.observed_at_s is None else at.observed_at_s)


def _ratio(name: str) -> PayloadError:
    return PayloadError(
        f"the record {shown(name)} has the unit %, which in SenML is a ratio from 0 to 1 and not a percentage.",
        "Humidity is %RH and a battery %EL; where the device cannot be changed, read it as json by pointers.",
    )


def _nothing(records: list[Record], sensors: Mapping[str, Sensor]) -> PayloadError:
    seen = ", ".join(shown(f"{record.name} ({record.unit or 'no unit'})") for record in records[:3])
    wanted = ", ".join(sensor.name for sensor in sensors.values() if sensor.name is not None)
    return PayloadError(
        f"there is no temperature (Cel), humidity (%RH) or battery (%EL){f' under {wanted}' if wanted else ''};"
        f" the payload has {seen or 'no records'}."
    )
