"""How wet the fibre round a branch still is: drying with one unknown gain a wrap, learnt from touches.

Everything that is not known of a wrap (water at the start, density, air speed, how tight the tape is)
stretches the same time scale. So each wrap carries one gain on its drying rate: a moisture for each possible
gain, and how well each gain agrees with what was felt. Knows nothing of trees, plans or people.
"""

import math
from collections.abc import Mapping, Sequence
from itertools import chain, repeat
from types import MappingProxyType
from typing import Any, Final, NamedTuple

import numpy as np

from monitor.science.constants import LATENT_HEAT_FUSION_J_PER_KG
from monitor.science.drying import (
    COVERS,
    FIBRES,
    Body,
    body,
    dry_for,
    equilibrium_moisture,
)
from monitor.science.films import STILL_AIR_M_PER_S, Evaporation, Film, evaporation, film
from monitor.science.values import FloatArray, require

#: Logarithms of the gains that are kept apart: three spreads of the widest prior to each side.
LOG_GAINS: Final = tuple(0.2 * step for step in range(-20, 21))

#: Where the gain is one.
MIDDLE: Final = 20

#: Part of what one wrap has taught that its siblings take over.
SHARED: Final = 0.5

#: Chance that a touch says nothing: felt at the wrong spot, or written to the wrong wrap.
SLIP: Final = 0.05

#: The same for fingers on the outside of tape, which feel the tape.
SLIP_THROUGH_COVER: Final = 0.3

#: A weighed wrap tells wet from dry this much more sharply than a finger.
WEIGHED_SHARPNESS: Final = 0.5

#: Colder than this the fibre may hold ice, which feels hard and dry. [°C]
TOUCH_FROM_C: Final = 1.0

FEELS: Final = ("wet", "damp", "dry")

NONE: Final[Mapping[str, Sequence[float]]] = MappingProxyType({})
GONE: Final = -1
"""In place of the index of a wrap that is no longer there."""


class WrapAir(NamedTuple):
    """What stands about each wrap: numbers for all of them, or arrays, one entry a wrap.

    `temperature_c` [°C]; `relative_humidity_pct` [%]; `wind_m_per_s` [m/s]; `net_radiation_w_per_m2` absorbed
    sun less what is lost to a cold sky [W/m²].
    """

    temperature_c: float | FloatArray
    relative_humidity_pct: float | FloatArray
    wind_m_per_s: float | FloatArray = STILL_AIR_M_PER_S
    net_radiation_w_per_m2: float | FloatArray = 0.0


class WrapState(NamedTuple):
    """What is believed of one wrap.

    `moisture_kg_per_kg` and `log_likelihood`: one entry for each of `LOG_GAINS`; `prior_shift`: what
    siblings have taught about the logarithm of the gain; `centre`: index of the gain that halves the
    belief; `surface_c` [°C], None if not known; `ice_k_h`: cold stored as ice, of `ice_full_k_h` that
    freeze it through [K·h]; `wet_h`: since it was last wetted [h], `unseen_h` of them without known air;
    `since_touch_h` [h], None if never touched; `touches` believed, `doubted` not.
    """

    fibre: str
    cover: str
    body: Body
    moisture_kg_per_kg: tuple[float, ...]
    log_likelihood: tuple[float, ...]
    prior_shift: float = 0.0
    centre: int = MIDDLE
    surface_c: float | None = None
    ice_k_h: float = 0.0
    ice_full_k_h: float = 0.0
    wet_h: float = 0.0
    unseen_h: float = 0.0
    since_touch_h: float | None = None
    touches: int = 0
    doubted: int = 0

    def as_dict(self) -> dict[str, Any]:
        """The state in JSON's own types."""
        state = self._asdict()
        return {name: list(value) if isinstance(value, tuple) else value for name, value in state.items()}

    @classmethod
    def from_dict(cls, state: Mapping[str, Any]) -> "WrapState":
        """The state that `as_dict` wrote."""
        lists = {name: tuple(value) for name, value in state.items() if isinstance(value, list)}
        return cls(**{**state, **lists, "body": Body(*state["body"])})


class Touched(NamedTuple):
    """A state after a touch, whether the touch was believed, and if not, why not in words."""

    state: WrapState
    believed: bool
    because: str


def new_wrap(
    fibre: str,
    cover: str,
    *,
    branch_mm: float,
    thickness_mm: float | None = None,
    water_fraction: float | None = None,
    cover_s_per_m: float | None = None,
) -> WrapState:
    """A wrap just put on, soaked. Parameters and errors are those of `drying.body`."""
    shape = body(
        fibre,
        cover,
        branch_mm=branch_mm,
        thickness_mm=thickness_mm,
        water_fraction=water_fraction,
        cover_s_per_m=cover_s_per_m,
    )
    soaked = (float(shape.saturated_kg_per_kg),) * len(LOG_GAINS)
    return WrapState(fibre, cover, shape, soaked, (0.0,) * len(LOG_GAINS))


def rewet(state: WrapState) -> WrapState:
    """The wrap soaked again; what was learnt of its gain stays."""
    soaked = (float(state.body.saturated_kg_per_kg),) * len(LOG_GAINS)
    return state._replace(moisture_kg_per_kg=soaked, wet_h=0.0, unseen_h=0.0)


def wrap_step(states: Sequence[WrapState], air: WrapAir, duration_h: float = 1.0) -> tuple[WrapState, ...]:
    """All wraps after some time in air that does not change.

    Parameters
    ----------
    states
        the wraps before
    air
        about each of them; where a value is NaN the wrap's moisture is kept and the time counted as unseen
    duration_h
        [h], above 0 and up to 24

    Raises
    ------
    ValueError
        a duration out of range

    Notes
    -----
    Ice comes first: while there is any, the moisture holds. Cold is counted as K·h of the surface below 0 °C,
    against m_w·L/((h + h_r)·A); for 71 g of water on a metre of 23 mm about 7 K·h.
    """
    require(duration_h, 1e-6, 24.0, "the time of one step", "h")
    if not states:
        return ()
    stack = Stack(states)
    balance, layer, leaving = air_about(stack, air)
    known = ~np.isnan(leaving.rate_kg_per_m2_h)
    ice, full = _ice_after(stack, layer, leaving.surface_c, duration_h)
    area_m2_per_m = math.pi * stack.body.diameter_m
    rate_per_h = leaving.rate_kg_per_m2_h * area_m2_per_m / stack.body.dry_kg_per_m
    moisture = dry_for(
        stack.moisture,
        rate_per_h[:, None] * np.exp(LOG_GAINS),
        balance[:, None],
        stack.column("critical_kg_per_kg"),
        stack.column("saturated_kg_per_kg"),
        duration_h,
    )
    moisture = np.where((known & (ice == 0))[:, None], moisture, stack.moisture)
    surfaces = [value if value == value else None for value in leaving.surface_c.tolist()]
    return tuple(
        map(_stepped, states, moisture.tolist(), surfaces, ice.tolist(), full.tolist(), repeat(duration_h))
    )


def _stepped(
    state: WrapState,
    moisture: list[float],
    surface_c: float | None,
    ice_k_h: float,
    ice_full_k_h: float,
    duration_h: float,
) -> WrapState:
    """The state with what a step changes; written out because `_replace` takes twice as long."""
    return WrapState(
        state.fibre,
        state.cover,
        state.body,
        tuple(moisture),
        state.log_likelihood,
        state.prior_shift,
        state.centre,
        surface_c,
        ice_k_h,
        ice_full_k_h,
        state.wet_h + duration_h,
        state.unseen_h + duration_h if surface_c is None else state.unseen_h,
        None if state.since_touch_h is None else state.since_touch_h + duration_h,
        state.touches,
        state.doubted,
    )


def touch(state: WrapState, feel: str, *, how: str = "touch", temperature_c: float = math.nan) -> Touched:
    """A wrap that a person has felt.

    Parameters
    ----------
    state
        the wrap at that instant
    feel
        `wet`, `damp`, `dry`, `frozen` or `cannot-tell`; the last two teach nothing about moisture
    how
        `touch`, `lifted-edge` or `weighed`
    temperature_c
        of the air [°C]; NaN: not known, then only the wrap's own ice is asked

    Raises
    ------
    ValueError
        an unknown feel

    Notes
    -----
    Interval likelihood with soft edges: the chance that fibre of that moisture is called so. A touch of fibre
    that holds ice, or below +1 °C, is counted as doubted and changes nothing else.
    """
    if feel not in (*FEELS, "frozen", "cannot-tell"):
        raise ValueError(f"a wrap feels wet, damp, dry, frozen or cannot-tell, not {feel}")
    if feel not in FEELS:
        return Touched(state._replace(doubted=state.doubted + 1), False, "it says nothing about moisture")
    if state.ice_k_h > 0 or temperature_c < TOUCH_FROM_C:
        return Touched(state._replace(doubted=state.doubted + 1), False, "a frozen wrap feels dry")
    chance = _chance_of_feel(state, how)[FEELS.index(feel)]
    likelihood = np.asarray(state.log_likelihood) + np.log(chance)
    learnt = state._replace(
        log_likelihood=tuple((likelihood - likelihood.max()).tolist()),
        touches=state.touches + 1,
        since_touch_h=0.0,
    )
    return Touched(_centred(learnt), True, "")


def share(
    states: Sequence[WrapState], lessons: Mapping[str, Sequence[float]] = NONE
) -> tuple[WrapState, ...]:
    """Wraps of one fibre and cover take over half of what their touched siblings have learnt.

    Each wrap's own lesson is the shift of its gain from its own touches alone, so nothing is counted twice.
    `lessons`: family -> what wraps that are not among `states` any more had learnt.
    """
    families: dict[str, list[tuple[int, float]]] = {
        family: [(GONE, lesson) for lesson in known] for family, known in lessons.items()
    }
    for index, state in enumerate(states):
        if state.touches:
            families.setdefault(family_of(state), []).append((index, lesson_of(state)))
    shared = []
    for index, state in enumerate(states):
        taught = [lesson for other, lesson in families.get(family_of(state), ()) if other != index]
        shift = SHARED * sum(taught) / len(taught) if taught else 0.0
        shared.append(_centred(state._replace(prior_shift=shift)))
    return tuple(shared)


def family_of(state: WrapState) -> str:
    """Whose touches teach it: fibre and cover."""
    return f"{state.fibre}/{state.cover}"


class Stack:
    """Many wraps as arrays, one row a wrap."""

    def __init__(self, states: Sequence[WrapState]) -> None:
        count = len(states)
        bodies = chain.from_iterable([state.body for state in states])
        gains = chain.from_iterable([state.moisture_kg_per_kg for state in states])
        self.body = Body(*np.fromiter(bodies, np.float64, 6 * count).reshape(count, 6).T.copy())
        self.moisture = np.fromiter(gains, np.float64, count * len(LOG_GAINS)).reshape(count, -1)
        self.ice_k_h = np.array([state.ice_k_h for state in states])
        self.typical = np.array([state.moisture_kg_per_kg[state.centre] for state in states])

    def column(self, name: str) -> FloatArray:
        """One figure of the bodies, to be set against each wrap's row of gains."""
        return np.asarray(getattr(self.body, name))[:, None]


def air_about(stack: Stack, air: WrapAir) -> tuple[FloatArray, Film, Evaporation]:
    """Balance moisture, film and evaporation of each wrap."""
    shape = stack.ice_k_h.shape
    temperature_c = np.broadcast_to(np.asarray(air.temperature_c, dtype=np.float64), shape)
    humidity_pct = np.broadcast_to(np.asarray(air.relative_humidity_pct, dtype=np.float64), shape)
    balance = equilibrium_moisture(temperature_c, humidity_pct)
    layer = film(np.asarray(stack.body.diameter_m), temperature_c, wind_m_per_s=air.wind_m_per_s)
    reach = (stack.typical - balance) / (stack.body.critical_kg_per_kg - balance)
    leaving = evaporation(
        layer,
        temperature_c,
        np.clip(humidity_pct, 0.0, 100.0),
        cover_s_per_m=stack.body.cover_s_per_m,
        net_radiation_w_per_m2=air.net_radiation_w_per_m2,
        wetness=np.clip(reach, 0.0, 1.0),
    )
    return balance, layer, leaving


def _ice_after(
    stack: Stack, layer: Film, surface_c: FloatArray, duration_h: float
) -> tuple[FloatArray, FloatArray]:
    """Cold stored as ice after the step, and how much would freeze the wrap through. [K·h]"""
    heat_w_per_m2_k = layer.convection_w_per_m2_k + layer.radiation_w_per_m2_k
    heat_w_per_m_k = heat_w_per_m2_k * math.pi * stack.body.diameter_m
    latent_j_per_m = stack.typical * stack.body.dry_kg_per_m * LATENT_HEAT_FUSION_J_PER_KG
    full = latent_j_per_m / (3600 * heat_w_per_m_k)
    ice = np.clip(stack.ice_k_h - surface_c * duration_h, 0.0, full)
    return np.where(np.isnan(ice), stack.ice_k_h, ice), np.nan_to_num(full)


def _chance_of_feel(state: WrapState, how: str) -> FloatArray:
    """Chance that fibre of each gain's moisture is called wet, damp, dry: one row a feel."""
    facts = FIBRES[state.fibre]
    covered = state.cover != "none" and how == "touch"
    softness = facts.softness_kg_per_kg * (WEIGHED_SHARPNESS if how == "weighed" else 1.0)
    slip = SLIP_THROUGH_COVER if covered else SLIP
    wet = _normal([(value - facts.wet_above_kg_per_kg) / softness for value in state.moisture_kg_per_kg])
    dry = _normal([(facts.dry_below_kg_per_kg - value) / softness for value in state.moisture_kg_per_kg])
    sharp = np.array([wet, np.maximum(1 - wet - dry, 0.0), dry])
    return slip / 3 + (1 - slip) * sharp


def _normal(deviates: Sequence[float]) -> FloatArray:
    """Standard normal distribution function."""
    return np.array([0.5 * math.erfc(-deviate / math.sqrt(2)) for deviate in deviates])


def weights_of(states: Sequence[WrapState], *, own: bool = False) -> FloatArray:
    """Belief in each gain, one row a wrap; `own`: without what siblings have taught."""
    shifts = np.array([0.0 if own else state.prior_shift for state in states])[:, None]
    spreads = np.array([COVERS[state.cover].log_spread for state in states])[:, None]
    log = np.array([state.log_likelihood for state in states])
    log = log - 0.5 * ((np.asarray(LOG_GAINS) - shifts) / spreads) ** 2
    weights = np.exp(log - log.max(axis=1, keepdims=True))
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def lesson_of(state: WrapState) -> float:
    """Mean of the logarithm of the gain by this wrap's own touches."""
    return float(weights_of([state], own=True)[0] @ np.asarray(LOG_GAINS))


def _centred(state: WrapState) -> WrapState:
    """The state with the middle of its belief looked up anew."""
    below = np.cumsum(weights_of([state])[0]) < 0.5
    return state._replace(centre=int(below.sum()))
