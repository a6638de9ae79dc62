"""A text must not harm: every sentence about an alarm that there is, made up with every kind of value.

Held is common caution (no burning in a shut house; frozen wood breaks; wet fibre freezes), no single source.
"""

import inspect
import re
from collections.abc import Callable, Iterator, Mapping
from itertools import product
from typing import Any, get_type_hints
from zoneinfo import ZoneInfo

import pytest

from monitor.model import Priority
from monitor.notices import air_words, night_words, recovery_words, trouble_words, words
from monitor.notices.scene import Scene, TreeScene
from monitor.notices.words import NO_BURNER, Reason, Speech

ROOMS = (words, night_words, air_words, recovery_words, trouble_words)
SPEECH = Speech(ZoneInfo("Europe/London"), "celsius")
TREE = TreeScene("larch-3", "Larch 3", "low-temperature/larch-3", -0.5, 1.5, 0.0, "heavy bend, day 3",
                 Priority.HIGH, 1_800_000_900.0)  # fmt: skip

MADE_UP: Mapping[str, tuple[Any, ...]] = {
    "speech": (SPEECH,),
    "tree": ("Larch 3",),
    "scene": (
        Scene("cold", "Cold house", 1_800_000_000.0, (TREE,), 1.5, has_heater=True),
        Scene("cold", "Cold house", 1_800_000_000.0, (TREE,), None),
    ),
    "priority": (Priority.HIGH, Priority.MEDIUM),
    "hours": ((0.5, 1.0, 2.0), (3.0, 5.0, 9.0)),
    "low": (night_words.LowText(-3.0, -1.0, 0.5, 1_800_000_000.0, 3, learning=True),),
    "trees": (("Larch 3", "Yew 2"), ()),
    "until": ("2027-03-01",),
    "missing": (("it was not hardened off yet",),),
}
BY_TYPE: Mapping[str, tuple[Any, ...]] = {
    "float": (-3.0, 0.5, 40.0),
    "int": (1, 3),
    "str": ("words", ""),
    "bool": (True, False),
    "float | None": (-3.0, None),
}

HEATS = re.compile(r"\b(heater has fuel|heater runs|second electric heater|[Ww]arm the house|[Hh]eat the)\b")
HANDLES = re.compile(
    r"\b(?:carry|bring|take|move)\b[^.;]*\b(?:warm room|indoors|into the house|kitchen|cellar)\b"
    r"|\b(?:knock|shake|brush|break)\b[^.;]*\bice\b"
    r"|\b(?:hot|warm) water\b"
)
FORBIDS_HANDLING = "Do not touch, bend or carry frozen branches"
WETS = re.compile(r"\b[Ww]et (?:it|them|the wraps?)\b")
LATER = re.compile(r"tomorrow after 10:00|not from noon on")


def sayings() -> Iterator[tuple[str, Callable[..., Reason]]]:
    """Every function that says cause, consequence and action of an alarm."""
    for room in ROOMS:
        for name, made in inspect.getmembers(room, inspect.isfunction):
            if made.__module__ == room.__name__ and get_type_hints(made).get("return") is Reason:
                yield name, made


def reasons(made: Callable[..., Reason]) -> Iterator[Reason]:
    """What it says of every mixture of made-up values."""
    chosen = []
    for name, parameter in inspect.signature(made).parameters.items():
        kind = str(parameter.annotation).removeprefix("<class '").removesuffix("'>")
        values = BY_TYPE.get(kind) if name not in MADE_UP else MADE_UP[name]
        if name == "tree" and "TreeScene" in kind:
            values = (TREE,)
        if name == "trees" and "TreeRisk" in kind:
            values = ((night_words.TreeRisk("Larch 3", 0.0, 0.4, "heavy bend, day 3"),),)
        if name == "heater" and "HeaterText" in kind:
            values = (None, night_words.HeaterText(4.0, 0.9, -2.0))
        if values is None:
            values = ((),) if "Sequence" in kind else (None,)
        chosen.append(values)
    for mixture in product(*chosen):
        yield made(*mixture)


EVERY = dict(sayings())


@pytest.fixture(scope="module")
def said() -> dict[str, list[Reason]]:
    """Name -> everything that it can say."""
    return {name: list(reasons(made)) for name, made in EVERY.items()}


def test_every_saying_was_made_to_speak(said: dict[str, list[Reason]]) -> None:
    """Else the tests below would hold nothing."""
    assert len(said) >= 20
    assert [name for name, found in said.items() if not found] == []
    heats = {name for name, found in said.items() if any(HEATS.search(each.action) for each in found)}
    assert heats >= {"frost_tonight", "heater_too_small", "wrap_freezing", "low_temperature"}


@pytest.mark.parametrize("name", EVERY)
def test_whatever_suggests_heat_ends_with_the_caution_about_burners(
    said: dict[str, list[Reason]], name: str
) -> None:
    """The last words, since the last words stay."""
    for reason in said[name]:
        if HEATS.search(reason.action):
            assert reason.action.endswith(NO_BURNER), reason.action


@pytest.mark.parametrize("name", EVERY)
def test_nothing_advises_to_handle_what_is_frozen_or_to_take_it_into_the_warm(
    said: dict[str, list[Reason]], name: str
) -> None:
    """Frozen wood breaks, and a sudden thaw does more than the frost."""
    for reason in said[name]:
        for text in (reason.cause, reason.consequence, reason.action):
            assert HANDLES.search(text) is None, text


@pytest.mark.parametrize("name", EVERY)
def test_nothing_advises_to_wet_a_wrap_before_a_frost_night(said: dict[str, list[Reason]], name: str) -> None:
    """Whoever is told to wet is told when."""
    for reason in said[name]:
        if WETS.search(reason.action):
            assert LATER.search(reason.action), reason.action


@pytest.mark.parametrize("name", ["low_temperature", "cooling_fast", "heater_not_holding", "wrap_freezing"])
def test_frost_says_that_nobody_may_touch_what_is_frozen(said: dict[str, list[Reason]], name: str) -> None:
    """A person at 03:00 wants to do something."""
    assert all(FORBIDS_HANDLING in reason.action for reason in said[name])
