"""The forms of the page, made from the one table of what an entry may say, and read back into entries. Pure.

A field's type decides how it is asked; places with and without a sensor are one question. Names that people
give become ids where the book is written, not here.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any

from monitor.clock import local
from monitor.errors import Problem
from monitor.notices.words import STANDS
from monitor.trees.book import Book
from monitor.trees.kinds import LIMIT_KEYS, PLACES, EntryField, FieldType, entry_fields
from monitor.trees.plan_checks import WORKS
from monitor.trees.species import shipped_species
from monitor.web import words

if TYPE_CHECKING:
    from monitor.settings import Settings

Values = Mapping[str, str]
Choice = tuple[str, str]

TITLES: Mapping[str, str] = {
    "tree": "A tree",
    "work": "Work on a tree",
    "wrap": "A wrap put on",
    "unwrap": "A wrap taken off",
    "touch": "A wrap felt",
    "rewet": "A wrap wetted again",
    "wire": "Wire put on",
    "unwire": "Wire taken off",
    "guy": "A guy put on",
    "unguy": "A guy taken off",
    "move": "Trees moved",
    "done": "Something due was done",
    "finding": "Something seen",
    "limit": "A limit of your own",
    "release": "A tree is over a work",
    "leave": "A tree left",
    "heater": "The heater was set",
    "rest": "A sensor at rest",
    "duty": "A helper",
    "note": "A note",
}
LABELS: Mapping[str, str] = {
    "at": "When",
    "note": "Note",
    "tree": "Tree",
    "trees": "Trees",
    "name": "Name",
    "species": "Species",
    "place": "Where it stands",
    "pot_litres": "Pot, litres",
    "pot_sensor": "Probe in its pot",
    "evergreen": "Keeps its leaves in winter",
    "work": "Work",
    "wrap": "Wrap",
    "fibre": "Fibre",
    "cover": "Over it",
    "branch_mm": "Branch, mm",
    "thickness_mm": "Fibre, mm thick",
    "keep": "Must it stay damp?",
    "feel": "It felt",
    "how": "How",
    "part": "Branch or part",
    "metal": "Metal",
    "mm": "Wire, mm",
    "house": "House",
    "follow_up": "What was due",
    "found": "What you saw",
    "limit": "Limit",
    "value": "Its value",
    "reason": "Why",
    "until": "Until the end of",
    "setpoint_c": "Set to",
    "person": "Who",
    "sensor": "Sensor",
}
HINTS: Mapping[str, str] = {
    "at": "left empty: now",
    "species": "botanical or common; left empty: you don't know",
    "name": "what you call it: Larch 3",
    "wrap": "what you call it: first branch",
    "branch_mm": "left empty: 20",
    "thickness_mm": "left empty: usual for the fibre",
    "part": "first branch, apex, ...",
    "reason": "shown wherever it counts",
    "house": "or choose trees above",
}
AFTER_MORE = frozenset(
    {"note", "pot_litres", "pot_sensor", "evergreen", "thickness_mm", "branch_mm", "how", "metal", "mm"}
)
"""Fields that most people leave alone."""
NOT_ASKED = frozenset({"id", "by", "entered_at", "sensor", "to"})
END_OF_DAY = "T23:59"


@dataclass(frozen=True, slots=True)
class Question:
    """One field as it is drawn: `kind` is text, number, date, datetime, select, boxes or hidden."""

    name: str
    label: str
    kind: str
    value: str = ""
    hint: str = ""
    required: bool = False
    choices: Sequence[Choice] = ()
    chosen: Sequence[str] = ()
    suggestions: Sequence[str] = ()
    problem: str = ""
    later: bool = False


@dataclass(frozen=True, slots=True)
class Ground:
    """What a form may offer: the book, the installation, what can be due, and the words of the site."""

    book: Book
    settings: "Settings"
    follow_ups: Sequence[Choice] = ()
    now_s: float = 0.0
    tree: str = ""
    given: Values = field(default_factory=dict)

    @property
    def zone(self) -> tzinfo:
        """The site's zone."""
        return self.settings.site.zone


def questions(kind: str, ground: Ground, problems: Iterable[Problem] = ()) -> list[Question]:
    """The fields of a kind's form, filled in with what was given; KeyError for a kind that is not."""
    wrong: dict[str, str] = {}
    for each_problem in problems:
        said = words.capital(f"{each_problem.message} {each_problem.hint}".strip())
        wrong.setdefault(each_problem.key, said)
    fields = [each for each in entry_fields(kind) if each.name not in NOT_ASKED or _is_own_sensor(kind, each)]
    asked = [_question(kind, each, ground, wrong.get(each.name, "")) for each in fields]
    if any(each.name == "to" for each in entry_fields(kind)):
        problem = wrong.get("sensor") or wrong.get("to") or ""
        place = _place_question(kind, ground, problem)
        asked.insert(
            next((i for i, each in enumerate(asked) if each.later or each.name == "at"), len(asked)), place
        )
    if kind == "tree" and not ground.given.get("tree"):
        asked = [*(each for each in asked if each.name not in ("tree", "at", "note")), *_new_tree(ground)]
    return sorted(asked, key=lambda each: (each.later, each.kind == "datetime"))


def _is_own_sensor(kind: str, asked: EntryField) -> bool:
    return kind == "rest" and asked.name == "sensor"


def _question(kind: str, asked: EntryField, ground: Ground, problem: str) -> Question:
    name = asked.name
    value = ground.given.get(name, "")
    choices = _choices(kind, asked, ground)
    shape = _shape(kind, asked)
    suggestions: Sequence[str] = ()
    if name == "species":
        suggestions = species_names()
    elif name == "part":
        suggestions = _parts(ground)
    label = LABELS.get(name, words.capital(words.plain(name)))
    if name in ("value", "setpoint_c"):
        label += _unit(ground, name)
    if name == "tree" and kind == "tree":
        shape, choices = "hidden", []
    return Question(
        name,
        label,
        shape,
        value,
        HINTS.get(name, "") if not (name == "wrap" and kind != "wrap") else "",
        (asked.required and name != "tree") or (name == "name" and not ground.given.get("tree")),
        choices,
        [part for part in value.split(",") if part],
        suggestions,
        problem,
        name in AFTER_MORE and not asked.required,
    )


def _shape(kind: str, asked: EntryField) -> str:
    if asked.name == "wrap" and kind == "wrap":
        return "text"
    if asked.type is FieldType.INSTANT:
        return "date" if asked.name == "until" and kind != "rest" else "datetime"
    shapes = {
        FieldType.NUMBER: "number",
        FieldType.TREES: "boxes",
        FieldType.TEXT: "text",
        FieldType.NAME: "select" if asked.name in ("wrap", "follow_up") else "text",
    }
    return shapes.get(asked.type, "select")


def _choices(kind: str, asked: EntryField, ground: Ground) -> list[Choice]:
    if asked.name == "limit":
        return [(key, words.capital(words.LIMITS[key])) for key in LIMIT_KEYS]
    if asked.name == "work" and kind == "release":
        return [(work.work, words.capital(words.plain(work.work))) for work in _works(ground)]
    if asked.name == "wrap" and kind != "wrap":
        tree = ground.book.trees.get(ground.tree)
        return [(w.wrap, words.capital(words.plain(w.wrap))) for w in (tree.wraps_on if tree else ())]
    if asked.name == "follow_up":
        return list(ground.follow_ups)
    if asked.type is FieldType.CHOICE:
        return [(choice, words.capital(words.plain(choice))) for choice in asked.choices]
    return _known(asked.type, ground)


def _known(kind: FieldType, ground: Ground) -> list[Choice]:
    settings = ground.settings
    if kind in (FieldType.TREE, FieldType.TREES):
        return sorted(((t.id, t.name) for t in ground.book.standing.values()), key=lambda pair: pair[1])
    if kind is FieldType.SENSOR:
        return [(name, name) for name in settings.sensors]
    if kind is FieldType.HOUSE:
        return [(name, house.name or name) for name, house in settings.houses.items()]
    if kind is FieldType.PERSON:
        return [(name, words.capital(name)) for name in settings.people]
    return [("yes", "Yes"), ("no", "No")] if kind is FieldType.YES_NO else []


def _works(ground: Ground) -> Sequence[Any]:
    tree = ground.book.trees.get(ground.tree)
    if tree is None:
        return ()
    return list({work.work: work for work in tree.works if work.released_at_s is None}.values())


def _parts(ground: Ground) -> list[str]:
    tree = ground.book.trees.get(ground.tree)
    if tree is None:
        return []
    found = [*(wire.part for wire in tree.wires), *(wrap.wrap for wrap in tree.wraps)]
    return [words.plain(part) for part in dict.fromkeys(found)]


def _place_question(kind: str, ground: Ground, problem: str) -> Question:
    sensors = [
        (f"sensor/{name}", _at_sensor(name, ground))
        for name, sensor in ground.settings.sensors.items()
        if str(sensor.place) != "pot"
    ]
    elsewhere = [(f"to/{place}", f"{words.capital(STANDS[place])}: not watched") for place in PLACES]
    label = "Where they stand now" if kind == "move" else LABELS["place"]
    given = ground.given.get("place") or _place_of(ground.given)
    return Question("place", label, "select", given, "", True, [*sensors, *elsewhere], problem=problem)


def _at_sensor(name: str, ground: Ground) -> str:
    sensor = ground.settings.sensors[name]
    house = ground.settings.houses[sensor.house].name or sensor.house
    where = words.PLACES.get(str(sensor.place), "")
    return f"{name}, {house}{f' ({where})' if where else ''}"


def _place_of(given: Values) -> str:
    if given.get("sensor"):
        return f"sensor/{given['sensor']}"
    return f"to/{given['to']}" if given.get("to") else ""


def _new_tree(ground: Ground) -> list[Question]:
    """A new tree is asked for its work and its date at once."""
    works = [(work, words.capital(words.plain(work))) for work in WORKS]
    today = f"{local(ground.now_s, ground.zone):%Y-%m-%d}"
    given = ground.given
    return [
        Question(
            "work",
            "Work that was done on it",
            "select",
            given.get("work", ""),
            "left empty: none yet",
            False,
            works,
        ),
        Question("on", "On which day", "date", given.get("on", today), "", True),
    ]


def _unit(ground: Ground, name: str) -> str:
    degrees = "°F" if ground.settings.site.show == "fahrenheit" else "°C"
    return f", {degrees}" if name == "setpoint_c" else f", {degrees} (drying air: kPa)"


def species_names() -> list[str]:
    """The species that there is a table for."""
    return sorted(species.name for species in shipped_species().species.values())


# ---- back again ----------------------------------------------------------------------------------------


def entries_of(kind: str, form: Mapping[str, Sequence[str]], ground: Ground) -> list[dict[str, Any]]:
    """What a form says, as entries still to be checked; a new tree may be two of them."""
    given = {name: values[-1].strip() for name, values in form.items() if values and values[-1].strip()}
    names = {each.name for each in entry_fields(kind)}
    entry: dict[str, Any] = {
        name: value for name, value in given.items() if name in names - {"id", "by", "entered_at"}
    }
    entry["kind"] = kind
    entry |= _placed(given.get("place", ""))
    if "trees" in form:
        entry["trees"] = ",".join(value for value in form["trees"] if value)
    for name in ("value", "setpoint_c", "pot_litres", "branch_mm", "thickness_mm", "mm"):
        if name in entry:
            entry[name] = _number(str(entry[name]), name, entry, ground)
    if "until" in entry and "T" not in str(entry["until"]):
        entry["until"] = f"{entry['until']}{END_OF_DAY}"
    if kind != "tree" or given.get("tree"):
        return [entry]
    return _tree_and_work(entry, given, ground)


def _placed(place: str) -> dict[str, str]:
    what, _, name = place.partition("/")
    return {what: name} if what in ("sensor", "to") and name else {}


def _tree_and_work(entry: dict[str, Any], given: Values, ground: Ground) -> list[dict[str, Any]]:
    at = _instant_of_day(given.get("on", ""), ground)
    entry |= {"at": at} if at else {}
    if not given.get("work"):
        return [entry]
    from monitor.trees.entries import tree_id_from_name

    work = {"kind": "work", "tree": tree_id_from_name(given.get("name", "")), "work": given["work"]}
    return [entry, {**work, "at": at} if at else work]


def _instant_of_day(text: str, ground: Ground) -> str:
    """Noon of a day, or nothing for today: it was done just now."""
    try:
        day = datetime.fromisoformat(text).date()
    except ValueError:
        return text
    return "" if day == local(ground.now_s, ground.zone).date() else f"{day.isoformat()}T12:00"


def _number(text: str, name: str, entry: Mapping[str, Any], ground: Ground) -> str:
    """Decimals with a comma are understood; what people see in Fahrenheit is meant so."""
    text = text.replace(",", ".").replace("−", "-")
    is_temperature = name == "setpoint_c" or (name == "value" and str(entry.get("limit", "")).endswith("_c"))
    if not is_temperature or ground.settings.site.show != "fahrenheit":
        return text
    try:
        return f"{(float(text) - 32) * 5 / 9:.2f}"
    except ValueError:
        return text
