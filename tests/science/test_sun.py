"""Sunrise, sunset and height of the sun against an ephemeris."""

import math
from datetime import UTC, datetime

import ephem
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.science.sun import (
    last_sunrise,
    last_sunset,
    next_sunrise,
    next_sunset,
    solar_elevation,
    sunrise,
    sunset,
)

DAY_S = 86_400.0

LATITUDES_DEG = [-55.0, -35.0, 0.0, 20.0, 48.0, 54.6, 60.0, 66.0, 69.0, 80.0]
LONGITUDES_DEG = [-175.0, -74.0, -3.1, 13.0, 100.0, 179.0]
MONTHS = range(1, 13)

#: Places and years in which the sun passes the horizon steeply enough to be sure of the second.
anywhere = (st.floats(-60.0, 60.0), st.floats(-180.0, 180.0), st.floats(0.0, 3e9))


def _noon_s(month: int, longitude_deg: float) -> float:
    """Mean noon of the third of a month of 2026 at a longitude."""
    return datetime(2026, month, 3, 12, tzinfo=UTC).timestamp() - longitude_deg * 240.0


def _ephemeris(latitude_deg: float, longitude_deg: float, at_s: float) -> ephem.Observer:
    observer = ephem.Observer()
    observer.lat, observer.lon = str(latitude_deg), str(longitude_deg)
    # no air: refraction and the sun's radius stand in the horizon, 34' + 16'
    observer.pressure, observer.horizon = 0.0, "-0:50"
    observer.date = ephem.Date(datetime.fromtimestamp(at_s, UTC).replace(tzinfo=None))
    return observer


def _seconds(date: ephem.Date) -> float:
    return date.datetime().replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize("latitude_deg", LATITUDES_DEG)
def test_sunrise_and_sunset_agree_with_an_ephemeris(latitude_deg: float) -> None:
    """Independent: ephem (VSOP87), all months, around the globe: within 15 s, within 6 s up to 60°.

    The same definition: upper edge, refraction of 34'. Real refraction varies by more than a minute.
    """
    tolerance_s = 6.0 if abs(latitude_deg) <= 60.0 else 15.0
    for longitude_deg in LONGITUDES_DEG:
        for month in MONTHS:
            noon_s = _noon_s(month, longitude_deg)
            observer = _ephemeris(latitude_deg, longitude_deg, noon_s)
            rise_s, set_s = (function(noon_s, latitude_deg, longitude_deg) for function in (sunrise, sunset))
            try:
                theirs_rise_s = _seconds(observer.previous_rising(ephem.Sun(), use_center=True))
                theirs_set_s = _seconds(observer.next_setting(ephem.Sun(), use_center=True))
            except (ephem.AlwaysUpError, ephem.NeverUpError):
                assert (rise_s, set_s) == (None, None)
                continue
            assert rise_s == pytest.approx(theirs_rise_s, abs=tolerance_s)
            assert set_s == pytest.approx(theirs_set_s, abs=tolerance_s)


@pytest.mark.parametrize("latitude_deg", LATITUDES_DEG)
def test_the_height_of_the_sun_agrees_with_an_ephemeris(latitude_deg: float) -> None:
    """Independent: ephem with its own refraction (1010 hPa, 15 °C), within 0.05°.

    Below the horizon not compared.
    """
    for longitude_deg in LONGITUDES_DEG:
        for month in MONTHS:
            for hour in range(-12, 12, 3):
                at_s = _noon_s(month, longitude_deg) + hour * 3600.0
                observer = _ephemeris(latitude_deg, longitude_deg, at_s)
                observer.pressure = 1010.0
                theirs_deg = math.degrees(ephem.Sun(observer).alt)
                if theirs_deg > 1.0:
                    ours_deg = solar_elevation(at_s, latitude_deg, longitude_deg)
                    assert ours_deg == pytest.approx(theirs_deg, abs=0.05)


def test_a_winter_day_of_the_example_site() -> None:
    """Independent: ephem; 10 January 2026 at 54.6° N, 3.1° W: 08:30 to 16:09 UTC."""
    noon_s = datetime(2026, 1, 10, 12, tzinfo=UTC).timestamp()
    times = [datetime.fromtimestamp(function(noon_s, 54.6, -3.1), UTC) for function in (sunrise, sunset)]

    assert [f"{time:%H:%M}" for time in times] == ["08:30", "16:09"]


def test_polar_night_and_midnight_sun_have_no_sunset() -> None:
    """At 78° N: neither in January nor in June; also not within a day of it."""
    for month in (1, 6):
        noon_s = _noon_s(month, 15.0)
        for function in (sunrise, sunset, next_sunrise, next_sunset, last_sunrise, last_sunset):
            assert function(noon_s, 78.0, 15.0) is None


def test_a_sunset_after_midnight_by_the_clock_is_found() -> None:
    """At 65° N in June the sun sets after local midnight.

    It still belongs to the solar day before or after noon.
    """
    noon_s = datetime(2026, 6, 21, 12, tzinfo=UTC).timestamp() - 25.5 * 240.0
    set_s = sunset(noon_s, 65.0, 25.5)

    assert set_s is not None
    assert 11.0 < (set_s - noon_s) / 3600.0 < 12.0


def test_the_answer_is_the_same_all_day_long() -> None:
    """Any instant of a solar day names that day."""
    noon_s = _noon_s(2, -3.1)
    answers = {sunset(noon_s + hour * 3600.0, 54.6, -3.1) for hour in range(-11, 12)}

    assert len(answers) == 1


@settings(deadline=None, max_examples=60)
@given(*anywhere)
def test_the_next_and_the_last_lie_on_either_side(
    latitude_deg: float, longitude_deg: float, at_s: float
) -> None:
    """Property.

    Last ≤ now < next, neither more than a day and 5 minutes away, and rise and set take turns.
    """
    place = (latitude_deg, longitude_deg)
    for last, coming in ((last_sunrise, next_sunrise), (last_sunset, next_sunset)):
        before_s, after_s = last(at_s, *place), coming(at_s, *place)
        assert before_s <= at_s < after_s
        assert after_s - before_s == pytest.approx(DAY_S, abs=300.0)
    assert last_sunset(next_sunrise(at_s, *place), *place) < next_sunrise(at_s, *place)
    assert next_sunset(at_s, *place) - at_s < DAY_S + 300.0


@settings(deadline=None, max_examples=60)
@given(*anywhere)
def test_the_sun_stands_on_the_horizon_at_rise_and_set(
    latitude_deg: float, longitude_deg: float, at_s: float
) -> None:
    """Property: with refraction the centre stands within half a degree of the horizon then, higher by day."""
    rise_s, set_s = (function(at_s, latitude_deg, longitude_deg) for function in (sunrise, sunset))

    for event_s in (rise_s, set_s):
        assert abs(solar_elevation(event_s, latitude_deg, longitude_deg)) < 0.5
    assert solar_elevation((rise_s + set_s) / 2.0, latitude_deg, longitude_deg) > 5.0


def test_an_array_of_instants_gives_an_array() -> None:
    """Scalar equals vector, and what is missing stays missing."""
    at_s = _noon_s(3, 0.0) + np.array([[0.0, 3600.0], [math.nan, 7200.0]])
    heights_deg = solar_elevation(at_s, 54.6, -3.1)

    assert heights_deg.shape == (2, 2)
    assert heights_deg[0, 1] == solar_elevation(float(at_s[0, 1]), 54.6, -3.1)
    assert np.isnan(heights_deg).tolist() == [[False, False], [True, False]]


def test_no_instant_has_no_sunset() -> None:
    """NaN gives NaN or None."""
    assert math.isnan(solar_elevation(math.nan, 54.6, -3.1))
    for function in (sunrise, sunset, next_sunrise, next_sunset, last_sunrise, last_sunset):
        assert function(math.nan, 54.6, -3.1) is None


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "named"),
    [
        (90.1, 0.0, "latitude"),
        (math.nan, 0.0, "latitude"),
        (50.0, 181.0, "longitude"),
        (50.0, -180.5, "longitude"),
    ],
)
def test_a_place_that_is_not_on_earth_is_refused(
    latitude_deg: float, longitude_deg: float, named: str
) -> None:
    """Configured latitude and longitude out of range are refused and named."""
    for function in (solar_elevation, sunrise, sunset, next_sunset):
        with pytest.raises(ValueError, match=named):
            function(0.0, latitude_deg, longitude_deg)
