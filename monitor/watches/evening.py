"""When nights begin and end at this site, and the air of a span as a regular grid of what can be trusted.

For watches that look ahead. A suspect, still or doubtful sensor gives nothing here, so that nothing is learnt
from it; whether it may raise an alarm is another matter. It knows no limits and no people.
"""

import math
from datetime import datetime, time, timedelta
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.clock import local
from monitor.model import Flag, Quantity
from monitor.science.psychrometrics import dew_point_from_relative_humidity
from monitor.science.sun import sunrise, sunset
from monitor.watch import Ground

HOUR_S: Final = 3600.0
DAY_S: Final = 86_400.0
EVENING_AFTER_SUNSET_S: Final = 2 * HOUR_S
BEFORE_QUIET_S: Final = HOUR_S
NIGHT_AFTER_SUNRISE_S: Final = HOUR_S
SMALL_HOURS_FROM_S: Final = 4 * HOUR_S
SMALL_HOURS_TO_S: Final = HOUR_S
DUSK_WITHOUT_SUN_S: Final = 6 * HOUR_S
"""Where the sun does not set or rise: a night of twelve hours about the sun's midnight."""

STEP_S: Final = 300.0
"""Step of the grids."""
BRIDGED_S: Final = 900.0
"""Longest gap that a straight line bridges; slow sensors: two and a half of their own intervals."""
STILL_S: Final = 2 * HOUR_S
STILL_WITHIN: Final = 0.005
"""A value that has not moved at all for two hours is a dead probe until it does."""

Floats = NDArray[np.float64]


class NightTimes(NamedTuple):
    """One night in guard time [s]; `date` is the local date that it begins on.

    `evening_s`: when the evening's forecast is made; `ends_s`: an hour after sunrise.
    """

    date: str
    sunset_s: float
    evening_s: float
    sunrise_s: float
    ends_s: float

    @property
    def length_h(self) -> float:
        """From the evening to sunrise [h]."""
        return max((self.sunrise_s - self.evening_s) / HOUR_S, 0.5)

    def after_h(self, at_s: Any) -> Any:
        """Hours after the evening."""
        return (at_s - self.evening_s) / HOUR_S

    def is_small_hours(self, at_s: float) -> bool:
        """Whether hardly anybody goes in and out: a door explains little then."""
        return self.sunset_s + SMALL_HOURS_FROM_S <= at_s <= self.sunrise_s - SMALL_HOURS_TO_S


class Nights:
    """The nights of the site: the one that an instant belongs to runs from the sun's noon to the next."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._known: dict[int, NightTimes] = {}

    def of(self, now_s: float, nights_back: int = 0) -> NightTimes:
        """The night of an instant, or so many nights before it."""
        site, offset_s = self._ground.settings.site, self._ground.speech().offset_s
        sun_s = now_s + offset_s + site.longitude_deg * 240.0
        number = math.floor(sun_s / DAY_S - 0.5) - nights_back
        if number not in self._known:
            if len(self._known) > 40:
                self._known.clear()
            self._known[number] = self._night((number + 1) * DAY_S - site.longitude_deg * 240.0)
        night = self._known[number]
        if offset_s == 0.0:
            return night
        return NightTimes(night.date, *(instant - offset_s for instant in night[1:]))

    def _night(self, midnight_s: float) -> NightTimes:
        """The night about one midnight of the sun; wall time in and out."""
        site = self._ground.settings.site
        set_s = sunset(midnight_s - DUSK_WITHOUT_SUN_S, site.latitude_deg, site.longitude_deg)
        rise_s = sunrise(midnight_s + DUSK_WITHOUT_SUN_S, site.latitude_deg, site.longitude_deg)
        set_s = midnight_s - DUSK_WITHOUT_SUN_S if set_s is None else set_s
        rise_s = midnight_s + DUSK_WITHOUT_SUN_S if rise_s is None else rise_s
        evening_s = set_s + EVENING_AFTER_SUNSET_S
        quiet_s = self._quiet_from_s(set_s)
        if quiet_s is not None:
            evening_s = min(evening_s, quiet_s - BEFORE_QUIET_S)
        evening_s = min(evening_s, rise_s - HOUR_S)
        date = local(evening_s, site.zone).date().isoformat()
        return NightTimes(date, set_s, evening_s, rise_s, rise_s + NIGHT_AFTER_SUNRISE_S)

    def _quiet_from_s(self, sunset_s: float) -> float | None:
        """When the first quiet hours after a sunset begin."""
        quiet, zone = self._ground.settings.quiet_hours, self._ground.settings.site.zone
        if quiet is None:
            return None
        hour, minute = (int(part) for part in quiet.from_.split(":"))
        day = local(sunset_s, zone).date()
        begins = datetime.combine(day, time(hour, minute), tzinfo=zone)
        if begins.timestamp() < sunset_s:
            begins = datetime.combine(day + timedelta(days=1), time(hour, minute), tzinfo=zone)
        return begins.timestamp()


class Air:
    """The trusted air at each sensor."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._grids: dict[tuple[str, Quantity, float], tuple[tuple[float, int], Floats]] = {}
        self._grids_to_s = -math.inf

    def is_trusted(self, sensor: str, now_s: float) -> bool:
        """Whether a sensor is there, fresh, at work, and not in doubt."""
        ground = self._ground
        if sensor not in ground.settings.sensors or not ground.surroundings.is_fresh(sensor, now_s):
            return False
        doubt = ground.board.by_name(f"sensor-doubtful/{sensor}")
        return (doubt is None or not doubt.active) and ground.book().sensor_at_rest(sensor, now_s) is None

    def samples(
        self, sensor: str, from_s: float, to_s: float, quantity: Quantity = Quantity.TEMPERATURE_C
    ) -> tuple[Floats, Floats]:
        """Instants and values that are not suspect, from `from_s` up to and with `to_s`, ascending."""
        at_s, values, flags = self._ground.history.arrays(sensor, quantity, from_s, to_s + 1e-3)
        kept = flags < Flag.SUSPECT
        return at_s[kept], values[kept]

    def grid(
        self, sensor: str, from_s: float, to_s: float, quantity: Quantity = Quantity.TEMPERATURE_C
    ) -> Floats:
        """Means about each grid point, the last at `to_s`; NaN where nothing near can be trusted.

        Several watches ask for the same span at one look: the last answer is kept while nothing has come.
        """
        key = (sensor, quantity, from_s)
        state = (to_s, self._ground.history.revision(sensor))
        known = self._grids.get(key)
        if known is not None and known[0] == state:
            return known[1].copy()
        if to_s != self._grids_to_s:
            self._grids.clear()
            self._grids_to_s = to_s
        grid = self._gridded(sensor, from_s, to_s, quantity)
        self._grids[key] = (state, grid)
        return grid.copy()

    def _gridded(self, sensor: str, from_s: float, to_s: float, quantity: Quantity) -> Floats:
        at_s, values = self.samples(sensor, from_s - STEP_S / 2, to_s, quantity)
        every_s = self._ground.settings.sensors[sensor].every_s
        grid = on_grid(at_s, values, from_s, to_s, STEP_S, max(BRIDGED_S, 2.5 * every_s))
        if quantity is Quantity.TEMPERATURE_C and len(grid) > STILL_S / STEP_S:
            grid[still(grid, STEP_S, every_s)] = np.nan
        return grid

    def heard(self, sensor: str, from_s: float, to_s: float) -> Floats:
        """Means of the temperatures that came in each five minutes, without what lies between."""
        at_s, values = self.samples(sensor, from_s, to_s)
        place = np.floor((at_s - from_s) / STEP_S).astype(np.int64)
        number = np.bincount(place)
        sums = np.bincount(place, weights=values)
        means: Floats = sums[number > 0] / number[number > 0]
        return means

    def last_heard_s(self, sensor: str, now_s: float) -> float:
        """When the last temperature came that can be trusted; minus infinity for none in two hours."""
        at_s, _ = self.samples(sensor, now_s - STILL_S, now_s)
        return float(at_s[-1]) if len(at_s) else -math.inf

    def value(self, sensor: str, at_s: float, quantity: Quantity = Quantity.TEMPERATURE_C) -> float:
        """Median of what can be trusted in the quarter of an hour before an instant; NaN for nothing."""
        span_s = max(BRIDGED_S, 2.5 * self._ground.settings.sensors[sensor].every_s)
        last = self.grid(sensor, at_s - STILL_S - span_s, at_s, quantity)[-round(span_s / STEP_S) :]
        known = last[np.isfinite(last)]
        return float(np.median(known)) if len(known) else math.nan

    def dew_point(self, sensor: str, at_s: float) -> float:
        """Of the air at a sensor [°C]; NaN where humidity or temperature is not known."""
        temperature_c = self.value(sensor, at_s)
        humidity_pct = self.value(sensor, at_s, Quantity.RELATIVE_HUMIDITY_PCT)
        if not 1.0 <= humidity_pct <= 110.0:
            return math.nan
        return float(dew_point_from_relative_humidity(temperature_c, min(humidity_pct, 100.0)))


def still(grid: Floats, step_s: float, every_s: float) -> NDArray[np.bool_]:
    """Which points belong to two hours or more without any movement at all."""
    window = round(STILL_S / step_s) + 1
    marks = np.zeros(len(grid), dtype=bool)
    if len(grid) < window or every_s > STILL_S / 8:
        return marks
    spans = np.lib.stride_tricks.sliding_window_view(grid, window)
    flat = (np.abs(spans - spans[:, :1]) <= STILL_WITHIN).all(axis=1)
    for begin in np.flatnonzero(flat).tolist():
        marks[begin : begin + window] = True
    return marks


def on_grid(
    at_s: Floats, values: Floats, from_s: float, to_s: float, step_s: float, bridged_s: float
) -> Floats:
    """Samples as means about the points of a grid, gaps bridged by straight lines up to a length."""
    count = round((to_s - from_s) / step_s) + 1
    points_s = to_s - step_s * np.arange(count - 1, -1, -1)
    place = np.rint((at_s - points_s[0]) / step_s).astype(np.int64)
    inside = (place >= 0) & (place < count) & np.isfinite(values)
    place, kept = place[inside], values[inside]
    number = np.bincount(place, minlength=count)
    means: Floats = np.bincount(place, weights=kept, minlength=count) / np.maximum(number, 1)
    known = np.flatnonzero(number)
    if len(known) == count:
        return means
    if not len(known):
        return np.full(count, np.nan)
    every = np.arange(count)
    bridged = np.interp(every, known, means[known])
    before = known[np.maximum(np.searchsorted(known, every, side="right") - 1, 0)]
    after = known[np.minimum(np.searchsorted(known, every), len(known) - 1)]
    fits = (after - before) * step_s <= bridged_s
    fits &= (every >= known[0]) & (every <= known[-1] + bridged_s / step_s / 2)
    return np.where(fits, bridged, np.nan)
