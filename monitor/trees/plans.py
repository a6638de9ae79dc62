"""Plans: what each kind of work asks for, by stage, with the source of every number.

Reads the shipped plans and, over them, a plans file of one's own: works that it names replace the shipped
ones whole, `[defaults]` key by key. It knows nothing of trees, time or alarms.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from monitor import shipped, toml_file
from monitor.errors import SettingsError
from monitor.trees.plan_checks import LIMIT_KEYS, STAGES, plan_problems

RELEASED = "released"
"""What follows the last stage; it holds no limits of the plan."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of a work; it ends at the later of its days and its degree-days, both since the work.

    `limits` holds every key of `LIMIT_KEYS`; None is a limit not held. `degree_days_k_d` [K d, above 5 °C].
    """

    name: str
    days: float
    degree_days_k_d: float | None
    limits: Mapping[str, float | None]
    source: str
    wrap_wet_min_days: float | None = None
    wrap_wet_max_days: float | None = None


@dataclass(frozen=True, slots=True)
class FollowUp:
    """Something to look at or do after a work; due by days or, sooner, by degree-days above 5 °C [K d].

    `every_days` None: once. `until_stage` None: also after the last stage, as long as there is cause.
    """

    name: str
    label: str
    after_days: float
    text: str
    source: str
    every_days: float | None = None
    degree_days_k_d: float | None = None
    until_stage: str | None = None


@dataclass(frozen=True, slots=True)
class WorkPlan:
    """What one kind of work asks for; `stages` in their order, at least one."""

    work: str
    label: str
    stages: tuple[Stage, ...]
    follow_ups: tuple[FollowUp, ...] = ()

    def stage(self, name: str) -> Stage | None:
        """The stage of that name, None where the work has none or is released."""
        return next((stage for stage in self.stages if stage.name == name), None)


@dataclass(frozen=True, slots=True)
class Defaults:
    """What holds for every work: how long the air must stay beyond a high or drying-air limit."""

    high_warn_hold_min: float
    high_harm_hold_min: float
    vpd_hold_h: float
    source: str


@dataclass(frozen=True, slots=True)
class Plans:
    """All plans by kind of work."""

    works: Mapping[str, WorkPlan]
    defaults: Defaults


def load_plans(path: Path | None) -> Plans:
    """The shipped plans, with those of a file of one's own over them; SettingsError lists all problems."""
    merged = dict(_checked(shipped_plans(), whole=True))
    if path is not None:
        own = dict(_checked(toml_file.read(path), whole=False))
        own["defaults"] = {**merged["defaults"], **own.get("defaults", {})}
        merged |= own
    defaults = Defaults(**merged.pop("defaults"))
    works = {work: _work_plan(work, table) for work, table in merged.items()}
    return Plans(MappingProxyType(works), defaults)


def shipped_plans() -> toml_file.TomlFile:
    """The plans that come with the program, as tables."""
    return toml_file.parse(shipped.text("plans.toml"), "plans.toml (shipped)")


def _checked(file: toml_file.TomlFile, whole: bool) -> Mapping[str, Any]:
    problems = plan_problems(file, whole)
    if problems:
        raise SettingsError(problems)
    return file.tables


def _work_plan(work: str, table: Mapping[str, Any]) -> WorkPlan:
    stages = tuple(_stage(name, table[name]) for name in STAGES if name in table)
    follow_ups = tuple(FollowUp(**follow_up) for follow_up in table.get("follow_ups", ()))
    return WorkPlan(work, table["label"], stages, follow_ups)


def _stage(name: str, table: Mapping[str, Any]) -> Stage:
    return Stage(
        name=name,
        days=float(table["days"]),
        degree_days_k_d=_number(table, "degree_days_k_d"),
        limits=MappingProxyType({key: _number(table, key) for key in LIMIT_KEYS}),
        source=table["source"],
        wrap_wet_min_days=_number(table, "wrap_wet_min_days"),
        wrap_wet_max_days=_number(table, "wrap_wet_max_days"),
    )


def _number(table: Mapping[str, Any], key: str) -> float | None:
    return float(table[key]) if key in table else None
