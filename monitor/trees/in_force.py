"""The limits in force for one tree now, each with its value and where it comes from; pure.

The strictest of all works that are not over; the root limit of its species; over these the person's own
limits with their reasons. It judges no readings.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple

from monitor.clock import rfc3339
from monitor.trees.kinds import LIMIT_KEYS
from monitor.trees.plans import Plans
from monitor.trees.species import SpeciesTable, shipped_species
from monitor.trees.stages import StageNow
from monitor.trees.tree import Tree

ROOT_MARGIN_K = 5.0
"""Roots of trees recently worked on die 3-6 K warmer than those of the tables; judgement."""
ROOT_WARN_K = 2.0
"""How much earlier than harm the root limit of a species warns; judgement."""
UNKNOWN_ROOT_HARM_C = -5.0
UNKNOWN_SOURCE = "judgement, no table for this species"


@dataclass(frozen=True, slots=True)
class LimitInForce:
    """One limit: `value` in the unit that ends the key; `work` and `stage` are empty where no work asks it.

    `own`: a person's own, which ends at `until_s` if that is given.
    """

    key: str
    value: float
    source: str
    work: str = ""
    stage: str = ""
    own: bool = False
    until_s: float | None = None
    raised: bool = False
    """Whether it counts higher for some nights."""


class Raised(NamedTuple):
    """Frost limits that count higher for a while: by how much [K], and why."""

    by_k: float
    why: str


def with_raised(limits: Mapping[str, LimitInForce], raised: Raised | None) -> dict[str, LimitInForce]:
    """Limits below zero raised, never past zero; a person's own stand as they are."""
    if raised is None:
        return dict(limits)
    return {
        key: replace(
            limit,
            value=min(limit.value + raised.by_k, 0.0),
            source=f"{limit.source}; {raised.why}",
            raised=True,
        )
        if key.startswith(("low_", "root_")) and limit.value < 0.0 and not limit.own
        else limit
        for key, limit in limits.items()
    }


def limits_in_force(
    tree: Tree,
    stages: Iterable[StageNow],
    plans: Plans,
    now_s: float,
    species: SpeciesTable | None = None,
) -> dict[str, LimitInForce]:
    """Key -> limit; a key that is not there is a limit not held. A tree that left has none.

    `species` left out: the shipped table.
    """
    if tree.left_at_s is not None and tree.left_at_s <= now_s:
        return {}
    found = root_limits(tree.species, shipped_species() if species is None else species)
    for stage_now in stages:
        stage = plans.works[stage_now.work].stage(stage_now.stage)
        if stage is None:
            continue
        for key, value in stage.limits.items():
            if value is not None:
                limit = LimitInForce(key, value, stage.source, stage_now.work, stage_now.stage)
                found[key] = _stricter(found.get(key), limit)
    for key in LIMIT_KEYS:
        own = tree.own_limit_at(key, now_s)
        if own is not None:
            until = f" until {rfc3339(own.until_s)[:10]}" if own.until_s is not None else ""
            source = f"your own limit{until}: {own.reason}"
            found[key] = LimitInForce(key, own.value, source, own=True, until_s=own.until_s)
    return {key: found[key] for key in LIMIT_KEYS if key in found}


def root_limits(name: str, species: SpeciesTable) -> dict[str, LimitInForce]:
    """The root limits that every tree has: 5 K above the killing temperature of its species [°C]."""
    facts = species.find(name)
    if facts is None or facts.root_kill_c is None:
        harm_c, source = UNKNOWN_ROOT_HARM_C, UNKNOWN_SOURCE
    else:
        harm_c = facts.root_kill_c + ROOT_MARGIN_K
        source = (
            f"roots of {facts.name} die at {facts.root_kill_c:g} °C, and 5 °C more for care: {facts.source}"
        )
    return {
        "root_warn_c": LimitInForce("root_warn_c", harm_c + ROOT_WARN_K, source),
        "root_harm_c": LimitInForce("root_harm_c", harm_c, source),
    }


def _stricter(one: LimitInForce | None, other: LimitInForce) -> LimitInForce:
    """The higher of two lower limits, the lower of two upper ones; the first when they are equal."""
    if one is None:
        return other
    lower_limit = one.key.startswith(("low_", "root_"))
    return max(one, other, key=lambda limit: limit.value if lower_limit else -limit.value)
