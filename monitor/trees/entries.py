"""Checks one entry of the book and brings it into its one written form; it changes nothing.

First each key by itself, from the table in `kinds.py`; then what the entry says against the book and the
configuration (`rules.py`). It knows no files and asks nobody what time it is.
"""

import hashlib
import json
import math
import re
import unicodedata
from collections.abc import Callable, Collection, Mapping
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any

from monitor.clock import rfc3339
from monitor.errors import BookError, Problem
from monitor.nearest import nearest
from monitor.trees.kinds import ENTRY_KINDS, EntryField, FieldType, entry_fields
from monitor.trees.rules import Against, problems_against

if TYPE_CHECKING:
    from monitor.settings import House, Sensor
    from monitor.trees.book import Book

AHEAD_S = 300.0
"""How far in the future an entry's time may lie: clocks of phones differ."""

_ID = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}\Z")
_ENTRY_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,62}\Z")
_NOT_CONTENT = ("id", "by", "entered_at")


class _Wrong(Exception):
    """One value cannot be taken: what is wrong with it, and what to do."""

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


def check_entry(
    values: Mapping[str, Any],
    book: "Book",
    sensors: "Mapping[str, Sensor]",
    houses: "Mapping[str, House]",
    now_s: float,
    *,
    people: Collection[str] | None = None,
    follow_ups: Collection[str] | None = None,
    zone: tzinfo | None = None,
) -> dict[str, Any]:
    """The entry in its written form: ids, numbers, instants as RFC 3339 with `Z`, its `id`, `entered_at`.

    Values may be text (the command line, a form) or JSON's own types; empty ones count as left out. `at` and
    `entered_at` are `now_s` where left out. With a `zone`, times without an offset are that zone's.
    `people` and `follow_ups` are the ids that `duty` and `done` may name; None leaves them unchecked.
    Raises BookError with every problem found. A known entry passes as it stands in the book.
    """
    entry, problems = normalised(values, zone)
    if problems:
        raise BookError(problems)
    entry.setdefault("at", rfc3339(now_s))
    known = book.by_id.get(entry.get("id") or entry_id(entry))
    if known is not None and known["id"] not in book.voided and entry_id(known) == entry_id(entry):
        return dict(known)
    entry.setdefault("entered_at", rfc3339(now_s))
    against = Against(book, sensors, houses, people, follow_ups)
    problems = [*future_problems(entry, now_s), *problems_against(entry, against)]
    if known is not None and not problems:
        problems = [_known_problem(known, entry, book)]
    if problems:
        raise BookError(problems)
    return finished(entry)


def _known_problem(known: Mapping[str, Any], entry: Mapping[str, Any], book: "Book") -> Problem:
    """An id stands for one content, and an entry once voided does not come back by being written again."""
    if entry_id(known) != entry_id(entry):
        return _problem("id", f"{known['id']!r} is another entry already.", "Leave the id out.")
    void = book.voided[known["id"]]
    return _problem("id", "this very entry was voided.", f"Void {void} to take it back.")


def finished(entry: Mapping[str, Any]) -> dict[str, Any]:
    """The entry with its id, keys in their written order."""
    order = ["id", "at", "kind", *(field.name for field in entry_fields(entry["kind"]))]
    full = {**entry, "id": entry.get("id") or entry_id(entry)}
    return {key: full[key] for key in dict.fromkeys(order) if key in full}


def entry_id(values: Mapping[str, Any]) -> str:
    """The id that an entry's content makes: 16 hex digits, whoever entered it and whenever.

    The same content in another spelling (an offset, 4 for 4.0, "Larch 3" for larch-3) has the same id.
    """
    content = {key: value for key, value in values.items() if key not in _NOT_CONTENT}
    entry, problems = normalised(content)
    text = json.dumps(content if problems else entry, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def tree_id_from_name(name: str) -> str:
    """The id that a name makes: `Larch 3` -> `larch-3`, `Käthe's Yew` -> `kathe-s-yew`; may be empty."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9_]+", "-", plain).strip("-_")[:63].strip("-_")


def normalised(values: Mapping[str, Any], zone: tzinfo | None = None) -> tuple[dict[str, Any], list[Problem]]:
    """Each key by itself: the entry in its written form as far as that goes, and what is wrong with it."""
    given = {str(key): value for key, value in values.items() if value is not None and value != ""}
    kind = given.pop("kind", None)
    if kind is None:
        return {}, [_problem("kind", "is missing.", f"Say one of: {', '.join(ENTRY_KINDS)}.")]
    if kind not in ENTRY_KINDS:
        return {}, [_problem("kind", f"{kind!r} is no kind of entry.", nearest(str(kind), ENTRY_KINDS))]
    fields = {field.name: field for field in entry_fields(kind)}
    entry: dict[str, Any] = {"kind": kind}
    unknown = sorted(given.keys() - fields)
    problems = [_problem(key, f"is not a key of {kind!r}.", nearest(key, fields)) for key in unknown]
    for name, field in fields.items():
        if name in given:
            try:
                entry[name] = _value(field, given[name], zone)
            except _Wrong as wrong:
                problems.append(_problem(name, wrong.message, wrong.hint))
        elif field.required:
            problems.append(_problem(name, "is missing.", f"Add it: {field.help}."))
    problems += _group_problems(kind, given)
    if kind == "tree" and not problems:
        problems += _named(entry)
    return entry, problems


def future_problems(entry: Mapping[str, Any], now_s: float) -> list[Problem]:
    """What lies too far ahead to have happened."""
    return [
        _problem(
            key,
            f"{entry[key]} has not come yet.",
            "An entry says what was done or seen; give the time it happened, or leave it out for now.",
        )
        for key in ("at", "entered_at")
        if key in entry and datetime.fromisoformat(entry[key]).timestamp() > now_s + AHEAD_S
    ]


def _group_problems(kind: str, given: Mapping[str, Any]) -> list[Problem]:
    problems = []
    for group in ENTRY_KINDS[kind].one_of:
        there = [name for name in group if name in given]
        if len(there) != 1:
            said = "is missing." if not there else f"and {there[1]} cannot both be given."
            problems.append(_problem((there or group)[0], said, f"Give one of: {', '.join(group)}."))
    return problems


def _named(entry: dict[str, Any]) -> list[Problem]:
    """A tree has an id: its own, or made from its name."""
    if len(entry.get("name", "")) > 80:
        return [_problem("name", "is longer than 80 characters.", "Shorten it.")]
    if "tree" not in entry:
        if "name" not in entry:
            return [_problem("name", "is missing.", 'Add it: what you call the tree, "Larch 3" for example.')]
        made = tree_id_from_name(entry["name"])
        if not made:
            return [_problem("tree", f"no id can be made from {entry['name']!r}.", "Give one: larch-3.")]
        entry["tree"] = made
    return []


# ---- one value -----------------------------------------------------------------------------------------


def _value(field: EntryField, given: Any, zone: tzinfo | None) -> Any:
    if field.type is FieldType.INSTANT:
        return _instant(given, zone)
    if field.type is FieldType.NUMBER:
        return _number(field, given)
    return _PARSERS[field.type](field, given)


def _text(field: EntryField, given: Any) -> str:
    if not isinstance(given, str | int | float) or isinstance(given, bool):
        raise _Wrong(f"{given!r} is not a text.", "Write it as words.")
    text = " ".join(str(given).split())
    if not text or not text.isprintable():
        raise _Wrong("has characters that cannot be printed, or nothing else.", "Write it as words.")
    if len(text) > 500:
        raise _Wrong("is longer than 500 characters.", "Shorten it.")
    if field.name == "id" and not _ENTRY_ID.match(text):
        raise _Wrong(f"{text!r} is no id.", "Use letters, digits, - and _; or leave it out.")
    return text


def _id(_field: EntryField, given: Any) -> str:
    if isinstance(given, str):
        if _ID.match(given):
            return given
        made = tree_id_from_name(given)
        if made:
            return made
    raise _Wrong(f"{given!r} is no id.", "Use small letters, digits, - and _, at most 63.")


def _ids(field: EntryField, given: Any) -> list[str]:
    parts = given.split(",") if isinstance(given, str) else given
    if not isinstance(parts, list | tuple) or not all(isinstance(part, str) for part in parts):
        raise _Wrong(f"{given!r} is not a list of ids.", "Separate them by commas: larch-3,yew-2.")
    found = [_id(field, part.strip()) for part in parts if part.strip()]
    if not found:
        raise _Wrong("names nothing.", "Separate ids by commas: larch-3,yew-2.")
    return sorted(set(found))


def _choice(field: EntryField, given: Any) -> str:
    if isinstance(given, str) and given in field.choices:
        return given
    raise _Wrong(f"{given!r} is not known here.", nearest(str(given), field.choices))


def _yes_no(_field: EntryField, given: Any) -> bool:
    if isinstance(given, bool):
        return given
    said = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
    if isinstance(given, str) and given.lower() in said:
        return said[given.lower()]
    raise _Wrong(f"{given!r} is neither yes nor no.", "Say yes or no.")


def _number(field: EntryField, given: Any) -> float | int:
    try:
        if isinstance(given, bool):
            raise ValueError
        number = float(given)
    except (TypeError, ValueError):
        hint = "Write decimals with a point." if "," in str(given) else "Write a plain number."
        raise _Wrong(f"{given!r} is not a number.", hint) from None
    low, high = field.low, field.high
    if not math.isfinite(number) or (low is not None and high is not None and not low <= number <= high):
        raise _Wrong(f"{given} is out of range.", f"It can be {low:g} to {high:g}.")
    return int(number) if number.is_integer() else number


def _instant(given: Any, zone: tzinfo | None) -> str:
    example = "2026-01-09T10:00:00Z" if zone is None else "2026-01-09 10:00"
    try:
        instant = datetime.fromisoformat(given)
    except (TypeError, ValueError):
        raise _Wrong(f"{given!r} is not a date and time.", f"Write it like {example}.") from None
    if instant.tzinfo is None and zone is None:
        raise _Wrong(f"{given!r} has no offset from UTC.", f"Write it like {example}.")
    if instant.tzinfo is None:
        instant = instant.replace(tzinfo=zone)
    if not 1970 < instant.year < 9999:
        raise _Wrong(f"{given!r} is too long ago or too far ahead.", "Look at its year.")
    return rfc3339(instant.timestamp())


_PARSERS: Mapping[FieldType, Callable[[EntryField, Any], Any]] = {
    FieldType.TEXT: _text,
    FieldType.NAME: _id,
    FieldType.TREE: _id,
    FieldType.SENSOR: _id,
    FieldType.HOUSE: _id,
    FieldType.PERSON: _id,
    FieldType.ENTRY: _text,
    FieldType.TREES: _ids,
    FieldType.CHOICE: _choice,
    FieldType.YES_NO: _yes_no,
}


def _problem(key: str, message: str, hint: str = "") -> Problem:
    return Problem(file="", key=key, message=message, hint=hint)
