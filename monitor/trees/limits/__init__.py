"""Limits: one kind a file, each found by scan. A limit says what it finds; when it rings is not its business.

Each module gives `KIND`, `QUANTITY`, `defaults(plans)`, `edges(limits, deadband)` and
`assess(conditions, limits, deadband)`.
Parts from elsewhere use the entry point group `monitor.limits`.
"""

import pkgutil
from collections.abc import Mapping
from importlib import import_module
from importlib.metadata import entry_points
from typing import NamedTuple, Protocol

from monitor import plugins
from monitor.model import Assessment, Flag, Quantity, Use
from monitor.trees.plans import Defaults


class LimitDefaults(NamedTuple):
    """What holds for this kind of alarm when the settings are silent; `deadband` in the value's unit."""

    deadband: float = 0.0
    on_delay_s: float = 0.0
    on_samples: int = 1
    off_delay_s: float = 0.0
    harm_on_delay_s: float | None = None
    """For the level of harm, where that may be shorter."""


class Conditions(NamedTuple):
    """What one tree stands in, as of one reading."""

    tree: str
    at_s: float
    quantity: Quantity
    value: float
    flag: Flag
    use: Use
    every_s: float


class LimitKind(Protocol):
    """One kind of limit."""

    KIND: str
    QUANTITY: Quantity
    WORSE: int
    """The way in which it gets worse: -1 where lower is worse, 1 where higher is."""

    def defaults(self, plans: Defaults) -> LimitDefaults:
        """Deadband and delays where the settings are silent."""
        ...

    def edges(self, limits: Mapping[str, float], deadband: float) -> tuple[float, ...]:
        """Values at which the finding may change; between two of them it cannot."""
        ...

    def assess(self, conditions: Conditions, limits: Mapping[str, float], deadband: float) -> Assessment:
        """What the limit finds; UNKNOWN where the reading cannot tell."""
        ...


def limit_kinds() -> Mapping[str, LimitKind]:
    """All kinds, by name, in a fixed order."""
    found: dict[str, LimitKind] = {}
    for info in sorted(pkgutil.iter_modules(__path__), key=lambda info: info.name):
        module = import_module(f"{__name__}.{info.name}")
        found[module.KIND] = module
    for name, kind in plugins.loaded(entry_points(group="monitor.limits"), "limit"):
        found.setdefault(name, kind)
    return found
