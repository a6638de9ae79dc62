"""The life of an alarm, against the transitions of ISA-18.2 / IEC 62682 (second-hand, by OPC UA part 9)."""

import pytest

from monitor.alarms import lifecycle
from monitor.alarms.lifecycle import AlarmRow, Delays
from monitor.model import AlarmState, Assessment, Judgement, Priority

DELAYS = Delays(on_delay_s=60.0, on_samples=2, off_delay_s=300.0)


def breach(at_s: float, priority: Priority = Priority.MEDIUM, **more: object) -> Assessment:
    """A value beyond its limit."""
    return Assessment("low-temperature", "larch-3", at_s, Judgement.BREACH, priority, -0.5, 0.0, **more)  # type: ignore[arg-type]


def normal(at_s: float, returned: bool = True, quality: str = "good") -> Assessment:
    """A value on the safe side; `returned` by more than the deadband."""
    return Assessment(
        "low-temperature", "larch-3", at_s, Judgement.NORMAL, Priority.LOW, 1.0, 0.0, quality, returned
    )


def unknown(at_s: float) -> Assessment:
    """Nothing that could be judged."""
    return Assessment("low-temperature", "larch-3", at_s, Judgement.UNKNOWN)


def run(found: list[Assessment], delays: Delays = DELAYS) -> tuple[AlarmRow, list[tuple[str, str, str]]]:
    """Step a fresh row through some assessments; the row and its changes."""
    row, changes = AlarmRow("low-temperature", "larch-3"), []
    for assessment in found:
        row, change = lifecycle.step(row, assessment, delays)
        if change is not None:
            changes.append((str(change.from_state), str(change.to_state), change.because))
    return row, changes


def test_two_samples_and_a_minute_raise_an_alarm() -> None:
    """On-delay: enough samples and enough time."""
    row, changes = run([breach(0), breach(60)])

    assert changes == [("normal", "unacknowledged", "condition")]
    assert row.since_at_s == 60
    assert row.occurrence == "low-temperature/larch-3@1970-01-01T00:01:00Z"


def test_time_alone_does_not_raise() -> None:
    """One sample after a gap cannot satisfy an on-delay."""
    row, changes = run([breach(0)])

    assert changes == []
    assert row.waits


def test_samples_alone_do_not_raise() -> None:
    """Two samples within a second are one look."""
    assert run([breach(0), breach(1)])[1] == []


def test_a_bad_sample_pauses_the_on_delay_and_a_good_one_above_ends_it() -> None:
    """A gap or a bad sample pauses, it does not reset."""
    assert run([breach(0), normal(30, quality="suspect"), breach(60)])[1]
    assert run([breach(0), unknown(30), breach(60)])[1]
    assert not run([breach(0), normal(30), breach(60)])[1]


def test_one_reading_is_enough_where_another_would_come_too_late() -> None:
    """`immediate` asks for no delay."""
    assert run([breach(0, Priority.HIGH, immediate=True)])[1] == [("normal", "unacknowledged", "condition")]


def test_an_alarm_clears_after_the_off_delay_and_stays_to_be_seen() -> None:
    """Cleared but not seen: the record of what happened while everybody slept."""
    row, changes = run([breach(0), breach(60), normal(120), normal(180), normal(420)])

    assert changes[-1] == ("unacknowledged", "returned-unacknowledged", "returned")
    assert not row.active
    assert row.ended_at_s == 420


def test_a_relapse_within_the_off_delay_is_the_same_occurrence() -> None:
    """Chatter does not ring."""
    row, changes = run([breach(0), breach(60), normal(120), breach(180), normal(240), normal(500)])

    assert len(changes) == 1
    assert row.active


def test_within_the_deadband_nothing_clears() -> None:
    """A value back across the limit but not by the deadband keeps the alarm."""
    row, changes = run([breach(0), breach(60), normal(120, returned=False), normal(4000, returned=False)])

    assert len(changes) == 1
    assert row.active


def test_unknown_neither_raises_nor_clears() -> None:
    """No data is never fine, and never by itself frost."""
    row, changes = run([breach(0), breach(60), unknown(120), unknown(9000)])

    assert len(changes) == 1
    assert row.active


@pytest.mark.parametrize("kind", ["wrap-drying", "wrap-unknown", "wet-too-long", "warm-spell"])
def test_what_never_rings_is_normal_as_soon_as_it_is_over(kind: str) -> None:
    """Nobody was rung, so nobody has to say that they have seen it."""
    row, _ = lifecycle.step(AlarmRow(kind, "larch-3"), breach(0)._replace(kind=kind), Delays())
    row, change = lifecycle.end(row, 60.0, "returned")

    assert row.state is AlarmState.NORMAL
    assert change is not None


def test_a_relapse_after_clearing_is_a_new_occurrence() -> None:
    """Occurrences count the times that it came up."""
    row, changes = run([breach(0), breach(60), normal(120), normal(420), breach(500), breach(560)])

    assert [change[1] for change in changes] == [
        "unacknowledged",
        "returned-unacknowledged",
        "unacknowledged",
    ]
    assert row.seq == 1


def test_priority_rises_within_an_occurrence_and_never_falls() -> None:
    """Medium, then high: whoever saw the medium one saw something milder."""
    row, _ = run([breach(0), breach(60)])
    row, _ = lifecycle.acknowledge(row, 70, "ann", -0.5)
    row, none = lifecycle.step(row, breach(120, Priority.HIGH), DELAYS)
    assert none is None
    row, change = lifecycle.step(row, breach(180, Priority.HIGH), DELAYS)

    assert change is not None
    assert (change.from_state, change.to_state) == (AlarmState.ACKNOWLEDGED, AlarmState.UNACKNOWLEDGED)
    assert change.because == "priority"
    assert row.priority is Priority.HIGH
    row, change = lifecycle.step(row, breach(240, Priority.MEDIUM), DELAYS)
    assert change is None
    assert row.priority is Priority.HIGH


@pytest.mark.parametrize(
    ("state", "after"),
    [
        (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED),
        (AlarmState.RETURNED, AlarmState.NORMAL),
        (AlarmState.ACKNOWLEDGED, AlarmState.ACKNOWLEDGED),
        (AlarmState.NORMAL, AlarmState.NORMAL),
    ],
)
def test_acknowledging(state: AlarmState, after: AlarmState) -> None:
    """What "I have seen it" does in each state; nothing is acknowledged by itself."""
    row = AlarmRow("low-temperature", "larch-3", state=state, active=state is not AlarmState.RETURNED)

    assert lifecycle.acknowledge(row, 10, "ann", -1.0)[0].state is after


def test_a_shelf_keeps_quiet_and_comes_back() -> None:
    """On expiry what is true decides."""
    row, _ = run([breach(0), breach(60)])
    row, change = lifecycle.shelve(row, 100, 3700, "ann")
    assert change is not None
    assert row.state is AlarmState.SHELVED

    row, change = lifecycle.leave_rest(row, "shelf-ended")
    assert change is not None
    assert row.state is AlarmState.UNACKNOWLEDGED


def test_a_shelved_alarm_that_rises_to_high_rings() -> None:
    """Its shelf ends."""
    row, _ = run([breach(0), breach(60)])
    row, _ = lifecycle.shelve(row, 100, 3700, "ann")
    row, _ = lifecycle.step(row, breach(120, Priority.HIGH), DELAYS)
    row, change = lifecycle.step(row, breach(180, Priority.HIGH), DELAYS)

    assert change is not None
    assert row.state is AlarmState.UNACKNOWLEDGED
    assert row.shelved_until_s is None


def test_high_is_never_shelved_and_no_shelf_is_longer_than_twelve_hours() -> None:
    """Both are refused with a sentence."""
    high, _ = run([breach(0, Priority.HIGH), breach(60, Priority.HIGH)])
    medium, _ = run([breach(0), breach(60)])

    with pytest.raises(ValueError, match="high priority"):
        lifecycle.shelve(high, 100, 3700, "ann")
    with pytest.raises(ValueError, match="twelve hours"):
        lifecycle.shelve(medium, 100, 100 + 12 * 3600 + 1, "ann")


def test_a_subject_that_left_ends_its_alarm() -> None:
    """Whether seen or not, with `because: removed`."""
    row, _ = run([breach(0), breach(60)])
    row, change = lifecycle.end(row, 100, "removed")

    assert change is not None
    assert (change.to_state, change.because) == (AlarmState.NORMAL, "removed")


def test_a_row_survives_being_written_and_read() -> None:
    """Pending delays are part of the row."""
    row, _ = run([breach(0), breach(60), normal(120), breach(130, Priority.HIGH)])

    assert AlarmRow.from_json(row.as_json()) == row
