"""At most five notices in ten minutes a notifier; the rest is folded into the next one, high within 30 s.

Every expected value is a rule of this program's own; there is no outside source for them.
"""

from collections.abc import Iterator
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.model import Notice, NoticeKind, Priority
from monitor.notices.rate import Rate
from monitor.notices.words import NO_BURNER
from tests.engine.house import House, clock_time, settings_of, tree

T0 = 1_799_960_000.0
MEDIUM, HIGH, LOW = Priority.MEDIUM, Priority.HIGH, Priority.LOW


def notice(number: int, priority: Priority = MEDIUM, kind: NoticeKind = NoticeKind.ACTIVATION) -> Notice:
    """The number says which it is."""
    return Notice(T0, f"n{number}", kind, priority, "mail", f"subject {number}", f"text {number}",
                  (f"a/{number}",), (f"a/{number}@1",))  # fmt: skip


def played(events: list[tuple[float, Notice]], until_s: float) -> Iterator[tuple[float, Notice]]:
    """What goes out and when, with every fold at its time."""
    rate = Rate()
    for at_s, each in [*events, (until_s, None)]:
        for notifier, due_s in list(rate.dues().items()):
            if due_s <= at_s:
                yield from ((due_s, sent) for sent in rate.unfold(notifier, due_s))
        if each is not None:
            yield from ((at_s, sent) for sent in rate.pass_or_fold(each, at_s))


def test_five_in_ten_minutes_pass_and_the_sixth_waits_for_the_window() -> None:
    """Ten minutes after the first of the five."""
    sent = list(played([(T0 + 10 * n, notice(n)) for n in range(6)], T0 + 3600))

    assert [(at_s - T0, n.notice) for at_s, n in sent] == [
        (0, "n0"), (10, "n1"), (20, "n2"), (30, "n3"), (40, "n4"), (600, "n5"),
    ]  # fmt: skip


def test_everything_that_waited_goes_out_as_one_with_the_most_urgent_first() -> None:
    """One notice that tells all of it; the alarms of all stand in it."""
    events = [(T0 + n, notice(n)) for n in range(5)]
    events += [(T0 + 10, notice(5, LOW)), (T0 + 11, notice(6)), (T0 + 12, notice(7, LOW))]
    sent = list(played(events, T0 + 3600))

    at_s, folded = sent[-1]
    assert at_s == T0 + 600
    assert (folded.notice, folded.subject) == ("n6", "subject 6 and 2 more")
    assert folded.text == "text 6\n\ntext 5\n\ntext 7"
    assert folded.alarms == ("a/6", "a/5", "a/7")
    assert folded.occurrences == ("a/6@1", "a/5@1", "a/7@1")


def test_high_is_held_thirty_seconds_at_most() -> None:
    """Whatever the count."""
    events = [(T0 + n, notice(n)) for n in range(5)]
    events += [(T0 + 10, notice(5)), (T0 + 20, notice(6, HIGH))]
    sent = list(played(events, T0 + 3600))

    assert [(at_s - T0, n.notice, n.priority) for at_s, n in sent[5:]] == [(50, "n6", HIGH)]
    assert "text 5" in sent[5][1].text


def test_reports_and_drills_are_not_counted_and_never_wait() -> None:
    """The cap is on alarms."""
    events = [(T0 + n, notice(n, LOW, NoticeKind.REPORT)) for n in range(9)]
    events += [(T0 + 10 + n, notice(10 + n)) for n in range(6)]
    events.append((T0 + 20, notice(20, LOW, NoticeKind.DRILL)))
    sent = [n.notice for at_s, n in played(events, T0 + 60)]

    assert sent == [f"n{n}" for n in (*range(9), *range(10, 15), 20)]


def test_a_caution_about_burners_stays_the_last_line_of_a_folded_notice() -> None:
    """Whatever came after it."""
    rate = Rate()
    for n in range(5):
        rate.pass_or_fold(notice(n), T0)
    rate.pass_or_fold(replace(notice(5, HIGH), text=f"Heat. {NO_BURNER}"), T0)
    rate.pass_or_fold(notice(6), T0)
    (folded,) = rate.unfold("mail", T0 + 30)

    assert folded.text == f"Heat.\n\ntext 6\n{NO_BURNER}"


def test_what_waits_is_kept_over_a_restart() -> None:
    """Counts and folds are rows."""
    rate, after = Rate(), Rate()
    for n in range(7):
        rate.pass_or_fold(notice(n), T0 + n)
    after.load({row.key.removeprefix("rate/"): row.value or {} for row in rate.take_changed()})

    assert after.dues() == rate.dues()
    assert after.unfold("mail", T0 + 600) == rate.unfold("mail", T0 + 600)


@settings(max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 120), st.sampled_from([HIGH, MEDIUM, LOW])), max_size=60))
def test_no_window_of_ten_minutes_holds_more_than_five_but_for_high(
    steps: list[tuple[int, Priority]],
) -> None:
    """However they come: nothing is lost, high goes within 30 s, and only high may go beyond five."""
    events, at_s = [], T0
    for number, (gap_s, priority) in enumerate(steps):
        at_s += gap_s
        events.append((at_s, notice(number, priority)))
    sent = list(played(events, at_s + 7200))

    assert {a for _, n in sent for a in n.alarms} == {f"a/{n}" for n in range(len(events))}
    for asked_s, each in events:
        out_s = min(s for s, n in sent if each.alarms[0] in n.alarms)
        if each.priority is HIGH:
            assert asked_s <= out_s <= asked_s + 30
    for end_s, last in sent:
        window = [n for s, n in sent if end_s - 600 < s <= end_s]
        if last.priority is not HIGH:
            assert len(window) <= 5 + sum(n.priority is HIGH for n in window)


def test_a_night_of_trouble_in_ten_houses_is_five_notices_and_one_that_tells_the_rest() -> None:
    """Ten houses freeze within a minute; nobody gets ten mails, nobody misses a house."""
    houses = {f"h{n}": {"name": f"House {n}"} for n in range(10)}
    sensors = {f"s{n}": {"house": f"h{n}", "topic": f"t/s{n}", "payload": "json", "temperature_c": "/t"}
               for n in range(10)}  # fmt: skip
    entries = [entry for n in range(10) for entry in tree(f"Tree {n}", f"s{n}", 1.5, -9.0)]
    house = House(settings_of(sensors, houses=houses), entries)
    house.air(1.0, by="20:01")
    house.air(1.0, by="20:15")

    mails = [n for n in house.said() if n.kind == "activation"]
    assert len(mails) == 6
    assert clock_time(mails[-1].at_s) != clock_time(mails[0].at_s) or mails[-1].subject.endswith("4 more")
    assert {alarm for n in mails for alarm in n.alarms} == {f"low-temperature/tree-{n}" for n in range(10)}


def test_over_after_a_folded_notice_was_delivered_does_not_say_that_it_was_not() -> None:
    """The frost of the tenth house was told in the folded notice, and that one got through."""
    houses = {f"h{n}": {"name": f"House {n}"} for n in range(7)}
    sensors = {f"s{n}": {"house": f"h{n}", "topic": f"t/s{n}", "payload": "json", "temperature_c": "/t"}
               for n in range(7)}  # fmt: skip
    entries = [entry for n in range(7) for entry in tree(f"Tree {n}", f"s{n}", 1.5, -9.0)]
    house = House(settings_of(sensors, houses=houses), entries)
    house.air(1.0, by="20:20")
    house.air({"s5": 5.0, "s6": 5.0}, by="20:25")
    house.stays(until="20:50")

    over = [n for n in house.said() if n.kind == "cleared"]
    assert over
    assert not any("could not be delivered" in n.text for n in over)
