"""Which limits hold for a tree now, and where each comes from.

Values of works come from the shipped plans (judgement, as they say themselves).
"""

from typing import Any

import pytest

from monitor.trees.in_force import LimitInForce, limits_in_force
from monitor.trees.plans import load_plans
from monitor.trees.species import load_species
from monitor.trees.stages import stages_of
from tests.trees.garden import at, grown, larch, said

PLANS = load_plans(None)


def limits(
    *entries: dict[str, Any], now: str = "2026-01-15", species: str = "Larix decidua"
) -> dict[str, LimitInForce]:
    """The limits of Larch 3 then, after these entries; warm enough for every stage."""
    book = grown(larch(species=species), *entries)
    tree = book.trees["larch-3"]
    stages = stages_of(tree, PLANS, at(now), lambda _at_s: 1000.0)
    return limits_in_force(tree, stages, PLANS, at(now))


def test_a_tree_without_work_has_its_root_limit_only() -> None:
    """Not tender: nothing of any plan."""
    assert list(limits()) == ["root_warn_c", "root_harm_c"]


def test_an_unknown_species_is_judged_and_says_so() -> None:
    """Root harm at -5 °C, marked, never blocking."""
    harm = limits()["root_harm_c"]
    assert (harm.value, harm.source) == (-5.0, "judgement, no table for this species")


def test_roots_are_held_five_kelvin_above_the_killing_temperature() -> None:
    """Japanese maple: -10 °C (memory of Havis 1976, give or take 2 K), so harm at -5 and warn at -3."""
    found = limits(species="Acer palmatum 'Deshojo'")
    assert (found["root_harm_c"].value, found["root_warn_c"].value) == (-5.0, -3.0)
    assert (
        "roots of Acer palmatum die at -10 °C, and 5 °C more for care: Havis 1976"
        in found["root_harm_c"].source
    )
    spruce = limits(species="Picea glauca")["root_harm_c"]
    assert spruce.value == -18.0


def test_a_work_brings_the_limits_of_its_stage_with_their_source() -> None:
    """Fresh heavy bend, day 5."""
    found = limits(said("work", "2026-01-10", work="heavy-bend"))
    plan = PLANS.works["heavy-bend"].stage("fresh")
    assert plan is not None
    assert found["low_harm_c"] == LimitInForce("low_harm_c", 0.0, plan.source, "heavy-bend", "fresh")
    assert found["low_warn_c"].value == 1.5
    assert found["root_harm_c"].value == -5.0


def test_of_several_works_the_strictest_limit_holds() -> None:
    """The highest of the low ones and of the roots', the lowest of the others; each says whose it is."""
    found = limits(
        said("work", "2026-01-10", work="heavy-bend"),
        said("work", "2026-01-10", work="root-prune"),
        said("work", "2026-01-10", work="graft"),
    )
    assert {key: (limit.value, limit.work) for key, limit in found.items()} == {
        "low_warn_c": (5.0, "graft"),
        "low_harm_c": (1.0, "graft"),
        "high_warn_c": (22.0, "heavy-bend"),
        "high_harm_c": (28.0, "root-prune"),
        "vpd_warn_kpa": (0.4, "graft"),
        "root_warn_c": (1.0, "root-prune"),
        "root_harm_c": (-1.0, "root-prune"),
    }


def test_the_warmer_root_limit_holds_whoever_asks_for_it() -> None:
    """A species whose roots die at -4.4 °C is held above what the work asks."""
    found = limits(said("work", "2026-01-10", work="root-prune"), species="Buxus sempervirens")
    assert found["root_harm_c"].value == pytest.approx(0.6)
    assert found["root_harm_c"].work == ""


def test_ones_own_limit_stands_over_all_with_its_reason_until_it_ends() -> None:
    """Also where it is less strict."""
    own = said(
        "limit",
        "2026-01-12",
        limit="low_harm_c",
        value=-1.0,
        reason="came through -3 last year",
        until="2026-01-20T00:00:00Z",
    )
    bend = said("work", "2026-01-10", work="heavy-bend")
    found = limits(bend, own)["low_harm_c"]
    assert (found.value, found.own, found.until_s) == (-1, True, at("2026-01-20"))
    assert found.source == "your own limit until 2026-01-20: came through -3 last year"
    assert limits(bend, own, now="2026-01-20")["low_harm_c"].value == 0.0


def test_a_released_tree_keeps_its_own_limits_and_its_root_limit() -> None:
    """Not tender any more."""
    found = limits(
        said("work", "2026-01-10", work="heavy-bend"),
        said("limit", "2026-01-10", limit="high_warn_c", value=35, reason="black pot"),
        said("release", "2026-01-12", work="heavy-bend"),
    )
    assert set(found) == {"high_warn_c", "root_warn_c", "root_harm_c"}


def test_a_tree_that_left_has_no_limits() -> None:
    """From that instant on."""
    leave = said("leave", "2026-01-12", reason="sold")
    assert limits(leave) == {}
    assert limits(leave, now="2026-01-11") != {}


def test_a_table_of_ones_own_may_be_given() -> None:
    """Instead of the shipped one."""
    book = grown(larch(species="Acer palmatum"))
    found = limits_in_force(book.trees["larch-3"], (), PLANS, at("2026-01-15"), load_species())
    assert found["root_harm_c"].value == -5.0
