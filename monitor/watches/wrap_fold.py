"""The fold of wraps: the book's events and the hourly air give what is believed of each wrap; pure.

It goes by whole hours, an hour cut where something happened in it. Folding on from a saved hour or from the
beginning gives the same to the last digit.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np

from monitor.science.drying import FIBRES
from monitor.science.values import FloatArray
from monitor.science.wrap_estimates import FROZEN_FROM, frozen_fraction
from monitor.science.wraps import (
    WrapAir,
    WrapState,
    family_of,
    lesson_of,
    new_wrap,
    rewet,
    share,
    touch,
    weights_of,
    wrap_step,
)
from monitor.watches.wrap_events import WrapEvent, WrapKey

HOUR_S = 3600.0
DRY_SPELL_H = 24.0
"""Dry for so long, and its wet days begin anew; judgement."""
BLIND_FROM_H = 3.0
"""After so much unknown air a touch says how wet it is, and nothing else; judgement."""
BEYOND = 1.1
"""So little beyond the dry edge is what felt damp taken to be, where nothing else is known."""
LESSONS_KEPT = 20
"""Of wraps of one kind that were taken off; how tight somebody wraps changes over the years; judgement."""
LIKELY = 0.1
"""Less likely than this, a touch is a surprise; judgement."""
_DRIER = {"wet": ("damp", "dry"), "damp": ("dry",)}

AirAt = Callable[[str | None, float], tuple[float, float]]
"""Temperature [°C] and relative humidity [%] at a sensor in the hour that begins there; NaN: not known."""


class Felt(NamedTuple):
    """What somebody felt last, and why it is not believed, where it is not."""

    at_s: float
    feel: str
    how: str
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class FoldedWrap:
    """One wrap as far as the fold has come.

    `wetted_at_s` when it was last wetted; `looked_at_s` when somebody last lifted its edge; `blind_h` hours
    of unknown air since it was last known for sure [h]; `damp_h` hours damp, `dry_h` hours dry up to now [h].
    """

    name: str
    state: WrapState
    on_at_s: float
    wetted_at_s: float
    felt: Felt | None = None
    looked_at_s: float | None = None
    blind_h: float = 0.0
    damp_h: float = 0.0
    dry_h: float = 0.0
    surprise: str = ""
    """What was felt last, where hardly anything spoke for it; felt so twice, the hand is right."""
    before_touch: tuple[float, ...] | None = None
    """How well each gain agreed with everything but the last touch; None where nothing was learnt of it."""

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        values = {name: getattr(self, name) for name in self.__dataclass_fields__}
        felt = None if self.felt is None else list(self.felt)
        return {**values, "state": self.state.as_dict(), "felt": felt}

    @staticmethod
    def from_json(values: Mapping[str, Any]) -> "FoldedWrap":
        """What `as_json` wrote."""
        felt, before = values["felt"], values["before_touch"]
        state = WrapState.from_dict(values["state"])
        read = {
            "state": state,
            "felt": None if felt is None else Felt(*felt),
            "before_touch": None if before is None else tuple(before),
        }
        return FoldedWrap(**{**values, **read})


@dataclass(frozen=True, slots=True)
class Fold:
    """The wraps that are on after the hour that ended at `until_s`, and what those taken off have taught."""

    until_s: float
    wraps: Mapping[WrapKey, FoldedWrap] = field(default_factory=dict)
    sensors: Mapping[str, str | None] = field(default_factory=dict)
    """Tree -> the sensor it stands at."""
    lessons: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    """Fibre and cover -> shifts of the gain that touches of wraps had taught before they were taken off."""

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "until_s": self.until_s,
            "wraps": [[*key, wrap.as_json()] for key, wrap in self.wraps.items()],
            "sensors": dict(self.sensors),
            "lessons": {family: list(known) for family, known in self.lessons.items()},
        }

    @staticmethod
    def from_json(values: Mapping[str, Any]) -> "Fold":
        """What `as_json` wrote."""
        wraps = {(tree, entry): FoldedWrap.from_json(wrap) for tree, entry, wrap in values["wraps"]}
        lessons = {family: tuple(known) for family, known in values["lessons"].items()}
        return Fold(values["until_s"], wraps, dict(values["sensors"]), lessons)


def beginning(events: Sequence[WrapEvent]) -> Fold | None:
    """The fold before the first event; None where there is none."""
    return Fold(math.ceil(events[0].at_s / HOUR_S) * HOUR_S - HOUR_S) if events else None


def fold_on(fold: Fold, events: Sequence[WrapEvent], to_s: float, air_at: AirAt) -> Fold:
    """The fold at a later instant; `events` may hold earlier and later ones, those between count."""
    due = [event for event in events if fold.until_s < event.at_s <= to_s]
    index, at_s = 0, fold.until_s
    while at_s < to_s:
        hour_at_s = at_s // HOUR_S * HOUR_S
        if not fold.wraps:
            # Nothing dries: straight to the hour of the next event.
            ahead_s = due[index].at_s if index < len(due) else to_s
            hour_at_s = max(hour_at_s, math.ceil(ahead_s / HOUR_S) * HOUR_S - HOUR_S)
        end_s = min(hour_at_s + HOUR_S, to_s)
        while index < len(due) and due[index].at_s <= end_s:
            now_s = due[index].at_s
            fold = _stepped(fold, at_s, now_s, hour_at_s, air_at)
            same = [event for event in due[index:] if event.at_s == now_s]
            fold = _happened(fold, same, hour_at_s, air_at)
            index, at_s = index + len(same), now_s
        fold = _stepped(fold, at_s, end_s, hour_at_s, air_at)
        at_s = end_s
    return replace(fold, until_s=to_s)


def _stepped(fold: Fold, from_s: float, to_s: float, hour_at_s: float, air_at: AirAt) -> Fold:
    """All wraps that are on after some part of an hour in that hour's air."""
    on = tuple(fold.wraps)
    if not on or to_s - from_s < 1.0:
        return fold
    duration_h = (to_s - from_s) / HOUR_S
    airs = {key: air_at(fold.sensors.get(key[0]), hour_at_s) for key in on}
    seen = [key for key, air in airs.items() if not any(math.isnan(value) for value in air)]
    stepped = {
        key: _lasted(fold.wraps[key], _unseen(fold.wraps[key].state, duration_h), duration_h, blind=True)
        for key in on
    }
    if seen:
        air = np.array([airs[key] for key in seen])
        states = wrap_step([fold.wraps[key].state for key in seen], WrapAir(air[:, 0], air[:, 1]), duration_h)
        for key, state in zip(seen, states, strict=True):
            stepped[key] = _lasted(fold.wraps[key], state, duration_h, blind=False)
    return replace(fold, wraps=stepped)


def _unseen(state: WrapState, duration_h: float) -> WrapState:
    """The state after unknown air: as it was, only older."""
    touched_h = state.since_touch_h
    return state._replace(
        surface_c=None,
        wet_h=state.wet_h + duration_h,
        unseen_h=state.unseen_h + duration_h,
        since_touch_h=None if touched_h is None else touched_h + duration_h,
    )


def _lasted(wrap: FoldedWrap, state: WrapState, duration_h: float, *, blind: bool) -> FoldedWrap:
    """The wrap with its new state, and its spells counted on; ice is as wet as what it was."""
    dry = state.moisture_kg_per_kg[state.centre] <= FIBRES[state.fibre].dry_below_kg_per_kg
    dry_h = wrap.dry_h + duration_h if dry else 0.0
    damp_h = wrap.damp_h + (0.0 if dry else duration_h)
    return replace(
        wrap,
        state=state,
        blind_h=wrap.blind_h + (duration_h if blind else 0.0),
        damp_h=0.0 if dry_h >= DRY_SPELL_H else damp_h,
        dry_h=dry_h,
    )


def _happened(fold: Fold, events: Iterable[WrapEvent], hour_at_s: float, air_at: AirAt) -> Fold:
    """The fold after what happened at one instant; what one wrap taught, its siblings take over."""
    wraps, sensors, lessons = dict(fold.wraps), dict(fold.sensors), dict(fold.lessons)
    teaches = False
    for event in events:
        tree, _entry = event.key
        if event.what == "place":
            sensors[tree] = event.values[0]
        elif event.what == "on":
            wraps[event.key] = _put_on(event)
            teaches = True
        elif event.key in wraps and event.what == "off":
            _leave_lesson(wraps.pop(event.key).state, lessons)
        elif event.key in wraps:
            temperature_c = air_at(sensors.get(tree), hour_at_s)[0]
            wraps[event.key] = _changed(wraps[event.key], event, temperature_c)
            teaches |= event.what == "touch"
    if teaches:
        shared = share([wrap.state for wrap in wraps.values()], lessons)
        wraps = {
            key: replace(wrap, state=state) for (key, wrap), state in zip(wraps.items(), shared, strict=True)
        }
    return Fold(fold.until_s, wraps, sensors, lessons)


def _leave_lesson(state: WrapState, lessons: dict[str, tuple[float, ...]]) -> None:
    """What a wrap that is taken off has learnt stays for its siblings; the oldest are forgotten."""
    if state.touches:
        family = family_of(state)
        lessons[family] = (*lessons.get(family, ()), lesson_of(state))[-LESSONS_KEPT:]


def _put_on(event: WrapEvent) -> FoldedWrap:
    name, fibre, cover, branch_mm, thickness_mm = event.values
    state = new_wrap(fibre, cover, branch_mm=branch_mm, thickness_mm=thickness_mm)
    return FoldedWrap(name, state, event.at_s, event.at_s)


def _changed(wrap: FoldedWrap, event: WrapEvent, temperature_c: float) -> FoldedWrap:
    if event.what == "rewet":
        state = rewet(wrap.state)
        return replace(wrap, state=state, wetted_at_s=event.at_s, blind_h=0.0, dry_h=0.0, surprise="")
    feel, how = event.values
    touched = touch(wrap.state, feel, how=how, temperature_c=temperature_c)
    felt = Felt(event.at_s, feel, how, touched.because)
    if not touched.believed:
        return replace(wrap, state=touched.state, felt=felt)
    by_hand = how != "touch" or wrap.state.cover == "none"
    state, surprise = _taught(wrap, touched.state, feel, by_hand)
    learns = state.log_likelihood != wrap.state.log_likelihood
    return replace(
        wrap,
        state=state,
        felt=felt,
        looked_at_s=event.at_s if by_hand else wrap.looked_at_s,
        blind_h=0.0,
        surprise=surprise,
        before_touch=wrap.state.log_likelihood if learns else None,
    )


def _taught(wrap: FoldedWrap, learnt: WrapState, feel: str, by_hand: bool) -> tuple[WrapState, str]:
    """What a touch makes of the wrap, and the feel if that was a surprise."""
    unlearnt = wrap.state._replace(touches=learnt.touches, since_touch_h=learnt.since_touch_h)
    again = wrap.surprise == feel
    if wrap.blind_h >= BLIND_FROM_H:
        # What it went through is not known, so nothing is learnt of how fast it dries.
        return _as_felt(unlearnt, feel), ""
    if by_hand and _chance_so_wet(wrap.state, feel) < LIKELY:
        # Far wetter than any drying lets expect: somebody wetted it unsaid, or it was felt at the wrong spot.
        return (_as_felt(unlearnt, feel), "") if again else (unlearnt, feel)
    if by_hand and chance_of(learnt, feel) < LIKELY:
        return (_as_felt(learnt, feel), "") if again else (learnt, feel)
    return learnt, ""


def _chance_so_wet(state: WrapState, feel: str) -> float:
    """Chance that it is as wet as that, or wetter [-]."""
    return 1.0 if feel == "dry" else 1.0 - sum(chance_of(state, drier) for drier in _DRIER[feel])


def _as_felt(state: WrapState, feel: str) -> WrapState:
    """The hand is right: what is drier or wetter than it was felt is moved there."""
    facts = FIBRES[state.fibre]
    low, high = {
        "wet": (facts.wet_above_kg_per_kg, math.inf),
        "damp": (BEYOND * facts.dry_below_kg_per_kg, facts.wet_above_kg_per_kg),
        "dry": (0.0, facts.dry_below_kg_per_kg),
    }[feel]
    if feel == "wet":
        # Somebody wetted it unsaid; how much of that is left, nobody knows.
        half = (facts.wet_above_kg_per_kg + float(state.body.saturated_kg_per_kg)) / 2
        moved = tuple(value if value > low else half for value in state.moisture_kg_per_kg)
    else:
        moved = tuple(min(max(value, low), high) for value in state.moisture_kg_per_kg)
    return state._replace(moisture_kg_per_kg=moved)


def chance_of(state: WrapState, feel: str) -> float:
    """Chance that a hand would call it so, by what is believed; edges as soft as a hand is [-]."""
    facts = FIBRES[state.fibre]
    moisture = np.array(state.moisture_kg_per_kg)
    wet = _beyond((moisture - facts.wet_above_kg_per_kg) / facts.softness_kg_per_kg)
    dry = _beyond((facts.dry_below_kg_per_kg - moisture) / facts.softness_kg_per_kg)
    among = {"wet": wet, "dry": dry, "damp": np.maximum(1 - wet - dry, 0.0)}[feel]
    return float(weights_of([state])[0] @ among)


def _beyond(deviates: FloatArray) -> FloatArray:
    """Standard normal distribution function within a hundredth: a logistic curve of that steepness."""
    return np.asarray(1 / (1 + np.exp(-1.702 * np.clip(deviates, -20, 20))))


def is_frozen(wrap: FoldedWrap) -> bool:
    """Whether so much of its water is ice that nothing can be said or felt of it, as far as that is known."""
    return wrap.blind_h < BLIND_FROM_H and frozen_fraction(wrap.state) >= FROZEN_FROM
