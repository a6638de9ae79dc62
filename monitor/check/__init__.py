"""`aftercare check`: everything wrong with an installation, and everything weak, before a night shows it.

Problems stop the program from being started; warnings tell where it cannot do what somebody may expect. It
reads files and connects to nothing. What each kind of payload and notifier asks for, it asks them.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pydantic import ValidationError

from monitor import delivery, payloads, toml_file
from monitor.check.files import secrets_and_files
from monitor.check.weak import weaknesses
from monitor.errors import AftercareError, Problem, SettingsError
from monitor.intake import credentials
from monitor.settings import Sensor, Settings, read_secret, secret_path
from monitor.settings.checks import table_of, tables_in
from monitor.settings.load import Draft, draft_settings
from monitor.settings.words import Found
from monitor.toml_file import Lines, dotted
from monitor.trees.plans import Plans, load_plans
from monitor.trees.tree import Tree

Place = Callable[[Found], Problem]
NightLows = Mapping[str, Sequence[float | None]]


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What `check` found; `problems` must be mended, `warnings` should be thought about."""

    problems: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether the program can be started with this."""
        return not self.problems

    def as_json(self) -> dict[str, Any]:
        """`{ok, problems[{file, key, line, message, hint}], warnings[...]}`."""
        return {
            "ok": self.ok,
            "problems": [asdict(problem) for problem in self.problems],
            "warnings": [asdict(warning) for warning in self.warnings],
        }


def check_file(
    path: Path | None,
    environ: Mapping[str, str],
    trees_of: Callable[[Settings], Mapping[str, Tree]] | None = None,
    now_s: float = 0.0,
    lows_of: Callable[[Settings], NightLows] = lambda settings: {},
) -> CheckResult:
    """Check a settings file and what it names, broken or not; never raises for what stands in a file.

    `trees_of` gives the trees of the book that belongs to the settings; left out: nothing is known of trees.
    `lows_of` gives the lows of the last nights at each sensor.
    """
    try:
        draft = draft_settings(path, environ)
    except SettingsError as error:
        return CheckResult(tuple(error.problems))
    settings, problems = draft.settings()
    if settings is None:
        return CheckResult(_once_each([*problems, *_what_else(draft)]))
    trees = trees_of(settings) if trees_of is not None else None
    return check(settings, trees, now_s, draft.problem, lows_of(settings))


def check(
    settings: Settings,
    trees: Mapping[str, Tree] | None = None,
    now_s: float = 0.0,
    place: Place | None = None,
    lows_c: NightLows = MappingProxyType({}),
) -> CheckResult:
    """Check loaded settings; `trees` are those of the book at the instant `now_s`, None if nobody knows.

    `lows_c` are the lows of the last nights at each sensor [°C]; None where one is not known.
    """
    place = place or _placer(settings.file)
    notifiers = {name: each.model_dump() for name, each in settings.notifiers.items()}
    found = [*_payload_problems(settings.sensors), *_notifier_problems(notifiers)]
    files = list(secrets_and_files(settings))
    found += [each for each, is_problem in files if is_problem]
    plans, plan_problems = _plans(settings.plans)
    problems = [*map(place, found), *plan_problems]
    if not problems:
        problems += _creation_problems(settings, place)
    weak = [each for each, is_problem in files if not is_problem]
    weak += weaknesses(settings, _record_only(settings), plans, trees, now_s, lows_c)
    return CheckResult(_once_each(problems), _once_each(map(place, weak)))


def _what_else(draft: Draft) -> Iterator[Problem]:
    """What is wrong beside the settings' own problems, in those parts that stand by themselves."""
    sensors: dict[str, Sensor] = {}
    for name, values in tables_in(table_of(draft.tables, "sensors")):
        try:
            sensors[name] = Sensor.model_validate(values)
        except ValidationError:
            continue  # the draft has told what is wrong with it
    yield from map(draft.problem, _payload_problems(sensors))
    notifiers = dict(tables_in(table_of(draft.tables, "notifiers")))
    typed = {name: values for name, values in notifiers.items() if isinstance(values.get("type"), str)}
    yield from map(draft.problem, _notifier_problems(typed))
    if draft.plans is None or draft.plans.is_file():
        yield from _plans(draft.plans)[1]


def _payload_problems(sensors: Mapping[str, Sensor]) -> Iterator[Found]:
    kinds = payloads.kinds()
    for name, sensor in sensors.items():
        kind = kinds.get(sensor.payload)
        if kind is None:
            message = f'there is no payload "{sensor.payload}".'
            yield ("sensors", name, "payload"), message, f"Known are: {', '.join(kinds)}."
            continue
        for key, message, hint in kind.problems(sensor):
            yield ("sensors", name, key), message, hint


def _notifier_problems(notifiers: Mapping[str, Mapping[str, Any]]) -> Iterator[Found]:
    for name, values in notifiers.items():
        for key, message, hint in delivery.notifier_problems(name, values):
            yield ("notifiers", name, key), message, hint


def _creation_problems(settings: Settings, place: Place) -> Iterator[Problem]:
    """What only shows when a notifier is made or a certificate is loaded; nothing is connected."""
    try:
        made = delivery.create_notifiers(settings, partial(read_secret, settings))
    except SettingsError as error:
        for problem in error.problems:
            path = tuple(problem.key.split("."))
            yield place((path, problem.message, problem.hint)) if problem.key else problem
    else:
        for notifier in made.values():
            notifier.close()
    try:
        credentials.load(settings.broker, partial(secret_path, settings))
    except AftercareError as error:
        yield place((("broker",), error.message, error.hint))


def _record_only(settings: Settings) -> frozenset[str]:
    try:
        return delivery.record_only(settings)
    except SettingsError:
        return frozenset()  # a type that does not exist is a problem already


def _plans(path: Path | None) -> tuple[Plans, tuple[Problem, ...]]:
    try:
        return load_plans(path), ()
    except SettingsError as error:
        return load_plans(None), error.problems


def _placer(file: Path) -> Place:
    try:
        lines = toml_file.read(file).lines
    except SettingsError:
        lines = Lines()

    def place(found: Found) -> Problem:
        path, message, hint = found
        return Problem(str(file), message, dotted(path), lines.of(path), hint)

    return place


def _once_each(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """One problem a key, the first that was found; those without a key all."""
    first: dict[tuple[str, str], Problem] = {}
    for problem in problems:
        first.setdefault((problem.file, problem.key or problem.message), problem)
    return tuple(first.values())
