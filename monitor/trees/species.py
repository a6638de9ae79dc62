"""What is known of each species: when its roots die, whether it keeps its leaves, how its bark takes wire.

A shipped table, each number with its source and how far to trust it; a table of one's own may stand over it.
An unknown species is never refused.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from monitor.errors import Problem, SettingsError
from monitor.nearest import nearest

TAGS = ("abstract", "second-hand", "memory", "judgement", "own")
"""How far to trust a number: read in the abstract, quoted by others, from memory, judged, one's own."""

_QUOTES = str.maketrans('‘’`"', "''''")
_KEYS: Mapping[str, type | tuple[type, ...]] = {
    "common": list,
    "root_kill_c": (int, float),
    "evergreen": bool,
    "thin_bark": bool,
    "bites_second_season": bool,
    "source": str,
    "tag": str,
}


@dataclass(frozen=True, slots=True)
class Species:
    """Facts about one species or, where `name` is one word, a whole genus; None is not known."""

    name: str
    common: tuple[str, ...] = ()
    root_kill_c: float | None = None
    evergreen: bool | None = None
    thin_bark: bool | None = None
    bites_second_season: bool | None = None
    source: str = ""
    tag: str = ""


@dataclass(frozen=True, slots=True)
class SpeciesTable:
    """All known species, by their plain name (lower case, without a cultivar)."""

    species: Mapping[str, Species] = field(default_factory=dict)
    _common: Mapping[str, Species] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Index the common names; where two species share one, the first keeps it."""
        common: dict[str, Species] = {}
        for facts in self.species.values():
            for name in facts.common:
                common.setdefault(_plain(name), facts)
        object.__setattr__(self, "_common", common)

    def find(self, name: str) -> Species | None:
        """The facts for this name: the cultivar, else the species, else its common name, else the genus."""
        for plain in (_plain(name), _without_cultivar(name)):
            found = self.species.get(plain) or self._by_common_name(plain)
            if found is not None:
                return self._with_genus(found)
        return self.species.get(_plain(name).split(" ")[0])

    def suggestion(self, name: str) -> str:
        """For a name without an entry of its own: the nearest one there is, or nothing."""
        plain = _without_cultivar(name)
        if not plain or plain in self.species or self._by_common_name(plain) is not None:
            return ""
        names = {
            _plain(each): each for facts in self.species.values() for each in (facts.name, *facts.common)
        }
        close = get_close_matches(plain, names, 1, 0.8)
        return names[close[0]] if close else ""

    def _by_common_name(self, plain: str) -> Species | None:
        return self._common.get(plain)

    def _with_genus(self, found: Species) -> Species:
        """What the species does not say, its genus may; never a temperature."""
        genus = self.species.get(_plain(found.name).split(" ")[0])
        if genus is None or genus is found:
            return found
        return Species(
            found.name,
            found.common,
            found.root_kill_c,
            genus.evergreen if found.evergreen is None else found.evergreen,
            genus.thin_bark if found.thin_bark is None else found.thin_bark,
            genus.bites_second_season if found.bites_second_season is None else found.bites_second_season,
            found.source,
            found.tag,
        )


def load_species(path: Path | None = None) -> SpeciesTable:
    """The shipped table, and over it, name by name, one's own; SettingsError lists all its problems."""
    shipped = Path(__file__).with_name("species.toml")
    tables = _read(shipped)
    if path is not None:
        tables = {**tables, **_read(path)}
    return SpeciesTable(MappingProxyType({_plain(name): _species(name, row) for name, row in tables.items()}))


@cache
def shipped_species() -> SpeciesTable:
    """The shipped table, read once."""
    return load_species()


def _read(path: Path) -> dict[str, Mapping[str, Any]]:
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SettingsError([Problem(str(path), f"cannot be read: {error}.")]) from error
    problems = [problem for name, row in tables.items() for problem in _problems(str(path), name, row)]
    if problems:
        raise SettingsError(problems)
    return tables


def _problems(file: str, name: str, row: Any) -> list[Problem]:
    if not isinstance(row, dict):
        return [Problem(file, "must be a table.", name, hint=f'Write ["{name}"] and its keys below.')]
    problems = []
    for key, value in row.items():
        if key not in _KEYS:
            problems.append(
                Problem(file, "is no key of a species.", f"{name}.{key}", hint=nearest(key, _KEYS))
            )
        elif not isinstance(value, _KEYS[key]) or (isinstance(value, bool) and _KEYS[key] is not bool):
            problems.append(Problem(file, f"{value!r} is of the wrong type.", f"{name}.{key}"))
    kill_c = row.get("root_kill_c")
    if isinstance(kill_c, int | float) and not -60 <= kill_c <= 5:
        problems.append(
            Problem(file, f"{kill_c} is out of range.", f"{name}.root_kill_c", hint="It can be -60 to 5.")
        )
    if kill_c is not None and not row.get("source"):
        problems.append(
            Problem(file, "is missing.", f"{name}.source", hint="Say where the number comes from.")
        )
    if row.get("tag", "own") not in TAGS:
        problems.append(
            Problem(file, f"{row['tag']!r} is not known.", f"{name}.tag", hint=nearest(str(row["tag"]), TAGS))
        )
    return problems


def _species(name: str, row: Mapping[str, Any]) -> Species:
    return Species(
        name,
        tuple(row.get("common", ())),
        row.get("root_kill_c"),
        row.get("evergreen"),
        row.get("thin_bark"),
        row.get("bites_second_season"),
        row.get("source", ""),
        row.get("tag", "own"),
    )


def _plain(name: str) -> str:
    """Lower case, single spaces, `x` for the sign of a hybrid."""
    return " ".join(name.replace("×", "x ").translate(_QUOTES).lower().split())


def _without_cultivar(name: str) -> str:
    return _plain(name).split("'", 1)[0].strip()
