"""When wire wants to be looked at, and what a finding asks for at once; pure.

Wire bites as the branch thickens, so the checks follow warmth from the swelling of the buds, and come every
few weeks at least. They exist while wire is on, whatever stage the tree is in.
"""

from collections.abc import Iterable
from datetime import date, timedelta

from monitor.trees.moment import FollowUpNow, Moment, days_said
from monitor.trees.plans import FollowUp
from monitor.trees.stages import DAY_S
from monitor.trees.tree import Finding, Wire

FIRST_BITE_K_D = 100.0
"""First check so much warmth after the buds swelled [K d above 5 °C]; judgement."""
NEXT_BITE_K_D = 50.0
"""And then each time so much more came together [K d]; judgement."""
EAGER = 0.7
"""Thin bark is marked sooner, and aluminium is put on thicker; judgement."""
SECOND_SEASON = 2.0
"""Pines thicken late: in its first season their wire waits for twice the warmth; judgement."""
SEASON_S = 300 * DAY_S
DORMANT_DAYS = 21.0
GROWTH = ("buds-swelling", "buds-open")

_SOURCE = "common practice, no source; the days and the warmth: judgement"
WIRE_CHECK = FollowUp(
    "wire-check",
    "Wire",
    DORMANT_DAYS,
    "Look along the wire for the first sign that it sinks into the bark; where it does, cut it off.",
    _SOURCE,
    every_days=DORMANT_DAYS,
    degree_days_k_d=NEXT_BITE_K_D,
)
WIRE_OFF = FollowUp(
    "wire-off",
    "Wire off",
    3,
    "The wire bites: cut it off within days, turn by turn; do not unwind it.",
    _SOURCE,
)
MOULD = FollowUp(
    "unwrap",
    "Wrap off",
    1,
    "There is mould: take the wrap off, or open it to the air; not while it is frozen.",
    _SOURCE,
)
BUDS_OPEN = FollowUp(
    "unwrap",
    "Wrap off",
    7,
    "The buds are open: the wrap has done its work, take it off.",
    _SOURCE,
)
SLACK = FollowUp("guy-check", "Guys", 1, "A guy is slack: draw it in, and look where it holds.", _SOURCE)
OWN_FOLLOW_UPS = (WIRE_CHECK, WIRE_OFF, MOULD, BUDS_OPEN, SLACK)
"""What is asked without any plan; `done` may name these too."""


def wire_check(present: Moment) -> Iterable[FollowUpNow]:
    """The next look at the wire that the book knows of: its soonest parts together, as one thing to do."""
    wires = [wire for wire in present.tree.wires_on if wire.kind == "wire" and wire.at_s <= present.now_s]
    due = [(*_due(wire, present), wire) for wire in wires]
    if not due:
        return
    soonest = min(each[0] for each in due)
    first = [each for each in due if each[0] == soonest]
    modified_at_s = max(each[2] for each in first)
    parts = ", ".join(sorted({wire.part for *_said, wire in first}))
    yield present.follow_up(_planned(present), soonest, first[0][1], modified_at_s, parts)


def from_findings(present: Moment) -> Iterable[FollowUpNow]:
    """What a finding asks for, as long as what it is about is still on the tree and nobody did it."""
    tree = present.tree
    wires = [wire for wire in tree.wires_on if wire.kind == "wire"]
    guys = [wire for wire in tree.wires_on if wire.kind == "guy"]
    for finding in tree.findings:
        if finding.at_s > present.now_s:
            continue
        if finding.found == "bite" and _about(finding, wires):
            yield from _asked_by(finding, WIRE_OFF, present)
        elif finding.found == "slack" and _about(finding, guys):
            yield from _asked_by(finding, SLACK, present)
        elif finding.found in ("mould", "buds-open") and any(
            wrap.at_s <= finding.at_s and (finding.found == "buds-open" or finding.part in ("", wrap.wrap))
            for wrap in tree.wraps_on
        ):
            yield from _asked_by(finding, MOULD if finding.found == "mould" else BUDS_OPEN, present)


def _about(finding: Finding, wires: Iterable[Wire]) -> bool:
    return any(wire.at_s <= finding.at_s and finding.part in ("", wire.part) for wire in wires)


def _asked_by(finding: Finding, asked: FollowUp, present: Moment) -> Iterable[FollowUpNow]:
    if present.last_done_at_s(asked.name, finding.at_s, finding.part) is None:
        due_on = present.date_of(finding.at_s) + timedelta(days=asked.after_days)
        because = f"{finding.found.replace('-', ' ')} was found on {present.date_of(finding.at_s)}"
        yield present.follow_up(asked, due_on, because, finding.entered_at_s, finding.part)


def _planned(present: Moment) -> FollowUp:
    """The strictest wire check of the plans of all works on the tree, else the usual one."""
    planned = [
        follow_up
        for work in present.tree.works
        if work.at_s <= present.now_s and work.work in present.plans.works
        for follow_up in present.plans.works[work.work].follow_ups
        if follow_up.name == WIRE_CHECK.name
    ]
    return min(planned, key=lambda follow_up: follow_up.every_days or DORMANT_DAYS, default=WIRE_CHECK)


def _due(wire: Wire, present: Moment) -> tuple[date, str, float]:
    """When this wire wants to be looked at next, why, and when that was last changed."""
    planned = _planned(present)
    done_at_s = present.last_done_at_s(WIRE_CHECK.name, wire.at_s, wire.part)
    from_s = wire.at_s if done_at_s is None else done_at_s
    days = planned.after_days if done_at_s is None else planned.every_days or DORMANT_DAYS
    due_on = present.date_of(from_s) + timedelta(days=days)
    because = f"{days_said(days)} after {'it was put on' if done_at_s is None else 'the last time'}"
    modified_at_s = max(wire.entered_at_s, present.last_entered_at_s(WIRE_CHECK.name))
    warm_from_s, asked_k_d = _warmth(wire, from_s, planned, present)
    warm_at_s = present.warm_at_s(warm_from_s, asked_k_d)
    if warm_at_s is not None and present.date_of(warm_at_s) < due_on:
        due_on = max(present.date_of(warm_at_s), present.date_of(from_s))
        because = f"{asked_k_d:.0f} degree-days of warmth since {present.date_of(warm_from_s)}"
        modified_at_s = max(modified_at_s, warm_at_s)
    return due_on, because, modified_at_s


def _warmth(wire: Wire, from_s: float, planned: FollowUp, present: Moment) -> tuple[float, float]:
    """From when warmth counts for this wire, and how much of it asks for a look [K d]."""
    growth = [
        finding.at_s
        for finding in present.tree.findings
        if finding.found in GROWTH and present.now_s - SEASON_S < finding.at_s <= present.now_s
    ]
    asked_k_d = planned.degree_days_k_d or NEXT_BITE_K_D
    began_at_s = min(growth, default=None)
    if began_at_s is not None and began_at_s > from_s:
        # Nothing thickens before the buds swell: warmth until then does not count.
        from_s, asked_k_d = began_at_s, FIRST_BITE_K_D
    facts = present.species
    if wire.metal == "aluminium" or (facts is not None and facts.thin_bark):
        asked_k_d *= EAGER
    if facts is not None and facts.bites_second_season and present.now_s - wire.at_s < SEASON_S:
        asked_k_d *= SECOND_SEASON
    return from_s, asked_k_d
