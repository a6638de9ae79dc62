"""What is asked today: seven things at most, the most urgent first; and what the coming week brings."""

from datetime import date, timedelta

from monitor.model import AlarmState, Priority
from monitor.report.facts import HouseNight
from tests.report.facts import alarm, at, follow_up, report, sensor, tree


def abouts(**changes: object) -> list[str]:
    """What the asks of a report are about, in order."""
    return [ask.about for ask in report(**changes).today]


def test_nothing_due_is_nothing_asked() -> None:
    """A quiet night with nothing to do."""
    said = report()

    assert said.today == ()
    assert said.can_wait == 0


def test_seven_are_asked_and_the_rest_is_counted() -> None:
    """Sixteen due: nine more can wait."""
    due = tuple(follow_up(f"check-{number}") for number in range(16))

    said = report(follow_ups=due)

    assert len(said.today) == 7
    assert said.can_wait == 9


def test_the_most_urgent_comes_first() -> None:
    """A standing alarm, harm, an unwatched tree, a silent sensor, what bites, what is late, what is due."""
    silent = sensor("bench-b", gaps=((at("17 05:00"), at("17 06:45")),))
    assert abouts(
        trees=(
            tree(low_c=-1.2),
            tree("Pine 1", None, sensor=""),
            tree("Yew 2", sensor="bench-b"),
        ),
        houses=(HouseNight("cold", "Cold house", (sensor(), silent)),),
        alarms=(
            alarm(active=True, ended_s=None, state=AlarmState.UNACKNOWLEDGED),
            alarm(subject="Yew 2"),
        ),
        follow_ups=(
            follow_up("due-check", due="2027-01-16"),
            follow_up("late-check", due="2027-01-12", status="late"),
            follow_up("wire-off", due="2027-01-17", because="bite was found on 2027-01-14"),
        ),
    ) == [
        "Larch 3",
        "Larch 3",
        "Pine 1",
        "Sensor bench-b",
        "Larch 3, wire off",
        "Larch 3, late check",
        "Larch 3, due check",
    ]


def test_each_says_why_and_how_long_it_can_wait() -> None:
    """Due, due for the last day, late."""
    said = report(
        follow_ups=(
            follow_up("a", due="2027-01-17"),
            follow_up("b", due="2027-01-15"),
            follow_up("c", due="2027-01-12", status="late"),
        )
    )

    assert {ask.about[-1]: ask.wait for ask in said.today} == {
        "a": "it can wait until Tue 19 Jan",
        "b": "it should not wait longer than today",
        "c": "it was due on Tue 12 Jan",
    }
    assert all(ask.why == "1 day after heavy bend" for ask in said.today)


def test_what_was_left_alone_for_weeks_does_not_crowd_out_what_is_due() -> None:
    """Somebody who never says done still reads what matters today."""
    left = tuple(follow_up(f"old-{n}", due="2026-12-01", status="late") for n in range(9))

    assert abouts(follow_ups=(*left, follow_up("new")))[0] == "Larch 3, new"


def test_a_frozen_tree_is_left_alone_first() -> None:
    """No hand on a frozen branch: by day, once it has thawed by itself."""
    frozen = tree(low_c=-1.2, is_frozen=True, now_c=-0.4)

    harm, check = report(trees=(frozen,), follow_ups=(follow_up(),)).today

    assert harm.what.startswith("let it thaw untouched where it stands; then look")
    assert harm.wait == "it can wait until it has thawed, not beyond today"
    assert check.what == "not before it has thawed: look at it."


def test_a_tree_that_nobody_sees_may_be_frozen() -> None:
    """Its sensor is silent now."""
    (ask,) = report(trees=(tree(now_c=None),), follow_ups=(follow_up(),)).today

    assert ask.what == "see first that it is not frozen; look at it."


def test_standing_frost_asks_for_the_heater_and_warns_of_burners() -> None:
    """A text that suggests heat must not kill."""
    standing = alarm(active=True, ended_s=None, state=AlarmState.UNACKNOWLEDGED)

    (ask,) = report(alarms=(standing,)).today

    assert "whether the heater runs" in ask.what
    assert ask.what.endswith("No burner or charcoal in a shut house; do not stay inside.")
    assert ask.wait == "it cannot wait"


def test_what_shares_a_cold_night_is_one_line() -> None:
    """Frost leads; heater and root-ball belong to it; a warm noon does not."""
    said = report(
        alarms=(
            alarm(),
            alarm("heater-not-holding", "Cold house", since_s=at("17 02:00"), ended_s=at("17 03:50")),
            alarm("frozen-root-ball", "Pine 1", since_s=at("17 04:10"), ended_s=at("17 05:00")),
            alarm("high-temperature", "Yew 2", since_s=at("16 09:00"), ended_s=at("16 10:00")),
        )
    )

    assert said.alarms == (
        "yesterday 09:00–10:00: too warm at Yew 2; nobody has seen it",
        (
            "02:06–03:38: frost at Larch 3, lowest −1.2 °C; with it the heater did not hold in Cold house, "
            "the root-ball was too cold at Pine 1; nobody has seen it"
        ),
    )


def test_wraps_ask_for_water_then_for_a_hand_and_ring_nobody() -> None:
    """They stand among what is asked, not among what rang; a touch asked twice is asked once."""
    stands = {"active": True, "ended_s": None, "state": AlarmState.UNACKNOWLEDGED, "priority": Priority.LOW}
    wet = {"cause": "the wrap dries: dry in 4–9 h", "action": "Wet it again this morning."}
    feel = {"cause": "how wet it is, is not known", "action": "Lift an edge and feel."}
    said = report(
        alarms=(
            alarm("wrap-unknown", "Larch 3", part="first-branch", **feel, **stands),
            alarm("wrap-drying", "Yew 2", part="top", **wet, **stands),
        ),
        trees=(tree(), tree("Yew 2")),
        follow_ups=(follow_up("second-touch"), follow_up("crack-check")),
    )

    assert said.alarms == ()
    assert [(ask.about, ask.what, ask.wait) for ask in said.today[:2]] == [
        ("Yew 2, wrap top", "wet it again this morning.", "it can wait until noon, not longer"),
        ("Larch 3, wrap first-branch", "lift an edge and feel.", "it can wait until this evening"),
    ]
    assert [ask.about for ask in said.today[2:]] == ["Larch 3, crack check"]


def test_what_stands_asks_in_its_own_words() -> None:
    """The action of the alarm, and why."""
    heater = alarm(
        "heater-not-holding",
        "Cold house",
        active=True,
        ended_s=None,
        state=AlarmState.UNACKNOWLEDGED,
        cause="the heater does not hold: 1.2 °C and falling",
        action="Bottle empty? Look at the fuel first.",
    )

    (ask,) = report(alarms=(heater,)).today

    assert (ask.about, ask.what) == ("Cold house", "bottle empty? Look at the fuel first.")
    assert ask.why == "the heater does not hold: 1.2 °C and falling, since 02:06; nobody has seen it"


def test_many_harmed_trees_are_one_walk() -> None:
    """More than three: the worst first, in one ask."""
    trees = tuple(tree(f"Larch {n}", low_c=-0.1 * n) for n in range(1, 6))

    (ask,) = report(trees=trees).today

    assert ask.about == "Larch 5, Larch 4, Larch 3, Larch 2 and Larch 1"


def test_a_house_that_is_not_set_up_asks_for_that() -> None:
    """The first morning after `init`."""
    unheard = sensor(low_c=None, gaps=((at("16 16:00"), at("17 06:45")),))

    assert abouts(trees=(), houses=(HouseNight("cold", "Cold house", (unheard,)),)) == ["Sensors", "Trees"]


def test_alarms_that_are_over_and_unseen_are_one_last_ask() -> None:
    """They do not ring any more."""
    said = report(alarms=(alarm(), alarm(subject="Yew 2")), follow_ups=(follow_up(),))

    assert said.today[-1].why == "2 alarms are over and nobody has said so"


def test_the_coming_week_is_told_day_by_day() -> None:
    """Seven days from tomorrow; the same task on several trees is told once."""
    today = date(2027, 1, 17)
    coming = tuple(
        follow_up(
            "wire-check", due=(today + timedelta(days=days)).isoformat(), status="coming", tree_name=name
        )
        for days, name in ((1, "Larch 3"), (1, "Yew 2"), (7, "Pine 1"), (8, "Pine 2"))
    )

    assert report(follow_ups=coming).coming == (
        ("Mon 18 Jan", "Wire check (Larch 3 and Yew 2)"),
        ("Sun 24 Jan", "Wire check (Pine 1)"),
    )


def test_alarms_that_came_together_are_one_line_with_their_answer() -> None:
    """Frost at three trees; Ann saw it, and it grew worse."""
    seen = {"seen_by": "ann", "seen_at_s": at("17 02:31")}
    alarms = (
        alarm(**seen),
        alarm(subject="Yew 2", since_s=at("17 02:20"), lowest_c=-0.8, **seen),
        alarm(
            "sensor-silent",
            "bench-b",
            priority=Priority.MEDIUM,
            since_s=at("17 04:00"),
            ended_s=at("17 04:30"),
        ),
    )

    assert report(alarms=alarms).alarms == (
        (
            "02:06–03:38: frost at Larch 3 and Yew 2, lowest −1.2 °C; seen at 02:31 by Ann, "
            "not again after it grew worse"
        ),
        "04:00–04:30: the sensor bench-b was silent; nobody has seen it",
    )
