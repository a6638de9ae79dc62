"""Which stage each work on a tree is in now, and why, in words; pure.

A stage ends at the later of its days and its degree-days above 5 °C, both counted from the work. Where
several works meet on one tree, a stage takes the longer time of them, half as long again. It knows plans and
trees, no limits, no weather: how much warmth has come together is asked of a function.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from monitor.clock import rfc3339
from monitor.trees.plans import RELEASED, Plans, Stage, WorkPlan
from monitor.trees.tree import Tree, Work, Wrap

DegreeDaysSince = Callable[[float], float | None]
"""Degree-days above 5 °C from an instant until now, where the tree stood [K d]; None where nobody knows."""

DAY_S = 86_400.0
ROUNDING_K_D = 1e-6
"""Sums of warmth come as differences of long sums: a last digit must not move a date."""
SEVERAL_WORKS = 1.5
"""How much longer a stage lasts where works meet; judgement."""
ONE_SESSION_S = DAY_S
"""The same work entered again within a day is the same session, not another insult."""
FLUSH_APART_S = 30 * DAY_S
"""Two hardened flushes are at least a month apart; judgement."""
FLUSHES: Mapping[str, int] = {"collected": 2}
"""How many hardened flushes stand for the warmth of `hardening`: one for all others; judgement."""


@dataclass(frozen=True, slots=True)
class StageNow:
    """Where one work stands; `entry` is the work's line in the book, `day` whole days since the work.

    `days` and `degree_days_k_d` are what the stage asks for, with several works counted in; `warmth_k_d` is
    what has come together, None where nobody knows. `days_end_at_s` is when its days are over: the stage
    cannot end before. A released work has `stage` = `released`.
    """

    entry: str
    work: str
    stage: str
    day: int
    because: str
    days: float = 0.0
    degree_days_k_d: float | None = None
    warmth_k_d: float | None = None
    days_end_at_s: float | None = None

    @property
    def released(self) -> bool:
        """Whether the work asks for nothing any more."""
        return self.stage == RELEASED


def stages_of(
    tree: Tree, plans: Plans, now_s: float, degree_days_since: DegreeDaysSince
) -> tuple[StageNow, ...]:
    """The stage of each work on the tree, in the order of the works; works still to come are left out."""
    return tuple(
        stage_of(work, tree, plans, now_s, degree_days_since)
        for work in tree.works
        if work.at_s <= now_s and work.work in plans.works
    )


def stage_of(
    work: Work, tree: Tree, plans: Plans, now_s: float, degree_days_since: DegreeDaysSince
) -> StageNow:
    """The stage of one work of this tree now [now_s at or after the work], and why."""
    day = int((now_s - work.at_s) // DAY_S)
    if work.released_at_s is not None and work.released_at_s <= now_s:
        because = f"you said so on {rfc3339(work.released_at_s)[:10]}"
        return StageNow(work.entry, work.work, RELEASED, day, because)
    plan = plans.works[work.work]
    warmth = degree_days_since(work.at_s)
    others = _others(work, tree, plans, now_s, degree_days_since)
    asked = plan.stages[-1]
    for stage in plan.stages:
        asked = _lengthened(stage, work, others, degree_days_since)
        flushed = stage.name == "hardening" and _flushed(work, tree, now_s)
        if not _over(asked, work.at_s, now_s, warmth, flushed):
            return StageNow(
                work.entry,
                work.work,
                stage.name,
                day,
                _because(asked, day, warmth, flushed) + _with_others(stage, asked, others),
                asked.days,
                asked.degree_days_k_d,
                warmth,
                work.at_s + asked.days * DAY_S,
            )
    because = f"all its stages are over: {_because(asked, day, warmth, _flushed(work, tree, now_s))}"
    return StageNow(work.entry, work.work, RELEASED, day, because, warmth_k_d=warmth)


def is_tender(stages: Iterable[StageNow]) -> bool:
    """Whether any work on the tree still asks for something."""
    return any(not stage.released for stage in stages)


def wrap_keep(wrap: Wrap, stages: Iterable[StageNow]) -> str:
    """`damp` or `any`: the person's word, else `damp` for sphagnum, grafts, and heavy bends while fresh."""
    if wrap.keep is not None:
        return wrap.keep
    if wrap.fibre == "sphagnum":
        return "damp"
    asks = any(
        (stage.work == "graft" and not stage.released)
        or (stage.work == "heavy-bend" and stage.stage == "fresh")
        for stage in stages
    )
    return "damp" if asks else "any"


# ---- several works -------------------------------------------------------------------------------------


def _others(
    work: Work, tree: Tree, plans: Plans, now_s: float, degree_days_since: DegreeDaysSince
) -> list[tuple[Work, WorkPlan]]:
    """The other works that were not over when this one was done, or came since."""
    found = []
    for other in tree.works:
        if other is work or other.work not in plans.works or other.at_s > now_s:
            continue
        if other.work == work.work and abs(other.at_s - work.at_s) < ONE_SESSION_S:
            continue
        plan = plans.works[other.work]
        if other.at_s >= work.at_s or not _was_over(other, plan, work.at_s, degree_days_since):
            found.append((other, plan))
    return found


def _was_over(work: Work, plan: WorkPlan, at_s: float, degree_days_since: DegreeDaysSince) -> bool:
    """Whether a work was over by its own plan, or released, at that instant."""
    if work.released_at_s is not None and work.released_at_s <= at_s:
        return True
    warmth = _between(work.at_s, at_s, degree_days_since)
    return all(_over(stage, work.at_s, at_s, warmth, False) for stage in plan.stages)


def _lengthened(
    stage: Stage, work: Work, others: Sequence[tuple[Work, WorkPlan]], degree_days_since: DegreeDaysSince
) -> Stage:
    """The stage as other works make it: the longer time of all, half as long again.

    A work that came when this stage was over already does not bring it back.
    """
    met = [
        plan.stage(stage.name)
        for other, plan in others
        if other.at_s <= work.at_s
        or not _over(stage, work.at_s, other.at_s, _between(work.at_s, other.at_s, degree_days_since), False)
    ]
    if not met:
        return stage
    stages = [stage, *(each for each in met if each is not None)]
    warmths = [each.degree_days_k_d for each in stages if each.degree_days_k_d is not None]
    return Stage(
        name=stage.name,
        days=SEVERAL_WORKS * max(each.days for each in stages),
        degree_days_k_d=SEVERAL_WORKS * max(warmths) if warmths else None,
        limits=stage.limits,
        source=stage.source,
        wrap_wet_min_days=stage.wrap_wet_min_days,
        wrap_wet_max_days=stage.wrap_wet_max_days,
    )


def _between(from_s: float, to_s: float, degree_days_since: DegreeDaysSince) -> float | None:
    """Degree-days from one past instant to another [K d]."""
    since, after = degree_days_since(from_s), degree_days_since(to_s)
    return None if since is None or after is None else since - after


# ---- one stage -----------------------------------------------------------------------------------------


def _over(stage: Stage, begun_at_s: float, at_s: float, warmth: float | None, flushed: bool) -> bool:
    if at_s < begun_at_s + stage.days * DAY_S:
        return False
    if stage.degree_days_k_d is None or flushed:
        return True
    return warmth is not None and warmth >= stage.degree_days_k_d - ROUNDING_K_D


def _flushed(work: Work, tree: Tree, now_s: float) -> bool:
    """Whether as many flushes were seen to harden since the work as stand for its warmth."""
    seen = 0
    last_at_s = float("-inf")
    for finding in tree.findings:
        counts = finding.found == "flush-hard" and work.at_s <= finding.at_s <= now_s
        if counts and finding.at_s - last_at_s >= FLUSH_APART_S:
            seen += 1
            last_at_s = finding.at_s
    return seen >= FLUSHES.get(work.work, 1)


def _because(stage: Stage, day: int, warmth: float | None, flushed: bool) -> str:
    said = f"day {day} of {stage.days:g}"
    if stage.degree_days_k_d is None:
        return said
    if flushed:
        return f"{said}, and its new growth has hardened"
    if warmth is None:
        return (
            f"{said}; how warm it was is not known, and {stage.degree_days_k_d:g} degree-days are asked for"
        )
    return f"{said}, {warmth:.0f} of {stage.degree_days_k_d:g} degree-days above 5 °C"


def _with_others(stage: Stage, asked: Stage, others: Sequence[tuple[Work, WorkPlan]]) -> str:
    if asked is stage:
        return ""
    labels = ", ".join(sorted({plan.label.lower() for _work, plan in others}))
    return f"; with {labels} on the same tree it takes the longer time, half as long again"
