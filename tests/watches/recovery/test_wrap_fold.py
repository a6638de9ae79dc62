"""The fold of wraps: the same from the beginning as hour by hour, in any order of writing down.

Expected relations follow from what the fold is; figures are those of `monitor.science`, tested there.
"""

import json
import math
from dataclasses import replace

import pytest

from monitor.trees.tree import Placement, Touch, Tree, Wrap
from monitor.watches.wrap_events import fingerprint, first_difference_s, wrap_events
from monitor.watches.wrap_fold import Fold, beginning, fold_on, is_frozen

HOUR_S = 3600.0
ON_S = 10.5 * HOUR_S
BARE = Wrap("on-1", "first-branch", ON_S, "raffia", keep="damp")
TAPED = Wrap("on-2", "second-branch", ON_S, "raffia", "tape-overlapped", keep="damp")
LARCH = Tree("larch-3", "Larch 3", placements=(Placement(0.0, "bench-a"),), wraps=(BARE, TAPED))


def house(sensor: str | None, hour_at_s: float) -> tuple[float, float]:
    """A cold house by day and night at bench-a; elsewhere nothing is known."""
    if sensor != "bench-a":
        return math.nan, math.nan
    warm = math.sin(hour_at_s / HOUR_S / 24 * 2 * math.pi)
    return 8.0 + 4.0 * warm, 75.0 - 15.0 * warm


def folded(tree: Tree, hours: float, air=house) -> Fold:  # type: ignore[no-untyped-def]
    """From the beginning in one go."""
    events = wrap_events([tree])
    begun = beginning(events)
    assert begun is not None
    return fold_on(begun, events, hours * HOUR_S, air)


def moisture(fold: Fold, entry: str = "on-1") -> float:
    """In the middle of what is believed."""
    state = fold.wraps[("larch-3", entry)].state
    return state.moisture_kg_per_kg[state.centre]


def touched(tree: Tree, hours: float, feel: str, how: str = "touch", entry: str = "on-1") -> Tree:
    """The tree with a touch more."""
    wraps = tuple(
        replace(w, touches=(*w.touches, Touch(f"t{hours}", hours * HOUR_S, feel, how)))
        if w.entry == entry
        else w
        for w in tree.wraps
    )
    return replace(tree, wraps=wraps)


def test_hour_by_hour_is_the_same_as_in_one_go() -> None:
    """To the last digit, through touches, a wetting and a move within hours."""
    wetted = replace(BARE, rewets=(30.2 * HOUR_S,), touches=(Touch("t", 30.1 * HOUR_S, "damp"),))
    moved = (
        Placement(0.0, "bench-a"),
        Placement(40.4 * HOUR_S, None, "garage"),
        Placement(44 * HOUR_S, "bench-a"),
    )
    tree = replace(LARCH, wraps=(wetted, TAPED), placements=moved)
    events = wrap_events([tree])
    fold = beginning(events)
    assert fold is not None
    for hour in range(11, 73):
        fold = fold_on(fold, events, hour * HOUR_S, house)

    assert fold == folded(tree, 72)


def test_a_saved_fold_goes_on_as_if_it_had_never_stopped() -> None:
    """Through JSON and back."""
    events = wrap_events([LARCH])
    half = Fold.from_json(json.loads(json.dumps(folded(LARCH, 30).as_json())))

    assert fold_on(half, events, 60 * HOUR_S, house) == folded(LARCH, 60)


def test_a_wrap_under_overlapped_tape_holds_its_water_far_longer() -> None:
    """Common practice, no source: tape is put on to hold it."""
    fold = folded(LARCH, 10.5 + 24)

    assert moisture(fold, "on-1") < 0.5
    assert moisture(fold, "on-2") > 1.3


def test_an_hour_of_unknown_air_dries_nothing_and_is_counted() -> None:
    """At a place without a sensor nobody knows."""
    alone = replace(LARCH, placements=(Placement(0.0, None, "garage"),))
    fold = folded(alone, 20)

    wrap = fold.wraps[("larch-3", "on-1")]
    assert wrap.blind_h == pytest.approx(9.5)
    assert moisture(fold) == moisture(folded(alone, 10.5))


def test_a_touch_teaches_the_gain_and_siblings_share_it() -> None:
    """A bare wrap that dried soon: another bare one is believed to dry sooner, a taped one not."""
    sibling = replace(BARE, entry="on-3", wrap="third-branch")
    plain = replace(LARCH, wraps=(BARE, TAPED, sibling))
    taught = folded(touched(plain, 18.0, "dry"), 19)
    before = folded(plain, 19)

    assert taught.wraps[("larch-3", "on-3")].state.prior_shift > 0.1
    assert taught.wraps[("larch-3", "on-2")].state.prior_shift == 0.0
    assert before.wraps[("larch-3", "on-3")].state.prior_shift == 0.0


def test_a_wrap_that_was_taken_off_goes_on_teaching() -> None:
    """What raffia does in this house is known from the last one."""
    off = replace(BARE, off_at_s=40 * HOUR_S)
    new = replace(BARE, entry="on-3", wrap="third-branch", at_s=50 * HOUR_S)
    fold = folded(touched(replace(LARCH, wraps=(off, new)), 18.0, "dry"), 51)

    assert fold.wraps[("larch-3", "on-3")].state.prior_shift > 0.1


def test_what_was_taken_off_leaves_the_saved_mark() -> None:
    """Years of wraps: the mark holds those that are on, and of the others what twenty of a kind taught."""
    gone = [
        replace(BARE, entry=f"on-{10 + n}", wrap=f"branch-{n}", at_s=n * HOUR_S, off_at_s=(n + 20) * HOUR_S)
        for n in range(30)
    ]
    felt = [
        replace(wrap, touches=(Touch(f"t-{n}", (n + 18) * HOUR_S, "dry"),)) for n, wrap in enumerate(gone)
    ]
    fold = folded(replace(LARCH, wraps=(*felt, replace(TAPED, at_s=0.0))), 60)

    assert list(fold.wraps) == [("larch-3", "on-2")]
    assert {family: len(known) for family, known in fold.lessons.items()} == {"raffia/none": 20}
    assert Fold.from_json(json.loads(json.dumps(fold.as_json()))) == fold


def test_a_frozen_wrap_holds_its_estimate_and_a_touch_of_it_is_not_believed() -> None:
    """Common practice, no source: ice feels hard and dry."""

    def frost(sensor: str | None, hour_at_s: float) -> tuple[float, float]:
        return (-4.0, 80.0) if hour_at_s >= 12 * HOUR_S else (5.0, 80.0)

    fold = folded(touched(LARCH, 24.0, "dry"), 30, frost)
    wrap = fold.wraps[("larch-3", "on-1")]

    assert is_frozen(wrap)
    assert moisture(fold) == moisture(folded(LARCH, 16, frost))
    assert wrap.felt is not None
    assert wrap.felt.doubt == "a frozen wrap feels dry"
    assert wrap.state.touches == 0


def test_after_unknown_air_a_touch_says_how_wet_it_is_and_teaches_nothing() -> None:
    """It may have stood in sun; its gain is not to blame."""
    moved = (
        Placement(0.0, "bench-a"),
        Placement(11 * HOUR_S, None, "garage"),
        Placement(40 * HOUR_S, "bench-a"),
    )
    tree = touched(replace(LARCH, placements=moved), 41.0, "dry")
    fold = folded(tree, 42)

    assert moisture(fold) <= 0.22
    assert fold.wraps[("larch-3", "on-1")].blind_h == 0.0
    assert set(fold.wraps[("larch-3", "on-1")].state.log_likelihood) == {0.0}


def test_a_hand_that_says_twice_what_nothing_let_expect_is_believed() -> None:
    """Somebody wetted it and did not write it down; said once, it may be a slip."""
    once = touched(LARCH, 200.0, "wet")
    twice = touched(once, 201.0, "wet")

    assert folded(once, 202).wraps[("larch-3", "on-1")].surprise == "wet"
    assert moisture(folded(once, 202)) < 0.3
    assert folded(twice, 202).wraps[("larch-3", "on-1")].surprise == ""
    assert moisture(folded(twice, 202)) > 0.6


def test_what_was_felt_was_felt_before_it_was_wetted_at_the_same_minute() -> None:
    """Felt dry and wetted, both written down at 08:00."""
    both = replace(BARE, rewets=(40 * HOUR_S,), touches=(Touch("t", 40 * HOUR_S, "dry"),))
    fold = folded(replace(LARCH, wraps=(both,)), 40)

    assert moisture(fold) == pytest.approx(1.5)
    assert fold.wraps[("larch-3", "on-1")].state.touches == 1


def test_two_books_differ_from_the_first_entry_that_is_not_in_both() -> None:
    """What was before need not be folded again."""
    one, other = wrap_events([LARCH]), wrap_events([touched(LARCH, 33.0, "damp")])

    assert first_difference_s(one, one) is None
    assert first_difference_s(one, other) == 33.0 * HOUR_S
    assert first_difference_s(other, one) == 33.0 * HOUR_S
    assert fingerprint(one, 32 * HOUR_S) == fingerprint(other, 32 * HOUR_S)
    assert fingerprint(one, 34 * HOUR_S) != fingerprint(other, 34 * HOUR_S)


def test_a_dry_day_begins_the_wet_days_anew() -> None:
    """Mould needs an unbroken wet."""
    soaked = folded(LARCH, 10.5 + 12).wraps[("larch-3", "on-1")]
    dried = folded(LARCH, 10.5 + 120).wraps[("larch-3", "on-1")]

    assert soaked.damp_h == pytest.approx(12)
    assert dried.damp_h == 0.0
    assert dried.dry_h > 24
