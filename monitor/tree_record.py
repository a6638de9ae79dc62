"""A tree's record out of the store: what it went through since the book knows it. For command line and page.

Reads, never writes; works beside a running daemon and without one.
"""

from collections.abc import Callable, Iterable
from datetime import tzinfo
from typing import NamedTuple

from monitor.conditions import ThermalSums
from monitor.model import HourRow, Transition
from monitor.store.queries import Reader
from monitor.trees.exposure import HOUR_S, Exposure, MetAlarm, exposure
from monitor.trees.in_force import Raised
from monitor.trees.plans import Plans
from monitor.trees.tree import Tree
from monitor.watches.pot_fold import reckoned_pot_c
from monitor.watches.warm_days import KEPT_DAYS, raised_hours

OF_PLACE = frozenset({"sensor-silent", "sensor-doubtful"})
OF_SITE = frozenset({"was-off", "broker-lost"})
DAY_S = 86_400.0


def tree_record(
    reader: Reader,
    tree: Tree,
    plans: Plans,
    zone: tzinfo,
    from_s: float,
    to_s: float,
    label_offset_s: float = 0.0,
) -> Exposure:
    """The record of one tree between two instants [guard time, s].

    Parameters
    ----------
    reader
        of the state directory; StoreError where it cannot be read
    tree
        as the book has it
    plans
        what its limits follow from
    zone
        of the site: warm days are days there
    from_s, to_s
        the span; 0 for everything that is known
    label_offset_s
        wall time minus guard time: alarms are kept by their labels
    """
    begun_s = max(from_s, min((p.at_s for p in tree.placements), default=from_s))
    begun_s = min((begun_s, *(work.at_s for work in tree.works if work.at_s >= from_s)))
    oldest_s = min((begun_s, *(work.at_s for work in tree.works)))
    rows = _hours(reader, tree, oldest_s - KEPT_DAYS * DAY_S, to_s)
    thermal = ThermalSums()
    thermal.add(rows)
    return exposure(
        tree,
        rows,
        plans,
        lambda since_s, until_s: thermal.degree_days_k_d(tree.placements, since_s, until_s),
        begun_s,
        to_s,
        met_alarms(reader.transitions(begun_s + label_offset_s, to_s + label_offset_s), tree),
        reckoned_pot_c(tree, rows, begun_s, to_s),
        raised_hours(tree, rows, zone, begun_s, to_s, label_offset_s),
    )


def _hours(reader: Reader, tree: Tree, from_s: float, to_s: float) -> list[HourRow]:
    """The rows of every sensor that it stood at, and of the probe in its pot; for each in order of time."""
    sensors = {placement.sensor for placement in tree.placements} | {tree.pot_sensor}
    return [row for sensor in sorted(sensors - {None}, key=str) for row in reader.hours(from_s, to_s, sensor)]


class Present(NamedTuple):
    """What the kept hours say of a tree now: degree-days since an instant [K d], and frost limits raised."""

    warmth: Callable[[float], float | None]
    raised: Raised | None


def present(reader: Reader, tree: Tree, zone: tzinfo, now_s: float, label_offset_s: float = 0.0) -> Present:
    """What of the present follows from the past; guard time."""
    begun_s = min((work.at_s for work in tree.works), default=now_s)
    rows = _hours(reader, tree, min(begun_s, now_s - KEPT_DAYS * DAY_S), now_s)
    thermal = ThermalSums()
    thermal.add(rows)
    lately = [row for row in rows if row.hour_at_s > now_s - KEPT_DAYS * DAY_S]
    raised = raised_hours(tree, lately, zone, now_s - HOUR_S, now_s + HOUR_S, label_offset_s)
    return Present(
        lambda since_s: thermal.degree_days_k_d(tree.placements, since_s, now_s),
        raised[max(raised)] if raised else None,
    )


def met_alarms(transitions: Iterable[Transition], tree: Tree) -> list[MetAlarm]:
    """Occurrences about the tree, about a sensor that it stood at, and about the whole site."""
    sensors = {placement.sensor for placement in tree.placements} | {tree.pot_sensor}
    found: dict[str, MetAlarm] = {}
    for change in transitions:
        about_tree = change.subject.split("/")[0] == tree.id
        about_place = change.kind in OF_PLACE and change.subject in sensors
        if not (about_tree or about_place or change.kind in OF_SITE) or not change.occurrence:
            continue
        priority, at_s = str(change.priority), change.at_s
        first = MetAlarm(change.kind, change.subject, priority, at_s, None, None)
        met = found.get(change.occurrence, first)._replace(priority=priority)
        if change.because == "seen" and met.seen_at_s is None:
            met = met._replace(seen_at_s=at_s)
        if change.because in ("returned", "removed"):
            met = met._replace(to_s=at_s)
        found[change.occurrence] = met
    return list(found.values())
