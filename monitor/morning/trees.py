"""What the night was for each tree: its works, how near each limit came, its wraps, what was not seen."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.guarding import GuardedTree
from monitor.morning.pots import Pots
from monitor.morning.series import Night, Series, held_high_c
from monitor.report.facts import Margin, TreeNight, WorkLine, WrapLine
from monitor.trees.stages import DAY_S, wrap_keep
from monitor.trees.tree import Wrap

if TYPE_CHECKING:
    from monitor.engine import Engine

Believed = Mapping[tuple[str, str], Mapping[str, Any]]
"""What is thought of each wrap, by tree and wrap."""
THAWED_C = 1.0
"""After frost a tree is called frozen until the air at it is warmer than this; judgement."""


def tree_nights(engine: "Engine", night: Night, watched: Mapping[str, Any]) -> tuple[TreeNight, ...]:
    """Every tree that stands here."""
    believed = {(each["tree"], each["wrap"]): each for each in watched.get("wraps", ())}
    trees = sorted(engine.guarding.trees.values(), key=lambda guarded: guarded.tree.name)
    pots = Pots(engine, night)
    return tuple(_tree(engine, guarded, night, believed, pots) for guarded in trees)


def _tree(engine: "Engine", guarded: GuardedTree, night: Night, believed: Believed, pots: Pots) -> TreeNight:
    tree = guarded.tree
    plans = engine.plans.works
    sensor = tree.sensor if tree.sensor in engine.settings.sensors else None
    works = tuple(
        WorkLine(plans[stage.work].label, stage.stage, stage.day, round(stage.days))
        for stage in guarded.stages
        if not stage.released
    )
    wraps = tuple(_wrap(wrap, guarded, engine.now_s, believed) for wrap in tree.wraps_on)
    if sensor is None:
        place = tree.place or tree.sensor or ""
        return TreeNight(tree.id, tree.name, works, wraps, place=place)
    series = night.series(sensor)
    of_night = series.part(night.watch_from_s, night.to_s)
    low_c = round(float(of_night.values.min()), 2) if len(of_night.values) else None
    now_c = _now_c(engine, sensor)
    return TreeNight(
        tree.id,
        tree.name,
        works,
        wraps,
        (*_margins(engine, guarded, series, night), *pots.of(guarded)),
        sensor,
        tree.place,
        low_c,
        now_c,
        low_c is not None and low_c <= 0.0 and (now_c is None or now_c < THAWED_C),
        sum(b - a for a, b in of_night.gaps(night.watch_from_s, night.to_s)),
        night.to_s - night.watch_from_s,
    )


def _now_c(engine: "Engine", sensor: str) -> float | None:
    if not engine.surroundings.is_fresh(sensor, engine.now_s):
        return None
    reading = engine.surroundings.latest(sensor)
    return None if reading is None else reading.value


def _wrap(wrap: Wrap, guarded: GuardedTree, now_s: float, believed: Believed) -> WrapLine:
    day = max(0, int((now_s - wrap.at_s) // DAY_S))
    keep = wrap_keep(wrap, guarded.stages)
    name = wrap.wrap.replace("-", " ")
    found = believed.get((guarded.tree.id, wrap.wrap), {})
    estimate = ""
    if keep == "damp" and found.get("feel", "unknown") != "unknown":
        estimate = f"likely {found['feel']}, {found['said']}"
    if not wrap.touches:
        return WrapLine(name, day, keep, estimate=estimate)
    last = wrap.touches[-1]
    return WrapLine(name, day, keep, last.feel.replace("-", " "), last.at_s, estimate)


# ---- margins -------------------------------------------------------------------------------------------


def _margins(engine: "Engine", guarded: GuardedTree, series: Series, night: Night) -> tuple[Margin, ...]:
    """How near each limit of the air's temperature came since the last report."""
    if not len(series.values):
        return ()
    defaults = engine.plans.defaults
    hold_min = {"warn": defaults.high_warn_hold_min, "harm": defaults.high_harm_hold_min}
    found = []
    for grade in ("warn", "harm"):
        low, high = guarded.limits.get(f"low_{grade}_c"), guarded.limits.get(f"high_{grade}_c")
        if low is not None:
            found.append(_low(series, grade, low, night))
        if high is not None:
            margin = _high(series, grade, high, hold_min[grade] * 60.0, night)
            found += [margin] if margin is not None else []
    return tuple(found)


def _low(series: Series, grade: str, limit_c: float, night: Night) -> Margin:
    lowest = int(series.values.argmin())
    beyond_s = float(series.lasts_s(night.to_s)[series.values <= limit_c].sum())
    return Margin(
        "low", grade, limit_c, round(float(series.values[lowest]), 2), float(series.at_s[lowest]), beyond_s
    )


def _high(series: Series, grade: str, limit_c: float, hold_s: float, night: Night) -> Margin | None:
    """Heat counts once it has lasted as long as the plans say."""
    held_c = held_high_c(series, night.since_s, night.to_s, hold_s)
    if held_c is None:
        return None
    highest = int(np.argmax(series.values))
    beyond_s = float(series.lasts_s(night.to_s)[series.values >= limit_c].sum())
    return Margin("high", grade, limit_c, round(held_c, 2), float(series.at_s[highest]), beyond_s)
