"""The week that was, for Sundays: what each tree went through, how the forecasts did, what rang."""

from collections.abc import Mapping
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from monitor.guarding import GuardedTree
from monitor.report.facts import Skill, TreeWeek, Week
from monitor.trees.exposure import Exposure, exposure
from monitor.watches.warm_days import KEPT_DAYS, raised_hours

if TYPE_CHECKING:
    from monitor.engine import Engine

SUNDAY = 6
WEEK_S = 7 * 86_400.0
SEEN_AT_LEAST_S = 2 * 86_400.0
"""Of a week of which less was watched nothing is told; judgement."""
DAY_S = 86_400.0


def week(engine: "Engine", day: date, found: Mapping[str, Any]) -> Week | None:
    """The last seven days, on a Sunday; None on other days, and before two days were watched."""
    if day.weekday() != SUNDAY or engine.now_s - engine.first_seen_s < SEEN_AT_LEAST_S:
        return None
    from_s = engine.now_s - WEEK_S
    rings = engine.desk.rings.since(from_s)
    return Week(
        tuple(_tree(engine, guarded, from_s) for guarded in engine.guarding.trees.values()),
        rang=len(rings),
        worth=sum(ring.is_worth is True for ring in rings),
        not_worth=sum(ring.is_worth is False for ring in rings),
        skill=_skills(engine, day, found),
        watched_s=min(WEEK_S, engine.now_s - engine.first_seen_s),
    )


def _tree(engine: "Engine", guarded: GuardedTree, from_s: float) -> TreeWeek:
    record = _record(engine, guarded, from_s)
    beyond = record.beyond
    coldest = record.lowest
    warmth = engine.guarding.thermal.degree_days_k_d(guarded.tree.placements, from_s, engine.now_s)
    return TreeWeek(
        guarded.tree.name,
        coldest.low_c if coldest is not None else None,
        max((beyond[key].hours for key in ("low_harm_c", "high_harm_c") if key in beyond), default=0.0),
        beyond["low_warn_c"].hours if "low_warn_c" in beyond else 0.0,
        beyond["high_warn_c"].hours if "high_warn_c" in beyond else 0.0,
        record.unseen_h,
        warmth,
    )


def _record(engine: "Engine", guarded: GuardedTree, from_s: float) -> Exposure:
    """By the limits that were in force in each hour."""
    tree, now_s, thermal = guarded.tree, engine.now_s, engine.guarding.thermal
    sensors = {placement.sensor for placement in tree.placements} - {None}
    back_s = from_s - KEPT_DAYS * DAY_S
    rows = [row for sensor in sensors for row in engine.hours.rows(sensor or "", back_s, now_s)]
    offset_s = engine.scenes.speech.offset_s
    return exposure(
        tree,
        rows,
        engine.plans,
        lambda since_s, until_s: thermal.degree_days_k_d(tree.placements, since_s, until_s),
        max(from_s, engine.first_seen_s),
        now_s,
        raised=raised_hours(tree, rows, engine.settings.site.zone, from_s, now_s, offset_s),
    )


def _skills(engine: "Engine", day: date, found: Mapping[str, Any]) -> tuple[Skill, ...]:
    """How the forecasts of this week's nights did, where trees stand."""
    first = (day - timedelta(days=7)).isoformat()
    skills = []
    for each in found.get("skill", ()):
        nights = [night for night in each["last_nights"] if first <= night["night"] < day.isoformat()]
        if nights and engine.guarding.at_sensor(each["sensor"]):
            within = sum(night["p10_c"] <= night["came_c"] <= night["p90_c"] for night in nights)
            off_k = sum(abs(night["p50_c"] - night["came_c"]) for night in nights) / len(nights)
            skills.append(Skill(each["sensor"], len(nights), within, off_k))
    return tuple(skills)
