"""Seen is not safe: who said "I have seen it" is rung again when it gets worse."""

import pytest

from tests.engine.house import LARCH, LARCH_ALONE, YEW, House, clock_time, settings_of, tree

LARCH_AND_YEW = [*LARCH_ALONE, *tree("Yew 2", "bench-a", -1.0, -4.0)]


def seen_in_frost(**more: object) -> House:
    """A medium alarm since before ten past eight, seen at twenty past by Ann; 1 °C, and it stays so."""
    house = House(**more)
    house.reading(2.0)
    house.air(1.0, by="20:10")
    house.stays(until="20:20")
    house.ack(LARCH)
    house.kinds()
    return house


def test_an_alarm_that_was_seen_is_quiet_while_it_does_not_get_worse() -> None:
    """Two hours at the same temperature: nothing more."""
    house = seen_in_frost()
    house.stays(until="22:30")

    assert house.kinds() == []
    assert house.state() == "acknowledged"


def test_two_kelvin_worse_than_when_seen_rings_again() -> None:
    """The same occurrence, kind `raised`, with what was seen and when; at −1.0, not at −0.9."""
    house = House(entries=tree("Larch 3", "bench-a", 1.5, -5.0))
    house.reading(2.0)
    house.air(1.0, by="20:10")
    house.stays(until="20:20")
    house.ack(LARCH)
    house.kinds()
    house.reading(-0.9, "20:21")
    house.reading(-0.9, "20:22")
    assert house.kinds() == []

    house.reading(-1.0, "20:23")
    (rang,) = house.notices()
    assert (rang.kind, rang.priority) == ("raised", "medium")
    assert "seen at 20:20" in rang.text
    assert "−1.0 °C" in rang.text
    assert house.steps()[-1] == ("unacknowledged", "worse")
    assert len(house.occurrences()) == 1


def test_still_getting_worse_after_45_minutes_rings_again() -> None:
    """Less than two kelvin, but colder than when it was seen, and still falling."""
    house = seen_in_frost()
    house.air(0.4, by="21:04:59")
    assert house.kinds() == []

    house.air(0.39, by="21:06")
    (rang,) = house.notices()
    assert rang.kind == "raised"
    assert clock_time(rang.at_s) == "21:05:00"
    assert len(house.occurrences()) == 1


def test_after_45_minutes_it_is_looked_at_again_and_again() -> None:
    """It stood still at first, and fell later: rung within a quarter of an hour."""
    house = seen_in_frost()
    house.stays(until="21:30")
    house.air(0.5, by="22:00")

    assert [clock_time(n.at_s) for n in house.notices()] == ["21:50:00"]


def test_a_house_that_warms_is_left_alone_after_45_minutes() -> None:
    """Colder than when seen, but rising."""
    house = seen_in_frost()
    house.air(0.5, by="20:40")
    house.air(0.9, by="21:30")

    assert house.kinds() == []


def test_a_rise_to_high_after_it_was_seen_rings() -> None:
    """Who saw "tender" has not seen "damage likely"."""
    house = seen_in_frost()
    house.air(-0.2, by="20:40")

    (rang,) = [n for n in house.notices() if n.notifier == "mail"][:1]
    assert (rang.kind, rang.priority) == ("raised", "high")
    assert "seen at 20:20" in rang.text
    assert house.steps()[-1] == ("unacknowledged", "priority")


def test_after_it_rang_again_it_is_passed_on_and_repeated_like_the_first_time() -> None:
    """A high alarm that gets worse after it was seen needs somebody as much as at first."""
    house = seen_in_frost()
    house.air(-0.2, by="20:40")
    house.stays(until="21:45")

    kinds = [(str(n.kind), n.notifier) for n in house.notices()]
    assert kinds[0] == ("raised", "mail")
    assert ("escalation", "hook") in kinds
    assert ("repeat", "mail") in kinds


def test_seen_once_more_counts_from_what_is_seen_then() -> None:
    """The second "seen" sets the mark anew."""
    house = House(entries=tree("Larch 3", "bench-a", 1.5, -9.0))
    house.reading(1.0)
    house.stays(until="20:10")
    house.ack(LARCH)
    house.air(-1.2, by="20:30")
    assert house.state() == "unacknowledged"
    house.ack(LARCH)
    house.air(-3.1, by="20:50")
    assert house.state() == "acknowledged"

    house.reading(-3.3, "20:51")
    assert house.state() == "unacknowledged"


@pytest.mark.parametrize("suspect_c", [-9.0])
def test_a_suspect_reading_that_is_worse_rings_again_too(suspect_c: float) -> None:
    """Doubtful and bad is no reason to stay silent."""
    house = seen_in_frost()
    house.reading(suspect_c, "20:21")
    house.reading(suspect_c, "20:22")

    assert "raised" in house.kinds()


# ---- for the whole episode, by anyone, for all -------------------------------------------------------------


def test_seen_counts_for_the_whole_episode() -> None:
    """Ann names one tree; the house's frost is seen."""
    house = House(entries=LARCH_AND_YEW)
    house.reading(0.5)
    house.air(-2.0, by="20:15")
    assert (house.state(LARCH), house.state(YEW)) == ("unacknowledged", "unacknowledged")
    house.ack(YEW)

    assert (house.state(LARCH), house.state(YEW)) == ("acknowledged", "acknowledged")


@pytest.mark.parametrize("target", ["cold", "--all", "notice"])
def test_seen_can_be_said_of_a_house_a_notice_or_everything(target: str) -> None:
    """Whatever is at hand at three in the morning."""
    house = House(entries=LARCH_AND_YEW)
    house.reading(0.5)
    house.air(-2.0, by="20:15")
    house.ack(house.said()[0].notice if target == "notice" else target)

    assert (house.state(LARCH), house.state(YEW)) == ("acknowledged", "acknowledged")


def test_the_others_are_told_that_it_was_seen_and_who_saw_it_is_not() -> None:
    """Both were called; Tom says that he saw it; Ann may sleep on."""
    house = House()
    house.reading(0.5)
    house.air(-0.5, by="20:15")
    house.stays(until="20:30")
    told = {n.notifier for n in house.notices()}
    assert told == {"mail", "hook"}
    house.ack(LARCH, by="tom")

    (seen,) = house.notices()
    assert (seen.kind, seen.notifier) == ("seen", "mail")
    assert "Tom saw this at 20:30" in seen.text


def test_who_saw_it_is_named_also_where_an_alarm_of_it_was_over_already() -> None:
    """Pine 1 was over when Tom looked; the others hear that it was Tom."""
    house = House(settings_of(("bench-a", "bench-b")), [*LARCH_ALONE, *tree("Pine 1", "bench-b", 1.5, -4.0)])
    house.air(1.0, by="20:10")
    house.air({"bench-a": 1.0, "bench-b": 6.0}, by="20:30")
    house.ack("cold", by="tom")

    (said,) = [notice for notice in house.said("frost", "mail") if str(notice.kind) == "seen"]
    assert said.subject.startswith("Seen by Tom")


def test_seen_by_nobody_in_particular_is_told_to_all() -> None:
    """From the page, without a name."""
    house = House()
    house.reading(0.5)
    house.air(-0.5, by="20:05")
    house.kinds()
    house.ack(LARCH, by="")

    assert [(n.kind, n.notifier) for n in house.notices()] == [("seen", "mail")]


def test_seen_twice_is_told_once() -> None:
    """Two people press at the same moment."""
    house = House()
    house.reading(0.5)
    house.air(-0.5, by="20:30")
    house.kinds()
    house.ack(LARCH, by="tom")
    house.ack(LARCH, by="ann")

    assert house.kinds() == ["seen"]


def test_seen_ends_repeats_and_passing_on() -> None:
    """Somebody is on the way."""
    house = House()
    house.reading(0.5)
    house.air(-0.5, by="20:05")
    house.ack(LARCH)
    house.kinds()
    house.stays(until="22:30")

    assert house.kinds() == []


def test_seen_and_over_is_normal_and_over_but_not_seen_waits_for_somebody() -> None:
    """ISA-18.2: acknowledged -> normal; unacknowledged -> returned-unacknowledged."""
    house = seen_in_frost()
    house.air(4.0, by="21:00")
    assert house.steps()[-1] == ("normal", "returned")

    other = House()
    other.reading(1.0)
    other.stays(until="20:10")
    other.air(4.0, by="20:30")
    assert other.state() == "returned-unacknowledged"
    other.ack(LARCH)
    assert other.steps()[-1] == ("normal", "seen")


def test_nobody_can_see_what_does_not_stand() -> None:
    """The answer says what to do instead."""
    reply = House().ack(LARCH)

    assert not reply.ok
    assert "alarm list" in reply.message


def test_a_tree_that_joins_after_it_was_seen_is_not_repeated() -> None:
    """It was named as next in what was seen, and somebody is on the way."""
    house = House(settings_of(), LARCH_AND_YEW)
    house.reading(2.0)
    house.air(0.5, by="20:20")
    house.ack(LARCH)
    house.kinds()
    house.air(-1.3, by="20:40")

    assert house.state(YEW) == "unacknowledged"
    assert "repeat" not in house.kinds()
