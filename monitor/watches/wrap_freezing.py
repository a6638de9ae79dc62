"""Is a damp wrap freezing through? Its surface by balance of heat and vapour, in kelvin-hours below zero.

A bare wet wrap stands below the air, under tape it follows it. While its water freezes the bark below stays
near zero, so what counts is how much of it is ice by now. Counted anew from the history at a start.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Final, NamedTuple

import numpy as np

from monitor.guarding import GuardedTree
from monitor.model import Assessment, Judgement, Priority, Quantity
from monitor.notices import night_words
from monitor.notices.words import HANDS_OFF, Reason
from monitor.science.constants import LATENT_HEAT_FUSION_J_PER_KG
from monitor.science.drying import Body, body
from monitor.science.films import evaporation, film
from monitor.trees.stages import wrap_keep
from monitor.trees.tree import Wrap
from monitor.watch import Ground
from monitor.watches.evening import HOUR_S, STEP_S, Air, Floats
from monitor.watches.plain import PlainWatch, over, unknown
from monitor.watches.wrap_views import WrapView

KIND: Final = "wrap-freezing"
RISES_AT: Final = 0.4
"""Share of its water that is ice: early enough to act before the bark freezes."""
OPEN_WORKS: Final = ("heavy-bend", "moderate-bend", "graft")
"""Works that leave cells open under the wrap."""
LOOK_BACK_S: Final = 36 * HOUR_S
ASSUMED_HUMIDITY_PCT: Final = 85.0
"""Where humidity is not known; a shut cold house is rarely drier."""
DRY_FROM: Final = 1.2
"""A wrap below this many times its dry moisture holds too little water to speak of."""


class Icing(NamedTuple):
    """One wrap: cold stored as ice, of what would freeze it through [K·h], its surface [°C], and when."""

    ice_k_h: float
    full_k_h: float
    surface_c: float
    at_s: float

    @property
    def share(self) -> float:
        """Of its water that is ice."""
        return self.ice_k_h / self.full_k_h if self.full_k_h > 0 else 0.0


class WrapFreezingWatch(PlainWatch):
    """Every damp wrap on tender work; `views` are the wraps as the drying sees them."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground, air: Air, views: Callable[[], Sequence[WrapView]]) -> None:
        self._ground = ground
        self._air = air
        self._views = views
        self._icing: dict[tuple[str, str], Icing] = {}

    def look(self, now_s: float) -> Iterable[Assessment]:
        """Each tree by the wrap that is nearest to being frozen through."""
        views = {view.key: view for view in self._views()}
        found = []
        kept: dict[tuple[str, str], Icing] = {}
        for guarded in self._ground.guarding.trees.values():
            sensor = guarded.tree.sensor
            wraps = [wrap for wrap in guarded.tree.wraps_on if _matters(wrap, guarded)]
            if not wraps or sensor not in self._ground.settings.sensors or sensor is None:
                continue
            for wrap in wraps:
                key = (guarded.tree.id, wrap.entry)
                kept[key] = self._followed(key, wrap, sensor, views.get(key), now_s)
            found += self._judged(guarded, [kept[(guarded.tree.id, wrap.entry)] for wrap in wraps], now_s)
        self._icing = kept
        return [*found, *self._gone(now_s)]

    def _gone(self, now_s: float) -> list[Assessment]:
        """Alarms of trees that have no such wrap any more."""
        trees = {tree for tree, _ in self._icing}
        return [
            over(KIND, row.subject, now_s)
            for row in self._ground.board
            if row.kind == KIND and row.active and row.subject not in trees
        ]

    def _judged(self, guarded: GuardedTree, icings: list[Icing], now_s: float) -> list[Assessment]:
        tree = guarded.tree.id
        row = self._ground.board.by_name(f"{KIND}/{tree}")
        stands = row is not None and row.active
        worst = max(icings, key=lambda icing: icing.share)
        if worst.at_s < now_s - 1.0 or not self._air.is_trusted(guarded.tree.sensor or "", now_s):
            return [unknown(KIND, tree, now_s)] if stands else []
        if worst.share >= RISES_AT and worst.surface_c < 0.0:
            return [
                Assessment(
                    KIND,
                    tree,
                    now_s,
                    Judgement.BREACH,
                    Priority.MEDIUM,
                    round(worst.surface_c, 2),
                    0.0,
                    immediate=True,
                )
            ]
        thawed = worst.ice_k_h <= 0.0
        return [over(KIND, tree, now_s, round(worst.surface_c, 2))] if stands and thawed else []

    # ---- one wrap ------------------------------------------------------------------------------------------

    def _followed(
        self, key: tuple[str, str], wrap: Wrap, sensor: str, view: WrapView | None, now_s: float
    ) -> Icing:
        """The wrap's ice at the last moment at which its air is known."""
        known = self._icing.get(key)
        from_s = max(wrap.at_s, now_s - LOOK_BACK_S) if known is None else known.at_s
        ice_k_h = 0.0 if known is None else known.ice_k_h
        if known is not None and self._is_mild(sensor, now_s, ice_k_h):
            return known._replace(at_s=now_s)
        steps = max(1, math.ceil((now_s - from_s) / STEP_S - 1e-6))
        begin_s = now_s - steps * STEP_S
        air_c = self._air.grid(sensor, begin_s, now_s)[1:]
        humidity_pct = self._air.grid(sensor, begin_s, now_s, Quantity.RELATIVE_HUMIDITY_PCT)[1:]
        shape = body(wrap.fibre, wrap.cover, branch_mm=wrap.branch_mm, thickness_mm=wrap.thickness_mm)
        moisture = float(shape.saturated_kg_per_kg) if view is None else view.estimate.moisture_kg_per_kg.p50
        surface_c, full_k_h = surfaces(shape, moisture, air_c, humidity_pct)
        at_s, last_c = from_s, math.nan if known is None else known.surface_c
        for index in np.flatnonzero(np.isfinite(surface_c)).tolist():
            ice_k_h = min(max(ice_k_h - surface_c[index] * STEP_S / HOUR_S, 0.0), full_k_h)
            at_s, last_c = begin_s + (index + 1) * STEP_S, float(surface_c[index])
        return Icing(ice_k_h, full_k_h, last_c, at_s)

    def _is_mild(self, sensor: str, now_s: float, ice_k_h: float) -> bool:
        """Whether nothing can be freezing: no ice yet, and air that no wet surface is cold enough in."""
        latest = self._ground.surroundings.latest(sensor)
        fresh = self._ground.surroundings.is_fresh(sensor, now_s)
        return ice_k_h <= 0.0 and fresh and latest is not None and latest.value > MILD_C

    def reason(self, kind: str, subject: str) -> Reason:
        """Which wrap, how cold, how far."""
        del kind
        guarded = self._ground.guarding.trees.get(subject)
        icing = {key: value for key, value in self._icing.items() if key[0] == subject}
        if guarded is None or not icing:
            return Reason(f"a damp wrap at {subject} is freezing", "the bark below may freeze", HANDS_OFF)
        (_, entry), worst = max(icing.items(), key=lambda item: item[1].share)
        wrap = next(wrap for wrap in guarded.tree.wraps if wrap.entry == entry)
        covered = wrap.cover != "none"
        return night_words.wrap_freezing(
            self._ground.speech(), guarded.tree.name, wrap.wrap, worst.surface_c, worst.share, covered
        )


MILD_C: Final = 6.0
"""Above this air a wet surface freezes in no humidity that a house has."""


def surfaces(shape: Body, moisture: float, air_c: Floats, humidity_pct: Floats) -> tuple[Floats, float]:
    """Surface of one wrap in each air [°C], and the kelvin-hours that freeze its water through.

    Wet fibre evaporates freely down to its critical moisture, less below it; its cover stands in the way. The
    film is that of shut houses, without sun or a clear sky.
    """
    humid = np.where(np.isfinite(humidity_pct), np.clip(humidity_pct, 5.0, 100.0), ASSUMED_HUMIDITY_PCT)
    layer = film(np.full(air_c.shape, float(shape.diameter_m)), air_c)
    dry, critical = float(shape.dried_kg_per_kg), float(shape.critical_kg_per_kg)
    wetness = float(np.clip((moisture - dry) / (critical - dry), 0.0, 1.0)) if critical > dry else 1.0
    leaving = evaporation(layer, air_c, humid, cover_s_per_m=float(shape.cover_s_per_m), wetness=wetness)
    surface_c: Floats = np.asarray(leaving.surface_c, dtype=np.float64)
    if moisture < DRY_FROM * dry or not np.isfinite(air_c).any():
        return surface_c, 0.0
    heat_w_per_m2_k = np.nanmean(layer.convection_w_per_m2_k + layer.radiation_w_per_m2_k)
    water_kg_per_m = moisture * float(shape.dry_kg_per_m)
    per_k_h_j_per_m = 3600.0 * float(heat_w_per_m2_k) * math.pi * float(shape.diameter_m)
    return surface_c, water_kg_per_m * LATENT_HEAT_FUSION_J_PER_KG / per_k_h_j_per_m


def _matters(wrap: Wrap, guarded: GuardedTree) -> bool:
    """Whether frost in this wrap does harm: it is kept damp, or lies over open cells."""
    tender = any(stage.work in OPEN_WORKS and stage.stage in ("fresh", "mending") for stage in guarded.stages)
    return tender or wrap_keep(wrap, guarded.stages) == "damp"
