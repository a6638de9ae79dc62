"""From a settings file and the environment to Settings, or to all their problems.

A draft is what stands in the file with the environment over it and the left-out tables filled in; it
remembers where each value came from, so that a problem can name the file and line, or the variable.
"""

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_settings import BaseSettings, EnvSettingsSource, SettingsConfigDict, SettingsError

from monitor import toml_file
from monitor.errors import Problem
from monitor.nearest import nearest
from monitor.settings import (
    WEB_PASSWORD,
    Broker,
    Liveness,
    Settings,
    Site,
    State,
    Web,
    find_settings_file,
    secret_path,
)
from monitor.settings.checks import disagreements, table_of, tables_in
from monitor.settings.words import Found, found_by_validator, known_keys
from monitor.toml_file import KeyPath, Lines, dotted

PREFIX = "AFTERCARE_"
ENVIRONMENT = "environment"
"""What a problem names in place of a file where a variable is wrong."""


class _Reached(BaseSettings):
    """The parts that the environment reaches."""

    model_config = SettingsConfigDict(env_prefix=PREFIX, env_nested_delimiter="__")

    site: Site | None = None
    state: State | None = None
    broker: Broker | None = None
    web: Web | None = None
    liveness: Liveness | None = None


REACHED = tuple(_Reached.model_fields)


@dataclass(frozen=True, slots=True)
class Draft:
    """Tables before they are validated, and where each value stands."""

    path: Path
    tables: Mapping[str, Any]
    lines: Lines
    variables: Mapping[KeyPath, str]
    environ: Mapping[str, str]
    found: tuple[Problem, ...] = field(default=())

    @property
    def plans(self) -> Path | None:
        """The plans file: as named, else `plans.toml` beside the settings, else None for the shipped ones."""
        folder, named = self.path.parent.absolute(), self.tables.get("plans")
        if isinstance(named, str):
            return folder / named
        beside = folder / "plans.toml"
        return beside if beside.is_file() else None

    def problem(self, found: Found) -> Problem:
        """Something found at a key, as a problem of its file and line or of its variable."""
        path, message, hint = found
        for at, variable in self.variables.items():
            if path[: len(at)] == at:
                return Problem(ENVIRONMENT, message, variable, 0, hint)
        return Problem(str(self.path), message, dotted(path), self.lines.of(path), hint)

    def problems(self, found: Iterable[Found]) -> list[Problem]:
        """All of them, one a place, in the order of the file."""
        first: dict[KeyPath, Found] = {}
        for each in found:
            first.setdefault(each[0], each)
        made = [*self.found, *map(self.problem, first.values())]
        return sorted(
            dict.fromkeys(made), key=lambda each: (each.file == ENVIRONMENT, each.line or 1_000_000, each.key)
        )

    def settings(self) -> tuple[Settings | None, list[Problem]]:
        """The settings, or None and every problem of them."""
        found = [*_reserved(self.tables), *disagreements(self.tables), *_plans_file(self.path, self.tables)]
        settings = None
        try:
            settings = Settings.model_validate(self.tables)
        except ValidationError as error:
            details = error.errors(include_url=False)
            found = [*(found_by_validator(each, Settings) for each in details), *found]
        problems = self.problems(found)
        if problems or settings is None:
            return None, problems
        return self._completed(settings), []

    def _completed(self, settings: Settings) -> Settings:
        """The settings with their paths made whole."""
        given = self.environ.get("STATE_DIRECTORY", "").split(":")[0]
        directory = Path(given) if given else self.path.parent.absolute() / settings.state.directory
        credentials = self.environ.get("CREDENTIALS_DIRECTORY")
        whole = settings.model_copy(
            update={
                "file": self.path,
                "credentials": Path(credentials) if credentials else None,
                "plans": self.plans,
                "state": settings.state.model_copy(update={"directory": directory}),
            }
        )
        if whole.web.password_file is not None or not secret_path(whole, WEB_PASSWORD).is_file():
            return whole
        return whole.model_copy(update={"web": whole.web.model_copy(update={"password_file": WEB_PASSWORD})})


def draft_settings(path: Path | None, environ: Mapping[str, str]) -> Draft:
    """Read the file and the environment; SettingsError only where the file cannot be read as TOML."""
    place = find_settings_file(path)
    file = toml_file.read(place)
    tables: dict[str, Any] = copy.deepcopy(dict(file.tables))
    variables, problems = _overlay(tables, environ)
    _fill_in(tables)
    return Draft(place, tables, file.lines, variables, environ, tuple(problems))


def _overlay(tables: dict[str, Any], environ: Mapping[str, str]) -> tuple[dict[KeyPath, str], list[Problem]]:
    """Lay each variable over the tables; returns which key came from which, and what cannot be used."""
    variables: dict[KeyPath, str] = {}
    problems: list[Problem] = []
    for name in sorted(environ):
        section, nested, _ = name.removeprefix(PREFIX).lower().partition("__")
        if not name.startswith(PREFIX) or (section not in REACHED and not nested):
            continue
        if section not in REACHED:
            problems.append(
                Problem(ENVIRONMENT, "no such part of the settings is reached.", name, 0, _reach(section))
            )
            continue
        try:
            values = _from_variable(name, environ[name])
        except (SettingsError, ValueError):
            problems.append(Problem(ENVIRONMENT, "this is neither a list nor a table.", name, 0, _JSON))
            continue
        for path, value in _leaves((), values):
            if _put(tables, path, value):
                variables[path] = name
    return variables, problems


def _from_variable(name: str, value: str) -> Mapping[str, Any]:
    source = EnvSettingsSource(_Reached)
    source.env_vars = {name.lower(): value}
    return source()


def _reach(section: str) -> str:
    if section in Settings.model_fields:
        return f"Write it into the file; variables reach {', '.join(REACHED)} only."
    return nearest(section, REACHED)


def _leaves(path: KeyPath, value: Any) -> Iterable[tuple[KeyPath, Any]]:
    if not isinstance(value, Mapping):
        return [(path, value)]
    return [leaf for key, each in value.items() for leaf in _leaves((*path, key), each)]


def _put(tables: dict[str, Any], path: KeyPath, value: Any) -> bool:
    """Put a value at a path, making tables on the way; not where a value stands in the way."""
    table: Any = tables
    for part in path[:-1]:
        table = table.setdefault(part, {})
        if not isinstance(table, dict):
            return False
    table[path[-1]] = value
    return True


def _fill_in(tables: dict[str, Any]) -> None:
    """The house, its name and the call that a small file leaves out."""
    sensors = [values for _, values in tables_in(table_of(tables, "sensors"))]
    if not tables.get("houses"):
        named = sorted({values["house"] for values in sensors if isinstance(values.get("house"), str)})
        tables["houses"] = {name: {} for name in named or ["house"]} if len(named) < 2 else {}
    houses = table_of(tables, "houses")
    for values in sensors:
        if len(houses) == 1 and isinstance(values, dict):
            values.setdefault("house", *houses)
    for name, house in tables_in(houses):
        if isinstance(house, dict):
            house.setdefault("name", name)
    who = _everybody(tables)
    if not tables.get("calls") and who:
        tables["calls"] = [{"tell": ["high", "medium", "low", "report"], "who": who}]


def _everybody(tables: Mapping[str, Any]) -> list[str]:
    """All people, and the notifiers that belong to none of them."""
    people, notifiers = table_of(tables, "people"), table_of(tables, "notifiers")
    owned: set[str] = set()
    for _, person in tables_in(people):
        listed = person.get("notifiers")
        if not isinstance(listed, list):
            continue
        owned.update(each for each in listed if isinstance(each, str))
    return [*people, *(name for name in notifiers if name not in owned)]


def _reserved(tables: Mapping[str, Any]) -> Iterable[Found]:
    """Keys that the program fills in by itself."""
    for key in ("file", "credentials"):
        if key in tables:
            yield (key,), "this key is not known here.", nearest(key, known_keys(Settings, ()))


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:
        return False


def _plans_file(path: Path, tables: Mapping[str, Any]) -> Iterable[Found]:
    plans = tables.get("plans")
    if isinstance(plans, str) and not _is_file(path.parent / plans):
        yield ("plans",), f'there is no file "{plans}".', "A relative name is looked for beside this file."


_JSON = 'Write a list as ["a", "b"].'
