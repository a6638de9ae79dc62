"""No data is never fine: silent sensors, a lost broker, time that nobody watched, trees where no sensor is.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from pathlib import Path

import pytest

from monitor.model import Judgement
from tests.engine.house import (
    LARCH,
    LARCH_ALONE,
    YEW,
    House,
    clock_time,
    sensor,
    settings_of,
    tree,
)

SILENT_A, SILENT_B = "sensor-silent/bench-a", "sensor-silent/bench-b"
BROKER, WAS_OFF = "broker-lost/site", "was-off/site"
TWO_SENSORS = settings_of(("bench-a", "bench-b"))
LARCH_AND_YEW = [*LARCH_ALONE, *tree("Yew 2", "bench-b", -1.0, -4.0)]


def two_benches(**more: object) -> House:
    """Larch 3 and Yew 2, each at its own sensor."""
    house = House(TWO_SENSORS, LARCH_AND_YEW, **more)
    house.air(4.0, by="20:01")
    return house


# ---- sensor-silent -----------------------------------------------------------------------------------------


def test_a_sensor_is_silent_after_three_intervals_without_anything_fresh() -> None:
    """Every minute: three minutes after the last reading, to the second."""
    house = House()
    house.air(4.0, by="20:10")
    house.passes(until="20:12:59")
    assert house.steps(SILENT_A) == []

    house.passes(until="20:13")
    assert [clock_time(t.at_s) for t in house.transitions(SILENT_A)] == ["20:13:00"]
    assert house.transitions(SILENT_A)[0].quality == "missing"


def test_a_sensor_that_reports_on_change_may_be_silent_for_its_longest_gap() -> None:
    """`longest_gap_s` stands for three intervals."""
    house = House(settings_of({"bench-a": sensor("bench-a", longest_gap_s=3600)}))
    house.reading(4.0)
    house.passes(until="20:59:59")
    assert house.steps(SILENT_A) == []

    house.passes(until="21:00:00")
    assert house.state(SILENT_A) == "unacknowledged"


def test_a_silence_ends_with_the_next_fresh_reading() -> None:
    """And the end goes where the beginning went."""
    house = House()
    house.reading(4.0)
    house.reading(4.0, "20:30")

    assert house.steps(SILENT_A) == [
        ("unacknowledged", "condition"),
        ("returned-unacknowledged", "returned"),
    ]
    assert [(n.kind, n.notifier) for n in house.notices("sensors")] == [
        ("activation", "mail"),
        ("escalation", "hook"),
        ("cleared", "mail"),
        ("cleared", "hook"),
    ]


@pytest.mark.parametrize("failed", [-127.0, 85.0, 200.0])
def test_a_sensor_that_only_says_what_cannot_be_is_silent(failed: float) -> None:
    """A probe that came off its wire reports every minute, and nothing."""
    house = House()
    house.air(4.0, by="20:10")
    for minute in range(10):
        house.reading(failed, house.at("20:11") + 60 * minute if minute == 0 else house.now_s + 60)

    assert house.state(SILENT_A) == "unacknowledged"


@pytest.mark.parametrize("failed", [-127.0, 85.0])
def test_a_failed_reading_does_not_end_a_silence(failed: float) -> None:
    """Only a value that can be one is a sign of life."""
    house = House()
    house.reading(4.0)
    house.reading(failed, "20:10")
    house.reading(failed, "20:11")

    assert house.steps(SILENT_A) == [("unacknowledged", "condition")]


def test_humidity_alone_is_no_sign_of_life_of_a_thermometer() -> None:
    """The trees are guarded by temperature; a sensor whose temperature stopped leaves them unwatched."""
    house = House()
    house.reading(4.0, rh_pct=80.0)
    for _ in range(5):
        house.reading(None, house.now_s + 60, rh_pct=80.0)

    assert house.state(SILENT_A) == "unacknowledged"


def test_silence_at_night_near_harm_is_high_and_by_day_medium() -> None:
    """Priority follows what the sensor guards and the hour."""
    for begins, value_c, priority in (
        ("2027-01-14 20:00", 4.0, "high"),
        ("2027-01-14 20:00", 14.0, "medium"),
        ("2027-06-14 12:00", 4.0, "medium"),
    ):
        house = House(begins=begins)
        house.reading(value_c)
        house.passes(until=house.now_s + 200)
        assert [t.priority for t in house.transitions(SILENT_A)] == [priority]


def test_silence_of_a_sensor_that_guards_no_tree_is_low() -> None:
    """It says so on the page and in the report."""
    house = House(entries=())
    house.reading(4.0)
    house.passes(until="20:10")

    assert [t.priority for t in house.transitions(SILENT_A)] == ["low"]


def test_with_a_neighbour_that_reports_silence_is_medium() -> None:
    """Somebody still knows how cold the house is."""
    house = two_benches()
    for _ in range(10):
        house.reading(4.0, house.now_s + 60, by="bench-b")

    assert [t.priority for t in house.transitions(SILENT_A)] == ["medium"]


def test_two_that_fall_silent_together_are_no_neighbours_that_report() -> None:
    """A receiver that died takes both: nobody knows how cold the house is."""
    house = two_benches()
    house.passes(until="20:10")

    assert [str(t.priority) for t in house.transitions(SILENT_A)] == ["high"]


def test_when_the_last_neighbour_falls_silent_too_silence_is_high_at_once() -> None:
    """It was medium while somebody still reported."""
    house = two_benches()
    for _ in range(10):
        house.reading(4.0, house.now_s + 60, by="bench-b")
    house.passes(until="20:13:59")
    assert [str(t.priority) for t in house.transitions(SILENT_A)] == ["medium"]

    house.passes(until="20:14")
    assert [str(t.priority) for t in house.transitions(SILENT_A)] == ["medium", "high"]


def test_a_silence_becomes_high_when_night_falls() -> None:
    """Silent since the afternoon, and now it freezes outside: it rings again."""
    house = House(begins="2027-01-14 13:00")
    house.reading(5.0)
    house.passes(until="18:00")

    assert [t.priority for t in house.transitions(SILENT_A)] == ["medium", "high"]
    assert "raised" in house.kinds("sensors")


def test_silence_does_not_clear_a_frost() -> None:
    """The sensor died in the frost: nobody knows, so the frost stands."""
    house = House()
    house.reading(3.0)
    house.air(1.0, by="20:10")
    house.passes(until="23:00")

    assert house.state(LARCH) == "unacknowledged"
    assert house.state(SILENT_A) == "unacknowledged"


# ---- broker-lost -------------------------------------------------------------------------------------------


def test_a_lost_broker_stands_for_the_silence_of_all_sensors() -> None:
    """One alarm, with the highest priority that any of the sensors' silence would have."""
    house = two_benches()
    house.link(up=False)
    house.passes(until="20:30")

    assert [t.priority for t in house.transitions(BROKER)] == ["high"]
    assert house.steps(SILENT_A) == house.steps(SILENT_B) == []
    assert clock_time(house.transitions(BROKER)[0].at_s) == "20:04:00"


def test_a_lost_broker_names_the_reason_that_the_network_gave() -> None:
    """So that somebody can do something about it."""
    house = two_benches()
    house.link(up=False)
    house.passes(until="20:10")

    assert "connection refused" in house.transitions(BROKER)[0].cause


def test_a_link_that_is_back_in_time_is_nothing() -> None:
    """The broker was restarted: nobody is told."""
    house = two_benches()
    house.link(up=False, at="20:02")
    house.link(up=True, at="20:03")
    house.air(4.0, by="20:30")

    assert house.steps(BROKER) == house.steps(SILENT_A) == house.steps(SILENT_B) == []


def test_when_the_broker_is_back_the_sensors_have_their_usual_time() -> None:
    """Three intervals of grace; who is not heard by then is silent."""
    house = two_benches()
    house.link(up=False)
    house.link(up=True, at="21:00")
    house.reading(4.0, "21:01", by="bench-b")
    house.passes(until="21:02:59")
    assert house.steps(BROKER)[-1] == ("returned-unacknowledged", "returned")
    assert house.steps(SILENT_A) == house.steps(SILENT_B) == []

    house.passes(until="21:03")
    assert house.steps(SILENT_A) == [("unacknowledged", "condition")]
    assert house.steps(SILENT_B) == []


def test_a_link_that_comes_and_goes_does_not_hide_silence_for_ever() -> None:
    """Up and down every two minutes, and never a reading: that must be said within minutes."""
    house = two_benches()
    for _ in range(15):
        house.link(up=False)
        house.passes(until=house.now_s + 60)
        house.link(up=True)
        house.passes(until=house.now_s + 60)

    first = min(t.at_s for t in house.transitions_seen if t.kind in {"broker-lost", "sensor-silent"})
    assert first <= house.at("20:01") - 86400 + 3 * 180


def test_a_sensor_that_was_silent_before_stays_silent_when_the_broker_goes() -> None:
    """What was known is not forgotten; the lost connection stands for it."""
    house = two_benches()
    for _ in range(5):
        house.reading(4.0, house.now_s + 60, by="bench-b")
    house.link(up=False)
    house.passes(until="20:30")

    assert house.state(SILENT_A) == "suppressed"
    assert house.steps(SILENT_B) == []
    assert house.state(BROKER) == "unacknowledged"


# ---- was-off -----------------------------------------------------------------------------------------------


def off_from(value_c: float, folder: Path, for_s: float, begins: str = "2027-01-14 20:00") -> House:
    """The last reading, a power cut, a start."""
    house = House(keep=folder, begins=begins)
    house.air(value_c, by=house.now_s + 600)
    house.restart(after_s=for_s)
    return house


def test_ten_minutes_off_are_no_news(tmp_path: Path) -> None:
    """A restart, an update."""
    house = off_from(4.0, tmp_path, 600)

    assert house.steps(WAS_OFF) == []


def test_more_than_ten_minutes_off_are_said_with_their_times(tmp_path: Path) -> None:
    """When, until when, and that nobody watched."""
    house = off_from(20.0, tmp_path, 3 * 3600, begins="2027-01-14 08:00")

    (rang,) = house.notices("was-off")
    assert (rang.kind, rang.priority) == ("activation", "medium")
    assert "08:10–11:10" in rang.text
    assert "nobody watched" in rang.text


@pytest.mark.parametrize(
    ("value_c", "hours", "begins", "priority"),
    [
        (1.0, 0.5, "2027-01-14 12:00", "high"),  # below warn already
        (4.0, 5.0, "2027-01-14 22:00", "high"),  # could have cooled so far
        (14.5, 0.5, "2027-01-14 22:00", "medium"),  # not in half an hour
        (9.0, 5.0, "2027-01-14 09:00", "medium"),  # not by day
    ],
)
def test_was_off_is_high_where_a_tree_is_below_warn_or_could_have_been(
    tmp_path: Path, value_c: float, hours: float, begins: str, priority: str
) -> None:
    """By the house's own cooling, or by an assumed one while that is not known."""
    house = off_from(value_c, tmp_path, hours * 3600, begins)

    assert [t.priority for t in house.transitions(WAS_OFF)] == [priority]


@pytest.mark.parametrize(("falls_to_c", "priority"), [(5.0, "medium"), (-1.0, "high")])
def test_was_off_goes_by_how_the_house_itself_has_cooled(
    tmp_path: Path, falls_to_c: float, priority: str
) -> None:
    """Off for ten dark hours at 6 °C: one house loses a degree in a night, another seven."""
    calm = settings_of({"bench-a": sensor("bench-a", every_s=600.0)})
    house = House(calm, tree("Larch 3", "bench-a", 1.5, -9.0), begins="2027-01-09 12:00", keep=tmp_path)
    for day in range(10, 14):
        house.air(6.0, by=f"01-{day - 1:02} 18:00", every_s=600.0)
        house.air(falls_to_c, by=f"01-{day} 06:00", every_s=600.0)
        house.air(6.0, by=f"01-{day} 12:00", every_s=600.0)
    house.stays(until="01-13 20:00")
    house.restart(after_s=10 * 3600.0)

    assert [str(t.priority) for t in house.transitions(WAS_OFF)] == [priority]
    house.close()


def test_was_off_ends_when_it_is_seen(tmp_path: Path) -> None:
    """There is nothing else that could end it."""
    house = off_from(4.0, tmp_path, 3600)
    house.ack(WAS_OFF)

    assert house.steps(WAS_OFF) == [
        ("unacknowledged", "condition"),
        ("acknowledged", "seen"),
        ("normal", "seen"),
    ]
    house.passes(until=house.now_s + 4 * 3600)
    assert house.state(WAS_OFF) == "normal"


def test_a_second_time_off_is_said_even_if_nobody_has_seen_the_first(tmp_path: Path) -> None:
    """Off twice in one night: the second span is news."""
    house = off_from(4.0, tmp_path, 3600)
    house.air(4.0, by=house.now_s + 900)
    assert house.kinds("was-off", "mail") == ["activation"]
    house.restart(after_s=3600)

    said = house.notices("was-off", "mail")
    assert [str(n.kind) for n in said] == ["raised"]
    assert "21:25–22:25" in said[0].text


def test_after_a_start_every_sensor_has_its_usual_time(tmp_path: Path) -> None:
    """The grace counts from the start, not from the last reading before it."""
    house = off_from(4.0, tmp_path, 3600)
    house.passes(until=house.now_s + 179)
    assert house.steps(SILENT_A) == []

    house.passes(until=house.now_s + 1)
    assert house.state(SILENT_A) == "unacknowledged"


def test_a_silence_lasts_over_a_restart(tmp_path: Path) -> None:
    """Neither forgotten nor raised twice."""
    house = House(keep=tmp_path)
    house.reading(4.0)
    house.passes(until="20:10")
    house.restart()
    house.passes(until="20:30")

    assert house.steps(SILENT_A) == [("unacknowledged", "condition")]
    house.reading(4.0, "20:31")
    assert house.steps(SILENT_A)[-1] == ("returned-unacknowledged", "returned")


# ---- unwatched, unknown, removed ---------------------------------------------------------------------------


def test_a_tree_whose_sensor_left_the_settings_is_unwatched_at_once(tmp_path: Path) -> None:
    """It never stops the start; it says so."""
    house = two_benches(keep=tmp_path)
    house.restart(settings=settings_of(("bench-a",)))

    (change,) = house.transitions("unwatched/yew-2")
    assert (change.priority, change.because) == ("medium", "condition")
    assert "nobody watches" in house.notices("unwatched")[0].text


def test_a_tree_moved_to_a_place_without_a_sensor_is_asked_for_after_twelve_hours() -> None:
    """A night in the workshop is no reason to ring; forgotten there is."""
    house = House()
    house.reading(4.0)
    house.entry("move", trees=["larch-3"], to="workshop")
    moved_at_s = house.now_s
    house.air(4.0, by=moved_at_s + 12 * 3600 - 60, every_s=170)
    assert house.steps("unwatched/larch-3") == []

    house.air(4.0, by=moved_at_s + 12 * 3600 + 60)
    (change,) = house.transitions("unwatched/larch-3")
    assert change.at_s == moved_at_s + 12 * 3600
    assert change.priority == "medium"


def test_a_tree_that_was_never_given_a_place_is_asked_for_after_twelve_hours() -> None:
    """The hours count from its entry, however often it is looked at meanwhile."""
    house = House(entries=[])
    house.reading(4.0)
    house.entry("tree", name="Elm 4")
    begin_s = house.now_s
    house.air(4.0, by=begin_s + 13 * 3600, every_s=170)

    assert [t.at_s for t in house.transitions("unwatched/elm-4")] == [begin_s + 12 * 3600]


def test_unwatched_ends_when_the_tree_is_back_at_a_sensor() -> None:
    """Moved back: over."""
    house = House()
    house.reading(4.0)
    house.entry("move", trees=["larch-3"], to="workshop")
    house.air(4.0, by=house.now_s + 13 * 3600, every_s=170)
    house.entry("move", trees=["larch-3"], sensor="bench-a")

    assert house.steps("unwatched/larch-3")[-1] == ("returned-unacknowledged", "returned")


def test_an_alarm_of_a_sensor_that_left_the_settings_ends_as_removed(tmp_path: Path) -> None:
    """Otherwise it would stand for ever."""
    house = two_benches(keep=tmp_path)
    for _ in range(5):
        house.reading(4.0, house.now_s + 60, by="bench-a")
    assert house.state(SILENT_B) == "unacknowledged"
    house.restart(settings=settings_of(("bench-a",)))

    assert house.steps(SILENT_B)[-1] == ("normal", "removed")


def test_an_alarm_of_a_tree_that_left_the_book_by_hand_ends_as_removed(tmp_path: Path) -> None:
    """Somebody mended the book while the program was off."""
    house = two_benches(keep=tmp_path)
    house.air(0.5, by="20:20")
    assert house.state(LARCH) == "unacknowledged"
    house.entries = tree("Yew 2", "bench-b", -1.0, -4.0)
    house.restart(book=house.entries)

    assert house.steps(LARCH)[-1] == ("normal", "removed")
    assert house.steps(YEW) == []


def test_what_cannot_be_judged_is_unknown_and_changes_nothing() -> None:
    """A failed reading neither raises nor clears."""
    house = House()
    house.reading(200.0)
    (guarded,) = house.engine.guarding.at_sensor("bench-a")
    found = [finding.assessment for finding in house.engine.guarding.judge(house.readings[0])]

    assert guarded.tree.id == "larch-3"
    assert {each.judgement for each in found} == {Judgement.UNKNOWN}
