"""Whether a tree may leave the house for good, and what is still missing, in words; pure.

Three things must agree: its works are over, it was hardened off, and the season outside is milder than its
limits by a margin. What is not known is missing. Nobody but the person releases a tree or moves it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.trees.plans import Plans
from monitor.trees.stages import DAY_S, StageNow
from monitor.trees.tree import Tree

NIGHTS = 7
"""So many nights on end must have been mild enough outside; judgement."""
MARGIN_K = 3.0
"""How far the nights must stay above its limits while the year grows warmer; judgement."""
COLDER_MARGIN_K = 8.0
"""And while it grows colder, for what is to come; judgement."""
HARDENED = "harden-off"
HARDENED_LASTS_DAYS = 60.0
"""Hardening off is worth nothing after so long under glass; judgement."""


@dataclass(frozen=True, slots=True)
class Leaving:
    """Whether a tree is ready to leave, and what speaks against it, the gravest first."""

    tree: str
    tree_name: str
    missing: tuple[str, ...] = ()

    @property
    def is_ready(self) -> bool:
        """Whether everything agrees."""
        return not self.missing


def leaving(
    tree: Tree,
    stages: Sequence[StageNow],
    plans: Plans,
    limits: Mapping[str, float],
    lows_c: Sequence[float | None],
    grows_warmer: bool,
    now_s: float,
) -> Leaving | None:
    """Whether the tree may leave now; None where nothing was done to it that would keep it in.

    Parameters
    ----------
    tree, stages, plans, limits
        the tree and what holds for it now
    lows_c
        the lowest temperature outside in each of the last nights, the latest last [°C]; None is not known
    grows_warmer
        whether the season brings milder nights
    now_s
        the instant [s]
    """
    works = [stage for stage in stages if stage.work in plans.works]
    if not works:
        return None
    missing = [*_works(works, plans), *_hardened(tree, works, plans, now_s)]
    missing += _season(limits, lows_c, grows_warmer)
    return Leaving(tree.id, tree.name, tuple(missing))


def _works(stages: Sequence[StageNow], plans: Plans) -> list[str]:
    """Works that still ask for care."""
    return [
        f"{plans.works[stage.work].label.lower()} is still {stage.stage} ({stage.because})"
        for stage in stages
        if not stage.released
    ]


def _hardened(tree: Tree, stages: Sequence[StageNow], plans: Plans, now_s: float) -> list[str]:
    """Hardening off is done where a plan asks for it, since the last such work, and not too long ago."""
    asking = [
        stage.entry
        for stage in stages
        if any(follow_up.name == HARDENED for follow_up in plans.works[stage.work].follow_ups)
    ]
    begun = [work.at_s for work in tree.works if work.entry in asking]
    if not begun:
        return []
    done = [
        each.at_s for each in tree.done if each.follow_up == HARDENED and max(begun) <= each.at_s <= now_s
    ]
    if not done:
        return ["it was not hardened off yet"]
    if now_s - done[-1] > HARDENED_LASTS_DAYS * DAY_S:
        return ["it was hardened off too long ago"]
    return []


def _season(limits: Mapping[str, float], lows_c: Sequence[float | None], grows_warmer: bool) -> list[str]:
    """The nights outside against the tenderest limit of the air or, where that is all, of the roots."""
    held = [limits[key] for key in ("low_warn_c", "root_warn_c") if key in limits]
    known = [low for low in lows_c[-NIGHTS:] if low is not None]
    if len(known) < NIGHTS:
        return ["how cold the nights outside are is not known for a week"]
    if not held:
        return []
    asked_c = max(held) + (MARGIN_K if grows_warmer else COLDER_MARGIN_K)
    coldest_c = min(known)
    if coldest_c >= asked_c:
        return []
    nights = f"the coldest of the last {NIGHTS} nights outside had {coldest_c:.1f} °C".replace("-", "−")
    season = "" if grows_warmer else ", and colder ones are to come"
    return [f"{nights}{season}; it wants {asked_c:g} °C or more".replace("-", "−")]
