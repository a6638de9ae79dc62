"""The follow-ups as an iCalendar file (RFC 5545, RFC 7986): all-day events that any calendar can read.

Nothing in it depends on when it is written: the same follow-ups give the same bytes. Each event keeps its UID
from the day it comes into sight until after it was done.
"""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5

from icalendar import Calendar, Event

from monitor.trees.moment import FollowUpNow

PRODUCT = "-//greenhouse-aftercare-monitor//follow-ups//EN"
REFRESH_EVERY = timedelta(hours=6)


def calendar_bytes(follow_ups: Iterable[FollowUpNow], site: str) -> bytes:
    """The calendar of these follow-ups, coming ones and done ones together, in order of their dates."""
    events = sorted(
        follow_ups, key=lambda each: (each.due_on, each.tree, each.name, each.part, each.anchor, each.status)
    )
    modified_at_s = max((each.modified_at_s for each in events), default=0.0)
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("uid", _uid(site, "calendar"))
    calendar.add("name", f"{site}: trees to look after")
    calendar.add("last-modified", _utc(modified_at_s))
    calendar.add("refresh-interval", REFRESH_EVERY, parameters={"VALUE": "DURATION"})
    seen: set[str] = set()
    for each in events:
        uid = _uid(site, each.tree, each.name, each.anchor)
        if uid in seen:
            uid = _uid(site, each.tree, each.name, each.anchor, each.part, each.due_on.isoformat())
        if uid not in seen:
            calendar.add_component(_event(each, uid))
        seen.add(uid)
    return bytes(calendar.to_ical(sorted=False))


def _event(follow_up: FollowUpNow, uid: str) -> Event:
    event = Event()
    event.add("uid", uid)
    event.add("dtstamp", _utc(follow_up.modified_at_s))
    event.add("last-modified", _utc(follow_up.modified_at_s))
    event.add("dtstart", follow_up.due_on)
    event.add("dtend", follow_up.due_on + timedelta(days=1))
    about = f" ({follow_up.part})" if follow_up.part else ""
    done = "Done: " if follow_up.status == "done" else ""
    event.add("summary", f"{done}{follow_up.tree_name}: {follow_up.label}{about}")
    said = (follow_up.text, follow_up.because, follow_up.note, follow_up.source)
    event.add("description", "\n".join(line for line in said if line))
    event.add("categories", [follow_up.name])
    event.add("transp", "TRANSPARENT")
    return event


def _uid(*parts: str) -> str:
    return str(uuid5(NAMESPACE_URL, "urn:aftercare:" + "/".join(parts)))


def _utc(at_s: float) -> datetime:
    return datetime.fromtimestamp(int(at_s), UTC)
