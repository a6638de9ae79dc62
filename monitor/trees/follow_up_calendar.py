"""The follow-ups as an iCalendar file (RFC 5545, RFC 7986): all-day events that any calendar can read.

Nothing in it depends on when it is written: the same follow-ups give the same bytes. Each event keeps its UID
from the day it comes into sight until after it was done. It is written by hand: the guard makes one each
morning and should neither load a library for that nor wait for it.
"""

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5

from monitor.trees.moment import FollowUpNow

PRODUCT = "-//greenhouse-aftercare-monitor//follow-ups//EN"
REFRESH_EVERY = "PT6H"
LINE_OCTETS = 75
"""RFC 5545, 3.1: the longest line, without its end."""


def calendar_bytes(follow_ups: Iterable[FollowUpNow], site: str) -> bytes:
    """The calendar of these follow-ups, coming ones and done ones together, in order of their dates."""
    events = sorted(
        follow_ups, key=lambda each: (each.due_on, each.tree, each.name, each.part, each.anchor, each.status)
    )
    modified_at_s = max((each.modified_at_s for each in events), default=0.0)
    lines = [
        "BEGIN:VCALENDAR",
        f"PRODID:{_text(PRODUCT)}",
        "VERSION:2.0",
        "CALSCALE:GREGORIAN",
        f"UID:{_uid(site, 'calendar')}",
        f"NAME:{_text(f'{site}: trees to look after')}",
        f"LAST-MODIFIED:{_utc(modified_at_s)}",
        f"REFRESH-INTERVAL;VALUE=DURATION:{REFRESH_EVERY}",
    ]
    seen: set[str] = set()
    for each in events:
        uid = _uid(site, each.tree, each.name, each.anchor)
        if uid in seen:
            uid = _uid(site, each.tree, each.name, each.anchor, each.part, each.due_on.isoformat())
        if uid not in seen:
            lines += _event(each, uid)
        seen.add(uid)
    lines.append("END:VCALENDAR")
    return b"".join(map(_folded, lines))


def _event(follow_up: FollowUpNow, uid: str) -> list[str]:
    about = f" ({follow_up.part})" if follow_up.part else ""
    done = "Done: " if follow_up.status == "done" else ""
    said = (follow_up.text, follow_up.because, follow_up.note, follow_up.source)
    return [
        "BEGIN:VEVENT",
        f"UID:{uid}",
        f"DTSTAMP:{_utc(follow_up.modified_at_s)}",
        f"LAST-MODIFIED:{_utc(follow_up.modified_at_s)}",
        f"DTSTART;VALUE=DATE:{_date(follow_up.due_on)}",
        f"DTEND;VALUE=DATE:{_date(follow_up.due_on + timedelta(days=1))}",
        f"SUMMARY:{_text(f'{done}{follow_up.tree_name}: {follow_up.label}{about}')}",
        f"DESCRIPTION:{_text(chr(10).join(line for line in said if line))}",
        f"CATEGORIES:{_text(follow_up.name)}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


def _text(value: str) -> str:
    """A TEXT value (RFC 5545, 3.3.11): some characters are escaped, control characters cannot be in it."""
    lines = value.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    plain = ("".join(char if char >= " " and char != "\x7f" else " " for char in line) for line in lines)
    escaped = (line.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,") for line in plain)
    return "\\n".join(escaped)


def _folded(line: str) -> bytes:
    """A line in pieces of at most 75 octets that split no character, each with its end."""
    data = line.encode("utf-8", "replace")
    pieces = []
    room = LINE_OCTETS
    while len(data) > room:
        cut = room
        while data[cut] & 0xC0 == 0x80:
            cut -= 1
        pieces.append(data[:cut])
        data, room = data[cut:], LINE_OCTETS - 1
    return b"\r\n ".join([*pieces, data]) + b"\r\n"


def _uid(*parts: str) -> str:
    return str(uuid5(NAMESPACE_URL, "urn:aftercare:" + "/".join(parts)))


def _utc(at_s: float) -> str:
    return datetime.fromtimestamp(int(at_s), UTC).strftime("%Y%m%dT%H%M%SZ")


def _date(on: date) -> str:
    return on.strftime("%Y%m%d")
