"""What is said after an entry was taken; nothing here refuses anything."""

from typing import Any

from monitor.trees.plans import load_plans
from monitor.trees.remarks import remarks
from monitor.trees.stages import stages_of
from tests.trees.garden import at, checked, grown, larch, said, yew

PLANS = load_plans(None)


def remarked(*entries: dict[str, Any]) -> tuple[str, ...]:
    """What is said to the last of these entries."""
    before = grown(*entries[:-1])
    last = checked(before, **entries[-1])
    tree = before.trees.get(last.get("tree", ""))
    stages = stages_of(tree, PLANS, at(last["at"][:16]), lambda _at_s: 0.0) if tree else ()
    return remarks(last, before.with_entry(last), PLANS, stages)


def test_a_mistyped_species_is_met_with_the_nearest_known_one() -> None:
    """And with the root limit that holds meanwhile."""
    (sentence,) = remarked(larch(species="Acer palmatun"))
    assert sentence == (
        "Acer palmatun is not in the table of root limits: damage to the roots of Larch 3 is taken as likely "
        "below −5 °C in the pot (judgement, no table for this species). Did you mean Acer palmatum?"
    )
    assert remarked(larch(species="Acer palmatum 'Deshojo'")) == ()
    assert len(remarked(larch(species="Larix decidua"))) == 1
    assert remarked(yew()) == ()


def test_a_place_without_a_sensor_is_said_to_be_unwatched() -> None:
    """For every tree that is moved there, alone or with its house."""
    garage = "Larch 3 is in the garage: not watched there. You are asked again after 12 hours."
    assert remarked(larch(), said("move", "2026-01-11", tree=None, trees="larch-3", to="garage")) == (garage,)
    assert remarked(larch(), said("move", "2026-01-11", tree=None, trees="larch-3", sensor="bench-b")) == ()
    assert remarked(larch(), yew(), said("move", "2026-01-11", tree=None, house="cold", to="outside")) == (
        "Larch 3, Yew 2 are outside: not watched there. You are asked again after 12 hours.",
    )
    assert "without a sensor" in remarked(yew(sensor=""))[0]


def test_one_insult_soon_after_another_is_said() -> None:
    """Not on the same day, and not after a work that is over."""
    bend = said("work", "2026-01-10", work="heavy-bend")
    roots = said("work", "2026-01-20", work="root-prune")
    (sentence,) = remarked(larch(), bend, roots)
    assert sentence.startswith("Larch 3 is not over an earlier work yet (heavy bend")
    assert "10 days ago" in sentence
    assert remarked(larch(), bend, {**roots, "at": bend["at"]}) == ()
    assert remarked(larch(), said("work", "2025-06-01", work="light-wiring"), roots) == ()


def test_ice_is_not_believed_to_be_dry() -> None:
    """A frozen wrap cannot be felt."""
    wrap = said("wrap", "2026-01-10", wrap="top", fibre="raffia")
    assert (
        "frozen wrap is not dry"
        in remarked(larch(), wrap, said("touch", "2026-01-11", wrap="top", feel="frozen"))[0]
    )
    assert remarked(larch(), wrap, said("touch", "2026-01-11", wrap="top", feel="damp")) == ()
