"""What is due on a tree, what is late and what was done: by the plans, the wire, and what was found; pure.

A change of the clocks moves no date. It asks for nothing by itself: which of these a person is asked today is
the report's choice, and none of them ever rings.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import timedelta

from monitor.trees.moment import FollowUpNow, Moment, days_said, moment, names_of
from monitor.trees.plans import FollowUp, Plans
from monitor.trees.stages import StageNow, wrap_keep
from monitor.trees.tree import Wire, Work, Wrap
from monitor.trees.wire_checks import OWN_FOLLOW_UPS, from_findings, wire_check

__all__ = ["FollowUpNow", "Moment", "done_of", "follow_up_names", "follow_ups_of", "moment"]

LAPSES_AFTER_DAYS = 30
"""What is due once and has no stage to end with is not asked for ever; judgement."""

_STAGE_ORDER = ("fresh", "mending", "hardening", "released")


def follow_ups_of(present: Moment) -> tuple[FollowUpNow, ...]:
    """What is coming, due and late on the tree, the soonest first: one of each name."""
    if present.tree.left_at_s is not None and present.tree.left_at_s <= present.now_s:
        return ()
    found = [*_from_plans(present), *wire_check(present), *from_findings(present)]
    soonest: dict[str, FollowUpNow] = {}
    for each in sorted(found, key=lambda follow_up: (follow_up.due_on, follow_up.name, follow_up.part)):
        known = soonest.get(each.name)
        modified_at_s = max(each.modified_at_s, known.modified_at_s) if known else each.modified_at_s
        soonest[each.name] = replace(known or each, modified_at_s=modified_at_s)
    return tuple(soonest.values())


def done_of(present: Moment) -> tuple[FollowUpNow, ...]:
    """What was done on the tree, in order."""
    return tuple(
        FollowUpNow(
            present.tree.id,
            present.tree.name,
            done.follow_up,
            _label(present.plans, done.follow_up),
            "",
            "",
            present.date_of(done.at_s),
            "done",
            present.anchor(done.follow_up, done.at_s),
            done.entered_at_s,
            part=done.part,
            done_on=present.date_of(done.at_s),
            note=done.note,
        )
        for done in present.tree.done
        if done.at_s <= present.now_s
    )


def follow_up_names(plans: Plans) -> frozenset[str]:
    """Everything that can ever be due: what `done` may name."""
    of_plans = {name for work in plans.works for name in names_of(plans, work)}
    return frozenset(of_plans | {follow_up.name for follow_up in OWN_FOLLOW_UPS})


# ---- by the plans --------------------------------------------------------------------------------------


def _from_plans(present: Moment) -> Iterable[FollowUpNow]:
    for work in present.tree.works:
        stage = present.by_entry.get(work.entry)
        if stage is None:
            continue
        for asked in present.plans.works[work.work].follow_ups:
            if _is_asked(asked, work, stage, present):
                found = _next(asked, work, present)
                if found is not None:
                    yield found


def _is_asked(asked: FollowUp, work: Work, stage: StageNow, present: Moment) -> bool:
    """Whether there is cause: the stage is not past, and what it is about is still on the tree."""
    if asked.until_stage is not None:
        return _STAGE_ORDER.index(stage.stage) <= _STAGE_ORDER.index(asked.until_stage) and (
            not asked.name.endswith("-touch") or _has_damp_wrap(present)
        )
    if asked.every_days is None:
        return True
    tree = present.tree
    on: Mapping[str, Sequence[Wire | Wrap]] = {
        "wire-check": [wire for wire in tree.wires if wire.kind == "wire"],
        "guy-check": [wire for wire in tree.wires if wire.kind == "guy"],
        "unwrap": tree.wraps,
    }
    since = [each for each in on.get(asked.name, ()) if each.off_at_s is None or each.off_at_s >= work.at_s]
    if not since:
        return not stage.released
    # wire_checks.py asks for wire that the book knows of, part by part.
    return asked.name != "wire-check" and any(each.off_at_s is None for each in since)


def _has_damp_wrap(present: Moment) -> bool:
    return any(wrap_keep(wrap, present.stages) == "damp" for wrap in present.tree.wraps_on)


def _next(asked: FollowUp, work: Work, present: Moment) -> FollowUpNow | None:
    """When it is due next; None once it was done for good, or lapsed."""
    done_at_s = present.last_done_at_s(asked.name, work.at_s)
    if asked.name.endswith("-touch"):
        done_at_s = _touched_at_s(asked, work, present) or done_at_s
    if done_at_s is not None and asked.every_days is None:
        return None
    from_s = work.at_s if done_at_s is None else done_at_s
    days = asked.after_days if done_at_s is None else asked.every_days or 0.0
    due_on = present.date_of(from_s) + timedelta(days=days)
    modified_at_s = max(work.entered_at_s, present.last_entered_at_s(asked.name))
    label = present.plans.works[work.work].label.lower()
    because = f"{days_said(days)} after {label if done_at_s is None else 'the last time'}"
    if asked.degree_days_k_d is not None:
        warm_at_s = present.warm_at_s(from_s, asked.degree_days_k_d)
        if warm_at_s is not None and present.date_of(warm_at_s) < due_on:
            due_on = present.date_of(warm_at_s)
            modified_at_s = max(modified_at_s, warm_at_s)
            because = f"{asked.degree_days_k_d:g} degree-days of warmth since then"
    lapses_on = due_on + timedelta(days=LAPSES_AFTER_DAYS)
    if asked.every_days is None and asked.until_stage is None and present.today > lapses_on:
        return None
    return present.follow_up(asked, due_on, because, modified_at_s)


def _touched_at_s(asked: FollowUp, work: Work, present: Moment) -> float | None:
    """A touch check written into the book on its day or later is that check done."""
    due_on = present.date_of(work.at_s) + timedelta(days=asked.after_days)
    touched = [
        touch.at_s
        for wrap in present.tree.wraps
        for touch in wrap.touches
        if touch.at_s >= work.at_s and present.date_of(touch.at_s) >= due_on
    ]
    return min(touched, default=None)


def _label(plans: Plans, name: str) -> str:
    for plan in plans.works.values():
        for follow_up in plan.follow_ups:
            if follow_up.name == name:
                return follow_up.label
    return name.replace("-", " ").capitalize()
