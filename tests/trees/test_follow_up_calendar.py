"""The calendar file: read back by an independent parser, byte for byte the same, and within the standard.

`published`: RFC 5545 3.1 (lines of at most 75 octets, CRLF), 3.6 (PRODID and VERSION), 3.6.1 and 3.8 (UID,
DTSTAMP and an all-day DTSTART in every event; DTEND not inclusive), RFC 7986 5 (NAME, UID, LAST-MODIFIED,
REFRESH-INTERVAL). `independent`: the parser of the package icalendar.
"""

import re
from datetime import UTC, date, datetime, timedelta

from icalendar import Calendar

from monitor.trees.book import Book
from monitor.trees.follow_up_calendar import calendar_bytes
from monitor.trees.follow_ups import done_of, follow_ups_of
from tests.trees.garden import checked, grown, larch, said
from tests.trees.test_follow_ups import BEND, WIRE, WRAP, present

ENTERED = "2026-01-10T16:00:00Z"
BOOK = grown(larch(), *({**entry, "entered_at": ENTERED} for entry in (BEND, WRAP, WIRE)))


def calendar(book: Book, now: str) -> bytes:
    """The calendar of Larch 3 then."""
    moment = present(book, now)
    return calendar_bytes([*follow_ups_of(moment), *done_of(moment)], "Heather Bank")


def events(data: bytes) -> dict[str, dict[str, object]]:
    """What another program reads: the events by UID."""
    return {
        str(event["uid"]): {
            "summary": str(event["summary"]),
            "start": event.decoded("dtstart"),
            "end": event.decoded("dtend"),
            "stamp": event.decoded("dtstamp"),
            "description": str(event["description"]),
        }
        for event in Calendar.from_ical(data).walk("VEVENT")
    }


def test_another_program_reads_what_was_written() -> None:
    """All-day events, each with its tree, its date and its words."""
    follow_ups = follow_ups_of(present(BOOK, "2026-01-12"))
    found = list(events(calendar(BOOK, "2026-01-12")).values())
    assert len(found) == len(follow_ups)
    for event, follow_up in zip(found, follow_ups, strict=True):
        assert type(event["start"]) is date
        assert event["start"] == follow_up.due_on
        assert event["end"] == follow_up.due_on + timedelta(days=1)
        assert str(event["summary"]).startswith(f"Larch 3: {follow_up.label}")
        assert follow_up.text in str(event["description"])
        assert follow_up.source in str(event["description"])


def test_the_calendar_has_what_the_standards_ask_for() -> None:
    """RFC 5545 and RFC 7986."""
    read = Calendar.from_ical(calendar(BOOK, "2026-01-12"))
    assert read["version"] == "2.0"
    assert read["prodid"]
    assert read["name"] == "Heather Bank: trees to look after"
    assert read["uid"]
    assert read["refresh-interval"].params["VALUE"] == "DURATION"
    assert "method" not in read
    assert read.errors == []


def test_lines_are_short_and_end_as_they_should() -> None:
    """At most 75 octets without the line break, also with long and accented words; CRLF throughout."""
    book = grown(
        larch(name="Käthe's very old and heavily bent Lärche beside the northern door, 3", tree="larch-3")
    )
    book = grown(BEND, said("done", "2026-01-11", follow_up="crack-check", note="nö crack " * 30), book=book)
    data = calendar(book, "2026-01-12")
    assert data.endswith(b"END:VCALENDAR\r\n")
    lines = data.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    assert any("nö crack nö crack" in str(event["description"]) for event in events(data).values())


def test_whatever_people_write_comes_back_word_for_word() -> None:
    """Commas, semicolons, backslashes, other scripts, over many folded lines."""
    name = "Yew; by the door, \\ or so"
    note = "one two\\n three; four, 五葉松 \U0001f332 " + "ü" * 80
    book = grown(larch(name=name, tree="larch-3"), BEND)
    book = grown(said("done", "2026-01-11", follow_up="crack-check", note=note), book=book)

    found = events(calendar(book, "2026-01-12")).values()

    assert all(str(event["summary"]).removeprefix("Done: ").startswith(f"{name}: ") for event in found)
    assert any(note in str(event["description"]) for event in found)


def test_nothing_changed_gives_the_same_bytes() -> None:
    """An hour or a day later, and after a restart."""
    data = calendar(BOOK, "2026-01-12T08:00")
    assert calendar(BOOK, "2026-01-12T09:00") == data
    assert calendar(BOOK, "2026-01-19") == data
    assert calendar(Book.fold(BOOK.entries, BOOK.house_of), "2026-01-12T08:00") == data


def test_a_done_changes_its_own_event_and_brings_the_next() -> None:
    """It keeps its UID; every other event keeps its bytes."""
    before = events(calendar(BOOK, "2026-01-12"))
    done = said("done", "2026-01-12", follow_up="crack-check", entered_at="2026-01-12T19:00:00Z")
    after = events(calendar(grown(done, book=BOOK), "2026-01-12T20:00"))
    (uid,) = (uid for uid, event in before.items() if event["summary"] == "Larch 3: Cracks")
    assert after[uid]["summary"] == "Done: Larch 3: Cracks"
    assert after[uid]["start"] == date(2026, 1, 12)
    (new,) = set(after) - set(before)
    assert (after[new]["summary"], after[new]["start"]) == ("Larch 3: Cracks", date(2026, 1, 18))
    assert {key: after[key] for key in before if key != uid} == {
        key: event for key, event in before.items() if key != uid
    }


def test_the_stamp_is_when_an_event_last_changed() -> None:
    """Never the hour of the export."""
    stamps = {event["stamp"] for event in events(calendar(BOOK, "2026-01-12")).values()}
    assert stamps == {datetime(2026, 1, 10, 16, tzinfo=UTC)}


def test_two_sites_share_no_uid() -> None:
    """The same tree id in another garden is another tree."""
    follow_ups = follow_ups_of(present(BOOK, "2026-01-12"))
    one, other = (set(events(calendar_bytes(follow_ups, site))) for site in ("Heather Bank", "Far End"))
    assert not one & other
    assert all(re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", uid) for uid in one)


def test_a_calendar_of_nothing_is_still_a_calendar() -> None:
    """A new garden."""
    assert events(calendar_bytes([], "Heather Bank")) == {}


def test_two_events_never_share_a_uid() -> None:
    """The same thing done twice at the same instant, for two parts."""
    entries = [said("done", "2026-02-01", follow_up="wire-check", part=part) for part in ("low", "top")]
    book = BOOK
    for entry in entries:
        book = book.with_entry(checked(book, **entry))
    data = calendar(book, "2026-02-02")
    uids = [str(event["uid"]) for event in Calendar.from_ical(data).walk("VEVENT")]
    assert len(uids) == len(set(uids))
    assert sum("Done: " in str(event["summary"]) for event in events(data).values()) == 2
