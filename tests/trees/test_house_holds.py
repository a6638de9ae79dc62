"""What a tree asks for against what its house holds.

Fourteen nights, five known at least, more than half of them: judgement, no outside source.
"""

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from monitor.model import HourRow
from monitor.night_lows import last_lows_c, night_span_s
from monitor.trees.house_holds import Beyond, beyond_the_house, beyond_words

ZONE = ZoneInfo("Europe/London")
LIMITS = {"low_warn_c": 2.0, "low_harm_c": 0.0}


@pytest.mark.parametrize(
    ("lows_c", "found"),
    [
        ([-1.0] * 4, None),
        ([-1.0] * 5, Beyond("harm", 0.0, 5, 5)),
        ([0.0, 0.0, 0.0, 5.0, 5.0], Beyond("harm", 0.0, 3, 5)),
        ([-1.0, -1.0, 1.0, 1.0, 5.0], Beyond("warn", 2.0, 4, 5)),
        ([-1.0, 5.0, 5.0, 5.0, 5.0], None),
        ([-1.0, None, -1.0, None, -1.0, None, -1.0], None),
    ],
)
def test_a_limit_reached_in_most_known_nights_is_not_held(
    lows_c: list[float | None], found: Beyond | None
) -> None:
    """The damage limit first; what is not known counts for nothing."""
    assert beyond_the_house(LIMITS, lows_c) == found


def test_a_tree_without_limits_asks_for_nothing() -> None:
    """However cold it is."""
    assert beyond_the_house({}, [-9.0] * 14) is None


def test_it_says_how_often_and_what_it_means() -> None:
    """No figure without its nights."""
    said = beyond_words(Beyond("harm", -1.0, 6, 7), ["Larch 3", "Yew 2"], "Cold house")
    assert said == (
        "Cold house fell to −1 °C or below in 6 of the last 7 nights, and damage to Larch 3, Yew 2 is likely "
        "there."
    )


def _hour(at_s: float, low_c: float) -> HourRow:
    return HourRow("bench-a", at_s, 3600.0, low_c, low_c, low_c, *(None,) * 7)


def test_a_night_lies_between_two_days_and_counts_once_it_is_over() -> None:
    """Until nine in the morning by people's clocks it is not."""
    from_s, to_s = night_span_s(date(2027, 1, 15), ZONE)
    hours = [_hour(from_s + 3600.0 * hour, 3.0 - hour / 10) for hour in range(17)]

    def between(sensor: str, from_s: float, to_s: float) -> list[HourRow]:
        return [hour for hour in hours if hour.sensor == sensor and from_s <= hour.hour_at_s < to_s]

    assert last_lows_c(between, "bench-a", to_s, ZONE, 2) == (None, pytest.approx(1.4))
    assert last_lows_c(between, "bench-a", to_s - 1.0, ZONE, 2) == (None, None)


def test_a_night_of_which_a_quarter_is_missing_has_no_low() -> None:
    """The coldest hours may be among them."""
    from_s, to_s = night_span_s(date(2027, 1, 15), ZONE)
    hours = [_hour(from_s + 3600.0 * hour, 3.0) for hour in range(13)]

    assert last_lows_c(lambda *_: hours, "bench-a", to_s, ZONE, 1) == (None,)
