"""Which wraps a person is asked to see to today, the most urgent first, and what one touch teaches; pure.

A touch of one wrap teaches its siblings of the same fibre and cover, so only one of them is asked for first;
the others can wait. How many things are asked for in all is the report's business.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from monitor.trees.moment import FollowUpNow

WATER, TOUCH, MOULD = "water", "touch", "mould"
OF_ITSELF = frozenset({"blind", "surprise"})
"""Reasons to touch that are the wrap's own: no sibling's touch answers them."""
_ORDER = {WATER: 0, TOUCH: 1, MOULD: 2}


class WrapNeed(NamedTuple):
    """What one wrap needs: `need` is `water`, `touch` or `mould`.

    `family` says whose touch teaches it (fibre and cover); `unsure` how wide its belief is [-]; `hours_left`
    until it is likely dry [h], infinite where it does not matter; `text` what to do, `because` why.
    """

    tree: str
    tree_name: str
    wrap: str
    need: str
    family: str
    reason: str
    unsure: float
    hours_left: float
    text: str
    because: str

    @property
    def key(self) -> tuple[str, str]:
        """Which wrap."""
        return self.tree, self.wrap


class WrapAsk(NamedTuple):
    """One thing asked about one wrap.

    `urgent`: today, before other things; `teaches` how many more wraps learn from it; `can_wait`: a sibling
    is touched first.
    """

    tree: str
    tree_name: str
    wrap: str
    need: str
    text: str
    because: str
    urgent: bool
    teaches: int = 0
    can_wait: bool = False


def wrap_asks(needs: Iterable[WrapNeed]) -> tuple[WrapAsk, ...]:
    """One ask a wrap, the most urgent first; those whose sibling is asked for stand last."""
    ordered = sorted(_gravest(needs), key=lambda need: (_ORDER[need.need], need.hours_left, -need.unsure))
    families: dict[str, list[WrapNeed]] = {}
    for need in ordered:
        if _is_taught(need):
            families.setdefault(need.family, []).append(need)
    teachers = {
        max(family, key=lambda need: need.unsure).key: len(family) - 1 for family in families.values()
    }
    asked = [_ask(need, teachers) for need in ordered]
    return tuple(
        sorted(asked, key=lambda ask: (ask.can_wait, not ask.urgent, _ORDER[ask.need], -ask.teaches))
    )


def _gravest(needs: Iterable[WrapNeed]) -> list[WrapNeed]:
    """Each wrap once: wetting it stands for touching it, touching it for looking."""
    found: dict[tuple[str, str], WrapNeed] = {}
    for need in needs:
        known = found.get(need.key)
        if known is None or _ORDER[need.need] < _ORDER[known.need]:
            found[need.key] = need
    return list(found.values())


def _is_taught(need: WrapNeed) -> bool:
    return need.need == TOUCH and need.reason not in OF_ITSELF


def _ask(need: WrapNeed, teachers: dict[tuple[str, str], int]) -> WrapAsk:
    teaches = teachers.get(need.key, 0)
    can_wait = _is_taught(need) and need.key not in teachers
    urgent = not can_wait and (need.need == WATER or need.reason not in ("long-ago", MOULD))
    because = need.because
    if teaches:
        because += f"; it teaches {teaches} more" if teaches > 1 else "; it teaches one more"
    if can_wait:
        because += "; another of its kind is felt first"
    return WrapAsk(
        need.tree, need.tree_name, need.wrap, need.need, need.text, because, urgent, teaches, can_wait
    )


def without_touched(follow_ups: Iterable[FollowUpNow], asked: Sequence[WrapAsk]) -> tuple[FollowUpNow, ...]:
    """The follow-ups that no wrap's ask stands for already: the touches of the first days."""
    trees = {ask.tree for ask in asked if ask.need in (WATER, TOUCH) and not ask.can_wait}
    return tuple(each for each in follow_ups if not (each.tree in trees and each.name.endswith("-touch")))
