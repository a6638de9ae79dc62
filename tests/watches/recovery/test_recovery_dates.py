"""A spring in a guarded house, told by date: stages, wraps and what is due over the change to summer time.

Independent: days and degree-days counted by hand. At 15 °C ten degree-days above 5 °C come together a day.
The clocks go forward on 28 March 2027 at 01:00.
"""

from collections.abc import Mapping
from typing import Any

import pytest

from monitor.morning.follow_ups import follow_ups_now
from tests.engine.house import House, sensor, settings_of

WARM_C = 15.0


def written(at: str, kind: str, **values: Any) -> Mapping[str, Any]:
    """An entry about the larch."""
    return {"at": f"2027-{at}:00Z", "kind": kind, "tree": "larch-3", **values}


LARCH = {**written("02-14T08:00", "tree", name="Larch 3", species="Larix decidua"), "sensor": "bench-a"}
BENT = written("03-15T12:00", "work", work="moderate-bend")
WIRED = written("03-21T12:00", "work", work="light-wiring")
WRAPPED = written(
    "03-25T12:00", "wrap", wrap="first-branch", fibre="raffia", cover="tape-overlapped", keep="damp"
)


def spring(begins: str, *entries: Mapping[str, Any]) -> House:
    """Two benches that report by the hour from some day on; the larch at the first."""
    sensors = {name: sensor(name, 3600.0) for name in ("bench-a", "bench-b")}
    return House(settings_of(sensors), [LARCH, *entries], f"2027-{begins}")


def goes_on(house: House, until: str) -> None:
    """Both benches report until a local time: 15 °C at the first, 3 °C at the second."""
    until_s = house.at(until)
    while house.now_s + 3600.0 <= until_s:
        at_s = house.now_s + 3600.0
        wander = 0.1 * (at_s // 3600 % 5)
        house.reading(WARM_C + wander - 0.2, at_s - 1.0, "bench-a", rh_pct=80.0)
        house.reading(3.0 + wander - 0.2, at_s, "bench-b", rh_pct=80.0)
    house.passes(until_s)


def stages(house: House) -> dict[str, str]:
    """Each work's stage now."""
    return {stage.work: stage.stage for stage in house.engine.guarding.trees["larch-3"].stages}


@pytest.mark.parametrize(
    ("begins", "works", "told"),
    [
        (
            "03-27 12:00",
            [BENT],
            [
                ("03-29 12:30", {"moderate-bend": "fresh"}),  # 11:30 UTC: half an hour is missing
                ("03-29 14:30", {"moderate-bend": "mending"}),
            ],
        ),
        (
            "03-27 12:00",
            [WIRED],
            [("03-28 12:30", {"light-wiring": "fresh"}), ("03-28 14:30", {"light-wiring": "released"})],
        ),
        (
            "04-04 12:00",
            [BENT, WIRED],
            [
                ("04-05 12:30", {"moderate-bend": "fresh", "light-wiring": "fresh"}),  # 14 days × 1.5
                ("04-05 14:30", {"moderate-bend": "mending", "light-wiring": "fresh"}),
            ],
        ),
    ],
    ids=["fourteen days", "seven days", "two works"],
)
def test_stages_end_on_their_hour_whatever_the_clocks_do(
    begins: str, works: list[Mapping[str, Any]], told: list[tuple[str, dict[str, str]]]
) -> None:
    """Durations run in guard time: a night of 23 hours moves nothing."""
    house = spring(begins, *works)

    for when, expected in told:
        goes_on(house, when)
        assert (when, stages(house)) == (when, expected)


def test_a_void_takes_the_longer_time_back() -> None:
    """The second work was written to the wrong tree."""
    house = spring("03-29 12:00", BENT)
    house.entry("work", tree="larch-3", work="light-wiring", id="wrong", at="2027-03-21T12:00:00Z")
    goes_on(house, "03-29 18:00")
    assert stages(house) == {"moderate-bend": "fresh", "light-wiring": "fresh"}

    house.entry("void", entry="wrong", reason="wrong tree")
    assert stages(house) == {"moderate-bend": "mending"}


def test_warmth_is_that_of_the_place_where_it_stands() -> None:
    """At 3 °C nothing mends: 42 days are over on 28 March, 60 degree-days only after six warm days."""
    bent = written("02-14T12:00", "work", work="moderate-bend")
    cold = {"at": "2027-02-14T13:00:00Z", "kind": "move", "trees": ["larch-3"], "sensor": "bench-b"}
    house = spring("03-27 12:00", bent, cold)
    goes_on(house, "03-29 12:00")
    assert stages(house) == {"moderate-bend": "mending"}

    house.entry("move", trees=["larch-3"], sensor="bench-a")
    goes_on(house, "04-03 12:00")
    assert stages(house) == {"moderate-bend": "mending"}
    goes_on(house, "04-04 14:30")
    assert stages(house) == {"moderate-bend": "released"}


def test_a_move_takes_the_wraps_along() -> None:
    """Cold air dries a wrap slower; what is written late counts from when it was."""
    stays, moved = spring("03-25 12:00", WRAPPED), spring("03-25 12:00", WRAPPED)
    for house in (stays, moved):
        goes_on(house, "03-27 22:00")
    moved.entry("move", trees=["larch-3"], sensor="bench-b", at="2027-03-25T18:00:00Z")
    for house in (stays, moved):
        goes_on(house, "03-28 22:00")

    stayed, went = (house.engine.snapshot().wraps[0]["moisture_kg_per_kg"]["p50"] for house in (stays, moved))
    assert went > stayed + 0.02


@pytest.mark.parametrize(
    ("bent_at", "looks_on"),
    [("03-21T12:00", "2027-03-22"), ("03-27T23:30", "2027-03-28"), ("03-28T23:30", "2027-03-30")],
    ids=["before", "the night of the change", "after midnight by the new clock"],
)
def test_the_first_look_at_a_bend_is_on_the_next_local_day(bent_at: str, looks_on: str) -> None:
    """23:30 UTC is half past midnight once the clocks have changed."""
    house = spring("03-29 12:00", written(bent_at, "work", work="moderate-bend"))

    due = {each.name: str(each.due_on) for each in follow_ups_now(house.engine)}
    assert due["crack-check"] == looks_on
