"""Root-balls hour by hour: by the probe in the pot, else as a lump that lags the air and freezes; pure.

What lies further back than `REACH_S` is forgotten: no pot stays frozen for so long in a house that is kept
just frost free, so that a fold from there is the same as one from ever before.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from monitor.conditions import HourlyRows
from monitor.model import HourRow
from monitor.science.roots import RootBall, needle_water_loss, pot, root_ball_step
from monitor.trees.tree import Placement, Tree

HOUR_S = 3600.0
REACH_S = 60 * 86_400.0
USUAL_LITRES = 6.0
"""Of a pot whose size nobody gave; judgement."""
BLIND_AT_MOST_H = 6.0
"""After so much unknown air nothing is said of it any more; judgement: three times a usual lag."""
FROZEN_FROM = 0.5
"""Share of its water that must be ice for roots to stand dry; judgement."""

AirAt = Callable[[str | None, float], tuple[float, float]]
RowAt = Callable[[str, float], HourRow | None]


@dataclass(frozen=True, slots=True)
class PotFacts:
    """What the book says of one pot; two that are equal up to an instant fold alike up to there."""

    tree: str
    litres: float
    probe: str | None
    evergreen: bool
    placements: tuple[Placement, ...]

    def until(self, at_s: float) -> "PotFacts":
        """As much of it as was so then."""
        return replace(self, placements=tuple(p for p in self.placements if p.at_s <= at_s))

    def sensor_at(self, at_s: float) -> str | None:
        """Where it stood then; the first known place holds for the time before, too."""
        found = self.placements[0].sensor if self.placements else None
        for placement in self.placements:
            if placement.at_s <= at_s:
                found = placement.sensor
        return found


@dataclass(frozen=True, slots=True)
class PotNow:
    """One root-ball after the hour that ended at `until_s`.

    `temperature_c` None: not known; `ice` share of its water that is ice [-]; `frozen_h` how long there has
    been ice without a break [h]; `loss_g_per_m2` what needles lost since it froze [g/m²]; `blind_h` [h].
    """

    until_s: float
    temperature_c: float | None = None
    ice: float = 0.0
    frozen_h: float = 0.0
    loss_g_per_m2: float = 0.0
    blind_h: float = 0.0

    @property
    def is_frozen(self) -> bool:
        """Whether roots stand dry in it."""
        return self.ice >= FROZEN_FROM

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def pot_facts(tree: Tree, evergreen: bool) -> PotFacts:
    """What of a tree concerns its pot."""
    return PotFacts(tree.id, tree.pot_litres or USUAL_LITRES, tree.pot_sensor, evergreen, tree.placements)


def pot_step(facts: PotFacts, before: PotNow, hour_at_s: float, air_at: AirAt, row_at: RowAt) -> PotNow:
    """The root-ball after the hour that begins there."""
    air = air_at(facts.sensor_at(hour_at_s + HOUR_S / 2), hour_at_s)
    row = row_at(facts.probe, hour_at_s) if facts.probe is not None else None
    if row is not None and row.temperature_mean_c is not None:
        after = _probed(before, row, hour_at_s + HOUR_S)
    else:
        after = pot_in(facts, before, air[0], 1.0)
    return replace(after, loss_g_per_m2=_loss_g_per_m2(facts, before, after, air))


def pot_in(facts: PotFacts, before: PotNow, air_c: float, duration_h: float) -> PotNow:
    """The root-ball after some time in air of one temperature [°C]; NaN is unknown air."""
    until_s = before.until_s + duration_h * HOUR_S
    if math.isnan(air_c):
        blind_h = before.blind_h + duration_h
        known = before.temperature_c if blind_h < BLIND_AT_MOST_H else None
        return replace(before, until_s=until_s, temperature_c=known, blind_h=blind_h)
    shape = pot(facts.litres)
    begun_c = math.nan if before.temperature_c is None else before.temperature_c
    if before.ice == 0.0 and min(begun_c, air_c) > 0.0:
        # Nothing freezes: the lag alone, which is what the whole step would give at fifty times the cost.
        after_c = air_c + (begun_c - air_c) * math.exp(-duration_h / shape.lag_h)
        return PotNow(until_s, after_c, loss_g_per_m2=before.loss_g_per_m2)
    ball = RootBall(begun_c, before.ice * shape.plateau_k_h, before.frozen_h)
    after = root_ball_step(ball, air_c, duration_h, lag_h=shape.lag_h, plateau_k_h=shape.plateau_k_h)
    ice = float(after.ice_k_h) / shape.plateau_k_h
    return PotNow(until_s, float(after.temperature_c), ice, float(after.frozen_h), before.loss_g_per_m2)


def _probed(before: PotNow, row: HourRow, until_s: float) -> PotNow:
    """By the probe: frozen from its hour's mean, for what freezes stays at 0 °C until it is all ice."""
    frozen = (row.temperature_mean_c or 0.0) <= 0.0
    return PotNow(
        until_s,
        row.temperature_mean_c,
        1.0 if frozen else 0.0,
        before.frozen_h + 1.0 if frozen else 0.0,
        before.loss_g_per_m2,
    )


def _loss_g_per_m2(facts: PotFacts, before: PotNow, after: PotNow, air: tuple[float, float]) -> float:
    """What needles lost since it froze; it begins anew once the pot has thawed."""
    if not facts.evergreen or (after.ice == 0.0 and (after.temperature_c or 0.0) > 0.0):
        return 0.0
    if not after.is_frozen:
        return before.loss_g_per_m2
    loss = float(needle_water_loss(air[0], air[1], min(after.temperature_c or 0.0, 0.0)))
    return before.loss_g_per_m2 + (0.0 if math.isnan(loss) else loss)


def fold_pot(
    facts: PotFacts, before: PotNow | None, to_s: float, first_s: float, air_at: AirAt, row_at: RowAt
) -> PotNow:
    """The root-ball at the end of an hour, from `before` or from `first_s` on."""
    now = before if before is not None else PotNow(first_s)
    while now.until_s < to_s:
        now = pot_step(facts, now, now.until_s, air_at, row_at)
    return now


def reckoned_pot_c(tree: Tree, rows: Iterable[HourRow], from_s: float, to_s: float) -> Mapping[float, float]:
    """The root-ball's temperature in each hour [°C], by its beginning; nothing where a probe is named."""
    if tree.pot_sensor is not None:
        return {}
    hours = HourlyRows()
    hours.add(rows)
    facts = pot_facts(tree, evergreen=False)
    now, found = PotNow(math.floor(from_s / HOUR_S) * HOUR_S), {}
    while now.until_s + HOUR_S <= to_s:
        hour_at_s = now.until_s
        now = pot_step(facts, now, hour_at_s, hours.air, hours.row)
        if now.temperature_c is not None and now.blind_h == 0.0:
            found[hour_at_s] = now.temperature_c
    return found


def from_json(values: Mapping[str, Any]) -> PotNow:
    """What `PotNow.as_json` wrote."""
    return PotNow(**values)
