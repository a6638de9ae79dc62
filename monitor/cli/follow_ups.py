"""What is to be done on which tree, worked out from the book and the hours that the guard has kept."""

from monitor import clock
from monitor.cli import show
from monitor.cli.place import Place
from monitor.conditions import ThermalSums
from monitor.errors import StoreError
from monitor.trees.follow_up_calendar import calendar_bytes
from monitor.trees.follow_ups import FollowUpNow, done_of, follow_ups_of, moment
from monitor.trees.species import shipped_species
from monitor.trees.stages import stages_of
from monitor.trees.tree import Tree


def calendar_of(place: Place) -> bytes:
    """The calendar file of all trees: what comes, what is due, what was done."""
    book = place.folded(place.entries())
    warmth = _warmth(place)
    found = [each for tree in book.standing.values() for each in _of_tree(place, tree, warmth)]
    return calendar_bytes(found, place.settings.site.name)


def _of_tree(place: Place, tree: Tree, warmth: ThermalSums | None) -> list[FollowUpNow]:
    now_s = clock.wall_s()

    def degree_days_since(at_s: float) -> float | None:
        return None if warmth is None else warmth.degree_days_k_d(tree.placements, at_s, now_s)

    stages = stages_of(tree, place.plans, now_s, degree_days_since)
    facts = shipped_species().find(tree.species)
    present = moment(tree, place.plans, stages, now_s, place.settings.site.zone, degree_days_since, facts)
    return [*follow_ups_of(present), *done_of(present)]


def _warmth(place: Place) -> ThermalSums | None:
    from monitor.store.queries import Reader

    sums = ThermalSums()
    try:
        with Reader(place.state) as reader:
            sums.add(reader.hours())
    except StoreError as error:
        show.aside(f"How warm it was is not known, so dates go by days alone. {error}")
        return None
    return sums
