"""How near roots came to their limits since the last report: by the probe, else as the pot is reckoned."""

import math
from typing import TYPE_CHECKING, NamedTuple

from monitor.guarding import GuardedTree
from monitor.morning.series import Night
from monitor.report.facts import Margin
from monitor.watches.pot_fold import HOUR_S, USUAL_LITRES, reckoned_pot_c

if TYPE_CHECKING:
    from monitor.engine import Engine

BEGUN_BEFORE_S = 48 * 3600.0
"""A pot is reckoned from so long before: ten times its lag, and longer than a night's ice; judgement."""


class Low(NamedTuple):
    """A pot's lowest temperature [°C] and when [s]; `hours`: what it was in each hour, by its beginning."""

    value_c: float
    at_s: float
    hours: tuple[tuple[float, float], ...]


class Pots:
    """The pots of one night; those of one size that stood at the same places are reckoned once."""

    def __init__(self, engine: "Engine", night: Night) -> None:
        self._engine = engine
        self._night = night
        self._known: dict[object, Low | None] = {}

    def of(self, guarded: GuardedTree) -> tuple[Margin, ...]:
        """The margins of a tree's roots; nothing where its pot is not known."""
        limits = {grade: guarded.limits.get(f"root_{grade}_c") for grade in ("warn", "harm")}
        low = self._low(guarded) if any(value is not None for value in limits.values()) else None
        if low is None:
            return ()
        return tuple(
            Margin("low", grade, limit_c, round(low.value_c, 2), low.at_s, _beyond_s(low, limit_c), "pot")
            for grade, limit_c in limits.items()
            if limit_c is not None
        )

    def _low(self, guarded: GuardedTree) -> Low | None:
        tree = guarded.tree
        lately_s = self._night.since_s - BEGUN_BEFORE_S
        stood = tree.placement_at(lately_s)
        moves = tuple((p.at_s, p.sensor) for p in tree.placements if p.at_s > lately_s)
        key = (tree.pot_sensor, tree.pot_litres or USUAL_LITRES, stood and stood.sensor, moves)
        if key not in self._known:
            self._known[key] = self._read(guarded)
        return self._known[key]

    def _read(self, guarded: GuardedTree) -> Low | None:
        tree, engine, since_s = guarded.tree, self._engine, self._night.since_s
        from_s = math.floor((since_s - BEGUN_BEFORE_S) / HOUR_S) * HOUR_S
        if tree.pot_sensor is not None:
            rows = engine.hours.rows(tree.pot_sensor, since_s, engine.now_s)
            means = {row.hour_at_s: row.temperature_mean_c for row in rows}
            found = {at_s: value for at_s, value in means.items() if value is not None}
        else:
            sensors = {placement.sensor for placement in tree.placements} - {None}
            rows = [r for name in sensors for r in engine.hours.rows(name or "", from_s, engine.now_s)]
            reckoned = reckoned_pot_c(tree, rows, from_s, engine.now_s)
            found = {at_s: value for at_s, value in reckoned.items() if at_s >= since_s - HOUR_S}
        if not found:
            return None
        at_s = min(found, key=lambda hour: found[hour])
        return Low(found[at_s], at_s, tuple(found.items()))


def _beyond_s(low: Low, limit_c: float) -> float:
    return sum(HOUR_S for _at_s, value_c in low.hours if value_c <= limit_c)
