"""One tree's present, as its follow-ups need it, and one thing to do; pure.

Dates are the site's local dates. It knows no plan's rules: those are in `follow_ups.py` and `wire_checks.py`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta, tzinfo

from monitor.clock import local
from monitor.trees.plans import FollowUp, Plans
from monitor.trees.species import Species
from monitor.trees.stages import DAY_S, ROUNDING_K_D, DegreeDaysSince, StageNow
from monitor.trees.tree import Tree

LATE_AFTER_DAYS = 2
"""Due for this many days more, then late; judgement."""


@dataclass(frozen=True, slots=True)
class FollowUpNow:
    """One thing to do on one tree: `status` is `coming`, `due`, `late` or `done`.

    `anchor` is the id of the entry that it follows: the work, or the last time it was done. With the tree and
    `name` it makes the same thing the same thing tomorrow. `modified_at_s` is when anything about it last
    changed; `done_on` and `note` are given for `done`.
    """

    tree: str
    tree_name: str
    name: str
    label: str
    text: str
    source: str
    due_on: date
    status: str
    anchor: str
    modified_at_s: float
    because: str = ""
    part: str = ""
    done_on: date | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Moment:
    """What every question about a tree's follow-ups needs to know of the present."""

    tree: Tree
    plans: Plans
    stages: Sequence[StageNow]
    now_s: float
    zone: tzinfo
    degree_days_since: DegreeDaysSince
    species: Species | None = None
    by_entry: Mapping[str, StageNow] = field(default_factory=dict)

    @property
    def today(self) -> date:
        """The local date."""
        return self.date_of(self.now_s)

    def date_of(self, at_s: float) -> date:
        """The local date of an instant."""
        return local(at_s, self.zone).date()

    def warm_at_s(self, from_s: float, degree_days_k_d: float) -> float | None:
        """The end of the day, counted from `from_s`, in which so much warmth came together; None: not yet.

        Whole days, so that the answer stays the same however often it is asked.
        """
        whole = self.degree_days_since(from_s)
        if whole is None or whole < degree_days_k_d - ROUNDING_K_D:
            return None
        few, enough = 0, int((self.now_s - from_s) // DAY_S) + 1
        while enough - few > 1:
            middle = (few + enough) // 2
            after = self.degree_days_since(from_s + middle * DAY_S)
            if after is not None and whole - after >= degree_days_k_d - ROUNDING_K_D:
                enough = middle
            else:
                few = middle
        return from_s + enough * DAY_S

    def last_done_at_s(self, name: str, from_s: float, part: str = "") -> float | None:
        """When this was last done since `from_s`; said of no part counts for all parts."""
        found = None
        for done in self.tree.done:
            same_part = not part or done.part in ("", part)
            if done.follow_up == name and same_part and from_s <= done.at_s <= self.now_s:
                found = done.at_s
        return found

    def anchor(self, name: str, before_s: float | None = None) -> str:
        """The entry that the next (or, before an instant, that) doing of `name` follows."""
        limit_s = self.now_s if before_s is None else before_s
        followed = [
            (work.at_s, 0, work.entry)
            for work in self.tree.works
            if work.at_s <= limit_s and name in names_of(self.plans, work.work)
        ]
        followed += [
            (done.at_s, 1, done.entry)
            for done in self.tree.done
            if done.follow_up == name and (done.at_s <= limit_s if before_s is None else done.at_s < limit_s)
        ]
        if not followed:
            followed = [(wire.at_s, 0, wire.entry) for wire in self.tree.wires if wire.at_s <= limit_s]
        return max(followed)[2] if followed else self.tree.id

    def last_entered_at_s(self, name: str) -> float:
        """When a doing of that name was last written down; 0 for never."""
        return max((done.entered_at_s for done in self.tree.done if done.follow_up == name), default=0.0)

    def status(self, due_on: date) -> str:
        """`coming`, `due` or `late`."""
        if self.today < due_on:
            return "coming"
        return "due" if self.today <= due_on + timedelta(days=LATE_AFTER_DAYS) else "late"

    def follow_up(
        self,
        asked: FollowUp,
        due_on: date,
        because: str,
        modified_at_s: float,
        part: str = "",
    ) -> FollowUpNow:
        """The thing to do, due on that date."""
        return FollowUpNow(
            self.tree.id,
            self.tree.name,
            asked.name,
            asked.label,
            asked.text,
            asked.source,
            due_on,
            self.status(due_on),
            self.anchor(asked.name),
            modified_at_s,
            because,
            part,
        )


def moment(
    tree: Tree,
    plans: Plans,
    stages: Sequence[StageNow],
    now_s: float,
    zone: tzinfo,
    degree_days_since: DegreeDaysSince,
    species: Species | None = None,
) -> Moment:
    """The present of one tree; `species` is its facts, where there are any."""
    by_entry = {stage.entry: stage for stage in stages}
    return Moment(tree, plans, stages, now_s, zone, degree_days_since, species, by_entry)


def days_said(days: float) -> str:
    """`1 day`, `14 days`."""
    return "1 day" if days == 1 else f"{days:g} days"


def names_of(plans: Plans, work: str) -> frozenset[str]:
    """The follow-ups that a kind of work asks for."""
    plan = plans.works.get(work)
    return frozenset(follow_up.name for follow_up in plan.follow_ups) if plan else frozenset()
