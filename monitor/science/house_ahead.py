"""Where a house is going: its air through the coming hours as many possible courses, and when they cross a
limit.

The air sits behind a fast lag between outside and a slow mass. What drives it, the air outside and whatever
heats inside, is read from how it moves just now, so a heater of unknown state is seen by what it does.
Knows nothing of clocks, sensors, trees or alarms.
"""

import math
from functools import lru_cache
from statistics import NormalDist
from typing import Final, Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.science.distribution import LEVELS, Distribution, from_cases
from monitor.science.house_response import HouseResponse
from monitor.science.values import FloatArray, require

#: Possible courses that are followed.
COURSES: Final = 256

#: Spans over which the movement of the moment is read, the longest that one driver explains. [h]
TREND_SPANS_H: Final = (1 / 3, 1 / 6, 1 / 12)

#: The same where there is one lag only: its driver is read from how fast the air moves, and needs longer. [h]
ONE_LAG_SPANS_H: Final = (1.5, 1.0, 2 / 3)

#: Residual beyond which one driver does not explain a span, in reading noises.
UNEXPLAINED: Final = 2.0

#: How far the driver wanders by wind and sky. [K]
DRIVER_WANDERS_K: Final = 0.5

#: Least noise of a reading against its neighbours. [K]
READING_NOISE_K: Final = 0.1

#: Nothing under cover cools itself further below the air outside than a clear sky can take it. [K]
BELOW_OUTSIDE_K: Final = 3.0

#: Longest gap in the last hours that is bridged, and what must be known at least. [h]
LONGEST_GAP_H: Final = 1.0
LEAST_KNOWN_H: Final = 0.3

#: Furthest that the share of the fast lag is varied.
SHARE_RANGE: Final = (0.02, 0.95)

#: How the air outside moves at night where no forecast of it is given, by the root of time. [K h⁻½] Chosen
#: on three German winters for bands that hold.
DRIFT_K: Final = -0.45
DRIFT_SPREAD_K: Final = 0.6

#: Golden section: spreads any share of the courses evenly over all of them.
GOLDEN: Final = 0.6180339887498949

#: Directions in which courses differ: slow lag, share of the fast one, driver, air outside to come.
DIRECTIONS: Final = 4


Heat = Literal["as-now", "none"]

NORMAL: Final = NormalDist()


def _spread_evenly() -> FloatArray:
    """Normal deviates that fill the directions evenly: a Kronecker sequence, the same every time."""
    root = 1.0
    for _ in range(60):
        root = (1 + root) ** (1 / (DIRECTIONS + 1))
    steps = [root ** -(axis + 1) for axis in range(DIRECTIONS)]
    parts = [[(0.5 + step * (index + 1)) % 1.0 for index in range(COURSES)] for step in steps]
    deviates = np.array([[NORMAL.inv_cdf(min(max(part, 1e-4), 1 - 1e-4)) for part in row] for row in parts])
    deviates.flags.writeable = False
    return deviates


DEVIATES: Final = _spread_evenly()

#: The chance that belongs to each course's air outside.
CHANCES: Final = tuple(NORMAL.cdf(deviate) for deviate in DEVIATES[3].tolist())

#: The hours ahead at which courses are followed: five minutes at first, a quarter of an hour later.
FINE_UNTIL_H: Final = 1.0
FINE_STEP_H: Final = 1 / 12
COARSE_STEP_H: Final = 1 / 4


class Outlook(NamedTuple):
    """The air outside to come.

    `low_c` the night's; `since_evening_h` how long ago its evening was, negative if that is to come [h];
    `evening_to_low_h` [h].
    """

    low_c: Distribution
    since_evening_h: float
    evening_to_low_h: float


class _House(NamedTuple):
    """One house as many possible ones: slow lag [h] and share [-] of each, one fast lag [h] for all."""

    slow_h: FloatArray
    fast_h: FloatArray
    share: FloatArray


class Crossing(NamedTuple):
    """Hours until a limit is reached, one for each possible course, rising; infinite beyond the horizon."""

    hours: tuple[float, ...]

    def quantile(self, level: float) -> float:
        """Hours by which it is reached with this chance [h]; infinite if the horizon comes first."""
        place = min(max(math.ceil(level * len(self.hours)) - 1, 0), len(self.hours) - 1)
        return self.hours[place]

    @property
    def p10(self) -> float:
        """One time in ten it is reached sooner. [h]"""
        return self.quantile(0.1)

    @property
    def p50(self) -> float:
        """As often sooner as later. [h]"""
        return self.quantile(0.5)

    @property
    def p90(self) -> float:
        """Nine times in ten it is reached sooner. [h]"""
        return self.quantile(0.9)

    def chance_within(self, hours: float) -> float:
        """Chance that it is reached by then. [-]"""
        return sum(value <= hours for value in self.hours) / len(self.hours)


class Courses(NamedTuple):
    """Possible courses of the air: `hours` from now [h], `air_c` courses × hours [°C]."""

    hours: FloatArray
    air_c: FloatArray

    def reaches(self, limit_c: float) -> Crossing:
        """When each course first stands at or below a limit."""
        below = self.air_c <= limit_c
        first = below.argmax(axis=1)
        rows = np.arange(len(self.air_c))
        before = np.maximum(first - 1, 0)
        high, low = self.air_c[rows, before], self.air_c[rows, first]
        with np.errstate(invalid="ignore", divide="ignore"):
            part = np.where(high > low, (high - limit_c) / (high - low), 0.0)
        hours = self.hours[before] + np.clip(part, 0.0, 1.0) * (self.hours[first] - self.hours[before])
        return Crossing(tuple(np.sort(np.where(below.any(axis=1), hours, np.inf)).tolist()))

    def lowest(self) -> Distribution:
        """The lowest that the air comes to."""
        return from_cases(self.air_c.min(axis=1), np.ones(len(self.air_c)))

    def held(self, holds_c: float, chance_holds: float) -> "Courses":
        """The same where, with some chance, a heater keeps the air from falling below what it holds."""
        require(chance_holds, 0.0, 1.0, "the chance that a heater holds", "")
        lucky = (np.arange(len(self.air_c)) * GOLDEN) % 1.0 < chance_holds
        floor_c = np.minimum(holds_c, self.air_c[:, :1])
        return self._replace(air_c=np.where(lucky[:, None], np.maximum(self.air_c, floor_c), self.air_c))

    def at(self, hours: float) -> Distribution:
        """The air some hours from now."""
        place = min(int(np.searchsorted(self.hours, hours)), len(self.hours) - 1)
        return from_cases(self.air_c[:, place], np.ones(len(self.air_c)))


def hours_to_limit(air_c: float, driver_c: float, limit_c: float, lag_h: float) -> float:
    """Time in which one lag brings the air down to a limit under a steady driver. [h]

    Parameters
    ----------
    air_c, driver_c, limit_c
        the air now, what it makes for, and the limit [°C]; NaN gives NaN
    lag_h
        [h], 0.01..1000

    Raises
    ------
    ValueError
        a lag that no house has

    Notes
    -----
    t = τ·ln((T−u)/(L−u)); 0 if the air is there already, infinite if it makes for no less than the limit.
    """
    require(lag_h, 0.01, 1000.0, "the lag of a house", "h")
    if math.isnan(air_c + driver_c + limit_c):
        return math.nan
    if air_c <= limit_c:
        return 0.0
    return math.inf if driver_c >= limit_c else lag_h * math.log((air_c - driver_c) / (limit_c - driver_c))


def courses(
    response: HouseResponse,
    inside_c: npt.ArrayLike,
    outside_c: npt.ArrayLike,
    *,
    step_s: float,
    outlook: Outlook | None = None,
    heat: Heat = "as-now",
    horizon_h: float = 12.0,
) -> Courses | None:
    """Possible courses of a house's air, or None where the last readings do not show where it stands.

    Parameters
    ----------
    response
        what is known of the house
    inside_c
        the last hours on a regular grid, now last [°C]; three hours or more are meant; gaps NaN
    outside_c
        the same for the air outside; all NaN without a sensor there
    step_s
        of the grid [s], 60..1800
    outlook
        the air outside to come; left out, it drifts down as winter nights do on the whole
    heat
        `as-now`: what heats inside stays as it is read from the movement of the last 20 minutes; `none`: it
        stops now, so the house makes for the air outside and its usual offset (without a sensor there: as
        now)
    horizon_h
        how far ahead [h], 0.5..24

    Raises
    ------
    ValueError
        a grid or a horizon out of range

    Notes
    -----
    Two lags in parallel, exact for straight lines between steps: dx/dt = (u − x)/τ for each, air = a·F +
    (1−a)·S. Pots and water stand at the air's own past through a lag of a·τs + (1−a)·τf, whatever heated
    it. With one lag and a steady driver the time to a limit is τ·ln((T−u)/(L−u)).
    """
    require(step_s, 60.0, 1800.0, "the step of the last readings", "s")
    require(horizon_h, 0.5, 24.0, "the horizon", "h")
    step_h = step_s / 3600
    recent = _recent(np.asarray(inside_c, dtype=np.float64), step_h)
    if recent is None:
        return None
    house = _possible(response)
    outside_now_c = _last_known(np.asarray(outside_c, dtype=np.float64), step_h)
    fast_c, slow_c, driver_c = _where_it_stands(house, recent, step_h)
    if not math.isnan(outside_now_c):
        offset_k = response.offset_k + response.offset_spread_k * DEVIATES[2]
        least_c = outside_now_c + min(-BELOW_OUTSIDE_K, response.offset_k)
        driver_c = outside_now_c + offset_k if heat == "none" else np.maximum(driver_c, least_c)
    hours = _hours_ahead(horizon_h)
    amount_k, shape = _outside_to_come(hours, outside_now_c, outlook)
    return Courses(hours, _follow(house, hours, (fast_c, slow_c, driver_c), amount_k, shape))


def makes_for(response: HouseResponse, inside_c: npt.ArrayLike, *, step_s: float) -> Distribution | None:
    """What the air makes for just now: outside and whatever heats or cools inside, by how it moves. [°C]

    Parameters and None as in `courses`.

    Raises
    ------
    ValueError
        a grid out of range
    """
    require(step_s, 60.0, 1800.0, "the step of the last readings", "s")
    recent = _recent(np.asarray(inside_c, dtype=np.float64), step_s / 3600)
    if recent is None:
        return None
    _, _, driver_c = _where_it_stands(_possible(response), recent, step_s / 3600)
    return from_cases(driver_c, np.ones(COURSES))


class Standing(NamedTuple):
    """Where one house's air is inside: its fast and its slow part, and what it makes for. [°C]"""

    fast_c: float
    slow_c: float
    driver_c: float


def standing(response: HouseResponse, inside_c: npt.ArrayLike, *, step_s: float) -> Standing | None:
    """The likeliest inner state of the air now. Parameters, errors and None as in `makes_for`."""
    require(step_s, 60.0, 1800.0, "the step of the last readings", "s")
    recent = _recent(np.asarray(inside_c, dtype=np.float64), step_s / 3600)
    if recent is None:
        return None
    return Standing(*map(float, map(np.median, _where_it_stands(_possible(response), recent, step_s / 3600))))


def _recent(inside: FloatArray, step_h: float) -> FloatArray | None:
    """The last hours without gaps, from the last gap that is too long to bridge; None if they end in one."""
    finite = np.isfinite(inside)
    if finite.all() and (inside.size - 1) * step_h >= LEAST_KNOWN_H:
        return inside
    known = np.flatnonzero(finite)
    if not known.size or (inside.size - 1 - known[-1]) * step_h > TREND_SPANS_H[0]:
        return None
    breaks = np.flatnonzero(np.diff(known) * step_h > LONGEST_GAP_H)
    known = known[breaks[-1] + 1 :] if breaks.size else known
    if (known[-1] - known[0]) * step_h < LEAST_KNOWN_H:
        return None
    return np.interp(np.arange(known[0], known[-1] + 1), known, inside[known])


def _last_known(outside: FloatArray, step_h: float) -> float:
    """The air outside now, or NaN if its last reading is too old."""
    known = np.flatnonzero(np.isfinite(outside))
    if not known.size or (outside.size - 1 - known[-1]) * step_h > LONGEST_GAP_H:
        return math.nan
    return float(outside[known[-1]])


def _possible(response: HouseResponse) -> _House:
    """Lags and shares that the house may have tonight."""
    slow_h = response.slow_h * np.exp(response.slow_log_spread * DEVIATES[0])
    fast_h = np.minimum([response.fast_h], slow_h.min() / 4)
    share = response.fast_share + response.fast_share_spread * DEVIATES[1]
    return _House(
        slow_h, fast_h, np.zeros(COURSES) if response.kind == "one-state" else np.clip(share, *SHARE_RANGE)
    )


def _where_it_stands(house: _House, recent: FloatArray, step_h: float) -> tuple[FloatArray, ...]:
    """Fast part, slow part and driver of the air now [°C]: the driver that explains the last minutes best.

    Twenty minutes if one driver explains them, up to an hour and a half where there is one lag only; if a
    heater went off or a vent was shut since, the part after that.
    """
    past = _inner_states(house, recent, step_h)
    spans_h = TREND_SPANS_H if house.share.any() else (*ONE_LAG_SPANS_H, *TREND_SPANS_H)
    for span_h in spans_h:
        count = min(max(1, round(span_h / step_h)), recent.size - 1)
        fast_c, slow_c = (part[-count - 1] for part in past)
        hours = (np.arange(count) + 1)[:, None] * step_h
        by_fast, by_slow = np.exp(-hours / house.fast_h), np.exp(-hours / house.slow_h)
        left = house.share * fast_c * by_fast + (1 - house.share) * slow_c * by_slow
        gain = 1 - house.share * by_fast - (1 - house.share) * by_slow
        squares = (gain * gain).sum(axis=0)
        driver_c = (gain * (recent[-count:, None] - left)).sum(axis=0) / squares
        residual_k = recent[-count:, None] - left - gain * driver_c
        if float(np.median(np.abs(residual_k).max(axis=0))) <= UNEXPLAINED * READING_NOISE_K:
            break
    spread_k = np.sqrt(READING_NOISE_K**2 / squares + DRIVER_WANDERS_K**2)
    driver_c = driver_c + spread_k * DEVIATES[2]
    fast_now_c = driver_c + (fast_c - driver_c) * by_fast[-1]
    return fast_now_c, driver_c + (slow_c - driver_c) * by_slow[-1], driver_c


def _inner_states(house: _House, recent: FloatArray, step_h: float) -> tuple[FloatArray, FloatArray]:
    """Fast and slow part of the air at each of the last samples, from the mass that has followed it. [°C]"""
    mass_h = house.share * house.slow_h + (1 - house.share) * house.fast_h
    steps_h = np.full(recent.size - 1, step_h)
    mass_c = recent[0] + _lagged(mass_h, steps_h, recent - recent[0])
    quick = house.fast_h / house.slow_h
    smooth = np.convolve(np.concatenate([recent[:1], recent, recent[-1:]]), [0.25, 0.5, 0.25], mode="valid")
    slow_share = 1 - house.share
    fast_c = (smooth[:, None] - slow_share * mass_c * (1 - quick)) / (house.share + slow_share * quick)
    return fast_c, mass_c * (1 - quick) + quick * fast_c


@lru_cache(maxsize=64)
def _hours_ahead(horizon_h: float) -> FloatArray:
    """Hours at which the courses are followed, close at first. [h]"""
    fine = np.arange(round(min(FINE_UNTIL_H, horizon_h) / FINE_STEP_H) + 1) * FINE_STEP_H
    coarse = (
        FINE_UNTIL_H
        + (np.arange(round(max(horizon_h - FINE_UNTIL_H, 0.0) / COARSE_STEP_H)) + 1) * COARSE_STEP_H
    )
    hours = np.concatenate([fine, coarse])
    hours.flags.writeable = False
    return hours


def _outside_to_come(
    hours: FloatArray, outside_c: float, outlook: Outlook | None
) -> tuple[FloatArray, FloatArray]:
    """Change of the air outside: how much on each course [K], and its shape over the hours."""
    if outlook is None or math.isnan(outside_c):
        return DRIFT_K + DRIFT_SPREAD_K * DEVIATES[3], np.sqrt(hours)
    low_c = np.minimum(np.interp(CHANCES, LEVELS, outlook.low_c.values), outlook.low_c.ceiling)
    since_h = max(outlook.since_evening_h, 0.0)
    whole_h = max(outlook.evening_to_low_h - min(outlook.since_evening_h, 0.0), 0.1)
    done = math.sqrt(min(since_h / whole_h, 1.0))
    if done >= 1.0:
        return np.zeros(COURSES), hours
    return low_c - outside_c, (np.sqrt(np.minimum((since_h + hours) / whole_h, 1.0)) - done) / (1 - done)


def _follow(
    house: _House,
    hours: FloatArray,
    start: tuple[FloatArray, ...],
    amount_k: FloatArray,
    shape: FloatArray,
) -> FloatArray:
    """The air along each course, courses × hours. [°C]

    A steady driver in closed form, and beside it what the change outside adds: each lag's answer to its
    shape.
    """
    fast_c, slow_c, driver_c = start
    air_c = np.tile(driver_c[:, None], len(hours))
    for part_c, lag_h, share in (
        (fast_c, house.fast_h, house.share),
        (slow_c, house.slow_h, 1 - house.share),
    ):
        air_c += (share * (part_c - driver_c))[:, None] * np.exp(-hours / lag_h[:, None])
        air_c += (share * amount_k)[:, None] * _lagged(lag_h, np.diff(hours), shape).T
    return air_c


def _lagged(lag_h: FloatArray, steps_h: FloatArray, signal: FloatArray) -> FloatArray:
    """One signal that begins at zero through each of many lags, samples × lags; exact for straight lines
    between."""
    kinds, kind = np.unique(np.round(steps_h, 9), return_inverse=True)
    decay = np.exp(-kinds[:, None] / lag_h)
    ramp = lag_h / kinds[:, None] * (1 - decay)
    rises = np.diff(signal)[:, None]
    lagged = np.zeros((len(signal), len(lag_h)))
    lagged[1:] = signal[1:, None] - rises * ramp[kind] - signal[:-1, None] * decay[kind]
    rows, decays = list(lagged), list(decay)
    for index, which in enumerate(kind.tolist()):
        rows[index + 1] += decays[which] * rows[index]
    return lagged
