"""Is a damp wrap freezing through? Its surface by balance of heat and vapour, in kelvin-hours below zero.

A bare wet wrap stands below the air, under tape it follows it. While its water freezes the bark below stays
near zero, so what counts is how much of it is ice by now. Counted anew from the history at a start.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from typing import Final, NamedTuple

import numpy as np

from monitor.guarding import GuardedTree
from monitor.model import Assessment, Judgement, Priority, Quantity
from monitor.notices import night_words
from monitor.notices.words import HANDS_OFF, Reason
from monitor.science.constants import LATENT_HEAT_FUSION_J_PER_KG
from monitor.science.drying import Body, body
from monitor.science.films import evaporation, film
from monitor.science.psychrometrics import vapour_pressure_deficit
from monitor.trees.stages import wrap_keep
from monitor.trees.tree import Wrap
from monitor.watch import Ground
from monitor.watches.evening import BRIDGED_S, HOUR_S, STEP_S, Air, Floats
from monitor.watches.plain import PlainWatch, over, unknown
from monitor.watches.wrap_events import WrapKey
from monitor.watches.wrap_views import WrapView

KIND: Final = "wrap-freezing"
RISES_AT: Final = 0.4
"""Share of its water that is ice: early enough to act before the bark freezes."""
OPEN_WORKS: Final = ("heavy-bend", "moderate-bend", "graft")
"""Works that leave cells open under the wrap."""
LOOK_BACK_S: Final = 36 * HOUR_S
ASSUMED_HUMIDITY_PCT: Final = 85.0
"""Where humidity is not known; a shut cold house is rarely drier."""
MILD_C: Final = 6.0
"""Above this air a wet surface freezes in no humidity that a house has."""
COOLED_K_PER_KPA: Final = 10.0
"""No wet surface above freezing stands further below the air for each kilopascal that the air is short of
saturation: 1/(s + 0.85·γ) with the slope s at 0 °C and γ at sea level; films and covers only take away."""
LEAST_W_PER_M2_K: Final = 1e-3
"""Only so that nothing is divided by zero where no air is known."""
MARGIN_K: Final = 1.0
"""For what the air does between two looks."""
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


class Wrapped(NamedTuple):
    """A tree, the sensor that it stands at, and its wraps that matter."""

    guarded: GuardedTree
    sensor: str
    wraps: tuple[Wrap, ...]


class Follow(NamedTuple):
    """One wrap that must be followed, from where and since when."""

    key: WrapKey
    wrap: Wrap
    sensor: str
    from_s: float


class WrapFreezingWatch(PlainWatch):
    """Every damp wrap on tender work; `views` are the wraps as the drying sees them."""

    KINDS = frozenset({KIND})

    def __init__(self, ground: Ground, air: Air, views: Callable[[], Sequence[WrapView]]) -> None:
        self._ground = ground
        self._air = air
        self._views = views
        self._icing: dict[WrapKey, Icing] = {}
        self._revisions: dict[str, int] = {}
        """The history of each sensor as of the last look."""
        self._seen_trees: Mapping[str, GuardedTree] = {}
        self._wrapped: list[Wrapped] = []

    def look(self, now_s: float) -> Iterable[Assessment]:
        """Each tree by the wrap that is nearest to being frozen through."""
        damp = self._damp()
        icing: dict[WrapKey, Icing] = {}
        followed: dict[int, list[Follow]] = {}
        silent = {sensor for sensor in {each.sensor for each in damp} if not self._has_news(sensor, now_s)}
        for guarded, sensor, wraps in damp:
            mild = self._is_mild(guarded.tree.id, sensor, now_s)
            for wrap in wraps:
                key = (guarded.tree.id, wrap.entry)
                known = self._icing.get(key)
                if known is not None and mild and known.ice_k_h <= 0.0:
                    icing[key] = known._replace(at_s=now_s)
                    continue
                if known is not None and sensor in silent:
                    icing[key] = known
                    continue
                from_s = max(wrap.at_s, now_s - LOOK_BACK_S) if known is None else known.at_s
                steps = max(1, math.ceil((now_s - from_s) / STEP_S - 1e-6))
                followed.setdefault(steps, []).append(Follow(key, wrap, sensor, from_s))
        for steps, together in followed.items():
            icing |= self._followed(together, steps, now_s)
        found = []
        self._icing = {}
        for guarded, _, wraps in damp:
            kept = {key: icing[key] for wrap in wraps if (key := (guarded.tree.id, wrap.entry))}
            self._icing |= kept
            found += self._judged(guarded, list(kept.values()), now_s)
        return [*found, *self._gone(now_s)]

    def _damp(self) -> list[Wrapped]:
        """Trees whose wraps matter and whose place is known; the same until the book or a stage changes."""
        trees = self._ground.guarding.trees
        if self._seen_trees is not trees:
            self._seen_trees = trees
            self._wrapped = [
                Wrapped(guarded, sensor, wraps)
                for guarded in trees.values()
                if (sensor := guarded.tree.sensor) in self._ground.settings.sensors and sensor is not None
                if (wraps := tuple(wrap for wrap in guarded.tree.wraps_on if _matters(wrap, guarded)))
            ]
        return self._wrapped

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

    # ---- the wraps that may freeze -------------------------------------------------------------------------

    def _followed(self, wraps: Sequence[Follow], steps: int, now_s: float) -> dict[WrapKey, Icing]:
        """The ice of some wraps after so many steps, at the last moment whose air is known."""
        begin_s = now_s - steps * STEP_S
        air_c, humidity_pct = self._airs([wrap.sensor for wrap in wraps], begin_s, now_s)
        shapes = [_shape(w.fibre, w.cover, w.branch_mm, w.thickness_mm) for _, w, _, _ in wraps]
        surface_c, full_k_h = surfaces(shapes, self._moistures(wraps, shapes), air_c, humidity_pct)
        known = [self._icing.get(wrap.key) for wrap in wraps]
        ice_k_h = np.array([0.0 if icing is None else icing.ice_k_h for icing in known])
        last_c = np.array([math.nan if icing is None else icing.surface_c for icing in known])
        at_s = np.array([wrap.from_s for wrap in wraps])
        for index in range(steps):
            now_c = surface_c[:, index]
            seen = np.isfinite(now_c)
            colder = np.minimum(np.maximum(ice_k_h - now_c * STEP_S / HOUR_S, 0.0), full_k_h)
            ice_k_h, last_c = np.where(seen, colder, ice_k_h), np.where(seen, now_c, last_c)
            at_s = np.where(seen, begin_s + (index + 1) * STEP_S, at_s)
        columns = (column.tolist() for column in (ice_k_h, full_k_h, last_c, at_s))
        return {wrap.key: Icing(*figures) for wrap, *figures in zip(wraps, *columns, strict=True)}

    def _airs(self, sensors: Sequence[str], begin_s: float, now_s: float) -> tuple[Floats, Floats]:
        """The air at each wrap, wraps × steps: temperature [°C] and humidity [%]."""

        def at(quantity: Quantity) -> Floats:
            grids = {name: self._air.grid(name, begin_s, now_s, quantity)[1:] for name in set(sensors)}
            return np.array([grids[name] for name in sensors])

        return at(Quantity.TEMPERATURE_C), at(Quantity.RELATIVE_HUMIDITY_PCT)

    def _moistures(self, wraps: Sequence[Follow], shapes: Sequence[Body]) -> list[float]:
        """How wet each is taken to be: as its drying is followed, else soaked [kg/kg]."""
        moisture = {view.key: view.estimate.moisture_kg_per_kg.p50 for view in self._views()}
        soaked = (float(shape.saturated_kg_per_kg) for shape in shapes)
        return [moisture.get(wrap.key, most) for wrap, most in zip(wraps, soaked, strict=True)]

    def _has_news(self, sensor: str, now_s: float) -> bool:
        """Whether anything came since the last look, or the last that came still stands for what is now."""
        revision = self._ground.history.revision(sensor)
        before, self._revisions[sensor] = self._revisions.get(sensor), revision
        latest = self._ground.surroundings.latest(sensor)
        stands_s = max(BRIDGED_S, 2.5 * self._ground.settings.sensors[sensor].every_s) + STEP_S
        return revision != before or latest is None or now_s - latest.observed_at_s <= stands_s

    def _is_mild(self, tree: str, sensor: str, now_s: float) -> bool:
        """Whether no wet surface can be freezing in this air, so that there is nothing to follow.

        While an alarm stands its surface is wanted, so that only air in which none ever freezes counts.
        """
        surroundings = self._ground.surroundings
        latest = surroundings.latest(sensor)
        if latest is None or not surroundings.is_fresh(sensor, now_s):
            return False
        if latest.value > MILD_C:
            return True
        row = self._ground.board.by_name(f"{KIND}/{tree}")
        humidity = surroundings.latest(sensor, Quantity.RELATIVE_HUMIDITY_PCT)
        if (row is not None and row.active) or humidity is None:
            return False
        if latest.value <= MARGIN_K or latest.observed_at_s - humidity.observed_at_s > STEP_S:
            return False
        deficit_kpa = vapour_pressure_deficit(latest.value, min(max(humidity.value, 5.0), 100.0))
        return latest.value - MARGIN_K > COOLED_K_PER_KPA * deficit_kpa

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


def surfaces(
    shapes: Sequence[Body], moistures: Sequence[float], air_c: Floats, humidity_pct: Floats
) -> tuple[Floats, Floats]:
    """Surfaces of some wraps, each in its airs, wraps × airs [°C], and the kelvin-hours that freeze each.

    Wet fibre evaporates freely down to its critical moisture, less below it; its cover stands in the way. The
    film is that of shut houses, without sun or a clear sky.
    """
    diameter_m, dry_kg_per_m, _, critical, dried, cover_s_per_m = np.array(shapes).T[:, :, None]
    moisture = np.array(moistures)[:, None]
    humid = np.where(np.isfinite(humidity_pct), np.clip(humidity_pct, 5.0, 100.0), ASSUMED_HUMIDITY_PCT)
    layer = film(diameter_m, air_c)
    wetness = np.clip((moisture - dried) / (critical - dried), 0.0, 1.0)
    leaving = evaporation(layer, air_c, humid, cover_s_per_m=cover_s_per_m, wetness=wetness)
    heat_w_per_m2_k = layer.convection_w_per_m2_k + layer.radiation_w_per_m2_k
    known = np.isfinite(air_c)
    mean_w_per_m2_k = np.where(known, heat_w_per_m2_k, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    water_kg_per_m = (moisture * dry_kg_per_m)[:, 0]
    per_k_h_j_per_m = 3600.0 * np.maximum(mean_w_per_m2_k, LEAST_W_PER_M2_K) * math.pi * diameter_m[:, 0]
    full_k_h = water_kg_per_m * LATENT_HEAT_FUSION_J_PER_KG / per_k_h_j_per_m
    nothing = (moisture < DRY_FROM * dried)[:, 0] | ~known.any(axis=1)
    return np.asarray(leaving.surface_c), np.where(nothing, 0.0, full_k_h)


@cache
def _shape(fibre: str, cover: str, branch_mm: float, thickness_mm: float | None) -> Body:
    return body(fibre, cover, branch_mm=branch_mm, thickness_mm=thickness_mm)


def _matters(wrap: Wrap, guarded: GuardedTree) -> bool:
    """Whether frost in this wrap does harm: it is kept damp, or lies over open cells."""
    tender = any(stage.work in OPEN_WORKS and stage.stage in ("fresh", "mending") for stage in guarded.stages)
    return tender or wrap_keep(wrap, guarded.stages) == "damp"
