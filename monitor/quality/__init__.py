"""How far a reading can be trusted: one check a file, each with a flag of QARTOD, and the flag of them all.

A flag stands beside the value and never in its place. Real sun, doors and heaters make suspect readings, and
a suspect low one must still warn, so only what no sensor measured ever fails. Quality knows no limits, no
history and no time of day.
"""

import importlib
import pkgutil
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.metadata import entry_points
from typing import Any, Final, cast

import numpy as np

from monitor import plugins
from monitor.errors import AftercareError
from monitor.model import Flag, Quantity
from monitor.quality.check import Check, QualityCheck, Recent
from monitor.quality.roll_up import RANK, roll_up, roll_up_arrays
from monitor.quality.thresholds import STILL_AFTER_S
from monitor.settings import Sensor

__all__ = ["ENTRY_POINTS", "Judge", "QualityCheck", "checks", "roll_up", "roll_up_arrays"]

#: Where other distributions offer quality checks.
ENTRY_POINTS: Final = "monitor.quality"

#: How much of the past a judge must be shown to judge as if it had never stopped. [s]
PRIME_S: Final = max(filter(None, STILL_AFTER_S)) + 3600.0

_NOT_EVALUATED: Final = Flag.NOT_EVALUATED
_NO_INSTANT: Final = float("nan")


class Judge:
    """Flags the readings of one sensor as they arrive."""

    __slots__ = ("_checks", "_recents", "_timeless")

    def __init__(self, sensor: Sensor, among: Sequence[QualityCheck] | None = None) -> None:
        """`among` are the checks to make, all there are if it is left out."""
        modules = checks() if among is None else among
        self._recents = {quantity: Recent() for quantity in Quantity}
        self._checks: dict[Quantity, tuple[Check, ...]] = {}
        self._timeless: dict[Quantity, tuple[Check, ...]] = {}
        for quantity in Quantity:
            made = [(module, _made(module, sensor, quantity, self._recents)) for module in modules]
            self._checks[quantity] = tuple(check for _, check in made if check is not None)
            self._timeless[quantity] = tuple(
                check for module, check in made if check is not None and module.TIMELESS
            )

    def flag(self, quantity: Quantity, value: float, observed_at_s: float) -> Flag:
        """The flag of a reading, which from now on is part of what came before.

        A reading that is not newer than the newest is judged as a late one and leaves nothing behind.
        """
        recent = self._recents[quantity]
        if not observed_at_s > recent.at_s:
            return self.flag_late(quantity, value)
        worst = _NOT_EVALUATED
        for check in self._checks[quantity]:
            try:
                flag = check(recent, value, observed_at_s)
                if flag is not worst and RANK[flag] > RANK[worst]:
                    worst = flag
            except Exception as error:  # noqa: BLE001 - the plug-in boundary
                worst = _doubted(worst, error)
        recent.add(value, observed_at_s, worst)
        return worst

    def flag_late(self, quantity: Quantity, value: float) -> Flag:
        """The flag of a reading that comes too late to be held against those around it."""
        recent = self._recents[quantity]
        try:
            return roll_up([check(recent, value, _NO_INSTANT) for check in self._timeless[quantity]])
        except Exception as error:  # noqa: BLE001 - the plug-in boundary
            return _doubted(_NOT_EVALUATED, error)

    def prime(self, quantity: Quantity, at_s: Any, values: Any, flags: Any) -> None:
        """Show a new judge the readings from before a restart: arrays ascending in time [s since 1970].

        The flags given at the time are not looked at: the same readings get the same flags again.
        """
        if len(at_s) == 0:
            return
        begin = int(np.searchsorted(at_s, at_s[-1] - PRIME_S))
        for value, instant_s in zip(values[begin:].tolist(), at_s[begin:].tolist(), strict=True):
            self.flag(quantity, value, instant_s)


@cache  # what is installed does not change while we run, and looking for it takes 10 ms
def checks() -> tuple[QualityCheck, ...]:
    """Every quality check there is, in order of their names; AftercareError when two claim the same one."""
    found: dict[str, QualityCheck] = {}
    for check in [*_shipped(), *_installed()]:
        if check.KIND in found:
            raise AftercareError(
                f"two quality checks are called {check.KIND!r}.", "Uninstall one of the two packages."
            )
        found[check.KIND] = check
    return tuple(found[kind] for kind in sorted(found))


def _shipped() -> list[QualityCheck]:
    names = [found.name for found in pkgutil.iter_modules(__path__)]
    modules = [importlib.import_module(f"{__name__}.{name}") for name in names]
    return [cast("QualityCheck", module) for module in modules if hasattr(module, "KIND")]


def _installed() -> list[QualityCheck]:
    found = plugins.loaded(entry_points(group=ENTRY_POINTS), "quality check")
    return [cast("QualityCheck", check) for _, check in found]


def _made(
    module: QualityCheck, sensor: Sensor, quantity: Quantity, recents: Mapping[Quantity, Recent]
) -> Check | None:
    """The module's check for one quantity of one sensor; one that fails makes its readings suspect."""
    try:
        check = module.check(sensor, quantity, recents)
    except Exception as error:  # noqa: BLE001 - the plug-in boundary
        plugins.note(f"quality check {module.KIND}", "fails", error)
        return _doubt
    return check


def _doubted(worst: Flag, error: Exception) -> Flag:
    """A check failed on a reading: it still warns, and clears nothing."""
    plugins.note("quality check", "fails", error)
    return max(worst, Flag.SUSPECT, key=RANK.__getitem__)


def _doubt(_recent: Recent, _value: float, _at_s: float) -> Flag:
    return Flag.SUSPECT
