"""What is said of each wrap now, and what a person should do about it; pure.

The fold's beliefs, the plan's wet days and the person's wish (`keep`) in; feel, reasons to touch and to wet
out. Alarms, asks, page and report all read this one value, so that they cannot disagree.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np

from monitor.guarding import GuardedTree
from monitor.science.drying import FIBRES
from monitor.science.wrap_estimates import Range, WrapEstimate, estimates
from monitor.science.wraps import WrapAir, WrapState, weights_of
from monitor.trees.plans import Plans
from monitor.trees.stages import StageNow, wrap_keep
from monitor.trees.tree import Wrap
from monitor.watches.wrap_events import WrapKey
from monitor.watches.wrap_fold import Felt, Fold, FoldedWrap, is_frozen

DRY_SOON_H = 12.0
"""Likely dry within so long asks for water; judgement."""
DRY_SOON_OVER_H = 16.0
"""And no longer does from here on."""
WATER_UNSURE = 0.12
"""How much water fibre takes up and lets go differs by that part from wrap to wrap; judgement."""
BALANCE_UNSURE_KG_PER_KG = 0.02
"""And so does what it holds when it is dry; judgement."""
LIKELY_DRY = 0.3
"""So great a chance that it is dry already asks for water, too; judgement."""
UNSURE_FROM = 0.02
"""From this chance of being dry on it is not called damp without a touch; judgement."""
UNSURE_ALONE_FROM = 0.05
"""The same where the last touch is left out: that it is damp rests on one hand alone; judgement."""
ONE_HAND_H = 24.0
"""And one hand alone is believed for so long; judgement."""
JUST_WETTED_H = 3.0
"""More water is not asked for so soon, however dry the air is; judgement."""
SETTLED_H = 24.0
"""Just wetted: wet enough, whatever else is not known; judgement."""
TOUCH_EVERY_H = 7 * 24.0
"""A damp wrap is touched weekly; common practice, no source."""
LOOK_EVERY_DAYS = 14.0
"""Past its wet maximum one look for mould, then one each fortnight; common practice, no source."""
WET_MAX_DAYS = 21.0
"""Where no plan says how long; judgement."""
BLIND_PART = 0.25
"""Unknown air counts once it is that part of the hours left until dry; judgement."""
BLIND_AT_LEAST_H = 3.0
BLIND_AT_MOST_H = 24.0
TENTH_OF_NORMAL: Final = 1.2816
"""Standard deviations from the middle to the ten per cent point."""

Outlook = Callable[[str | None], tuple[float, float]]
"""Temperature [°C] and relative humidity [%] to reckon the drying with at a sensor; NaN: not known."""


@dataclass(frozen=True, slots=True)
class WrapView:
    """One wrap that is on, now.

    `feel` is `wet`, `damp`, `dry`, `frozen` or `unknown`; `touch_because` is why it should be felt: `blind`,
    `surprise`, `never-felt`, `unsure`, `long-ago`, or nothing; `wants_water` is None where that cannot be
    known; `wet_days` how long it has been damp [d]; `looks_for_mould` that it is past its maximum and was not
    looked at since; `min_days` and `max_days` by plan [d].
    """

    key: WrapKey
    tree_name: str
    wrap: str
    fibre: str
    cover: str
    keep: str
    feel: str
    estimate: WrapEstimate
    on_days: float
    since_wet_h: float
    since_touch_h: float | None
    wet_days: float
    min_days: float | None
    max_days: float
    blind_h: float
    touches: int
    touch_because: str
    just_wetted: bool
    wants_water: bool | None
    water_can_wait: bool
    looks_for_mould: bool
    felt: Felt | None = None

    @property
    def subject(self) -> str:
        """As alarms name it: tree and wrap."""
        return f"{self.key[0]}/{self.wrap}"

    @property
    def is_kept_damp(self) -> bool:
        """Whether it is meant to stay damp; else nobody is asked about it."""
        return self.keep == "damp"


class Belief(NamedTuple):
    """One wrap's fold, what is reckoned from it, and the chance that it is dry; that, too, without its last
    touch.
    """

    folded: FoldedWrap
    estimate: WrapEstimate
    dry: float
    dry_alone: float


def _without_last_touch(wrap: FoldedWrap) -> WrapState:
    before = wrap.before_touch
    return wrap.state if before is None else wrap.state._replace(log_likelihood=before)


def beliefs(fold: Fold, trees: Mapping[str, GuardedTree], outlook: Outlook) -> dict[WrapKey, Belief]:
    """What is believed of every wrap that is on, in the order in which they were put on."""
    on = [key for key in fold.wraps if key[0] in trees]
    if not on:
        return {}
    air = np.array([outlook(fold.sensors.get(tree)) for tree, _entry in on])
    states = [fold.wraps[key].state for key in on]
    found = estimates(states, WrapAir(air[:, 0], air[:, 1]))
    alone = dry_chances([_without_last_touch(fold.wraps[key]) for key in on])
    return {
        key: Belief(fold.wraps[key], _widened(estimate, state), dry, dry_alone)
        for key, state, estimate, dry, dry_alone in zip(
            on, states, found, dry_chances(states), alone, strict=True
        )
    }


def wrap_views(
    believed: Mapping[WrapKey, Belief], trees: Mapping[str, GuardedTree], plans: Plans, now_s: float
) -> tuple[WrapView, ...]:
    """Every wrap as it is now, by what is believed of it."""
    views = []
    for key, belief in believed.items():
        guarded = trees[key[0]]
        wrap = next((wrap for wrap in guarded.tree.wraps if wrap.entry == key[1]), None)
        if wrap is not None:
            views.append(_view(key, belief, wrap, guarded, plans, now_s))
    return tuple(views)


def dry_chances(states: Sequence[WrapState]) -> list[float]:
    """Chance that each wrap would feel dry, by its gain and by what no gain accounts for [-]."""
    moisture = np.array([state.moisture_kg_per_kg for state in states])
    edges = np.array([FIBRES[state.fibre].dry_below_kg_per_kg for state in states])[:, None]
    beyond = (edges - moisture) / np.array(
        [_unsure_kg_per_kg(state, np.array(state.moisture_kg_per_kg)) for state in states]
    )
    # The logistic curve of that steepness is the normal one within a hundredth.
    chances = 1 / (1 + np.exp(-1.702 * np.clip(beyond, -20, 20)))
    found: list[float] = (weights_of(states) * chances).sum(axis=1).tolist()
    return found


def _unsure_kg_per_kg(state: WrapState, moisture: Any) -> Any:
    """Standard deviation of what no gain accounts for, at a moisture [kg/kg].

    How much water it took up is off by the same amount until free water ends; then that, too, dries away.
    """
    least = FIBRES[state.fibre].dried_kg_per_kg - BALANCE_UNSURE_KG_PER_KG
    left = np.clip((moisture - least) / (float(state.body.critical_kg_per_kg) - least), 0.0, 1.0)
    return BALANCE_UNSURE_KG_PER_KG + WATER_UNSURE * float(state.body.saturated_kg_per_kg) * left


def _widened(estimate: WrapEstimate, state: WrapState) -> WrapEstimate:
    """The estimate with a band that also holds what no gain accounts for."""
    low, middle, high = estimate.moisture_kg_per_kg
    more = TENTH_OF_NORMAL * float(_unsure_kg_per_kg(state, middle))
    band = Range(
        max(0.0, middle - math.hypot(middle - low, more)), middle, middle + math.hypot(high - middle, more)
    )
    return estimate._replace(moisture_kg_per_kg=band)


def _view(
    key: WrapKey, belief: Belief, wrap: Wrap, guarded: GuardedTree, plans: Plans, now_s: float
) -> WrapView:
    folded, estimate = belief.folded, belief.estimate
    min_days, max_days = wet_days_asked(guarded.stages, plans)
    frozen = is_frozen(folded)
    since_wet_h = (now_s - folded.wetted_at_s) / 3600.0
    touched_h = folded.state.since_touch_h
    because = "" if frozen else _touch_because(belief, since_wet_h)
    blind, lost = because == "blind", because in ("blind", "surprise")
    past = folded.damp_h / 24.0 > max_days
    looked_s = folded.looked_at_s
    looked = looked_s is not None and (now_s - looked_s) / 86400.0 <= LOOK_EVERY_DAYS
    looked = looked and (now_s - (looked_s or 0.0)) / 3600.0 < folded.damp_h - max_days * 24.0
    just_wetted = since_wet_h < JUST_WETTED_H
    soon = None if frozen or blind else not just_wetted and _dry_soon(belief, DRY_SOON_H)
    return WrapView(
        key=key,
        tree_name=guarded.tree.name,
        wrap=wrap.wrap,
        fibre=wrap.fibre,
        cover=wrap.cover,
        keep=wrap_keep(wrap, guarded.stages),
        feel="frozen" if frozen else "unknown" if lost else estimate.feel,
        estimate=estimate,
        on_days=(now_s - wrap.at_s) / 86400.0,
        since_wet_h=since_wet_h,
        since_touch_h=touched_h,
        wet_days=folded.damp_h / 24.0,
        min_days=min_days,
        max_days=max_days,
        blind_h=folded.blind_h,
        touches=folded.state.touches,
        touch_because=because,
        just_wetted=just_wetted,
        wants_water=soon,
        water_can_wait=just_wetted or _dry_soon(belief, DRY_SOON_OVER_H) is False,
        looks_for_mould=past and not looked and was_kept_damp(wrap, guarded.stages, plans),
        felt=folded.felt,
    )


def was_kept_damp(wrap: Wrap, stages: Sequence[StageNow], plans: Plans) -> bool:
    """Whether it is, or was, meant to stay damp under this work: then it may have been wet for too long."""
    if wrap_keep(wrap, stages) == "damp":
        return True
    asks = (plans.works[now.work].stage(now.stage) for now in stages if now.work == "heavy-bend")
    return wrap.keep is None and any(stage is not None and stage.wrap_wet_max_days for stage in asks)


def wet_days_asked(stages: Sequence[StageNow], plans: Plans) -> tuple[float | None, float]:
    """Least and most wet days of the work that wants its wrap wet the longest [d]."""
    held = (plans.works[now.work].stage(now.stage) for now in stages)
    asked = [stage for stage in held if stage is not None and stage.wrap_wet_max_days is not None]
    if not asked:
        return None, WET_MAX_DAYS
    longest = max(asked, key=lambda stage: stage.wrap_wet_max_days or 0.0)
    return longest.wrap_wet_min_days, longest.wrap_wet_max_days or WET_MAX_DAYS


def _dry_soon(belief: Belief, within_h: float) -> bool | None:
    """Whether it wants water; None where the air does not let anybody know and it is not dry yet."""
    if belief.folded.surprise == "dry" or belief.estimate.feel == "dry" or belief.dry >= LIKELY_DRY:
        return True
    middle_h = belief.estimate.dry_in_h.p50
    return None if math.isnan(middle_h) else middle_h <= within_h


def _touch_because(belief: Belief, since_wet_h: float) -> str:
    """Why a hand should feel it, the gravest first; nothing where that would teach nothing."""
    folded, estimate = belief.folded, belief.estimate
    if folded.blind_h > _blind_allowed_h(estimate):
        return "blind"
    touched_h = folded.state.since_touch_h
    if folded.surprise:
        return "surprise"
    if since_wet_h < SETTLED_H:
        return ""
    if folded.state.cover != "none" and not folded.state.touches:
        return "never-felt"
    if estimate.feel == "unknown" or (estimate.feel != "dry" and _may_be_dry(belief)):
        return "unsure"
    if min(since_wet_h, math.inf if touched_h is None else touched_h) > TOUCH_EVERY_H:
        return "long-ago"
    return ""


def _may_be_dry(belief: Belief) -> bool:
    """Whether it may well be dry, or may be if the last hand was wrong."""
    touched_h = belief.folded.state.since_touch_h
    rests_on_one = touched_h is not None and touched_h >= ONE_HAND_H
    return belief.dry >= UNSURE_FROM or (rests_on_one and belief.dry_alone >= UNSURE_ALONE_FROM)


def _blind_allowed_h(estimate: WrapEstimate) -> float:
    """How much unknown air a wrap can go through and still be known [h]."""
    left_h = estimate.dry_in_h.p10
    if math.isnan(left_h) or math.isinf(left_h):
        return BLIND_AT_MOST_H
    return min(max(BLIND_AT_LEAST_H, BLIND_PART * left_h), BLIND_AT_MOST_H)
