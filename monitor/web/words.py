"""How the page says dates, spans, temperatures, and the short names of the book's keys; pure."""

from collections.abc import Callable, Mapping
from datetime import date, datetime, tzinfo
from typing import Any

from monitor.clock import local, parse_rfc3339
from monitor.notices.words import Speech

STATES: Mapping[str, str] = {
    "unacknowledged": "not seen yet",
    "acknowledged": "seen",
    "returned-unacknowledged": "over, not seen yet",
    "shelved": "quiet",
    "suppressed": "held back",
    "out-of-service": "at rest",
}
LIMITS: Mapping[str, str] = {
    "low_warn_c": "tender below",
    "low_harm_c": "damage likely below",
    "high_warn_c": "too warm above",
    "high_harm_c": "damage likely above",
    "vpd_warn_kpa": "drying air above",
    "root_warn_c": "roots tender below",
    "root_harm_c": "damage to roots likely below",
}
QUALITIES: Mapping[str, str] = {
    "good": "",
    "suspect": "doubtful",
    "failed": "cannot be right",
    "missing": "nothing heard yet",
    "silent": "silent",
    "at-rest": "at rest",
}
PLACES: Mapping[str, str] = {"bench": "", "outdoor": "outdoors", "pot": "in a pot", "other": ""}


def plain(text: str) -> str:
    """An id or a choice as words: `heavy-bend` -> `heavy bend`."""
    return text.replace("-", " ").replace("_", " ")


def capital(text: str) -> str:
    """The same with a capital letter at its beginning."""
    return text[:1].upper() + text[1:]


def day(when: date) -> str:
    """`24 January`."""
    return f"{when.day} {when:%B}"


def day_of(at_s: float, zone: tzinfo) -> str:
    """The local date of a label [s]: `24 January`."""
    return day(local(at_s, zone).date())


def clock_time(at_s: float, zone: tzinfo) -> str:
    """Local time of day of a label [s]; `not yet` before anything happened."""
    return f"{local(at_s, zone):%H:%M}" if at_s else "not yet"


def when(at_s: float, zone: tzinfo, now_s: float) -> str:
    """`03:10` today, `yesterday 03:10`, `24 January 03:10`; with the year where it is another."""
    then, today = local(at_s, zone), local(now_s, zone).date()
    days = (today - then.date()).days
    if days == 0:
        return f"{then:%H:%M}"
    if days == 1:
        return f"yesterday {then:%H:%M}"
    year = f" {then.year}" if then.year != today.year else ""
    return f"{day(then.date())}{year} {then:%H:%M}"


def span(seconds: float) -> str:
    """A span as people say it: `40 s`, `12 min`, `3 h`, `2 days`; number and unit stay on one line."""
    seconds = max(0.0, seconds)
    if seconds < 90:
        return f"{seconds:.0f}\u00a0s"
    if seconds < 90 * 60:
        return f"{seconds / 60:.0f}\u00a0min"
    if seconds < 36 * 3600:
        return f"{seconds / 3600:.0f}\u00a0h"
    return f"{seconds / 86400:.0f}\u00a0days"


def ago(at_s: float, now_s: float) -> str:
    """`12 min ago`; `just now` within a minute."""
    return "just now" if now_s - at_s < 60 else f"{span(now_s - at_s)} ago"


def apart(speech: Speech, value_k: float) -> str:
    """A difference of temperatures, short: `1.2°`."""
    shown = abs(value_k) * (9 / 5 if speech.show == "fahrenheit" else 1)
    return f"{shown:.1f}°"


def distance(speech: Speech, margin_k: float | None) -> str:
    """How far from the frost line: `1.2° above`, `0.4° below`."""
    if margin_k is None:
        return "not known"
    if abs(margin_k) < 0.05:
        return "at the line"
    return f"{apart(speech, margin_k)} {'above' if margin_k > 0 else 'below'}"


def trend(speech: Speech, falling_k_per_h: float | None) -> str:
    """`falling 1.2° an hour`; nothing where it is not known."""
    if falling_k_per_h is None:
        return ""
    if abs(falling_k_per_h) <= 0.2:
        return "steady"
    word = "falling" if falling_k_per_h > 0 else "rising"
    return f"{word} {apart(speech, falling_k_per_h)} an hour"


def limit_value(speech: Speech, key: str, value: float) -> str:
    """A limit with its unit."""
    return speech.limit(value) if key.endswith("_c") else f"{value:g} kPa"


def listed(parts: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def counted(number: int, thing: str) -> str:
    """`1 tree`, `3 trees`."""
    return f"{number} {thing}{'' if number == 1 else 's'}"


def local_day(text: str, zone: tzinfo) -> date:
    """The local date of an RFC 3339 instant."""
    return local(parse_rfc3339(text), zone).date()


def input_time(at_s: float, zone: tzinfo) -> str:
    """A label as a form's date and time: `2027-01-15T03:10`."""
    return f"{local(at_s, zone):%Y-%m-%dT%H:%M}"


def iso_day(text: str) -> str:
    """A report's date as people say it: `2027-01-15` -> `Friday 15 January 2027`."""
    found = datetime.fromisoformat(text).date()
    return f"{found:%A} {found.day} {found:%B %Y}"


FILTERS: Mapping[str, Callable[..., Any]] = {"plain": plain, "capital": capital, "iso_day": iso_day}
