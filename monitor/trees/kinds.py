"""The kinds of entry that the book takes, each described once: its keys, their types, choices and help.

Checking, the command line's options, the page's forms and `--help` are all made from this table. It knows
nothing of trees, sensors or time.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from monitor.trees.plan_checks import WORKS

LIMIT_RANGES: Mapping[str, tuple[float, float]] = {
    "low_warn_c": (-40.0, 30.0),
    "low_harm_c": (-40.0, 30.0),
    "high_warn_c": (0.0, 60.0),
    "high_harm_c": (0.0, 60.0),
    "vpd_warn_kpa": (0.05, 10.0),
    "root_warn_c": (-40.0, 20.0),
    "root_harm_c": (-40.0, 20.0),
}
"""The limits a plan may hold and a person may set, with the range of values that can be meant."""

LIMIT_KEYS = tuple(LIMIT_RANGES)
FIBRES = ("raffia", "cloth", "sphagnum")
COVERS = ("none", "tape-spiral", "tape-overlapped", "film")
KEEPS = ("damp", "any")
FEELS = ("wet", "damp", "dry", "frozen", "cannot-tell")
HOWS = ("touch", "lifted-edge", "weighed")
METALS = ("copper", "aluminium", "steel")
PLACES = ("workshop", "garage", "outside")
FINDINGS = (
    "crack",
    "weeping",
    "mould",
    "bite",
    "slack",
    "buds-swelling",
    "buds-open",
    "flush-hard",
    "dieback",
    "dead",
)
AFTER_LEAVE = frozenset({"void", "finding", "note"})
"""What may still be said of a tree that has left."""


class FieldType(StrEnum):
    """What a key's value is; the names in brackets are what a program gets."""

    TEXT = "text"
    """Any words [str, 1-500 printable characters]."""
    NAME = "name"
    """A name of one's own [id: a-z, 0-9, - and _]."""
    TREE = "tree"
    """A tree of the book [id]."""
    TREES = "trees"
    """Trees of the book, comma-separated [list of ids]."""
    SENSOR = "sensor"
    """A sensor of the configuration [id]."""
    HOUSE = "house"
    """A house of the configuration [id]."""
    PERSON = "person"
    """A person of the configuration [id]."""
    ENTRY = "entry"
    """An earlier entry of the book [id]."""
    CHOICE = "choice"
    """One of `choices` [str]."""
    NUMBER = "number"
    """A number from `low` to `high`."""
    INSTANT = "instant"
    """A date and time [RFC 3339]."""
    YES_NO = "yes-no"
    """Yes or no [bool]."""


@dataclass(frozen=True, slots=True)
class EntryField:
    """One key of an entry: name, type, whether it must be there, and what a person reads about it."""

    name: str
    type: FieldType
    help: str
    required: bool = False
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None

    @property
    def option(self) -> str:
        """The command line's option: `--branch-mm` for `branch_mm`."""
        return "--" + self.name.replace("_", "-")


@dataclass(frozen=True, slots=True)
class EntryKind:
    """One kind of entry: its keys, what it says, and an example as the command line takes it."""

    name: str
    help: str
    fields: tuple[EntryField, ...]
    example: str
    one_of: tuple[tuple[str, ...], ...] = ()
    """Groups of keys of which exactly one must be there."""


def _text(name: str, text: str, required: bool = False) -> EntryField:
    return EntryField(name, FieldType.TEXT, text, required)


def _choice(name: str, choices: tuple[str, ...], text: str, required: bool = False) -> EntryField:
    return EntryField(name, FieldType.CHOICE, text, required, choices)


def _number(name: str, low: float, high: float, text: str, required: bool = False) -> EntryField:
    return EntryField(name, FieldType.NUMBER, text, required, low=low, high=high)


_TREE = EntryField("tree", FieldType.TREE, "the tree, by its id or its name", required=True)
_PART = EntryField("part", FieldType.NAME, "which branch or part of the tree")
_WRAP = EntryField("wrap", FieldType.NAME, "the wrap, by the name you gave it", required=True)
_HOUSE = EntryField("house", FieldType.HOUSE, "the house, by its id", required=True)
_SENSOR = EntryField("sensor", FieldType.SENSOR, "the sensor nearest to it, by its id")
_TO = _choice("to", PLACES, "a place without a sensor: not watched there")
_METAL = _choice("metal", METALS, "what the wire is made of")
_MM = _number("mm", 0.3, 20.0, "thickness of the wire in mm")
_WIRED_PART = EntryField("part", FieldType.NAME, "which branch or part of the tree", required=True)

COMMON_FIELDS = (
    EntryField("at", FieldType.INSTANT, "when it was done or seen; left out: now"),
    _text("note", "anything worth remembering"),
    _text("by", "who did or saw it"),
    _text("id", "the entry's own id; left out: made from its content"),
    EntryField("entered_at", FieldType.INSTANT, "when it was written down; left out: now"),
)
"""Keys that every kind of entry may have."""

_KINDS = (
    EntryKind(
        "tree",
        "A tree, or news of a known one: its name, species, place and pot.",
        (
            EntryField("tree", FieldType.NAME, "its id; left out: made from its name"),
            _text("name", "what you call it, at most 80 characters"),
            _text("species", "its botanical name; it decides the root limit"),
            _SENSOR,
            _TO,
            _number("pot_litres", 0.05, 2000.0, "size of its pot in litres"),
            EntryField("pot_sensor", FieldType.SENSOR, "the probe in its pot, by the sensor's id"),
            EntryField("evergreen", FieldType.YES_NO, "whether it keeps its leaves or needles in winter"),
        ),
        'book add tree --name "Larch 3" --species "Larix decidua" --sensor bench-a',
    ),
    EntryKind(
        "work",
        "Work that makes a tree tender.",
        (_TREE, _choice("work", WORKS, "what was done", required=True)),
        'book add work --tree larch-3 --work heavy-bend --note "first and third branch"',
    ),
    EntryKind(
        "wrap",
        "Wet fibre was put round a branch.",
        (
            _TREE,
            _WRAP,
            _choice("fibre", FIBRES, "what it is made of", required=True),
            _choice("cover", COVERS, "what is over it; left out: none"),
            _number("branch_mm", 1.0, 500.0, "thickness of the branch in mm; left out: 20"),
            _number(
                "thickness_mm", 0.2, 100.0, "thickness of the fibre in mm; left out: usual for the fibre"
            ),
            _choice("keep", KEEPS, "damp: must stay damp; any: was wet only to be pliable"),
        ),
        "book add wrap --tree larch-3 --wrap first-branch --fibre raffia --cover tape-overlapped",
    ),
    EntryKind(
        "touch",
        "Somebody felt a wrap.",
        (
            _TREE,
            _WRAP,
            _choice("feel", FEELS, "how it felt", required=True),
            _choice("how", HOWS, "how it was felt; left out: touch"),
        ),
        "book add touch --tree larch-3 --wrap first-branch --feel damp --how lifted-edge",
    ),
    EntryKind(
        "rewet",
        "A wrap was wetted again.",
        (_TREE, _WRAP),
        "book add rewet --tree larch-3 --wrap first-branch",
    ),
    EntryKind(
        "unwrap",
        "A wrap was taken off.",
        (_TREE, _WRAP),
        "book add unwrap --tree larch-3 --wrap first-branch",
    ),
    EntryKind(
        "wire",
        "Wire was put on.",
        (_TREE, _WIRED_PART, _METAL, _MM),
        "book add wire --tree larch-3 --part first-branch --metal copper --mm 4",
    ),
    EntryKind(
        "unwire",
        "Wire was taken off.",
        (_TREE, _WIRED_PART),
        "book add unwire --tree larch-3 --part first-branch",
    ),
    EntryKind(
        "guy",
        "A guy wire was put on.",
        (_TREE, _WIRED_PART, _METAL, _MM),
        "book add guy --tree larch-3 --part second-branch --metal steel --mm 1",
    ),
    EntryKind(
        "unguy",
        "A guy wire was taken off.",
        (_TREE, _WIRED_PART),
        "book add unguy --tree larch-3 --part second-branch",
    ),
    EntryKind(
        "move",
        "Trees, or all trees of a house, were moved to another sensor or to a place without one.",
        (
            EntryField("trees", FieldType.TREES, "the trees, comma-separated"),
            EntryField("house", FieldType.HOUSE, "or all trees of this house"),
            _SENSOR,
            _TO,
        ),
        "book add move --trees larch-3,yew-2 --sensor bench-b",
        one_of=(("trees", "house"), ("sensor", "to")),
    ),
    EntryKind(
        "done",
        "Something that was due was done.",
        (
            _TREE,
            EntryField("follow_up", FieldType.NAME, "what was due, as the report names it", required=True),
            _PART,
        ),
        'book add done --tree larch-3 --follow-up wire-check --note "no bite yet"',
    ),
    EntryKind(
        "finding",
        "Something was seen on a tree.",
        (_TREE, _choice("found", FINDINGS, "what was seen", required=True), _PART),
        "book add finding --tree larch-3 --found buds-swelling --part first-branch",
    ),
    EntryKind(
        "limit",
        "A limit of your own for one tree; it stands over the plan's.",
        (
            _TREE,
            _choice("limit", LIMIT_KEYS, "which limit", required=True),
            _number("value", -40.0, 60.0, "its value, in the unit that ends the limit's name", required=True),
            _text("reason", "why: it is shown wherever the limit is", required=True),
            EntryField("until", FieldType.INSTANT, "when it ends; left out: it stays"),
        ),
        'book add limit --tree larch-3 --limit low_harm_c --value -1 --reason "came through -3 last year"',
    ),
    EntryKind(
        "release",
        "You say that a tree is over a work and tender no more.",
        (_TREE, _choice("work", WORKS, "the work that it is over", required=True)),
        "book add release --tree larch-3 --work heavy-bend",
    ),
    EntryKind(
        "leave",
        "A tree left: sold, given away, planted out, dead.",
        (_TREE, _text("reason", "why", required=True)),
        "book add leave --tree larch-3 --reason sold",
    ),
    EntryKind(
        "heater",
        "The heater of a house was set.",
        (_HOUSE, _number("setpoint_c", -10.0, 40.0, "what it was set to in °C", required=True)),
        "book add heater --house cold --setpoint-c 5",
    ),
    EntryKind(
        "rest",
        "A sensor is out of service until then; until now: it is back.",
        (
            EntryField("sensor", FieldType.SENSOR, "the sensor, by its id", required=True),
            EntryField("until", FieldType.INSTANT, "when it is back", required=True),
        ),
        "book add rest --sensor bench-a --until 2026-01-13T19:00:00Z",
    ),
    EntryKind(
        "duty",
        "Somebody looks after the trees until then; calls go to them too.",
        (
            EntryField("person", FieldType.PERSON, "who, by the id in the configuration", required=True),
            EntryField("until", FieldType.INSTANT, "when it ends", required=True),
        ),
        "book add duty --person tom --until 2026-02-17T20:00:00Z",
    ),
    EntryKind(
        "note",
        "A note about a house, a tree, or the whole site.",
        (
            EntryField("house", FieldType.HOUSE, "the house it is about"),
            EntryField("tree", FieldType.TREE, "the tree it is about"),
            _text("note", "what there is to say", required=True),
        ),
        'book add note --house cold --note "snow on the roof"',
    ),
    EntryKind(
        "void",
        "An earlier entry was a mistake: it counts as never written.",
        (
            EntryField("entry", FieldType.ENTRY, "the id of that entry", required=True),
            _text("reason", "why", required=True),
        ),
        'book void 3f9c2a71d04b8e65 --reason "wrong tree"',
    ),
)

ENTRY_KINDS: Mapping[str, EntryKind] = {kind.name: kind for kind in _KINDS}


def _all_fields(kind: EntryKind) -> tuple[EntryField, ...]:
    own = {field.name for field in kind.fields}
    return kind.fields + tuple(field for field in COMMON_FIELDS if field.name not in own)


_FIELDS: Mapping[str, tuple[EntryField, ...]] = {kind.name: _all_fields(kind) for kind in _KINDS}


def entry_fields(kind: str) -> tuple[EntryField, ...]:
    """All keys that an entry of this kind may have, its own first; KeyError for a kind that is not."""
    return _FIELDS[kind]
