"""What a plans file must look like: all its problems at once, each with its key, line and what to do.

It checks tables as they were read and makes nothing of them.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from monitor.errors import Problem
from monitor.nearest import nearest, one_of
from monitor.toml_file import KeyPath, TomlFile, dotted

WORKS = (
    "collected",
    "light-wiring",
    "moderate-bend",
    "heavy-bend",
    "root-prune",
    "hard-prune",
    "deadwood",
    "graft",
)
STAGES = ("fresh", "mending", "hardening")
LIMIT_KEYS = (
    "low_warn_c",
    "low_harm_c",
    "high_warn_c",
    "high_harm_c",
    "vpd_warn_kpa",
    "root_warn_c",
    "root_harm_c",
)

_NO_TABLE = "this must be a table."
_SOURCE_HINT = 'Write for example source = "judgement".'

Found = tuple[KeyPath, str, str]
"""Where, what is wrong, what to do."""

_Check = Callable[[Any], str]
"""Says what is wrong with a value, or nothing."""


def plan_problems(file: TomlFile, whole: bool) -> list[Problem]:
    """All problems of a plans file; `whole` asks for every work and for all of `[defaults]`."""
    return [
        Problem(file.name, message, dotted(path), file.lines.of(path), hint)
        for path, message, hint in _found(file.tables, whole)
    ]


def _found(tables: Mapping[str, Any], whole: bool) -> Iterator[Found]:
    for name, table in tables.items():
        if name == "defaults":
            yield from _keys((name,), table, _DEFAULTS, required=tuple(_DEFAULTS) if whole else ())
        elif name not in WORKS:
            yield (name,), "there is no such work.", nearest(name, (*WORKS, "defaults"))
        else:
            yield from _work((name,), table)
    if whole:
        for name in ("defaults", *WORKS):
            if name not in tables:
                yield (name,), "this table is missing.", ""


def _work(path: KeyPath, table: Any) -> Iterator[Found]:
    if not isinstance(table, Mapping):
        yield path, _NO_TABLE, f"Write [{path[0]}] on a line of its own and its keys below."
        return
    yield from _keys(path, table, _WORK, required=("label",))
    stages = [name for name in STAGES if name in table]
    if not stages:
        yield path, "the work has no stage.", f"Add [{path[0]}.fresh] with days, limits and source."
    for name in stages:
        yield from _stage((*path, name), table[name])
    yield from _stage_order(path, [table[name] for name in stages], stages)
    yield from _follow_ups((*path, "follow_ups"), table.get("follow_ups", []))


def _stage(path: KeyPath, table: Any) -> Iterator[Found]:
    yield from _keys(path, table, _STAGE, required=("days", "source"))
    for lower, higher in _ORDERED:
        low, high = _number(table, lower), _number(table, higher)
        if low is not None and high is not None and low > high:
            message = f"{low:g} lies above {higher} = {high:g}."
            yield (*path, lower), message, f"Keep {lower} at or below {higher}."


def _stage_order(path: KeyPath, tables: list[Any], stages: list[str]) -> Iterator[Found]:
    """Days and degree-days count from the work, so a later stage cannot end sooner."""
    for key in ("days", "degree_days_k_d"):
        before = 0.0
        for name, table in zip(stages, tables, strict=True):
            value = _number(table, key)
            if value is not None and value < before:
                message = (
                    f"{value:g} is less than the {before:g} of the stage before; all count from the work."
                )
                yield (*path, name, key), message, f"Write at least {before:g}."
            before = max(before, value or 0.0)


def _follow_ups(path: KeyPath, tables: Any) -> Iterator[Found]:
    if not isinstance(tables, list):
        yield path, "this must be a list of tables.", f"Write [[{dotted(path)}]] above each follow-up."
        return
    names: set[str] = set()
    for number, table in enumerate(tables):
        here = (*path, number)
        yield from _keys(here, table, _FOLLOW_UP, required=("name", "label", "after_days", "text", "source"))
        name = table.get("name") if isinstance(table, Mapping) else None
        if isinstance(name, str):
            if name in names:
                message = f'"{name}" is used twice in this work.'
                yield (*here, "name"), message, "Give one of them another name."
            names.add(name)


def _keys(
    path: KeyPath, table: Any, checks: Mapping[str, _Check], required: tuple[str, ...]
) -> Iterator[Found]:
    """Unknown, missing and wrong keys of one table."""
    if not isinstance(table, Mapping):
        yield path, _NO_TABLE, f"Write [{dotted(path)}] on a line of its own and its keys below."
        return
    for key, value in table.items():
        if key not in checks:
            yield (*path, key), "this key is not known here.", nearest(key, checks)
        elif complaint := checks[key](value):
            message, _, hint = complaint.partition("|")
            yield (*path, key), message, hint
    for key in required:
        if key not in table:
            hint = _SOURCE_HINT if key == "source" else f"Add it under [{dotted(path)}]."
            yield (*path, key), "this key is missing.", hint


def _number(table: Any, key: str) -> float | None:
    value = table.get(key) if isinstance(table, Mapping) else None
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _between(low: float, high: float) -> _Check:
    def check(value: Any) -> str:
        hint = f"Write a number from {low:g} to {high:g}."
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            return f"this must be a number.|{hint}"
        return "" if low <= value <= high else f"{value:g} cannot be right.|{hint}"

    return check


def _text(value: Any) -> str:
    if not isinstance(value, str):
        return 'this must be text.|Put it in "quotes".'
    return "" if value.strip() else "this is empty.|Write something a reader can use."


def _source(value: Any) -> str:
    complaint = _text(value)
    return complaint and f"every number needs a source.|{_SOURCE_HINT}"


def _stage_name(value: Any) -> str:
    known = (*STAGES, "released")
    return "" if value in known else f"this is not a stage.|Write {one_of(known)}."


def _anything(_value: Any) -> str:
    """Tables of their own, checked elsewhere."""
    return ""


_TEMPERATURE = _between(-60, 60)
_DAYS = _between(0, 3650)
_SOME_DAYS = _between(1, 3650)
_DEGREE_DAYS = _between(1, 10000)

_DEFAULTS: Mapping[str, _Check] = {
    "high_warn_hold_min": _between(0, 1440),
    "high_harm_hold_min": _between(0, 1440),
    "vpd_hold_h": _between(0, 48),
    "source": _source,
}
_WORK: Mapping[str, _Check] = {"label": _text, **dict.fromkeys(STAGES, _anything), "follow_ups": _anything}
_STAGE: Mapping[str, _Check] = {
    "days": _SOME_DAYS,
    "degree_days_k_d": _DEGREE_DAYS,
    **dict.fromkeys(LIMIT_KEYS, _TEMPERATURE),
    "vpd_warn_kpa": _between(0.05, 10),
    "wrap_wet_min_days": _DAYS,
    "wrap_wet_max_days": _DAYS,
    "source": _source,
}
_FOLLOW_UP: Mapping[str, _Check] = {
    "name": _text,
    "label": _text,
    "text": _text,
    "source": _source,
    "after_days": _DAYS,
    "every_days": _SOME_DAYS,
    "degree_days_k_d": _DEGREE_DAYS,
    "until_stage": _stage_name,
}
_ORDERED = (
    ("low_harm_c", "low_warn_c"),
    ("high_warn_c", "high_harm_c"),
    ("root_harm_c", "root_warn_c"),
    ("low_warn_c", "high_warn_c"),
    ("wrap_wet_min_days", "wrap_wet_max_days"),
)
