"""What the page of tonight makes of what the guard expects; figures are made up."""

from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from monitor.model import Snapshot
from monitor.notices.words import Speech
from monitor.web.pages import tonight
from tests.web.scene import Path, settings_of

SEEN = {
    "sensor": "bench-a",
    "text": "between −3.1 °C and −0.4 °C, most likely −1.8 °C about 06:40",
    "heater_text": "the heater is taken to hold 4 °C; without it the low would be about −5.0 °C",
    "below": [
        {"limit_c": 0.0, "chance": 0.6},
        {"limit_c": -4.0, "chance": 0.05},
        {"limit_c": -8.0, "chance": 0.001},
    ],
}


def _frame(**more: Any) -> Any:
    larch = SimpleNamespace(
        tree=SimpleNamespace(name="Larch 3", sensor="bench-a"), limits={"low_harm_c": 0.0}
    )
    guard = SimpleNamespace(
        settings=settings_of(Path("state")),
        speech=Speech(ZoneInfo("Europe/London")),
        trees={"larch-3": larch},
        snapshot=Snapshot(0.0, "Heather Bank", True, more=more),
    )
    return SimpleNamespace(guard=guard)


def test_an_outlook_says_low_heater_and_which_trees_are_in_danger() -> None:
    """What is next to impossible is left out."""
    found = tonight._outlook(_frame(), SEEN)

    assert found.place == "Cold house, bench-a"
    assert found.low == "Between −3.1 °C and −0.4 °C, most likely −1.8 °C about 06:40"
    assert found.heater.startswith("The heater is taken to hold")
    assert found.trees == [
        "Below 0 °C, where damage to Larch 3 is likely: about 6 in 10",
        "Below −4 °C: about 1 in 20",
    ]


def test_how_good_outlooks_were_is_told_with_their_number() -> None:
    """And that they are few."""
    seen = {"sensor": "bench-a", "nights": 10, "band_held": 0.8, "error_k": 0.74, "enough": True}

    assert tonight._skill(_frame(), seen | {"rivals_k": {"usual_fall_c": 1.93}}) == (
        "bench-a: of the last 10 nights 8 kept within what was said (8 in 10 should); on average the low was "
        "0.7° off, this evening less the usual fall would have been 1.9°"
    )
    assert tonight._skill(_frame(), seen | {"enough": False}).endswith("; too few yet to tell")


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.97, "very likely"), (0.5, "about 5 in 10"), (0.2, "about 1 in 5"), (0.02, "about 1 in 50")],
)
def test_a_chance_as_people_say_it(chance: float, said: str) -> None:
    """No per cents at night."""
    assert tonight.odds(chance) == said
