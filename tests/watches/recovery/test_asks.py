"""Which wraps are asked for: urgency first, one touch for all siblings, each wrap once."""

import math
from dataclasses import replace

from monitor.report import build
from monitor.trees.asks import MOULD, TOUCH, WATER, WrapNeed, without_touched, wrap_asks
from monitor.trees.moment import FollowUpNow
from tests.report.facts import facts, follow_up

BARE, TAPED = "raffia/none", "raffia/tape-overlapped"


def need(
    tree: str,
    what: str,
    *,
    family: str = BARE,
    reason: str = "unsure",
    unsure: float = 2.0,
    left_h: float = math.inf,
) -> WrapNeed:
    """One wrap of one tree that needs something."""
    return WrapNeed(
        tree, tree.title(), "first-branch", what, family, reason, unsure, left_h, "Do it.", "because"
    )


def trees(asked: object) -> list[str]:
    """In order."""
    return [ask.tree for ask in asked]  # type: ignore[attr-defined]


def test_what_dries_first_is_asked_for_first() -> None:
    """Water by the hours that are left, then touches, then a look for mould."""
    asked = wrap_asks(
        [
            need("a", MOULD, reason=MOULD),
            need("b", WATER, left_h=9.0),
            need("c", TOUCH),
            need("d", WATER, left_h=2.0),
        ]
    )

    assert trees(asked) == ["d", "b", "c", "a"]
    assert [ask.urgent for ask in asked] == [True, True, True, False]


def test_one_touch_teaches_its_siblings_so_they_can_wait() -> None:
    """The one of which least is known is felt; the others say why they wait."""
    asked = wrap_asks(
        [need("a", TOUCH, unsure=1.0), need("b", TOUCH, unsure=3.0), need("c", TOUCH, unsure=2.0)]
    )

    assert trees(asked) == ["b", "c", "a"]
    assert asked[0].because == "because; it teaches 2 more"
    assert [ask.can_wait for ask in asked] == [False, True, True]
    assert asked[1].because.endswith("another of its kind is felt first")


def test_another_cover_is_another_family() -> None:
    """A bare wrap says nothing of tape."""
    asked = wrap_asks([need("a", TOUCH), need("b", TOUCH, family=TAPED)])

    assert [ask.can_wait for ask in asked] == [False, False]


def test_what_one_wrap_alone_went_through_no_sibling_answers() -> None:
    """Unknown air, or a touch that nothing let expect."""
    asked = wrap_asks(
        [need("a", TOUCH, reason="blind"), need("b", TOUCH, reason="surprise"), need("c", TOUCH)]
    )

    assert not any(ask.can_wait for ask in asked)


def test_each_wrap_is_asked_for_once() -> None:
    """Wetting it comes with feeling it."""
    asked = wrap_asks([need("a", TOUCH), need("a", WATER, left_h=3.0), need("a", MOULD, reason=MOULD)])

    assert [(ask.tree, ask.need) for ask in asked] == [("a", WATER)]


def test_a_weekly_touch_is_not_urgent() -> None:
    """It comes after everything that is due."""
    assert [ask.urgent for ask in wrap_asks([need("a", TOUCH, reason="long-ago")])] == [False]


def touch_of_day(tree: str) -> FollowUpNow:
    """What the plan asks for on the first three days."""
    return follow_up("first-touch", tree=tree)


def test_a_touch_that_is_asked_for_stands_for_the_plans_touch() -> None:
    """Not twice the same walk."""
    due = [touch_of_day("a"), touch_of_day("b"), replace(touch_of_day("a"), name="crack-check")]
    left = without_touched(due, wrap_asks([need("a", TOUCH)]))

    assert [(each.tree, each.name) for each in left] == [("b", "first-touch"), ("a", "crack-check")]


def test_seven_at_most_and_the_rest_is_counted() -> None:
    """Sixteen wraps of one kind: one is felt for all; with what dries seven are named, nine can wait."""
    dries = [need(f"tree-{index}", WATER, left_h=float(index)) for index in range(6)]
    felt = [need(f"sibling-{index}", TOUCH, unsure=float(index)) for index in range(10)]
    report = build.build(facts(wrap_asks=wrap_asks([*dries, *felt])))

    named = [ask.about for ask in report.today]
    assert named[:6] == [f"Tree-{index}, wrap first-branch" for index in range(6)]
    assert named[6:] == ["Sibling-9, wrap first-branch"]
    assert report.can_wait == 9
