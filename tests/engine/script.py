"""Made-up nights for property tests: what happens, one thing after another, as plain values.

A script is a list of (seconds since the thing before, what, values); `play` hands one thing to a house.
"""

from contextlib import suppress
from itertools import accumulate
from typing import Any

from hypothesis import strategies as st

from monitor.clock import rfc3339
from monitor.errors import BookError
from tests.engine.house import LARCH, LARCH_ALONE, House, sensor, settings_of, tree

Step = tuple[int, str, tuple[Any, ...]]

LASTS_S = 4 * 3600.0
"""No script with what follows it lasts longer, so that no sensor falls silent: a start gives grace anew."""
SCRIPT_LASTS_S = 5400

SETTINGS = settings_of(
    {
        "bench-a": sensor("bench-a", longest_gap_s=LASTS_S),
        "bench-b": sensor("bench-b", longest_gap_s=LASTS_S, place="other"),
    },
    quiet_hours={"from": "22:30", "to": "06:30"},
)
ENTRIES = [*LARCH_ALONE, *tree("Yew 2", "bench-b", -1.0, -4.0), *tree("Pine 1", "bench-a", 1.5, -2.0)]

_values = st.sampled_from(
    [-9.0, -4.5, -2.1, -1.1, -0.2, 0.0, 0.4, 1.0, 1.4, 1.6, 1.9, 2.3, 4.0, 4.1, 60.0, -127.0]
)
_sensors = st.sampled_from(["bench-a", "bench-a", "bench-b"])
_gaps = st.sampled_from([1, 20, 60, 60, 60, 61, 120, 300, 901])

readings = st.tuples(_gaps, st.just("reading"), st.tuples(_sensors, _values))
late = st.tuples(
    _gaps, st.just("late"), st.tuples(_sensors, _values, st.sampled_from([200, 299, 3600, 15000]))
)
too_late = st.tuples(_gaps, st.just("late"), st.tuples(_sensors, _values, st.just(15000)))
"""Late ones that still count are judged by themselves as they come, but in their place after a start."""
seen = st.tuples(
    _gaps,
    st.just("ack"),
    st.tuples(st.sampled_from([LARCH, "cold", "--all"]), st.sampled_from(["ann", "tom", ""])),
)
shelved = st.tuples(
    _gaps, st.just("shelve"), st.tuples(st.sampled_from([LARCH]), st.sampled_from([0.25, 1.0]))
)
written = st.tuples(
    _gaps,
    st.just("entry"),
    st.sampled_from(
        [
            ("work", (("tree", "larch-3"), ("work", "heavy-bend"))),
            ("limit", (("tree", "yew-2"), ("limit", "low_harm_c"), ("value", 1.0), ("reason", "to test"))),
            ("move", (("trees", ["larch-3"]), ("sensor", "bench-b"))),
            ("move", (("trees", ["pine-1"]), ("to", "workshop"))),
            ("leave", (("tree", "pine-1"), ("reason", "sold"))),
            ("rest", (("sensor", "bench-a"), ("for_s", 1200.0))),
            ("rest", (("sensor", "bench-b"), ("for_s", 0.0))),
            ("note", (("house", "cold"), ("note", "snow on the roof"))),
        ]
    ),
)
link = st.tuples(_gaps, st.just("link"), st.tuples(st.booleans()))
clock = st.tuples(_gaps, st.just("clock"), st.tuples(st.sampled_from([3600.0, -3600.0])))


def scripts(*more: st.SearchStrategy[Step], longest: int = 40) -> st.SearchStrategy[list[Step]]:
    """Mostly readings, with other things in between; an hour and a half at most. Both sensors speak first."""
    steps = st.lists(st.one_of(readings, readings, readings, *more), min_size=3, max_size=longest)
    return steps.map(_cut)


def _cut(script: list[Step]) -> list[Step]:
    ends_s = accumulate(step[0] for step in script)
    first: list[Step] = [(1, "reading", ("bench-a", 4.0)), (1, "reading", ("bench-b", 4.0))]
    return first + [step for step, end_s in zip(script, ends_s, strict=True) if end_s <= SCRIPT_LASTS_S]


def play(house: House, step: Step, at_s: float) -> None:
    """Let one thing happen at an instant; a tree that left, or an alarm that does not stand, is no matter."""
    _, what, values = step
    if what == "reading":
        house.reading(values[1], at_s, values[0], observed=at_s)
    elif what == "late":
        house.reading(values[1], at_s, values[0], observed=at_s - values[2])
    elif what == "link":
        house.passes(at_s)
        house.link(up=values[0])
    elif what == "clock":
        house.passes(at_s)
        house.clock_steps(values[0] - house.offset_s)
    elif what == "ack":
        house.passes(at_s)
        house.ack(values[0], by=values[1])
    elif what == "shelve":
        house.passes(at_s)
        house.shelve(*values)
    elif what == "entry":
        house.passes(at_s)
        _write(house, values)


def _write(house: House, values: tuple[Any, ...]) -> None:
    given = dict(values[1])
    if "for_s" in given:
        given["until"] = rfc3339(house.now_s + house.offset_s + given.pop("for_s"))
    trees = {given.get("tree"), *given.get("trees", ())} - {None}
    if trees <= set(house.engine.guarding.trees):
        with suppress(BookError):  # the clock was set back: the book has later entries
            house.entry(values[0], **given)
