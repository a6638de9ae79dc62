"""What the book says that concerns wraps, as one list in order of time: the fold's only view of the book.

Two lists that begin alike fold alike, so a backdated entry costs only what comes after it.
"""

import hashlib
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from monitor.trees.tree import Tree, Wrap

WrapKey = tuple[str, str]
"""A tree's id and the entry that put the wrap on: a wrap put on again under its old name is another one."""

_ORDER = ("place", "on", "touch", "rewet", "off")
"""At one instant: what was felt was felt before it was wetted again."""


class WrapEvent(NamedTuple):
    """One thing that happened; `values` by `what`.

    `place`: sensor or None. `on`: name, fibre, cover, branch [mm], thickness [mm]. `touch`: feel, how.
    """

    at_s: float
    order: int
    key: WrapKey
    what: str
    values: tuple[Any, ...] = ()


def wrap_events(trees: Iterable[Tree]) -> tuple[WrapEvent, ...]:
    """All of it, of all trees that ever had a wrap, in order of time."""
    found: list[WrapEvent] = []
    for tree in trees:
        if tree.wraps:
            found += _places(tree)
            for wrap in tree.wraps:
                found += _of_wrap(tree, wrap)
    return tuple(sorted(found, key=lambda event: event[:3]))


def _event(at_s: float, what: str, key: WrapKey, *values: Any) -> WrapEvent:
    return WrapEvent(at_s, _ORDER.index(what), key, what, values)


def _places(tree: Tree) -> Iterable[WrapEvent]:
    """Where it stood; the first known place holds for the time before, too."""
    begun_s = min(wrap.at_s for wrap in tree.wraps)
    first = tree.placement_at(begun_s)
    if first is not None:
        yield _event(begun_s, "place", (tree.id, ""), first.sensor)
    for placement in tree.placements:
        if placement.at_s > begun_s:
            yield _event(placement.at_s, "place", (tree.id, ""), placement.sensor)


def _of_wrap(tree: Tree, wrap: Wrap) -> Iterable[WrapEvent]:
    key = (tree.id, wrap.entry)
    facts = (wrap.wrap, wrap.fibre, wrap.cover, wrap.branch_mm, wrap.thickness_mm)
    yield _event(wrap.at_s, "on", key, *facts)
    for touch in wrap.touches:
        yield _event(touch.at_s, "touch", key, touch.feel, touch.how)
    for at_s in wrap.rewets:
        yield _event(at_s, "rewet", key)
    ends = [at_s for at_s in (wrap.off_at_s, tree.left_at_s) if at_s is not None]
    if ends:
        yield _event(min(ends), "off", key)


def first_difference_s(one: Sequence[WrapEvent], other: Sequence[WrapEvent]) -> float | None:
    """The instant from which two lists tell different stories; None where they are the same."""
    for left, right in zip(one, other, strict=False):
        if left != right:
            return min(left.at_s, right.at_s)
    longer = one if len(one) > len(other) else other
    rest = longer[min(len(one), len(other)) :]
    return rest[0].at_s if rest else None


def fingerprint(events: Iterable[WrapEvent], until_s: float) -> str:
    """What a saved fold was made from: the events up to an instant, as a short text."""
    text = repr([tuple(event) for event in events if event.at_s <= until_s])
    return hashlib.sha256(text.encode()).hexdigest()[:32]
