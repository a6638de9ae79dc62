"""A made house through a made winter: air and everything else as two nodes, in watts and joules.

Heater with a thermostat, sun, vents that a person opens by day, doors, and the sensors' own faults. Truth is
what the air was, without noise, every minute.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from tests.winters.weather import Series, Weather

TICKS = 3
"""Steps in a minute."""
TICK_S = 60.0 / TICKS


@dataclass(frozen=True)
class HousePlan:
    """One house: conductances in W/K, capacities in J/K."""

    envelope_w_per_k: float = 130.0
    coupling_w_per_k: float = 260.0
    air_j_per_k: float = 80e3
    mass_j_per_k: float = 2.0e6
    sky_k: float = 2.0
    """How much colder a clear sky makes the air that the glass sees."""
    sun_w: float = 4200.0
    """Heat of a high clear sun."""
    heater_w: float = 0.0
    setpoint_c: float = 4.0
    swing_k: float = 0.5
    vent_w_per_k: float = 700.0
    door_w_per_k: float = 180.0


@dataclass(frozen=True)
class Failure:
    """A heater that gives nothing between two minutes; `called` when the thermostat first wanted it."""

    from_minute: int
    to_minute: int
    called: int


@dataclass
class MadeWinter:
    """What happened: air by the minute, and the events behind it."""

    weather: Weather
    plan: HousePlan
    air_c: Series
    heating: Series
    """Share of each minute that the heater gave heat."""
    vents: Series
    failures: list[Failure] = field(default_factory=list)
    doors: frozenset[int] = frozenset()
    """Minutes with an open door."""
    left_open: list[int] = field(default_factory=list)
    """Minutes of dusks at which the vents stayed open."""

    @property
    def at_s(self) -> Series:
        """Instants."""
        return self.weather.at_s


def make_winter(
    weather: Weather, plan: HousePlan, seed: int, failures: int = 0, forgets: float = 0.04
) -> MadeWinter:
    """Run a house through a winter; the person opens vents on warm days and forgets them now and then."""
    chance = np.random.default_rng(seed + 1000)
    spans = _failures(weather, chance, failures)
    doors = _doors(weather, chance)
    forgetful = chance.random(weather.days()) < forgets
    return _run(weather, plan, spans, doors, forgetful)


def local_minute(minute: int) -> int:
    """Minute of the local day; the zone's winter time."""
    return (minute - 5 * 60) % 1440


def _failures(weather: Weather, chance: np.random.Generator, count: int) -> list[tuple[int, int]]:
    """Cold nights, some days apart, in which the heater goes out; somebody puts it right at nine."""
    noons = range(17 * 60, len(weather.air_c) - 1440, 1440)
    cold = [noon for noon in noons if weather.air_c[noon : noon + 1200].min() < -2.0 and noon > 15 * 1440]
    chance.shuffle(cold)
    spans: list[tuple[int, int]] = []
    for noon in cold:
        if len(spans) < count and all(abs(noon - begin) > 3 * 1440 for begin, _ in spans):
            begin = noon + 6 * 60 + int(chance.integers(0, 11 * 60))
            spans.append((begin, noon + 21 * 60))
    return sorted(spans)


def _doors(weather: Weather, chance: np.random.Generator) -> set[int]:
    """Minutes with an open door: two visits a day and one on some evenings, a few minutes each."""
    opened: set[int] = set()
    for day in range(weather.days()):
        begins = day * 1440 + 5 * 60
        visits = [8 * 60 + chance.integers(0, 90), 15 * 60 + chance.integers(0, 90)]
        if chance.random() < 0.2:
            visits.append(19 * 60 + chance.integers(0, 180))
        for visit in visits:
            lasts = int(chance.integers(2, 12))
            opened |= set(range(begins + int(visit), begins + int(visit) + lasts))
    return opened


def _run(
    weather: Weather,
    plan: HousePlan,
    spans: list[tuple[int, int]],
    doors: set[int],
    forgetful: np.typing.NDArray[np.bool_],
) -> MadeWinter:
    count = len(weather.air_c)
    outside = (weather.air_c - plan.sky_k * weather.clear * (weather.sun <= 0.05)).tolist()
    gain = (plan.sun_w * weather.sun * (0.15 + 0.85 * weather.clear)).tolist()
    leak = (plan.envelope_w_per_k * (1 + 0.05 * (np.minimum(weather.wind_m_per_s, 10) - 3))).tolist()
    dark = (weather.sun <= 0.12).tolist()
    air = mass = outside[0] + 3.0
    heating, vents, left_open = False, False, []
    air_c, heat, vent = np.empty(count), np.empty(count), np.zeros(count)
    failing = {minute for begin, end in spans for minute in range(begin, end)}
    called: dict[int, int] = {}
    for minute in range(count):
        vents = _vents(plan, weather, minute, air, vents, dark[minute], forgetful, left_open)
        loss = leak[minute] + (plan.vent_w_per_k if vents else 0.0)
        loss += plan.door_w_per_k if minute in doors else 0.0
        fails, given = minute in failing, 0
        for _ in range(TICKS):
            heating = air < plan.setpoint_c - plan.swing_k or (
                heating and air < plan.setpoint_c + plan.swing_k
            )
            works = heating and plan.heater_w > 0 and not fails
            given += works
            exchange = plan.coupling_w_per_k * (mass - air)
            warm = loss * (outside[minute] - air) + exchange + 0.35 * gain[minute]
            air += (warm + (plan.heater_w if works else 0.0)) / plan.air_j_per_k * TICK_S
            mass += (0.65 * gain[minute] - exchange) / plan.mass_j_per_k * TICK_S
        if fails and heating and minute not in called:
            begin = next(begin for begin, end in spans if begin <= minute < end)
            called.setdefault(begin, minute)
        air_c[minute], heat[minute], vent[minute] = air, given / TICKS, vents
    failures = [Failure(begin, end, called[begin]) for begin, end in spans if begin in called]
    return MadeWinter(weather, plan, air_c, heat, vent, failures, frozenset(doors), left_open)


def _vents(
    plan: HousePlan,
    weather: Weather,
    minute: int,
    air: float,
    vents: bool,
    dark: bool,
    forgetful: np.typing.NDArray[np.bool_],
    left_open: list[int],
) -> bool:
    """Opened from ten on when it is above 16 °C inside; shut at dusk, or forgotten till the morning."""
    del plan
    local = local_minute(minute)
    if not vents:
        return local in range(10 * 60, 14 * 60) and air > 16.0 and weather.air_c[minute] > 0.0
    if local == 9 * 60:
        return False
    if local >= 12 * 60 and dark:
        if forgetful[minute // 1440]:
            if not left_open or minute - left_open[-1] > 600:
                left_open.append(minute)
            return True
        return False
    return True


@dataclass(frozen=True)
class Faults:
    """What is wrong with the sensors."""

    gaps: int = 3
    frozen: int = 2
    spikes: float = 0.0005


def sensed(
    winter: MadeWinter, seed: int, every_min: int = 5, faults: Faults | None = None
) -> list[tuple[float, float | None, float, float]]:
    """What a bench sensor and one outside report: (instant, inside or None, outside, humidity outside).

    When within its five minutes a sensor reports is the seed's.
    """
    chance = np.random.default_rng(seed + 2000)
    minutes = np.arange(seed % every_min, len(winter.air_c), every_min)
    inside = winter.air_c[minutes] + chance.normal(0, 0.05, len(minutes))
    outside = winter.weather.air_c[minutes] + chance.normal(0, 0.05, len(minutes))
    missing = np.zeros(len(minutes), dtype=bool)
    faults = faults or Faults()
    a_day = 1440 // every_min
    for _ in range(faults.gaps):
        begin = int(chance.integers(a_day, len(minutes) - a_day))
        missing[begin : begin + a_day // 8] = True
    for _ in range(faults.frozen):
        begin = int(chance.integers(a_day, len(minutes) - a_day))
        inside[begin : begin + a_day // 3] = inside[begin]
    spikes = chance.random(len(minutes)) < faults.spikes
    inside = np.where(spikes, chance.choice([85.0, -127.0, -14.0], len(minutes)), inside)
    humid = winter.weather.relative_humidity_pct[minutes]
    return [
        (
            float(winter.at_s[minute]),
            None if missing[place] else round(float(inside[place]), 1),
            round(float(outside[place]), 1),
            round(float(humid[place]), 0),
        )
        for place, minute in enumerate(minutes.tolist())
    ]


def humidity_inside(air_c: float, outside_c: float, outside_pct: float) -> float:
    """Air from outside, moistened a little by pots: Magnus over water."""
    vapour = 6.112 * math.exp(17.62 * outside_c / (243.12 + outside_c)) * outside_pct / 100 + 0.8
    return min(98.0, 100 * vapour / (6.112 * math.exp(17.62 * air_c / (243.12 + air_c))))


@dataclass(frozen=True)
class MadeNight:
    """One night in minutes of the winter, its evening and its low [°C]."""

    evening: int
    ends: int
    evening_c: float
    low_c: float


def made_nights(winter: MadeWinter, air_c: Series) -> list[MadeNight]:
    """Every whole night of a winter."""
    up = winter.weather.sun > 0
    sets = np.flatnonzero(up[:-1] & ~up[1:]) + 1
    rises = np.flatnonzero(~up[:-1] & up[1:]) + 1
    found = []
    for sunset in sets.tolist():
        later = rises[rises > sunset]
        if not len(later) or int(later[0]) + 60 >= len(air_c):
            continue
        evening, ends = sunset + 120, int(later[0]) + 60
        found.append(MadeNight(evening, ends, float(air_c[evening]), float(air_c[evening : ends + 1].min())))
    return found
