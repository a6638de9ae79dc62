"""Where the sun stands, and when it rises and sets.

Instants are seconds since 1970, angles degrees, east and north positive. Knows no time zone and no clock: a
day is the solar day at the given longitude, from one midnight of the sun to the next.
"""

import math
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Final

import numpy as np
from astral import Observer
from astral.sun import elevation, noon

from monitor.science.values import Value, require

SECONDS_A_DAY: Final = 86_400.0

#: The sun's centre at rise and set [°]: refraction 34', radius 16'. Common convention of almanacs.
RISE_ELEVATION_DEG: Final = -0.833

#: Sunrise and sunset are found to this. [s] Refraction makes them uncertain by more than a minute anyway.
RESOLUTION_S: Final = 1.0


def solar_elevation(at_s: Value, latitude_deg: float, longitude_deg: float) -> Value:
    """Height of the sun above the horizon, with refraction. [°]

    Parameters
    ----------
    at_s
        instants, number or array [s since 1970], years 1901..2099; NaN gives NaN
    latitude_deg, longitude_deg
        the place [°], −90..90 and −180..180

    Raises
    ------
    ValueError
        latitude or longitude out of range

    Notes
    -----
    NOAA's solar equations as in the library astral, within 0.05° of an ephemeris. Some 50 µs an instant,
    arrays too.
    """
    observer = _observer(latitude_deg, longitude_deg)
    if isinstance(at_s, np.ndarray):
        heights = [_elevation(observer, float(each_s), refracted=True) for each_s in at_s.flat]
        return np.array(heights, dtype=np.float64).reshape(at_s.shape)
    return _elevation(observer, at_s, refracted=True)


def sunrise(at_s: float, latitude_deg: float, longitude_deg: float) -> float | None:
    """The instant at which the sun rises on the solar day that holds `at_s`. [s since 1970]

    None where it does not rise on that day: polar night and midnight sun.

    Parameters
    ----------
    at_s
        an instant of the day [s since 1970], years 1901..2099; NaN gives None
    latitude_deg, longitude_deg
        the place [°], −90..90 and −180..180

    Raises
    ------
    ValueError
        latitude or longitude out of range

    Notes
    -----
    Upper edge of the sun on a level horizon at sea level; NOAA's solar equations as in the library astral.
    """
    return _crossing(at_s, latitude_deg, longitude_deg, rising=True)


def sunset(at_s: float, latitude_deg: float, longitude_deg: float) -> float | None:
    """The instant at which the sun sets on the solar day that holds `at_s`. [s since 1970]

    As `sunrise` in every other respect.
    """
    return _crossing(at_s, latitude_deg, longitude_deg, rising=False)


def next_sunrise(after_s: float, latitude_deg: float, longitude_deg: float) -> float | None:
    """The first sunrise after an instant, or None if there is none within about a day. [s since 1970]"""
    return _neighbour(after_s, latitude_deg, longitude_deg, rising=True, ahead=True)


def next_sunset(after_s: float, latitude_deg: float, longitude_deg: float) -> float | None:
    """The first sunset after an instant, or None if there is none within about a day. [s since 1970]"""
    return _neighbour(after_s, latitude_deg, longitude_deg, rising=False, ahead=True)


def last_sunrise(before_s: float, latitude_deg: float, longitude_deg: float) -> float | None:
    """The last sunrise up to an instant, or None if there is none within about a day. [s since 1970]"""
    return _neighbour(before_s, latitude_deg, longitude_deg, rising=True, ahead=False)


def last_sunset(before_s: float, latitude_deg: float, longitude_deg: float) -> float | None:
    """The last sunset up to an instant, or None if there is none within about a day. [s since 1970]"""
    return _neighbour(before_s, latitude_deg, longitude_deg, rising=False, ahead=False)


def _observer(latitude_deg: float, longitude_deg: float) -> Observer:
    require(latitude_deg, -90.0, 90.0, "latitude", "°")
    require(longitude_deg, -180.0, 180.0, "longitude", "°")
    return Observer(latitude_deg, longitude_deg, 0.0)


def _elevation(observer: Observer, at_s: float, *, refracted: bool) -> float:
    if math.isnan(at_s):
        return math.nan
    return elevation(observer, datetime.fromtimestamp(at_s, UTC), with_refraction=refracted)


def _noon_s(observer: Observer, at_s: float) -> float:
    """The sun's highest stand on the solar day that holds an instant."""
    zone = timezone(timedelta(seconds=round(observer.longitude * 240.0)))
    day: date = datetime.fromtimestamp(at_s, zone).date()
    return noon(observer, day, zone).timestamp()


def _crossing(at_s: float, latitude_deg: float, longitude_deg: float, *, rising: bool) -> float | None:
    """Bisection between noon and the midnight next to it: the sun passes each height once there."""
    observer = _observer(latitude_deg, longitude_deg)
    if math.isnan(at_s):
        return None
    day_s = _noon_s(observer, at_s)
    night_s = day_s + SECONDS_A_DAY / 2.0 * (-1.0 if rising else 1.0)
    if not _is_up(observer, day_s) or _is_up(observer, night_s):
        return None
    while abs(day_s - night_s) > RESOLUTION_S:
        middle_s = (day_s + night_s) / 2.0
        if _is_up(observer, middle_s):
            day_s = middle_s
        else:
            night_s = middle_s
    return (day_s + night_s) / 2.0


def _is_up(observer: Observer, at_s: float) -> bool:
    return _elevation(observer, at_s, refracted=False) > RISE_ELEVATION_DEG


def _neighbour(
    at_s: float, latitude_deg: float, longitude_deg: float, *, rising: bool, ahead: bool
) -> float | None:
    days = (-1.0, 0.0, 1.0)
    found = [
        _crossing(at_s + day * SECONDS_A_DAY, latitude_deg, longitude_deg, rising=rising) for day in days
    ]
    if ahead:
        return min((each_s for each_s in found if each_s is not None and each_s > at_s), default=None)
    return max((each_s for each_s in found if each_s is not None and each_s <= at_s), default=None)
