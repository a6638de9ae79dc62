"""`plan show`: every number of a plan with where it comes from, as tables or as JSON."""

from collections.abc import Iterable
from typing import Annotated, Any

import typer

from monitor.cli import show
from monitor.cli.look_words import LIMIT_WORDS, days
from monitor.cli.options import Config, Json
from monitor.cli.place import Place
from monitor.errors import SettingsError, UsageError
from monitor.settings import find_settings_file
from monitor.trees.plans import Defaults, FollowUp, Plans, Stage, WorkPlan, load_plans

Work = Annotated[str | None, typer.Argument(metavar="[WORK]", help="One kind of work; left out: all.")]

SAME = "the same"
"""Instead of a source that stands in the line above."""


def plan_show(work: Work = None, config: Config = None, json: Json = False) -> int:
    """Each number of a work's plan with its source: stages, limits, what is to be done when."""
    plans = _plans(config)
    if work is not None and work not in plans.works:
        raise UsageError(f"There is no plan for {work!r}.", f"Known are: {', '.join(plans.works)}.")
    chosen = [plans.works[work]] if work is not None else list(plans.works.values())
    if json:
        show.as_json([plan_json(plan) for plan in chosen])
        return 0
    for plan in chosen:
        show.say(f"{plan.label} ({plan.work})")
        show.table(["stage", "what", "number", "source"], list(_rows(plan)))
        show.say()
        if plan.follow_ups:
            show.table(["then", "when", "source"], [_follow_up(each) for each in plan.follow_ups])
            show.items("What each asks for", [f"{each.label}: {each.text}" for each in plan.follow_ups])
            show.say()
    show.say("For every work")
    show.table(["what", "number", "source"], _defaults(plans.defaults))
    return 0


def _plans(config: Any) -> Plans:
    """Those of the installation; the shipped ones where there is no installation yet."""
    try:
        find_settings_file(config)
    except SettingsError:
        return load_plans(None)
    return Place(config).plans


# ---- rows ----------------------------------------------------------------------------------------------


def _rows(plan: WorkPlan) -> Iterable[list[str]]:
    """A line a number; the stage and the source stand where they change."""
    before = ""
    for stage in plan.stages:
        name = stage.name
        for what, number in _numbers(stage):
            source = SAME if stage.source == before else stage.source
            yield [name, what, number, source]
            name, before = "", stage.source


def _numbers(stage: Stage) -> Iterable[tuple[str, str]]:
    yield "lasts at least", days(stage.days)
    if stage.degree_days_k_d is not None:
        yield "and warmth above 5 °C", f"{stage.degree_days_k_d:g} degree-days"
    for key, value in stage.limits.items():
        if value is not None:
            words, unit = LIMIT_WORDS[key]
            yield words, f"{value:g} {unit}".replace("-", "−")
    if stage.wrap_wet_min_days is not None:
        yield "wraps kept wet at least", days(stage.wrap_wet_min_days)
    if stage.wrap_wet_max_days is not None:
        yield "wraps kept wet at most", days(stage.wrap_wet_max_days)


def _follow_up(each: FollowUp) -> list[str]:
    when = f"after {days(each.after_days)}"
    if each.degree_days_k_d is not None:
        when += f" or {each.degree_days_k_d:g} degree-days"
    if each.every_days is not None:
        when += f", then every {days(each.every_days)}"
    if each.until_stage is not None:
        when += f", while {each.until_stage}"
    return [each.label, when, each.source]


def _defaults(defaults: Defaults) -> list[list[str]]:
    return [
        ["too warm counts after", f"{defaults.high_warn_hold_min:g} min", defaults.source],
        ["damage by heat counts after", f"{defaults.high_harm_hold_min:g} min", SAME],
        ["drying air counts after", f"{defaults.vpd_hold_h:g} h", SAME],
    ]


# ---- JSON ----------------------------------------------------------------------------------------------


def plan_json(plan: WorkPlan) -> dict[str, Any]:
    """One plan for a program."""
    return {
        "work": plan.work,
        "label": plan.label,
        "stages": [
            {
                "stage": stage.name,
                "days": stage.days,
                "degree_days_k_d": stage.degree_days_k_d,
                "limits": {key: value for key, value in stage.limits.items() if value is not None},
                "wrap_wet_min_days": stage.wrap_wet_min_days,
                "wrap_wet_max_days": stage.wrap_wet_max_days,
                "source": stage.source,
            }
            for stage in plan.stages
        ],
        "follow_ups": [
            {
                "follow_up": each.name,
                "label": each.label,
                "after_days": each.after_days,
                "every_days": each.every_days,
                "degree_days_k_d": each.degree_days_k_d,
                "until_stage": each.until_stage,
                "text": each.text,
                "source": each.source,
            }
            for each in plan.follow_ups
        ],
    }
