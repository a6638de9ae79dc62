"""What every payload kind needs: bounded bytes to text, strict JSON, and instants.

Knows no sensor and no quantity.
"""

import json
import re
from typing import Any, Final

from monitor.clock import parse_rfc3339
from monitor.errors import PayloadError

#: Longest payload that is looked at. [bytes] A full day of a sensor's minutes fits; no sensor needs more.
LONGEST_PAYLOAD: Final = 64 * 1024

#: Deepest nesting that is looked at; the same in a live run and in a replay, whatever the stack allows.
DEEPEST_NESTING: Final = 32

#: Numbers from here on are nobody's measurement and would overflow sums. [-]
LARGEST_NUMBER: Final = 1e300

#: Instants that can be a device's own time: 1970 to 2100. [s since 1970]
LATEST_INSTANT_S: Final = 4_102_444_800.0

_RFC3339 = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}:)(\d{2})(\.\d+)?([Zz]|[+-]\d{2}:\d{2})", flags=re.ASCII
)


def text_of(payload: bytes) -> str:
    """The payload as text; PayloadError when it is empty, too long or not UTF-8."""
    if not payload:
        raise PayloadError("the message is empty.", "An empty message only clears a retained one.")
    if len(payload) > LONGEST_PAYLOAD:
        raise PayloadError(f"the message has more than {LONGEST_PAYLOAD} bytes.")
    try:
        return payload.decode()
    except UnicodeDecodeError as error:
        raise PayloadError(f"byte {error.start + 1} of the message is not UTF-8.") from None


def json_of(payload: bytes) -> Any:
    """The payload as a JSON value (RFC 8259), strictly.

    PayloadError for what `text_of` refuses, for what is not JSON, for NaN and infinity, for a name that
    stands twice in one object, and for nesting deeper than DEEPEST_NESTING.
    """
    text = text_of(payload).strip(_BLANKS)
    try:
        value, end = _DECODER.raw_decode(text)
    except RecursionError:
        raise PayloadError(_TOO_DEEP) from None
    except json.JSONDecodeError as error:
        raise PayloadError(
            f"the message is not JSON: {error.msg} at line {error.lineno} column {error.colno}."
        ) from None
    except ValueError:  # a whole number of thousands of digits
        raise PayloadError("a number in the message has too many digits.") from None
    if end != len(text):
        raise PayloadError(f"the message goes on after its JSON value, with {shown(text[end:])}.")
    if payload.count(b"[") + payload.count(b"{") > DEEPEST_NESTING:
        _check_depth(value)
    return value


def instant_of(value: Any) -> float:
    """RFC 3339 text or Unix seconds as an instant [s since 1970, to the millisecond]; else PayloadError."""
    if type(value) is float or type(value) is int:
        at_s = value
    elif isinstance(value, str):
        at_s = _rfc3339_instant(value)
    else:
        raise PayloadError(f"the time {shown(value)} is neither RFC 3339 text nor Unix seconds.")
    if not 0 <= at_s <= LATEST_INSTANT_S:
        raise PayloadError(f"the time {shown(value)} is not between 1970 and 2100; Unix time is in seconds.")
    return round(float(at_s), 3)


def shown(value: Any) -> str:
    """A value out of a payload as a short piece of plain ASCII, safe in any message."""
    text = ascii(value)
    return text if len(text) <= 60 else f"{text[:56]}..."


def _rfc3339_instant(text: str) -> float:
    match = _RFC3339.fullmatch(text)
    if match is None:
        raise PayloadError(f"the time {shown(text)} is not RFC 3339 with an offset.")
    date, minute, second, fraction, offset = match.groups()
    leap_s = 1 if second == "60" else 0  # Unix time has no place for it: it falls on the next second
    plain = f"{date}T{minute}{'59' if leap_s else second}{fraction or ''}{offset.upper()}"
    try:
        return parse_rfc3339(plain) + leap_s
    except (ValueError, OverflowError):
        raise PayloadError(f"the time {shown(text)} does not exist.") from None


def _check_depth(value: Any) -> None:
    level = [value] if isinstance(value, dict | list) else []
    for _ in range(DEEPEST_NESTING):
        level = [
            inner
            for outer in level
            for inner in (outer.values() if isinstance(outer, dict) else outer)
            if isinstance(inner, dict | list)
        ]
        if not level:
            return
    raise PayloadError(_TOO_DEEP)


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise PayloadError(f"the name {shown(twice)} stands twice in one object.")
    return members


def _not_a_number(name: str) -> Any:
    raise PayloadError(f"{name} is not a number in JSON.", "A sensor without a value should leave it out.")


_BLANKS: Final = " \t\r\n"
_TOO_DEEP: Final = f"the message is nested deeper than {DEEPEST_NESTING} levels."
_DECODER: Final = json.JSONDecoder(object_pairs_hook=_once_each, parse_constant=_not_a_number)
