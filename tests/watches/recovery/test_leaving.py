"""Ready to leave the house only when works, hardening off and season agree; a table of cases by date."""

from dataclasses import replace

import pytest

from monitor.trees.leaving import leaving
from monitor.trees.plans import load_plans
from monitor.trees.stages import StageNow
from monitor.trees.tree import Done, Tree, Work
from tests.engine.house import instant

PLANS = load_plans(None)
NOW_S = instant("05-20 08:00")
BENT_S = instant("01-10 15:00")
LARCH = Tree("larch-3", "Larch 3", works=(Work("w", "heavy-bend", BENT_S),))
HARDENED = replace(LARCH, done=(Done("d", instant("05-10 08:00"), "harden-off"),))
OVER = (StageNow("w", "heavy-bend", "released", 130, "all its stages are over"),)
STILL = (StageNow("w", "heavy-bend", "hardening", 130, "day 130 of 60, 200 of 350 degree-days above 5 °C"),)
LIMITS = {"low_warn_c": -2.0, "root_warn_c": -3.0}
MILD = [4.0, 5.0, 3.0, 6.0, 4.5, 2.0, 3.5]


def missing(
    tree: Tree, stages: tuple[StageNow, ...], lows_c: list[float | None], warmer: bool = True
) -> list[str]:
    """What speaks against it."""
    found = leaving(tree, stages, PLANS, LIMITS, lows_c, warmer, NOW_S)
    assert found is not None
    return list(found.missing)


def test_where_all_three_agree_it_is_ready() -> None:
    """Works over, hardened off, seven nights three degrees above its limits."""
    assert missing(HARDENED, OVER, MILD) == []


@pytest.mark.parametrize(
    ("tree", "stages", "lows_c", "warmer", "said"),
    [
        (HARDENED, STILL, MILD, True, "heavy bend is still hardening"),
        (LARCH, OVER, MILD, True, "it was not hardened off yet"),
        (
            HARDENED,
            OVER,
            [*MILD[:6], 0.5],
            True,
            "the coldest of the last 7 nights outside had 0.5 °C; it wants 1",
        ),
        (HARDENED, OVER, [*MILD[:6], None], True, "is not known for a week"),
        (HARDENED, OVER, [], True, "is not known for a week"),
        (HARDENED, OVER, MILD, False, "colder ones are to come; it wants 6 °C"),
    ],
    ids=["work", "hardening off", "a cold night", "a night unseen", "no sensor outside", "autumn"],
)
def test_each_of_the_three_alone_keeps_it_in(
    tree: Tree, stages: tuple[StageNow, ...], lows_c: list[float | None], warmer: bool, said: str
) -> None:
    """And says which."""
    (found,) = missing(tree, stages, lows_c, warmer)

    assert said in found


def test_hardening_off_before_the_work_or_long_ago_does_not_count() -> None:
    """It is for this work, and it wears off under glass."""
    before = replace(LARCH, done=(Done("d", BENT_S - 86_400.0, "harden-off"),))
    long_ago = replace(LARCH, done=(Done("d", instant("02-20 08:00"), "harden-off"),))

    assert missing(before, OVER, MILD) == ["it was not hardened off yet"]
    assert missing(long_ago, OVER, MILD) == ["it was hardened off too long ago"]


def test_a_work_whose_plan_asks_for_no_hardening_needs_none() -> None:
    """Light wiring."""
    wired = Tree("yew-2", "Yew 2", works=(Work("w", "light-wiring", BENT_S),))

    assert missing(wired, (StageNow("w", "light-wiring", "released", 130, ""),), MILD) == []


def test_of_a_tree_that_nothing_was_done_to_nothing_is_said() -> None:
    """It may stand where it likes."""
    assert leaving(Tree("yew-2", "Yew 2"), (), PLANS, LIMITS, MILD, True, NOW_S) is None
