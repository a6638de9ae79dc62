"""What is said after an entry was taken: nothing here refuses anything; pure.

A mistyped species, a place without a sensor, one insult soon after another.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from monitor.clock import parse_rfc3339
from monitor.trees.book import Book
from monitor.trees.in_force import UNKNOWN_ROOT_HARM_C, UNKNOWN_SOURCE
from monitor.trees.plans import Plans
from monitor.trees.species import SpeciesTable, shipped_species
from monitor.trees.stages import DAY_S, StageNow
from monitor.trees.tree import Tree

Values = Mapping[str, Any]


def remarks(
    entry: Values,
    book: Book,
    plans: Plans,
    stages_before: Iterable[StageNow] = (),
    species: SpeciesTable | None = None,
) -> tuple[str, ...]:
    """Sentences for the person who entered it; `book` holds the entry already.

    `stages_before` are the stages of the entry's tree as they stood before it.
    """
    tree = book.trees.get(entry.get("tree", ""))
    said: list[str] = []
    if entry["kind"] == "tree" and tree is not None:
        said += _species(entry, tree, shipped_species() if species is None else species)
    if entry["kind"] in ("tree", "move"):
        said += _unwatched(entry, book)
    if entry["kind"] == "work" and tree is not None:
        said += _insults(entry, tree, plans, stages_before)
    if entry["kind"] == "touch" and entry["feel"] in ("frozen", "cannot-tell"):
        said.append(
            "What is frozen cannot be felt: a frozen wrap is not dry. Feel it again when it has thawed."
        )
    return tuple(said)


def _species(entry: Values, tree: Tree, species: SpeciesTable) -> list[str]:
    if not entry.get("species"):
        return []
    facts = species.find(entry["species"])
    if facts is not None and facts.root_kill_c is not None:
        return []
    near = species.suggestion(entry["species"])
    meant = f" Did you mean {near}?" if near else ""
    said = (
        f"{entry['species']} is not in the table of root limits: damage to the roots of {tree.name} is taken "
        f"as likely below −{-UNKNOWN_ROOT_HARM_C:g} °C in the pot ({UNKNOWN_SOURCE}).{meant}"
    )
    return [said]


def _unwatched(entry: Values, book: Book) -> list[str]:
    if entry["kind"] == "tree":
        moved = [entry["tree"]]
    else:
        moved = entry.get("trees") or [
            tree.id for tree in book.standing.values() if tree.placed_at_s == parse_rfc3339(entry["at"])
        ]
    trees = [book.trees[name] for name in moved if name in book.trees]
    alone = [tree for tree in trees if tree.sensor is None]
    if not alone:
        return []
    names = ", ".join(tree.name for tree in alone)
    place = {"": "without a sensor", "outside": "outside"}.get(alone[0].place, f"in the {alone[0].place}")
    verb = "is" if len(alone) == 1 else "are"
    return [f"{names} {verb} {place}: not watched there. You are asked again after 12 hours."]


def _insults(entry: Values, tree: Tree, plans: Plans, stages_before: Iterable[StageNow]) -> list[str]:
    at_s = parse_rfc3339(entry["at"])
    open_works = {stage.entry: stage for stage in stages_before if not stage.released}
    earlier = [
        work
        for work in tree.works
        if work.entry in open_works and work.entry != entry["id"] and at_s - work.at_s > DAY_S
    ]
    if not earlier:
        return []
    last = earlier[-1]
    label = plans.works[last.work].label.lower()
    days = int((at_s - last.at_s) // DAY_S)
    said = (
        f"{tree.name} is not over an earlier work yet ({label}, {days} days ago). Most growers leave a tree "
        "alone until it is: its stages now take half as long again."
    )
    return [said]
