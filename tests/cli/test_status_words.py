"""What `status` says to people: wraps, tonight, how far forecasts can be trusted; plain values in."""

from typing import Any
from zoneinfo import ZoneInfo

from monitor.cli.look_words import now_text
from monitor.notices.words import Speech

LONDON = ZoneInfo("Europe/London")
LARCH = {
    "tree": "larch-3",
    "name": "Larch 3",
    "sensor": "bench-a",
    "works": [{"work": "heavy-bend", "stage": "fresh", "day": 3}],
    "limits": {"low_harm_c": {"value": 0.0, "source": "judgement"}},
    "margin_k": 3.4,
}
QUIET: dict[str, Any] = {
    "at": "2027-01-16T19:00:00Z",
    "site": "Heather Bank",
    "alarms": [],
    "unknown": [],
    "houses": [],
    "trees": [LARCH],
    "delivery": [],
    "storage": {},
}


def said(**more: Any) -> str:
    """The page of `status`."""
    return now_text(QUIET | more, Speech(LONDON, "celsius"), LONDON)


def test_a_wrap_is_told_with_what_is_thought_of_it() -> None:
    """By the tree's name."""
    wrap = {"tree": "larch-3", "wrap": "first-branch", "thought": "feels damp, dry in 10–30 h"}

    assert "Wraps\n  - Larch 3, first-branch: feels damp, dry in 10–30 h" in said(wraps=[wrap])


def test_tonight_is_told_with_the_trees_that_may_come_to_harm() -> None:
    """A chance of next to nothing is left out."""
    place = {
        "sensor": "bench-a",
        "text": "about 0.5 °C",
        "heater_text": "the heater is taken to hold 4 °C",
        "below": [{"limit_c": 0.0, "chance": 0.3}],
    }

    text = said(tonight=[place])
    assert "bench-a: lowest about 0.5 °C; Larch 3 below 0 °C: about 3 in 10; the heater is taken" in text
    place["below"] = [{"limit_c": 0.0, "chance": 0.01}]
    assert "Larch 3 below" not in said(tonight=[place])


def test_the_skill_of_forecasts_stands_with_the_number_of_nights() -> None:
    """And says where they are too few."""
    skill = {"sensor": "bench-a", "nights": 10, "band_held": 0.8, "error_k": 0.94, "enough": False}

    text = said(skill=[skill])
    assert "of the last 10 nights 8 kept within what was said" in text
    assert "the low was 0.9 degrees off; too few yet to tell" in text
    text = said(skill=[skill | {"rivals_k": {"usual_fall_c": 1.42}}])
    assert "was 0.9 degrees off, this evening less the usual fall would have been 1.4 degrees;" in text


def test_limits_that_warm_days_raised_are_told() -> None:
    """Where, by how much, and until when."""
    spell = {"sensor": "bench-a", "days": 2, "mean_c": 11.2, "raised_k": 2.5, "until": "Tue 19 Jan"}

    assert "bench-a: 2 days of 11.2 °C on average; frost limits below zero count 2.5 degrees higher" in said(
        warm_spells=[spell]
    )


def test_what_there_is_nothing_of_has_no_heading() -> None:
    """A summer's page is short."""
    for heading in ("Wraps", "Tonight", "Warm days", "How the last forecasts did"):
        assert heading not in said()
