"""Packs of Sensor Measurement Lists in JSON, resolved as RFC 8428 says.

Knows the standard and nothing of this program's sensors and quantities.
"""

import base64
import re
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from monitor.errors import PayloadError
from monitor.payloads.text import LARGEST_NUMBER, LATEST_INSTANT_S, shown

#: Version of the format that RFC 8428 defines; packs of a later one must not be used (section 4.4).
VERSION: Final = 10

#: Times below this are relative to now, from it on Unix time. [s] RFC 8428 section 4.5.3.
ABSOLUTE_FROM_S: Final = 2**28

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

#: What a name may be (section 4.5.1).
NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", flags=re.ASCII)
_BASE64URL = re.compile(r"[A-Za-z0-9_-]*", flags=re.ASCII)

Value = float | str | bool | bytes | None


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
        raise PayloadError("SenML is an array of records, and this message is not an array.")
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


def instant_of_sum(at_s: float, sent_at_s: float | None) -> float | None:
    """Base time plus time as an instant [s since 1970, to the millisecond]; else PayloadError.

    None for 0, which says that the device has no clock, and where nobody knows what it is relative to.
    """
    if at_s >= ABSOLUTE_FROM_S:
        instant_s = at_s
    elif at_s == 0 or sent_at_s is None:
        return None
    else:
        instant_s = sent_at_s + at_s
    if not 0 <= instant_s <= LATEST_INSTANT_S:
        raise PayloadError(f"the time {shown(at_s)} does not lead to an instant between 1970 and 2100.")
    return round(float(instant_s), 3)


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
    if not NAME.fullmatch(name):
        raise PayloadError(f"record {place} has the name {shown(name)}, which SenML does not allow.")
    value: Value = fields.get("v")
    if value is None:
        value = _other_value(bases, fields, uses, place)
    elif bases["bv"] is not None:
        value = bases["bv"] + value
    at_s = bases["bt"] + fields.get("t", 0)
    return Record(
        name, fields.get("u", bases["bu"]), value, instant_of_sum(at_s, sent_at_s), _sum(bases, fields)
    )


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
