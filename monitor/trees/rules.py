"""What an entry says, held against the book and the configuration; it changes nothing.

Every rule gives problems of one sentence and a hint each. It takes entries in their written form only
(`entries.py` makes them).
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from monitor.clock import parse_rfc3339, rfc3339
from monitor.errors import Problem
from monitor.nearest import nearest
from monitor.trees.kinds import AFTER_LEAVE, LIMIT_RANGES, FieldType, entry_fields

if TYPE_CHECKING:
    from monitor.settings import House, Sensor
    from monitor.trees.book import Book
    from monitor.trees.tree import Tree

Values = Mapping[str, Any]

LONGEST_REST_S = 86_400.0
"""How long a sensor may rest while a tree depends on it."""


@dataclass(frozen=True, slots=True)
class Against:
    """What an entry is held against.

    `importing`: the book holds the whole import already, so that lines may stand in any order and may speak
    of what another line voids; the order of wrap and unwrap is then not judged.
    """

    book: "Book"
    sensors: "Mapping[str, Sensor]"
    houses: "Mapping[str, House]"
    people: Collection[str] | None = None
    follow_ups: Collection[str] | None = None
    importing: bool = False

    @property
    def tree_ids(self) -> set[str]:
        """The trees that an entry may name."""
        known = set(self.book.trees)
        if self.importing:
            known |= {values["tree"] for values in self.book.entries if values["kind"] == "tree"}
        return known


def problems_against(entry: Values, against: Against) -> list[Problem]:
    """Everything that the book or the configuration has against this entry."""
    problems = _unknown_names(entry, against)
    if problems:
        return problems
    problems += _after_leave(entry, against)
    rule = _RULES.get(entry["kind"])
    if rule is not None and not problems:
        problems += rule(entry, against)
    return problems


# ---- names ---------------------------------------------------------------------------------------------


def _unknown_names(entry: Values, against: Against) -> list[Problem]:
    known: dict[FieldType, tuple[Collection[str] | None, str]] = {
        FieldType.TREE: (against.tree_ids, "no tree of the book"),
        FieldType.TREES: (against.tree_ids, "no tree of the book"),
        FieldType.SENSOR: (against.sensors, "no sensor of the configuration"),
        FieldType.HOUSE: (against.houses, "no house of the configuration"),
        FieldType.PERSON: (against.people, "nobody in the configuration"),
        FieldType.ENTRY: (against.book.by_id, "no entry of the book"),
    }
    problems = []
    for field in entry_fields(entry["kind"]):
        names, said = known.get(field.type, (None, ""))
        if field.name not in entry or names is None:
            continue
        given = entry[field.name]
        problems += [
            _problem(field.name, f"{name!r} is {said}.", nearest(name, sorted(names)))
            for name in (given if isinstance(given, list) else [given])
            if name not in names
        ]
    return problems


def _named_trees(entry: Values, book: "Book") -> list["Tree"]:
    names = [entry["tree"]] if "tree" in entry else entry.get("trees", [])
    return [book.trees[name] for name in names if name in book.trees]


def _after_leave(entry: Values, against: Against) -> list[Problem]:
    if entry["kind"] in AFTER_LEAVE:
        return []
    at_s = parse_rfc3339(entry["at"])
    key = "tree" if "tree" in entry else "trees"
    return [
        _problem(
            key,
            f"{tree.id!r} left on {_date(tree.left_at_s)} ({tree.left_reason}).",
            "Only a finding or a note may follow; void that entry if the tree is still here.",
        )
        for tree in _named_trees(entry, against.book)
        if tree.left_at_s is not None and at_s > tree.left_at_s
    ]


# ---- kinds ---------------------------------------------------------------------------------------------


def _tree(entry: Values, against: Against) -> list[Problem]:
    problems = _air_sensor(entry, against)
    if "sensor" in entry and "to" in entry:
        problems.append(_problem("sensor", "and to cannot both be given.", "Give one of: sensor, to."))
    pot = against.sensors.get(entry.get("pot_sensor", ""))
    if pot is not None and pot.place != "pot":
        problems.append(
            _problem(
                "pot_sensor",
                f"{entry['pot_sensor']!r} is no probe in a pot; its place is {pot.place}.",
                'Name another sensor, or say place = "pot" in the configuration.',
            )
        )
    return problems


def _air_sensor(entry: Values, against: Against) -> list[Problem]:
    sensor = against.sensors.get(entry.get("sensor", ""))
    if sensor is None or sensor.place != "pot":
        return []
    return [
        _problem(
            "sensor",
            f"{entry['sensor']!r} is in a pot and says nothing of the air.",
            "Name the sensor on its bench; the probe goes into pot_sensor.",
        )
    ]


def _move(entry: Values, against: Against) -> list[Problem]:
    problems = _air_sensor(entry, against)
    if "house" in entry and not against.importing:
        in_house = {name for name, sensor in against.sensors.items() if sensor.house == entry["house"]}
        there = [tree for tree in against.book.standing.values() if tree.sensor in in_house]
        if not there:
            problems.append(
                _problem("house", f"no tree stands in {entry['house']!r}.", "Name the trees instead.")
            )
    return problems


def _on_wrap(entry: Values, against: Against) -> list[Problem]:
    tree = against.book.trees.get(entry["tree"])
    names = {wrap.wrap for wrap in tree.wraps} if tree else set()
    if against.importing:
        names |= _ever(against.book, "wrap", entry["tree"], "wrap")
    if entry["wrap"] not in names:
        return [
            _problem(
                "wrap",
                f"{entry['wrap']!r} is no wrap of {entry['tree']!r}.",
                nearest(entry["wrap"], sorted(names)),
            )
        ]
    at_s = parse_rfc3339(entry["at"])
    if against.importing or tree is None:
        return []
    if any(
        wrap.wrap == entry["wrap"] and wrap.at_s <= at_s and (wrap.off_at_s is None or at_s <= wrap.off_at_s)
        for wrap in tree.wraps
    ):
        return []
    return [
        _problem(
            "wrap",
            f"{entry['wrap']!r} was not on at {entry['at']}.",
            "Look at the time, or enter the wrap first.",
        )
    ]


def _on_wire(entry: Values, against: Against) -> list[Problem]:
    kind = "wire" if entry["kind"] == "unwire" else "guy"
    tree = against.book.trees.get(entry["tree"])
    parts = {wire.part for wire in tree.wires if wire.kind == kind} if tree else set()
    if against.importing:
        parts |= _ever(against.book, kind, entry["tree"], "part")
    if entry["part"] not in parts:
        return [
            _problem(
                "part",
                f"{entry['tree']!r} has no {kind} on {entry['part']!r}.",
                nearest(entry["part"], sorted(parts)),
            )
        ]
    at_s = parse_rfc3339(entry["at"])
    if against.importing or tree is None:
        return []
    if any(
        (wire.kind, wire.part) == (kind, entry["part"])
        and wire.at_s <= at_s
        and (wire.off_at_s is None or at_s <= wire.off_at_s)
        for wire in tree.wires
    ):
        return []
    return [
        _problem(
            "part",
            f"the {kind} on {entry['part']!r} was not on at {entry['at']}.",
            f"Look at the time, or enter the {kind} first.",
        )
    ]


def _ever(book: "Book", kind: str, tree: str, key: str) -> set[str]:
    """Names that entries of that kind ever gave, voided ones too."""
    return {values[key] for values in book.entries if values["kind"] == kind and values.get("tree") == tree}


def _release(entry: Values, against: Against) -> list[Problem]:
    tree = against.book.trees.get(entry["tree"])
    works = [work for work in tree.works if work.work == entry["work"]] if tree else []
    if against.importing:
        ever = _ever(against.book, "work", entry["tree"], "work")
        return [] if entry["work"] in ever else [_no_work(entry, ever)]
    if not works:
        return [_no_work(entry, {work.work for work in tree.works} if tree else set())]
    at_s = parse_rfc3339(entry["at"])
    if not any(work.at_s <= at_s for work in works):
        return [
            _problem(
                "at", f"is before the work itself ({_date(works[0].at_s)}).", "Give the time of the release."
            )
        ]
    if all(work.released_at_s is not None for work in works):
        return [_problem("work", f"{entry['work']!r} is released already.", "There is nothing to do.")]
    return []


def _no_work(entry: Values, known: Collection[str]) -> Problem:
    return _problem(
        "work",
        f"{entry['tree']!r} has no work {entry['work']!r}.",
        nearest(entry["work"], sorted(known)),
    )


def _limit(entry: Values, _against: Against) -> list[Problem]:
    low, high = LIMIT_RANGES[entry["limit"]]
    if not low <= entry["value"] <= high:
        return [
            _problem(
                "value",
                f"{entry['value']} is out of range for {entry['limit']}.",
                f"It can be {low:g} to {high:g}.",
            )
        ]
    return _until(entry)


def _until(entry: Values) -> list[Problem]:
    if "until" in entry and parse_rfc3339(entry["until"]) < parse_rfc3339(entry["at"]):
        return [_problem("until", f"{entry['until']} is before {entry['at']}.", "Give a later time.")]
    return []


def _rest(entry: Values, against: Against) -> list[Problem]:
    problems = _until(entry)
    lasts_s = parse_rfc3339(entry["until"]) - parse_rfc3339(entry["at"])
    depend = [
        tree.name
        for tree in against.book.standing.values()
        if entry["sensor"] in (tree.sensor, tree.pot_sensor)
    ]
    if lasts_s > LONGEST_REST_S and depend and not against.importing:
        problems.append(
            _problem(
                "until",
                f"is more than 24 h ahead, and {', '.join(depend[:4])} would stand unwatched.",
                "Rest it for a day at most, or move the trees first.",
            )
        )
    return problems


def _done(entry: Values, against: Against) -> list[Problem]:
    known = against.follow_ups
    if known is None or entry["follow_up"] in known:
        return []
    return [
        _problem(
            "follow_up",
            f"{entry['follow_up']!r} is nothing that is ever due.",
            nearest(entry["follow_up"], sorted(known)),
        )
    ]


def _leave(entry: Values, against: Against) -> list[Problem]:
    at_s = parse_rfc3339(entry["at"])
    later = [
        values
        for values in against.book.mentions(entry["tree"])
        if values["kind"] not in AFTER_LEAVE and parse_rfc3339(values["at"]) > at_s
    ]
    if not later:
        return []
    return [
        _problem(
            "at",
            f"{entry['tree']!r} has later entries (the first: {later[0]['kind']} at {later[0]['at']}).",
            "Give a later time, or void those first.",
        )
    ]


def _void(entry: Values, against: Against) -> list[Problem]:
    void = against.book.voided.get(entry["entry"])
    if void is None or against.importing:
        return []
    return [_problem("entry", f"{entry['entry']!r} was voided already.", f"Void {void} to take that back.")]


_RULES: Mapping[str, Callable[[Values, Against], list[Problem]]] = {
    "tree": _tree,
    "move": _move,
    "touch": _on_wrap,
    "rewet": _on_wrap,
    "unwrap": _on_wrap,
    "unwire": _on_wire,
    "unguy": _on_wire,
    "release": _release,
    "limit": _limit,
    "rest": _rest,
    "duty": lambda entry, _against: _until(entry),
    "done": _done,
    "leave": _leave,
    "void": _void,
}


def _date(at_s: float | None) -> str:
    return "" if at_s is None else rfc3339(at_s)[:10]


def _problem(key: str, message: str, hint: str = "") -> Problem:
    return Problem(file="", key=key, message=message, hint=hint)
