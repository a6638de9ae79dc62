"""The book: a frozen fold of the entries into trees, rests, duties, heaters and notes.

Entries are folded in order of their time, then of arrival, so that a backdated entry counts where it belongs;
voided ones count as never written. It checks nothing (that is `entries.py`) and knows no files; entries that
make no sense here (of an unknown tree, say) are kept and have no effect, so that a start never fails.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from monitor.clock import parse_rfc3339
from monitor.trees.entries import check_entry, entry_id
from monitor.trees.tree import (
    Done,
    Finding,
    Note,
    OwnLimit,
    Placement,
    Touch,
    Tree,
    Wire,
    Work,
    Wrap,
)

__all__ = ["Book", "Duty", "Heater", "Rest", "check_entry", "entry_id"]

Values = Mapping[str, Any]

USUAL_THICKNESS_MM: Mapping[str, float] = {"raffia": 1.5, "cloth": 1.0, "sphagnum": 10.0}
"""How thick a wrap of each fibre usually is; judgement."""


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

    @classmethod
    def fold(cls, entries: Iterable[Values], house_of: Mapping[str, str] | None = None) -> "Book":
        """The book of these entries, given in order of arrival; an entry of a known id is left out."""
        by_id: dict[str, Values] = {}
        for values in entries:
            by_id.setdefault(values.get("id") or entry_id(values), values)
        kept = tuple(
            values if values.get("id") else {"id": known, **values} for known, values in by_id.items()
        )
        return _folded(kept, house_of or {})

    def with_entry(self, values: Values) -> "Book":
        """The book with one entry more; the same book if it has that entry already."""
        known = values.get("id") or entry_id(values)
        if known in self.by_id:
            return self
        values = values if values.get("id") else {"id": known, **values}
        at_s = parse_rfc3339(values["at"])
        kind = values["kind"]
        new_tree = kind == "tree" and values["tree"] not in self.trees
        if kind == "void" or new_tree or at_s < self.last_at_s or known in self.voided:
            return _folded((*self.entries, values), self.house_of)
        book = replace(
            self,
            entries=(*self.entries, values),
            by_id={**self.by_id, known: values},
            last_at_s=at_s,
        )
        return _applied(book, values, at_s)

    def with_entries(self, entries: Sequence[Values]) -> "Book":
        """The book with these entries more, folded once."""
        return Book.fold((*self.entries, *entries), self.house_of)

    def with_houses(self, house_of: Mapping[str, str]) -> "Book":
        """The same entries, folded with other sensors in the houses."""
        return _folded(self.entries, house_of)

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


def _folded(entries: tuple[Values, ...], house_of: Mapping[str, str]) -> Book:
    by_id = {values["id"]: values for values in entries}
    voided = _voided(entries)
    timed = sorted(
        ((parse_rfc3339(values["at"]), values) for values in entries if values["id"] not in voided),
        key=lambda pair: pair[0],
    )
    book = Book(entries, house_of, _first_seen(timed), voided=voided, by_id=by_id)
    for at_s, values in timed:
        book = _applied(book, values, at_s)
    every = (parse_rfc3339(values["at"]) for values in entries)
    return replace(book, last_at_s=max(every, default=float("-inf")))


def _voided(entries: Sequence[Values]) -> dict[str, str]:
    """Which entries are voided, by which void; a void that is itself voided voids nothing."""
    aimed: dict[str, list[str]] = {}
    for values in entries:
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
    if kind == "tree" and values["tree"] not in book.trees:
        trees = {**book.trees, values["tree"]: Tree(values["tree"], values.get("name") or values["tree"])}
        book = replace(book, trees=trees)
    if kind not in _OF_TREE or values.get("tree") not in book.trees:
        return book
    tree = _OF_TREE[kind](book.trees[values["tree"]], values, at_s)
    return replace(book, trees={**book.trees, tree.id: tree})


# ---- entries about one tree ----------------------------------------------------------------------------


def _tree(tree: Tree, values: Values, at_s: float) -> Tree:
    named = {key: values[key] for key in ("name", "species", "evergreen", "pot_litres") if key in values}
    if "pot_sensor" in values:
        named["pot_sensor"] = values["pot_sensor"]
    tree = replace(tree, **named)
    if "sensor" in values or "to" in values or not tree.placements:
        return tree.with_placement(Placement(at_s, values.get("sensor"), values.get("to", "")))
    return tree


def _work(tree: Tree, values: Values, at_s: float) -> Tree:
    work = Work(
        values["id"], values["work"], at_s, values.get("note", ""), entered_at_s=_entered_at_s(values, at_s)
    )
    return replace(tree, works=(*tree.works, work))


def _release(tree: Tree, values: Values, at_s: float) -> Tree:
    works = tuple(
        replace(work, released_at_s=at_s, released_entry=values["id"])
        if work.work == values["work"] and work.released_at_s is None
        else work
        for work in tree.works
    )
    return replace(tree, works=works)


def _wrap(tree: Tree, values: Values, at_s: float) -> Tree:
    fibre = values["fibre"]
    wrap = Wrap(
        values["id"],
        values["wrap"],
        at_s,
        fibre,
        values.get("cover", "none"),
        values.get("branch_mm", 20.0),
        values.get("thickness_mm", USUAL_THICKNESS_MM.get(fibre, 1.5)),
        values.get("keep"),
    )
    return replace(tree, wraps=(*_unwrapped(tree.wraps, wrap.wrap, at_s), wrap))


def _unwrapped(wraps: tuple[Wrap, ...], name: str, at_s: float) -> tuple[Wrap, ...]:
    return tuple(
        replace(wrap, off_at_s=at_s) if wrap.wrap == name and wrap.off_at_s is None else wrap
        for wrap in wraps
    )


def _unwrap(tree: Tree, values: Values, at_s: float) -> Tree:
    return replace(tree, wraps=_unwrapped(tree.wraps, values["wrap"], at_s))


def _with_wrap(tree: Tree, name: str, change: Callable[[Wrap], Wrap]) -> Tree:
    """The tree with its wrap of that name changed, if one is on."""
    return replace(
        tree,
        wraps=tuple(
            change(wrap) if wrap.wrap == name and wrap.off_at_s is None else wrap for wrap in tree.wraps
        ),
    )


def _touch(tree: Tree, values: Values, at_s: float) -> Tree:
    touch = Touch(values["id"], at_s, values["feel"], values.get("how", "touch"))
    return _with_wrap(tree, values["wrap"], lambda wrap: replace(wrap, touches=(*wrap.touches, touch)))


def _rewet(tree: Tree, values: Values, at_s: float) -> Tree:
    return _with_wrap(tree, values["wrap"], lambda wrap: replace(wrap, rewets=(*wrap.rewets, at_s)))


def _wire(tree: Tree, values: Values, at_s: float) -> Tree:
    wire = Wire(
        values["id"],
        values["kind"],
        values["part"],
        at_s,
        values.get("metal", ""),
        values.get("mm"),
        entered_at_s=_entered_at_s(values, at_s),
    )
    return replace(tree, wires=(*_unwired(tree.wires, wire.kind, wire.part, at_s), wire))


def _unwired(wires: tuple[Wire, ...], kind: str, part: str, at_s: float) -> tuple[Wire, ...]:
    return tuple(
        replace(wire, off_at_s=at_s)
        if (wire.kind, wire.part) == (kind, part) and wire.off_at_s is None
        else wire
        for wire in wires
    )


def _unwire(tree: Tree, values: Values, at_s: float) -> Tree:
    kind = "wire" if values["kind"] == "unwire" else "guy"
    return replace(tree, wires=_unwired(tree.wires, kind, values["part"], at_s))


def _done(tree: Tree, values: Values, at_s: float) -> Tree:
    done = Done(
        values["id"],
        at_s,
        values["follow_up"],
        values.get("part", ""),
        values.get("note", ""),
        _entered_at_s(values, at_s),
    )
    return replace(tree, done=(*tree.done, done))


def _finding(tree: Tree, values: Values, at_s: float) -> Tree:
    finding = Finding(
        values["id"],
        at_s,
        values["found"],
        values.get("part", ""),
        values.get("note", ""),
        _entered_at_s(values, at_s),
    )
    return replace(tree, findings=(*tree.findings, finding))


def _limit(tree: Tree, values: Values, at_s: float) -> Tree:
    until = values.get("until")
    limit = OwnLimit(
        values["id"],
        values["limit"],
        values["value"],
        values["reason"],
        at_s,
        parse_rfc3339(until) if until else None,
        values.get("by", ""),
    )
    return replace(tree, own_limits=(*tree.own_limits, limit))


def _leave(tree: Tree, values: Values, at_s: float) -> Tree:
    if tree.left_at_s is not None:
        return tree
    return replace(tree, left_at_s=at_s, left_reason=values["reason"])


_OF_TREE: Mapping[str, Callable[[Tree, Values, float], Tree]] = {
    "tree": _tree,
    "work": _work,
    "release": _release,
    "wrap": _wrap,
    "unwrap": _unwrap,
    "touch": _touch,
    "rewet": _rewet,
    "wire": _wire,
    "guy": _wire,
    "unwire": _unwire,
    "unguy": _unwire,
    "done": _done,
    "finding": _finding,
    "limit": _limit,
    "leave": _leave,
}


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


def _entered_at_s(values: Values, at_s: float) -> float:
    entered = values.get("entered_at")
    return parse_rfc3339(entered) if entered else at_s
