"""What follows from wraps and hours for people: which wraps to see to, which tree may leave, worst hours.

It raises no alarm; its facts are made anew at each hour and each change of the book.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from monitor.clock import local
from monitor.guarding import GuardedTree
from monitor.model import Assessment, HourRow, Row
from monitor.night_lows import low_c, night_span_s
from monitor.notices import recovery_words as words
from monitor.notices.words import Reason
from monitor.trees.asks import MOULD, TOUCH, WATER, WrapAsk, WrapNeed, wrap_asks
from monitor.trees.exposure import DIED, exposure
from monitor.trees.leaving import NIGHTS, Leaving, leaving
from monitor.watch import NOTHING_FOUND, Found, Ground
from monitor.watches.pot_fold import reckoned_pot_c
from monitor.watches.warm_days import raised_hours
from monitor.watches.wrap_views import WrapView
from monitor.watches.wraps import WrapWatch

WATER_WITHIN_H = 24.0
"""Dry before the next morning's report: wet it this morning; judgement."""
DIED_LATELY_S = 30 * 86_400.0
LOOKED_BACK_S = 365 * 86_400.0
WARMER_MONTHS = range(2, 8)
"""From February to July nights grow milder; south of the equator the other half of the year."""


class AskedWatch:
    """Gathers for report and page what they could not know by themselves."""

    KINDS: frozenset[str] = frozenset()

    def __init__(self, ground: Ground, wraps: WrapWatch) -> None:
        self._ground = ground
        self._wraps = wraps
        self.asks: tuple[WrapAsk, ...] = ()
        self.leaving: tuple[Leaving, ...] = ()
        self._worst: list[dict[str, Any]] | None = None
        self._lows_c: dict[tuple[str, date], tuple[float | None, float | None]] = {}
        """Of each night: as of when it holds, None for good, and its low."""

    def load(self, learned: Mapping[str, Mapping[str, Any]]) -> None:
        """Nothing is kept: all of it follows from the book and the hours."""
        del learned

    def look(self, now_s: float) -> Iterable[Assessment]:
        """Nothing between the hours."""
        del now_s
        return ()

    def hour(self, now_s: float, hours: Sequence[HourRow]) -> Iterable[Assessment]:
        """What is asked now; the wraps were followed before."""
        del hours
        self.asks = wrap_asks(need for view in self._wraps.views for need in needs(view))
        trees = self._ground.guarding.trees.values()
        found = (self._leaving(guarded, now_s) for guarded in trees)
        self.leaving = tuple(each for each in found if each is not None)
        if self._worst is None:
            self._worst = [worst for guarded in trees for worst in self._worst_of(guarded, now_s)]
        return ()

    def changed(self, now_s: float) -> Iterable[Assessment]:
        """The same at once; the past only changes with the book."""
        self._worst = None
        return self.hour(now_s, ())

    def reason(self, kind: str, subject: str) -> Reason:
        """It raises none."""
        return Reason(kind, subject, "")

    def take(self) -> Found:
        """Nothing is kept."""
        return NOTHING_FOUND

    def rows(self) -> tuple[Row, ...]:
        """Nothing is kept."""
        return ()

    def facts(self) -> Mapping[str, Any]:
        """`wrap_asks`, `leaving` and `worst_hours`."""
        return {
            "wrap_asks": [ask._asdict() for ask in self.asks],
            "leaving": [
                {
                    "tree": each.tree,
                    "ready": each.is_ready,
                    "missing": list(each.missing),
                    "said": "ready to leave the house" if each.is_ready else words.not_yet(each.missing),
                }
                for each in self.leaving
            ],
            "worst_hours": self._worst or [],
        }

    # ---- leaving -------------------------------------------------------------------------------------------

    def _leaving(self, guarded: GuardedTree, now_s: float) -> Leaving | None:
        month = local(self._ground.label_s(now_s), self._ground.settings.site.zone).month
        north = self._ground.settings.site.latitude_deg >= 0.0
        return leaving(
            guarded.tree,
            guarded.stages,
            self._ground.plans,
            guarded.limits,
            self._nights_c(guarded, now_s),
            (month in WARMER_MONTHS) == north,
            now_s,
        )

    def _nights_c(self, guarded: GuardedTree, now_s: float) -> list[float | None]:
        """The lows of the last nights at the sensor outside its house."""
        sensor = self._ground.settings.sensors.get(guarded.tree.sensor or "")
        house = self._ground.settings.houses.get(sensor.house) if sensor is not None else None
        outdoor = house.outdoor if house is not None else None
        if outdoor is None:
            return []
        today = local(self._ground.label_s(now_s), self._ground.settings.site.zone).date()
        if not any(key[1] == today for key in self._lows_c):
            self._lows_c.clear()
        return [
            self._low_c(outdoor, today - timedelta(days=back), now_s) for back in range(NIGHTS - 1, -1, -1)
        ]

    def _low_c(self, outdoor: str, morning: date, now_s: float) -> float | None:
        """The lowest of one night; None where too little of it is known. A night that is over is kept."""
        known = self._lows_c.get((outdoor, morning))
        if known is not None and known[0] in (None, now_s):
            return known[1]
        from_s, to_s = night_span_s(morning, self._ground.settings.site.zone, self._ground.label_s(0.0))
        found_c = low_c(self._ground.hours.rows(outdoor, from_s, to_s))
        self._lows_c[outdoor, morning] = (None if now_s > to_s + 7200.0 else now_s, found_c)
        return found_c

    # ---- what a dead branch went through -------------------------------------------------------------------

    def _worst_of(self, guarded: GuardedTree, now_s: float) -> Iterable[dict[str, Any]]:
        """For each finding of dieback or death lately: the worst hours on end before it."""
        tree, ground = guarded.tree, self._ground
        lately = [
            found for found in tree.findings if found.found in DIED and now_s - found.at_s < DIED_LATELY_S
        ]
        if not lately:
            return
        from_s = now_s - LOOKED_BACK_S
        sensors = {placement.sensor for placement in tree.placements} | {tree.pot_sensor}
        rows = [row for name in sensors - {None} for row in ground.hours.rows(name or "", from_s, now_s)]
        thermal = ground.guarding.thermal
        record = exposure(
            tree,
            rows,
            ground.plans,
            lambda since_s, until_s: thermal.degree_days_k_d(tree.placements, since_s, until_s),
            from_s,
            now_s,
            pot_c=reckoned_pot_c(tree, rows, from_s, now_s),
            raised=raised_hours(
                tree, rows, ground.settings.site.zone, from_s, now_s, ground.speech().offset_s
            ),
        )
        for found in lately:
            spell = record.worst(found.at_s)
            if spell is not None:
                yield {
                    "tree": tree.id,
                    "found": found.found,
                    "part": found.part,
                    "found_at_s": found.at_s,
                    "from_s": ground.label_s(spell.from_s),
                    "to_s": ground.label_s(spell.to_s),
                    "low_c": spell.low_c,
                    "high_c": spell.high_c,
                }


def needs(view: WrapView) -> Iterable[WrapNeed]:
    """What one wrap needs of a person; nothing while it is frozen."""
    if view.feel == "frozen":
        return
    dry_in = view.estimate.dry_in_h
    when = words.dry_in(dry_in.p10, dry_in.p90)
    left_h = math.inf if math.isnan(dry_in.p50) else dry_in.p50
    unsure = math.log(view.estimate.gain.p90 / view.estimate.gain.p10)

    def need(kind: str, reason: str, hours_left: float, text: str, because: str) -> WrapNeed:
        return WrapNeed(
            view.key[0], view.tree_name, view.wrap, kind, f"{view.fibre}/{view.cover}", reason, unsure,
            hours_left, text, because,
        )  # fmt: skip

    before_tomorrow = view.wants_water or (view.wants_water is False and left_h <= WATER_WITHIN_H)
    if view.is_kept_damp and before_tomorrow and not view.just_wetted:
        yield need(WATER, "drying", left_h, words.FEEL_AND_WET, when)
    if view.is_kept_damp and view.touch_because:
        why = words.wrap_unknown(view.tree_name, view.wrap, view.touch_because).cause
        yield need(TOUCH, view.touch_because, math.inf, words.LIFT_AN_EDGE, why)
    if view.looks_for_mould:
        why = f"wet for {view.wet_days:.0f} days, {view.max_days:g} are asked for at most"
        yield need(MOULD, MOULD, math.inf, words.LOOK_FOR_MOULD, why)
