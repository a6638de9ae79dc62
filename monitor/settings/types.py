"""The kinds of values that settings are made of: names, topics, times of day, bounded numbers.

Each refuses what it cannot be in our own words, with what to do. It knows no key of the settings.
"""

import re
from collections.abc import Sized
from typing import Annotated, Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, BeforeValidator, Field
from pydantic_core import PydanticCustomError

from monitor.nearest import nearest

_TIME_OF_DAY = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
_LISTEN = re.compile(r"(\[[0-9a-fA-F:.]+\]|[A-Za-z0-9._-]+):([0-9]{1,5})")


def refused(message: str, hint: str = "") -> PydanticCustomError:
    """An error of a value in our own words."""
    return PydanticCustomError("aftercare", "{message}", {"message": message, "hint": hint})


def between(low: float, high: float) -> AfterValidator:
    """A number from `low` to `high`, both allowed."""

    def check(value: float) -> float:
        if not low <= value <= high:
            raise refused(f"{value:g} is out of range.", f"Write a number from {low:g} to {high:g}.")
        return value

    return AfterValidator(check)


def not_empty(message: str, hint: str) -> AfterValidator:
    """A list with something in it."""

    def check(value: Sized) -> Sized:
        if not len(value):
            raise refused(message, hint)
        return value

    return AfterValidator(check)


def _no_flag(value: Any) -> Any:
    if isinstance(value, bool):
        raise refused("this must be a number.", "Write it in digits, without quotes.")
    return value


def _text(longest: int, may_be_empty: bool = False) -> AfterValidator:
    def check(value: str) -> str:
        if not value and may_be_empty:
            return value
        if not value.strip():
            raise refused("this is empty.", f"Write 1 to {longest} printable characters.")
        if len(value) > longest:
            raise refused(f"this has {len(value)} characters.", f"Write at most {longest}.")
        if not value.isprintable():
            raise refused(
                "this holds a character that cannot be printed.", "Write it without tabs or breaks."
            )
        return value

    return AfterValidator(check)


def _zone(value: str) -> str:
    try:
        ZoneInfo(value)
    except (OSError, ValueError, KeyError):
        hint = nearest(
            value, available_timezones(), 'Write it as area and city, for example "Europe/London".'
        )
        raise refused(f'there is no time zone "{value}".', hint) from None
    return value


def _time_of_day(value: str) -> str:
    if not _TIME_OF_DAY.fullmatch(value):
        raise refused(f'"{value}" is not a time of day.', 'Write hours and minutes, for example "06:45".')
    return value


def _topic(value: str) -> str:
    if not value:
        raise refused("the topic is empty.", "Write the topic that the sensor publishes to.")
    if "+" in value or "#" in value:
        raise refused(
            "a topic here stands for one sensor, so + and # cannot be in it.", "Write the whole topic."
        )
    if value.startswith("$share"):
        raise refused("a shared subscription would lose messages.", "Write the topic without $share.")
    if not value.isprintable() or len(value.encode()) > 65535:
        raise refused("MQTT allows no such topic.", "Write printable characters only.")
    return value


def _listen(value: str) -> str:
    match = _LISTEN.fullmatch(value)
    if match is None or not 0 <= int(match[2]) <= 65535:
        raise refused(f'"{value}" is not an address with a port.', 'Write for example "127.0.0.1:8380".')
    return value


def _web_address(value: str) -> str:
    try:
        parts = urlsplit(value)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        usable = False
    if not usable:
        raise refused("this is not a web address.", 'Write it as "https://example.org/alive".')
    return value


Id = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9_-]{0,62}$")]
Name = Annotated[str, _text(80)]
NameOrNone = Annotated[str, _text(80, may_be_empty=True)]
Text = Annotated[str, _text(255)]
Zone = Annotated[str, AfterValidator(_zone)]
TimeOfDay = Annotated[str, AfterValidator(_time_of_day)]
Topic = Annotated[str, AfterValidator(_topic)]
Listen = Annotated[str, AfterValidator(_listen)]
WebAddress = Annotated[str, AfterValidator(_web_address)]
Number = Annotated[float, BeforeValidator(_no_flag)]
Count = Annotated[int, BeforeValidator(_no_flag)]
