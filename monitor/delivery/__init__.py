"""Notices to people: the notifiers that the configuration asks for. `workers` sends, this only builds.

Only kinds that are asked for are imported. Kinds of our own are files of `monitor/delivery/notifiers/`;
others are entry points of the group `monitor.notifiers`. A name in both is an error: nobody could tell which
one runs.
"""

import importlib
import pkgutil
from collections.abc import Callable, Mapping
from functools import partial
from importlib.metadata import EntryPoints, entry_points
from typing import Any, cast

from monitor.delivery import notifiers
from monitor.delivery.notifier import Finding, Notifier, NotifierKind, refuse
from monitor.errors import AftercareError, Problem, SettingsError
from monitor.settings import NotifierSettings, Settings, secret_path

GROUP = "monitor.notifiers"


def notifier_kinds() -> tuple[str, ...]:
    """Every word that may stand as a notifier's `type`, sorted."""
    return tuple(sorted({*_own_kinds(), *(point.name for point in entry_points(group=GROUP))}))


def load_kind(kind: str, points: EntryPoints | None = None) -> NotifierKind:
    """The kind of that name; SettingsError if there is none, two, or it cannot be loaded.

    `points` are the entry points of GROUP: whoever loads several kinds looks them up once, which takes long.
    """
    own = kind in _own_kinds()
    points = entry_points(group=GROUP) if points is None else points
    others = [point for point in points if point.name == kind]
    if not own and not others:
        raise _type_problem(
            f"there is no type {kind!r}.", f"It may be one of: {', '.join(notifier_kinds())}."
        )
    if own + len(others) > 1:
        raise _type_problem(
            f"more than one installed package offers the type {kind!r}.", "Remove one of them."
        )
    try:
        found = importlib.import_module(f"{notifiers.__name__}.{kind}") if own else others[0].load()
    except Exception as fault:  # the plug-in boundary
        raise _type_problem(
            f"the type {kind!r} cannot be loaded ({type(fault).__name__}).", "Install its package again."
        ) from fault
    return cast(NotifierKind, found)


def notifier_problems(
    name: str, values: Mapping[str, object], points: EntryPoints | None = None
) -> list[Finding]:
    """What is wrong with one notifier's table, `type` included: (key, message, hint) each."""
    try:
        kind = load_kind(str(values.get("type")), points)
    except SettingsError as error:
        return [(problem.key, problem.message, problem.hint) for problem in error.problems]
    return kind.problems(name, _without_type(values))


def problems(settings: Settings) -> list[Problem]:
    """What is wrong with all notifiers' tables; secrets are not looked at."""
    points = entry_points(group=GROUP)
    return [
        Problem(str(settings.file), message, key=f"notifiers.{name}.{key}", hint=hint)
        for name, notifier in settings.notifiers.items()
        for key, message, hint in notifier_problems(name, notifier.model_dump(), points)
    ]


def record_only(settings: Settings) -> frozenset[str]:
    """The notifiers that only keep a record and reach nobody."""
    points = entry_points(group=GROUP)
    return frozenset(
        name
        for name, notifier in settings.notifiers.items()
        if getattr(load_kind(notifier.type, points), "RECORD_ONLY", False)
    )


def create_notifiers(settings: Settings, read_secret: Callable[[str], str]) -> Mapping[str, Notifier]:
    """Every configured notifier by its name; nothing is connected yet.

    `read_secret(name)` gives the text of a secret file. SettingsError lists what is wrong with all of them.
    """
    made: dict[str, Notifier] = {}
    found: list[Problem] = []
    points = entry_points(group=GROUP)
    for name, notifier in settings.notifiers.items():
        try:
            kind = load_kind(notifier.type, points)
            made[name] = _create(kind, name, notifier, settings, read_secret)
        except SettingsError as error:
            found += [_placed(problem, name, settings) for problem in error.problems]
        except (AftercareError, OSError) as error:
            found.append(_placed(Problem("", str(error)), name, settings))
    if found:
        raise SettingsError(found)
    return made


def _create(
    kind: NotifierKind,
    name: str,
    notifier: NotifierSettings,
    settings: Settings,
    read_secret: Callable[[str], str],
) -> Notifier:
    """One notifier, with what its kind needs to know beside its own settings."""
    values = _without_type(notifier.model_dump())
    refuse(name, kind.problems(name, values))
    around: dict[str, Any] = {
        "folder": settings.file.parent,
        "site": settings.site,
        "broker": settings.broker,
        "find": partial(secret_path, settings),
    }
    needs = getattr(kind, "NEEDS", ())
    return kind.create(name, values | {need: around[need] for need in needs}, read_secret)


def _own_kinds() -> frozenset[str]:
    return frozenset(module.name for module in pkgutil.iter_modules(notifiers.__path__))


def _without_type(values: Mapping[str, object]) -> dict[str, object]:
    return {key: value for key, value in values.items() if key != "type"}


def _type_problem(message: str, hint: str) -> SettingsError:
    return SettingsError([Problem("", message, key="type", hint=hint)])


def _placed(problem: Problem, name: str, settings: Settings) -> Problem:
    """The same problem with the file and the full key, unless it knows its own place."""
    if problem.file:
        return problem
    prefix = f"notifiers.{name}"
    key = problem.key if problem.key.startswith(prefix) else f"{prefix}.{problem.key}".rstrip(".")
    return Problem(str(settings.file), problem.message, key=key, line=problem.line, hint=problem.hint)
