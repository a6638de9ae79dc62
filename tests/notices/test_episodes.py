"""One episode rings once: which alarm joins silently, which rings, and what the notice says."""

from tests.engine.house import LARCH, LARCH_ALONE, PINE, YEW, House, clock_time, settings_of, tree

LARCH_AND_YEW = [*LARCH_ALONE, *tree("Yew 2", "bench-a", -1.0, -4.0)]
NO_BURNER = "No burner or charcoal in a shut house; do not stay inside."


def test_one_notice_names_every_tree_and_who_is_next() -> None:
    """Larch 3 and Pine 1 stand in it, Yew 2 is next, with the hour."""
    house = House(entries=[*LARCH_AND_YEW, *tree("Pine 1", "bench-a", 1.5, -0.5)])
    house.reading(4.0)
    house.air(1.0, by="21:00")

    (rang,) = house.notices()
    first, *_ = rang.text.partition("What to do")
    assert set(rang.alarms) == {LARCH, PINE}
    assert "- Larch 3: " in first
    assert "- Pine 1: " in first
    assert "Next: Yew 2 at −4 °C about 22:" in first


def test_trees_that_come_up_at_the_same_reading_ring_once() -> None:
    """Three trees at one sensor and one limit: one notice a notifier."""
    house = House(entries=[entry for name in ("Larch 3", "Yew 2", "Pine 1")
                           for entry in tree(name, "bench-a", 1.5, 0.0)])  # fmt: skip
    house.reading(1.0)
    house.reading(1.0, "20:01")

    assert [(n.kind, n.notifier) for n in house.notices()] == [("activation", "mail")]


def test_trees_at_different_sensors_of_a_house_share_the_episode() -> None:
    """The house is one body of air."""
    house = House(settings_of(("bench-a", "bench-b")), [*LARCH_ALONE, *tree("Yew 2", "bench-b", 1.5, 0.0)])
    house.air(3.0, by="20:05")
    house.air({"bench-a": 1.2, "bench-b": 2.0}, by="20:30")
    house.air({"bench-a": 1.2, "bench-b": 1.2}, by="20:50")

    frost = house.notices()
    assert len({n.notice.rsplit(".", 1)[0] for n in frost}) == 1


def test_a_tree_that_was_named_as_next_joins_silently_at_medium() -> None:
    """Yew 2 at −1: that was said."""
    house = House(entries=LARCH_AND_YEW)
    house.reading(3.0)
    house.air(0.3, by="20:40")
    assert "Next: Yew 2" in house.notices()[0].text
    house.ack(LARCH)
    house.kinds()
    house.air(-1.2, by="21:00")

    assert house.state(YEW) == "unacknowledged"
    assert [n for n in house.notices() if YEW in n.alarms and LARCH not in n.alarms] == []


def test_a_tree_that_was_named_as_next_rings_at_high() -> None:
    """Named as next is not yet damage."""
    house = House(entries=[*LARCH_ALONE, *tree("Yew 2", "bench-a", 0.2, -1.0)])
    house.reading(3.0)
    house.air(0.5, by="20:40")
    assert "Next: Yew 2 at −1 °C" in house.notices()[0].text
    house.ack(LARCH)
    house.kinds()
    for minute in (1, 2, 3):
        house.reading(-1.1, house.now_s + 60 * (minute > 0))

    rang = [n for n in house.notices() if n.notifier == "mail"]
    assert [(str(n.kind), str(n.priority)) for n in rang[:1]] == [("activation", "high")]
    assert "- Yew 2: −1.1 °C" in rang[0].text


def test_a_tree_that_was_not_named_rings() -> None:
    """It stands where another sensor is, and nothing had pointed that way."""
    house = House(settings_of(("bench-a", "bench-b")), [*LARCH_ALONE, *tree("Yew 2", "bench-b", 1.5, 0.0)])
    house.air({"bench-a": 3.0, "bench-b": 3.0}, by="20:01")
    house.air({"bench-a": 1.2, "bench-b": 3.0}, by="20:40")
    assert "Yew 2" not in house.notices()[0].text
    house.stays(until="20:45")
    house.air({"bench-b": 1.2}, by="21:05")

    rang = [n for n in house.notices() if n.kind == "activation"]
    assert [n.notifier for n in rang] == ["mail"]
    assert "- Yew 2: " in rang[0].text


def test_a_rise_to_high_rings() -> None:
    """Tender was said; damage likely is news."""
    house = House()
    house.reading(2.0)
    house.air(1.0, by="20:10")
    house.stays(until="20:20")
    assert [(n.kind, n.priority) for n in house.notices()] == [("activation", "medium")]
    house.air(-0.2, by="20:35")

    assert [(n.kind, n.priority) for n in house.notices()][:1] == [("raised", "high")]
    assert len(house.occurrences()) == 1


def test_a_named_tree_that_comes_back_in_the_same_episode_is_silent() -> None:
    """Yew 2 warms up and cools down again while Larch 3 still stands in the frost."""
    house = House(settings_of(("bench-a", "bench-b")), [*LARCH_ALONE, *tree("Yew 2", "bench-b", 1.5, 0.0)])
    house.air(1.0, by="20:05")
    house.kinds()
    house.air({"bench-b": 3.0}, by="20:12")
    house.stays(until="20:20")
    assert house.state(YEW) == "returned-unacknowledged"
    house.air({"bench-b": 1.0}, by="20:25")
    house.stays(until="20:26")

    assert len(house.occurrences(YEW)) == 2
    assert house.kinds() == []


def test_a_frost_after_the_episode_ended_is_a_new_one_and_rings() -> None:
    """Over is over."""
    house = House()
    house.reading(1.0)
    house.stays(until="20:05")
    house.air(4.0, by="20:15")
    house.stays(until="20:25")
    house.air(1.0, by="20:35")
    house.stays(until="20:36")

    assert house.kinds(notifier="mail") == ["activation", "cleared", "activation"]
    assert len({n.notice for n in house.said()}) == 3


def test_two_frosts_within_a_second_have_names_of_their_own() -> None:
    """Names come from content; what happened later must not hide behind what was said before."""
    raw = {"low-temperature": {"deadband": 0, "on_delay_s": 0, "on_samples": 1, "off_delay_s": 0}}
    house = House(settings_of(alarms=raw))
    for step, value in enumerate((3.0, 1.4, 2.0, 1.4, 2.0)):
        house.reading(value, house.start_s + 1 + step / 10)

    names = [(n.notice, n.notifier) for n in house.said()]
    assert house.kinds(notifier="mail") == ["activation", "cleared", "activation", "cleared"]
    assert len(set(names)) == len(names)


def test_a_frost_after_the_clock_was_set_back_has_a_name_of_its_own() -> None:
    """The same hour comes twice on people's clocks, and never for the guard."""
    house = House()
    house.reading(1.0)
    house.stays(until="20:05")
    first = house.said()[0]
    house.air(4.0, by=house.now_s + 600)
    house.stays(until=house.now_s + 600)
    house.clock_steps(first.at_s - house.now_s - 120 + 60 - house.offset_s)
    house.air(1.0, by=house.now_s + 60)
    house.stays(until=house.now_s + 180)

    names = {n.notice for n in house.said()}
    assert len(names) == 3


# ---- over --------------------------------------------------------------------------------------------------


def test_over_goes_where_the_activation_went() -> None:
    """Ann and Tom were called, so both hear that it is over; nobody else does."""
    house = House()
    house.reading(0.5)
    house.air(-0.5, by="20:05")
    house.stays(until="20:20")
    assert {n.notifier for n in house.notices()} == {"mail", "hook"}
    house.air(5.0, by="20:40")
    house.stays(until="20:50")

    assert [(n.kind, n.notifier) for n in house.notices()][-2:] == [("cleared", "mail"), ("cleared", "hook")]


def test_over_is_said_once_all_alarms_of_the_episode_are_over() -> None:
    """Larch 3 is safe while Yew 2 is not: the night is not over."""
    house = House(settings_of(("bench-a", "bench-b")), [*LARCH_ALONE, *tree("Yew 2", "bench-b", 1.5, 0.0)])
    house.air(1.0, by="20:05")
    house.air({"bench-a": 4.0}, by="20:30")
    assert house.state(LARCH) == "returned-unacknowledged"
    assert "cleared" not in house.kinds()

    house.air({"bench-b": 4.0}, by="20:50")
    house.stays(until="21:00")
    assert house.kinds().count("cleared") == 1


def test_over_before_it_was_ever_delivered_is_one_notice_that_says_both() -> None:
    """The network was down for the whole frost."""
    house = House(delivers=False)
    house.reading(1.0)
    house.stays(until="20:05")
    (rang,) = house.notices()
    house.air(4.0, by="20:30")

    (both,) = house.notices()
    assert both.kind == "cleared"
    assert "could not be delivered" in both.text
    assert "is over now" in both.text
    withdrawn = [(o.notice, o.notifier) for o in house.outbox if o.status == "withdrawn"]
    assert withdrawn == [(rang.notice, "mail")]


def test_over_after_it_was_delivered_is_just_over() -> None:
    """And nothing is withdrawn."""
    house = House()
    house.reading(1.0)
    house.stays(until="20:05")
    house.air(4.0, by="20:30")

    over = house.notices()[-1]
    assert over.kind == "cleared"
    assert "could not be delivered" not in over.text
    assert [o for o in house.outbox if o.status == "withdrawn"] == []


def test_each_way_hears_what_it_did_not_hear_before() -> None:
    """Mail got through, the hook did not."""
    house = House(delivers=False)
    house.reading(0.5)
    house.air(-0.5, by="20:05")
    house.delivered(house.notices("frost", "mail")[0])
    house.stays(until="20:20")
    house.air(5.0, by="20:50")

    over = {n.notifier: n.text for n in house.notices() if n.kind == "cleared"}
    assert "could not be delivered" not in over["mail"]
    assert "could not be delivered" in over["hook"]


def test_what_was_withdrawn_is_no_longer_waiting() -> None:
    """The page's count of what is under way comes back to nothing."""
    house = House(delivers=False)
    house.reading(1.0)
    house.stays(until="20:05")
    house.air(4.0, by="20:30")
    for notice in house.notices_seen:
        if notice is not house.said()[0]:
            house.delivered(notice)

    assert [each["pending"] for each in house.engine.snapshot().delivery] == [0, 0, 0]


# ---- repeats, passing on -----------------------------------------------------------------------------------


def test_repeats_come_after_30_60_and_120_minutes_and_then_only_when_worse() -> None:
    """Counted from the ring; medium, outside quiet hours."""
    house = House()
    house.reading(1.0)
    house.stays(until="20:01")
    assert [clock_time(n.at_s) for n in house.notices()] == ["20:01:00"]
    house.stays(until="23:59")

    repeats = [n for n in house.notices() if n.kind == "repeat"]
    assert [clock_time(n.at_s) for n in repeats] == ["20:31:00", "21:01:00", "22:01:00"]
    assert house.kinds() == []


def test_a_repeat_says_for_how_long_it_stands_and_how_it_is_now() -> None:
    """The temperature of now, not of then."""
    house = House()
    house.reading(1.4)
    house.air(0.6, by="20:40")

    repeat = next(n for n in house.notices() if n.kind == "repeat")
    assert "Nobody has answered since 20:01, 30 min ago" in repeat.text
    assert "Larch 3: 0.8 °C" in repeat.text


def test_a_high_alarm_that_nobody_has_seen_is_passed_on() -> None:
    """After ten minutes, to Tom; he is told that he is next, and medium alarms are not passed on."""
    house = House()
    house.reading(0.5)
    house.air(-0.5, by="20:05")
    rang_at_s = house.said()[-1].at_s
    house.stays(until="20:20")

    (passed,) = [n for n in house.notices() if n.kind == "escalation"]
    assert (passed.notifier, passed.priority) == ("hook", "high")
    assert passed.at_s - rang_at_s == 600
    assert "you are next" in passed.text

    medium = House()
    medium.reading(1.0)
    medium.stays(until="21:00")
    assert "escalation" not in medium.kinds()


def test_who_was_passed_on_to_hears_the_rest_of_the_episode() -> None:
    """Repeats, seen and over go to everybody who was called."""
    house = House()
    house.reading(0.5)
    house.air(-0.5, by="20:05")
    house.stays(until="20:40")

    repeats = [n for n in house.notices() if n.kind == "repeat"]
    assert {n.notifier for n in repeats} == {"mail", "hook"}


def test_all_matching_calls_apply_and_each_notifier_hears_once() -> None:
    """Two calls tell Ann of high alarms: one notice."""
    twice = (
        {"tell": ["high"], "who": ["ann", "log"]},
        {"tell": ["high", "medium"], "who": ["ann"]},
    )
    house = House(settings_of(calls=twice))
    house.reading(-1.0)
    house.reading(-1.0, "20:01")

    assert [n.notifier for n in house.notices()] == ["mail", "log"]


def test_a_person_on_duty_is_called_too() -> None:
    """Tom looks after the trees this week."""
    house = House()
    house.reading(3.0)
    house.entry("duty", person="tom", until="2027-01-21T20:00:00Z")
    house.air(1.0, by="20:20")

    assert [(n.kind, n.notifier) for n in house.notices()] == [("activation", "mail"), ("activation", "hook")]


# ---- shelved -----------------------------------------------------------------------------------------------


def test_a_shelved_alarm_is_quiet_until_its_shelf_ends_and_then_rings_again() -> None:
    """ "Quiet until nine": no repeats before, one ring then, if it still stands."""
    house = House()
    house.reading(1.0)
    house.stays(until="20:05")
    house.kinds()
    assert house.shelve(LARCH, hours=1.0).ok
    house.stays(until="21:04")
    assert house.kinds() == []

    house.stays(until="21:06")
    assert [clock_time(n.at_s) for n in house.notices("frost", "mail")][-1:] == ["21:05:00"]
    assert house.steps()[-1] == ("unacknowledged", "shelf-ended")


def test_only_the_alarm_that_was_named_is_made_quiet() -> None:
    """Quiet for one tree leaves the others of its house as they were."""
    house = House(settings_of(("bench-a", "bench-b")), [*LARCH_ALONE, *tree("Yew 2", "bench-b", 1.5, -4.0)])
    house.air(1.0, by="20:10")
    assert house.shelve(LARCH, 1.0).value == [LARCH]

    assert (house.state(LARCH), house.state(YEW)) == ("shelved", "unacknowledged")


def test_a_shelved_alarm_that_rises_to_high_rings_and_its_shelf_ends() -> None:
    """Nobody asked for quiet about that."""
    house = House()
    house.reading(1.0)
    house.stays(until="20:05")
    house.shelve(LARCH, hours=2.0)
    house.kinds()
    house.air(-0.3, by="20:20")

    assert house.state() == "unacknowledged"
    assert [(n.kind, n.priority) for n in house.notices()][:1] == [("raised", "high")]
    house.stays(until="22:06")
    assert ("unacknowledged", "shelf-ended") not in house.steps()


def test_high_is_never_shelved_and_nothing_for_longer_than_twelve_hours() -> None:
    """The answer says what to do instead."""
    house = House()
    house.reading(1.0)
    house.stays(until="20:05")
    assert not house.shelve(LARCH, hours=12.1).ok
    house.air(-0.3, by="20:20")

    refused = house.shelve(LARCH, hours=1.0)
    assert not refused.ok
    assert "high" in refused.message


# ---- words -------------------------------------------------------------------------------------------------


def test_a_notice_that_suggests_heat_ends_with_the_caution_about_burners() -> None:
    """Whatever else it says."""
    house = House(settings_of(houses={"cold": {"name": "Cold house", "heater_setpoint_c": 4.0}}))
    house.reading(0.5)
    house.air(-2.0, by="20:30")
    house.stays(until="21:10")

    suggesting = [n for n in house.notices() if "heater" in n.text.lower()]
    assert len(suggesting) > 3
    assert [n.text[-60:] for n in suggesting if not n.text.rstrip().endswith(NO_BURNER)] == []


def test_no_notice_advises_to_handle_frozen_branches() -> None:
    """It says to leave them."""
    house = House()
    house.reading(-2.0)
    house.reading(-2.0, "20:01")

    assert "Do not touch, bend or carry frozen branches" in house.notices()[0].text
