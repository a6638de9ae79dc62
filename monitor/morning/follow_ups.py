"""What is to be done on all trees now and later, and the calendar that goes with the report."""

from typing import TYPE_CHECKING

from monitor.guarding import GuardedTree, labelled
from monitor.trees.follow_up_calendar import calendar_bytes
from monitor.trees.follow_ups import done_of, follow_ups_of
from monitor.trees.moment import FollowUpNow, Moment, moment
from monitor.trees.species import shipped_species

if TYPE_CHECKING:
    from monitor.engine import Engine


def follow_ups_now(engine: "Engine") -> tuple[FollowUpNow, ...]:
    """What is late, due or coming on every tree."""
    trees = engine.guarding.trees.values()
    return tuple(each for guarded in trees for each in follow_ups_of(_now(engine, guarded)))


def calendar_text(engine: "Engine") -> str:
    """Every follow-up, done ones too, as iCalendar text; nothing where there is none."""
    every = [*follow_ups_now(engine)]
    for guarded in engine.guarding.trees.values():
        every += done_of(_now(engine, guarded))
    return calendar_bytes(every, engine.settings.site.name).decode() if every else ""


def _now(engine: "Engine", guarded: GuardedTree) -> Moment:
    tree = engine.book.trees[guarded.tree.id]
    now_s, offset_s = engine.scenes.label_s(engine.now_s), engine.scenes.speech.offset_s

    def degree_days_since(at_s: float) -> float:
        placements = guarded.tree.placements
        return engine.guarding.thermal.degree_days_k_d(placements, at_s - offset_s, engine.now_s)

    species = shipped_species().find(tree.species) if tree.species else None
    return moment(
        tree,
        engine.plans,
        labelled(guarded, tree, offset_s).stages,
        now_s,
        engine.settings.site.zone,
        degree_days_since,
        species,
    )
