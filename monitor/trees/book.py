"""The book: a frozen fold of the entries into trees, rests, duties, heaters and notes.

Entries are folded in order of their time, then of arrival, so that a backdated entry counts where it belongs;
voided ones count as never written. It checks nothing (that is `entries.py`) and knows no files; entries that
make no sense here (of an unknown tree, say) are kept and have no effect, so that a start never fails.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from monitor.clock import parse_rfc3339
from monitor.errors import Problem
from monitor.trees.entries import check_entry, entry_id, finished, normalised
from monitor.trees.tree import Note, Placement, Tree
from monitor.trees.tree_entries import OF_TREE

__all__ = ["Book", "Duty", "Heater", "Rest", "check_entry", "entry_id"]

Values = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Rest:
    """A sensor out of service."""

    entry: str
    sensor: str
    at_s: float
    until_s: float
    by: str = ""


@dataclass(frozen=True, slots=True)
class Duty:
    """A person who is called, too, until `until_s`."""

    entry: str
    person: str
    at_s: float
    until_s: float


@dataclass(frozen=True, slots=True)
class Heater:
    """What the heater of a house was set to."""

    entry: str
    house: str
    at_s: float
    setpoint_c: float


@dataclass(frozen=True, slots=True)
class Book:
    """Everything people entered, and what it amounts to.

    `entries` are in order of arrival, voided ones and voids included, each with its `id`. `house_of` says in
    which house each sensor hangs; without it a move of a whole house moves nothing.
    """

    entries: tuple[Values, ...] = ()
    house_of: Mapping[str, str] = field(default_factory=dict)
    trees: Mapping[str, Tree] = field(default_factory=dict)
    rests: Mapping[str, Rest] = field(default_factory=dict)
    duties: Mapping[str, Duty] = field(default_factory=dict)
    heaters: Mapping[str, tuple[Heater, ...]] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    voided: Mapping[str, str] = field(default_factory=dict)
    """Ids of entries that count as never written, each with the id of the void that says so."""
    by_id: Mapping[str, Values] = field(default_factory=dict)
    last_at_s: float = float("-inf")
    unreadable: tuple[str, ...] = ()
    """One sentence for each thing in the file that could not be read as an entry."""

    @classmethod
    def fold(cls, entries: Iterable[Values], house_of: Mapping[str, str] | None = None) -> "Book":
        """The book of these entries, in order of arrival, as a file holds them: perhaps mended by hand.

        A known id is left out; what cannot be read is left out and said in `unreadable`, never fatal.
        """
        by_id: dict[str, Values] = {}
        unreadable: list[str] = []
        for number, values in enumerate(entries, start=1):
            entry, problems = normalised(values)
            if "at" not in entry and not problems:
                problems = [Problem("", "is missing.", "at")]
            if problems:
                unreadable += [f"entry {number} of the book counts for nothing: {each}" for each in problems]
                continue
            entry = finished(entry)
            by_id.setdefault(entry["id"], entry)
        return _folded(tuple(by_id.values()), house_of or {}, tuple(unreadable))

    def with_entry(self, values: Values) -> "Book":
        """The book with one checked entry more; the same book if it has that entry already."""
        known = values["id"]
        if known in self.by_id:
            return self
        at_s = parse_rfc3339(values["at"])
        kind = values["kind"]
        new_tree = kind == "tree" and values["tree"] not in self.trees
        if kind == "void" or new_tree or at_s < self.last_at_s or known in self.voided:
            return _folded((*self.entries, values), self.house_of, self.unreadable)
        book = replace(
            self,
            entries=(*self.entries, values),
            by_id={**self.by_id, known: values},
            last_at_s=at_s,
        )
        return _applied(book, values, at_s)

    def with_entries(self, entries: Sequence[Values]) -> "Book":
        """The book with these checked entries more, folded once; known ids are left out."""
        new = {values["id"]: values for values in entries if values["id"] not in self.by_id}
        return _folded((*self.entries, *new.values()), self.house_of, self.unreadable) if new else self

    def with_houses(self, house_of: Mapping[str, str]) -> "Book":
        """The same entries, folded with other sensors in the houses."""
        return _folded(self.entries, house_of, self.unreadable)

    def sensor_at_rest(self, sensor: str, now_s: float) -> Rest | None:
        """The rest of that sensor that stands now."""
        rest = self.rests.get(sensor)
        return rest if rest is not None and rest.at_s <= now_s < rest.until_s else None

    def on_duty(self, now_s: float) -> tuple[str, ...]:
        """The people whose duty stands now."""
        return tuple(
            person for person, duty in sorted(self.duties.items()) if duty.at_s <= now_s < duty.until_s
        )

    def setpoint_c(self, house: str, now_s: float) -> float | None:
        """What the heater of that house was last set to [°C], or None where the book does not say."""
        found = None
        for heater in self.heaters.get(house, ()):
            if heater.at_s <= now_s:
                found = heater.setpoint_c
        return found

    @property
    def standing(self) -> Mapping[str, Tree]:
        """The trees that have not left."""
        return {known: tree for known, tree in self.trees.items() if tree.left_at_s is None}

    @property
    def left(self) -> tuple[str, ...]:
        """The trees that have left."""
        return tuple(known for known, tree in self.trees.items() if tree.left_at_s is not None)

    def trees_at(self, sensor: str) -> tuple[Tree, ...]:
        """The trees that stand at that sensor now."""
        return tuple(tree for tree in self.standing.values() if tree.sensor == sensor)

    def mentions(self, tree: str) -> tuple[Values, ...]:
        """The entries that count and name this tree, in order of their time."""
        found = [
            values
            for values in self.entries
            if values["id"] not in self.voided
            and (values.get("tree") == tree or tree in (values.get("trees") or ()))
        ]
        return tuple(sorted(found, key=lambda values: parse_rfc3339(values["at"])))


# ---- folding -------------------------------------------------------------------------------------------


def _folded(
    entries: tuple[Values, ...], house_of: Mapping[str, str], unreadable: tuple[str, ...] = ()
) -> Book:
    by_id = {values["id"]: values for values in entries}
    voided = _voided(entries)
    timed = sorted(
        ((parse_rfc3339(values["at"]), values) for values in entries if values["id"] not in voided),
        key=lambda pair: pair[0],
    )
    book = Book(entries, house_of, _first_seen(timed), voided=voided, by_id=by_id, unreadable=unreadable)
    for at_s, values in timed:
        book = _applied(book, values, at_s)
    every = (parse_rfc3339(values["at"]) for values in entries)
    return replace(book, last_at_s=max(every, default=float("-inf")))


def _voided(entries: Sequence[Values]) -> dict[str, str]:
    """Which entries are voided, by which void; a void that is itself voided voids nothing."""
    aimed: dict[str, list[str]] = {}
    for values in sorted(entries, key=lambda values: (values["at"], values["id"])):
        if values["kind"] == "void":
            aimed.setdefault(values["entry"], []).append(values["id"])

    def standing_void(target: str, above: frozenset[str]) -> str | None:
        for void in aimed.get(target, ()):
            if void not in above and standing_void(void, above | {void}) is None:
                return void
        return None

    found = {target: standing_void(target, frozenset()) for target in aimed}
    return {target: void for target, void in found.items() if void is not None}


def _first_seen(timed: Sequence[tuple[float, Values]]) -> dict[str, Tree]:
    """Each tree as its first entry names it: work may be older than the line that brought the tree in."""
    trees: dict[str, Tree] = {}
    for _at_s, values in timed:
        if values["kind"] == "tree" and values["tree"] not in trees:
            trees[values["tree"]] = Tree(values["tree"], values.get("name") or values["tree"])
    return trees


def _applied(book: Book, values: Values, at_s: float) -> Book:
    """The book after one entry that counts."""
    kind = values["kind"]
    if kind in _OF_BOOK:
        return _OF_BOOK[kind](book, values, at_s)
    if kind not in OF_TREE or values.get("tree") not in book.trees:
        return book
    tree = OF_TREE[kind](book.trees[values["tree"]], values, at_s)
    return replace(book, trees={**book.trees, tree.id: tree})


# ---- entries about more than one tree ------------------------------------------------------------------


def _move(book: Book, values: Values, at_s: float) -> Book:
    if "house" in values:
        moved = [
            tree.id
            for tree in book.trees.values()
            if tree.left_at_s is None
            and tree.sensor is not None
            and book.house_of.get(tree.sensor) == values["house"]
        ]
    else:
        moved = [tree for tree in values.get("trees", ()) if tree in book.trees]
    placement = Placement(at_s, values.get("sensor"), values.get("to", ""))
    trees = dict(book.trees)
    for name in moved:
        trees[name] = trees[name].with_placement(placement)
    return replace(book, trees=trees)


def _rest(book: Book, values: Values, at_s: float) -> Book:
    until_s = parse_rfc3339(values["until"])
    rest = Rest(values["id"], values["sensor"], at_s, until_s, values.get("by", ""))
    return replace(book, rests={**book.rests, rest.sensor: rest})


def _duty(book: Book, values: Values, at_s: float) -> Book:
    duty = Duty(values["id"], values["person"], at_s, parse_rfc3339(values["until"]))
    return replace(book, duties={**book.duties, duty.person: duty})


def _heater(book: Book, values: Values, at_s: float) -> Book:
    heater = Heater(values["id"], values["house"], at_s, values["setpoint_c"])
    earlier = book.heaters.get(heater.house, ())
    return replace(book, heaters={**book.heaters, heater.house: (*earlier, heater)})


def _note(book: Book, values: Values, at_s: float) -> Book:
    subject = values.get("tree") or values.get("house") or "site"
    note = Note(values["id"], at_s, subject, values["note"], values.get("by", ""))
    book = replace(book, notes=(*book.notes, note))
    tree = book.trees.get(values.get("tree", ""))
    if tree is None:
        return book
    return replace(book, trees={**book.trees, tree.id: replace(tree, notes=(*tree.notes, note))})


_OF_BOOK: Mapping[str, Callable[[Book, Values, float], Book]] = {
    "move": _move,
    "rest": _rest,
    "duty": _duty,
    "heater": _heater,
    "note": _note,
    "void": lambda book, _values, _at_s: book,
}
