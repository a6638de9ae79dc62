"""Wraps in a guarded house: lines by the hour, alarms that never ring, touches counted at once."""

from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import pytest

from monitor.model import AlarmState, Entry, Priority
from monitor.settings import Settings
from tests.engine.house import House, instant, sensor, settings_of

OF_LARCH = "larch-3/first-branch"
DRYING, UNKNOWN, TOO_LONG = (f"{kind}/{OF_LARCH}" for kind in ("wrap-drying", "wrap-unknown", "wet-too-long"))


def larch(at: str = "2027-01-14T20:05:00Z", *, work: bool = True, **wrap: Any) -> list[Mapping[str, Any]]:
    """A larch with one wrap, raffia, bare, kept damp as under a fresh heavy bend."""
    facts = {"kind": "wrap", "tree": "larch-3", "wrap": "first-branch", "fibre": "raffia"} | wrap
    bend = [{"at": at, "kind": "work", "tree": "larch-3", "work": "heavy-bend"}] if work else []
    tree = {
        "at": "2027-01-01T10:00:00Z",
        "kind": "tree",
        "tree": "larch-3",
        "name": "Larch 3",
        "sensor": "bench-a",
    }
    return [tree, *bend, {"at": at, **facts}]


def slow(every_s: float = 600.0) -> Settings:
    """One sensor that seldom reports."""
    return settings_of({"bench-a": sensor("bench-a", every_s)})


def weather(house: House, hours: float, value_c: float, rh_pct: float | None = 70.0) -> None:
    """The sensor reports for some hours."""
    begin_s, every_s = house.now_s, house.settings.sensors["bench-a"].every_s
    for step in range(1, int(hours * 3600 / every_s) + 1):
        at_s = begin_s + step * every_s
        house.reading(value_c + 0.02 * (at_s // every_s % 5), at_s, rh_pct=rh_pct)


def lines(house: House) -> list[Mapping[str, Any]]:
    """Every line about wraps so far."""
    return house.wrap_lines


def wrap_now(house: House) -> Mapping[str, Any]:
    """The one wrap as `status --json` has it."""
    found = house.engine.snapshot().wraps
    assert len(found) == 1
    return found[0]


@pytest.fixture
def house() -> House:
    """A fresh bare wrap in a house of 8 degrees."""
    return House(slow(), larch())


def test_each_hour_each_wrap_has_a_line() -> None:
    """Keys as the design of the formats has them; drying all the while."""
    tree, *done = larch()
    house = House(slow(), [tree])
    house.passes(until="20:05")
    for entry in done:
        house.written(entry)
    weather(house, 6.1, 8.0)

    found = lines(house)
    assert [line["at_s"] for line in found] == [instant(f"01-14 {h}:00") for h in (21, 22, 23)] + [
        instant(f"01-15 0{h}:00") for h in (0, 1, 2)
    ]
    middle = [line["moisture_kg_per_kg"]["p50"] for line in found]
    assert middle == sorted(middle, reverse=True)
    assert set(found[0]) == {"at_s", "tree", "wrap", "moisture_kg_per_kg", "dry_in_h", "feel", "gain"}
    assert found[0]["feel"] == "wet"


def test_the_first_wrap_of_a_book_is_seen_at_once() -> None:
    """Whoever has just put it on looks whether it counts; its first whole hour is not over yet."""
    house = House(slow(), larch()[:1], begins="2027-01-14 20:02")
    weather(house, 0.4, 8.0)
    house.entry("work", tree="larch-3", work="heavy-bend")
    house.entry("wrap", tree="larch-3", wrap="first-branch", fibre="raffia")
    assert wrap_now(house)["feel"] == "wet"

    house.entry("touch", tree="larch-3", wrap="first-branch", feel="wet")
    assert wrap_now(house)["felt"]["believed"]


def test_a_wrap_that_dries_is_an_alarm_that_never_rings(house: House) -> None:
    """Low, with hours as a range and water only in the morning."""
    weather(house, 10, 12.0, 55.0)

    row = house.row(DRYING)
    assert row is not None
    assert row.priority is Priority.LOW
    said = house.transitions(DRYING)[0]
    assert "the wrap first-branch of Larch 3 dries: dry in" in said.cause
    assert "not from noon on before a frost night" in said.action
    assert house.notices_seen == []


def test_wetting_it_again_ends_the_alarm_at_once(house: House) -> None:
    """Counted when it is entered, not when the hour ends."""
    weather(house, 12.3, 12.0, 55.0)
    assert house.row(DRYING).active  # type: ignore[union-attr]

    house.entry("rewet", tree="larch-3", wrap="first-branch")

    assert house.state(DRYING) == "normal"
    assert wrap_now(house)["moisture_kg_per_kg"]["p50"] == pytest.approx(1.5, abs=0.05)


def test_a_touch_counts_at_once(house: House) -> None:
    """What was felt is shown with its time and that it was believed."""
    weather(house, 8.3, 12.0, 55.0)
    before = wrap_now(house)

    house.entry("touch", tree="larch-3", wrap="first-branch", feel="wet")

    after = wrap_now(house)
    assert after["gain"] < before["gain"]
    assert after["felt"] == {
        "at_s": house.now_s, "feel": "wet", "how": "touch", "believed": True, "doubt": "",
    }  # fmt: skip
    assert after["since_touch_h"] == 0.0


def test_an_instant_rounded_up_counts_at_once_all_the_same(house: House) -> None:
    """The book keeps milliseconds; the guard's time is finer."""
    weather(house, 8.3, 12.0, 55.0)
    house.passes(house.now_s + 60.0006)
    house.entry("touch", tree="larch-3", wrap="first-branch", feel="wet")

    assert wrap_now(house)["felt"]["feel"] == "wet"


def test_a_frozen_wrap_is_not_dry_and_a_touch_of_it_is_marked() -> None:
    """Common practice, no source: the estimate holds, the touch is not believed."""
    house = House(slow(), larch())
    weather(house, 3, 4.0)
    weather(house, 12, -4.0)
    moist = wrap_now(house)["moisture_kg_per_kg"]
    weather(house, 6, -4.0)
    house.entry("touch", tree="larch-3", wrap="first-branch", feel="dry")

    now = wrap_now(house)
    assert now["feel"] == "frozen"
    assert now["moisture_kg_per_kg"] == moist
    assert now["felt"]["believed"] is False
    assert now["felt"]["doubt"] == "a frozen wrap feels dry"
    assert house.state(DRYING) == "normal"


def test_after_an_outage_it_is_unknown_and_says_so(house: House) -> None:
    """No data is never "fine": the air about it was not known."""
    weather(house, 2, 10.0)
    house.passes(house.now_s + 9 * 3600.0)

    assert wrap_now(house)["feel"] == "unknown"
    assert house.state(UNKNOWN) == "unacknowledged"
    assert "the air about it was not known for too long" in house.transitions(UNKNOWN)[0].cause


def test_a_taped_wrap_that_nobody_felt_is_unknown_after_a_day() -> None:
    """Tape differs by a factor of fifty: check by hand."""
    house = House(slow(), larch(cover="tape-overlapped"))
    weather(house, 23, 8.0)
    assert house.state(UNKNOWN) == "normal"
    weather(house, 3, 8.0)

    assert house.state(UNKNOWN) == "unacknowledged"
    house.entry("touch", tree="larch-3", wrap="first-branch", feel="wet", how="lifted-edge")
    assert house.state(UNKNOWN) == "normal"


def test_a_wrap_that_was_wet_only_to_be_pliable_is_asked_about_by_nobody() -> None:
    """`keep = any`: it stays under the wire for months and may dry."""
    house = House(slow(), larch(keep="any"))
    weather(house, 40, 12.0, 55.0)

    assert [house.state(alarm) for alarm in (DRYING, UNKNOWN, TOO_LONG)] == ["normal"] * 3


def test_a_wrap_kept_wet_past_its_maximum_is_looked_at_for_mould() -> None:
    """Fourteen days while fresh, twenty-one while mending; a look under the edge ends it for a fortnight."""
    entries = larch("2027-01-01T10:00:00Z", cover="film", keep="damp")
    house = House(slow(3600.0), entries, "2027-01-21 10:00")
    weather(house, 22, 8.0, 80.0)
    assert house.state(TOO_LONG) == "normal"
    weather(house, 4, 8.0, 80.0)
    assert house.state(TOO_LONG) == "unacknowledged"
    assert "21 are asked for at most" in house.transitions(TOO_LONG)[0].cause

    house.entry("touch", tree="larch-3", wrap="first-branch", feel="wet", how="lifted-edge")

    assert house.state(TOO_LONG) == "normal"


def test_taken_off_its_alarms_end(house: House) -> None:
    """A wrap that is not there cannot dry."""
    weather(house, 12, 12.0, 55.0)
    house.ack(DRYING)
    house.entry("unwrap", tree="larch-3", wrap="first-branch")

    assert house.state(DRYING) == str(AlarmState.NORMAL)
    assert house.engine.snapshot().wraps == ()


def test_entered_late_is_the_same_as_entered_in_time() -> None:
    """A touch, a wetting and a void, written down hours later: recomputed is as if it had been known."""
    at = ("2027-01-15T02:20:00Z", "2027-01-15T03:40:00Z")
    touch = {"at": at[0], "kind": "touch", "tree": "larch-3", "wrap": "first-branch", "feel": "damp"}
    rewet = {"at": at[1], "kind": "rewet", "tree": "larch-3", "wrap": "first-branch"}
    wrong = {"at": at[0], "kind": "rewet", "tree": "larch-3", "wrap": "first-branch", "id": "wrong"}
    in_time, late = House(slow(), larch()), House(slow(), larch())
    for entry, hours in ((touch, 19 / 3), (rewet, 4 / 3)):
        weather(in_time, hours + 0.01, 9.0)
        in_time.written(entry)
    weather(in_time, 1.4, 9.0)
    weather(late, 9.1, 9.0)
    for values in (wrong, touch, rewet, {"kind": "void", "entry": "wrong", "reason": "wrong tree"}):
        given = {key: value for key, value in values.items() if key != "kind"}
        late.entry(str(values["kind"]), **given)
    for house in (in_time, late):
        weather(house, 2, 9.0)

    assert late.engine.snapshot().wraps == in_time.engine.snapshot().wraps
    assert lines(late)[-1] == lines(in_time)[-1]


def test_a_restart_changes_nothing(tmp_path: Any) -> None:
    """From the saved mark and the hourly rows: the same lines as a house that never stopped."""
    steady, other = House(slow(), larch()), House(slow(), larch(), keep=tmp_path)
    for house in (steady, other):
        weather(house, 30, 7.0)
    other.restart(after_s=2.0)
    for house in (steady, other):
        house.passes("01-16 02:03")
        weather(house, 5, 7.0)

    assert lines(other) == lines(steady)
    assert other.engine.snapshot().wraps == steady.engine.snapshot().wraps
    other.close()


def test_a_saved_mark_that_the_book_does_not_bear_out_is_not_gone_on_from(tmp_path: Any) -> None:
    """Somebody mended the book's file while the program was off."""
    house = House(slow(), larch(), keep=tmp_path)
    weather(house, 30, 7.0)
    mended = [*larch()[:2], dict(larch()[2], cover="tape-overlapped")]
    house.restart(after_s=2.0, book=mended)
    house.passes("01-16 03:03")

    assert wrap_now(house)["cover"] == "tape-overlapped"
    assert wrap_now(house)["moisture_kg_per_kg"]["p50"] > 1.2
    house.close()


def test_the_hour_that_the_clocks_leave_out_is_no_hole() -> None:
    """Over the change to summer time hours go on one by one."""
    house = House(slow(), larch("2027-03-27T22:00:00Z"), begins="2027-03-27 22:00")
    weather(house, 8.4, 8.0)

    at = [line["at_s"] for line in lines(house)]
    assert [later - earlier for earlier, later in pairwise(at)] == [3600.0] * 8


def test_the_book_of_a_tree_that_left_ends_its_wraps(house: House) -> None:
    """No line, no alarm, because the subject was removed."""
    weather(house, 12, 12.0, 55.0)
    values = {
        "id": "gone",
        "at": "2027-01-15T08:00:00Z",
        "kind": "leave",
        "tree": "larch-3",
        "reason": "sold",
    }
    house.handle(Entry(house.now_s, values))
    count = len(lines(house))
    weather(house, 2, 12.0)

    assert house.steps(DRYING)[-1] == ("normal", "removed")
    assert len(lines(house)) == count
