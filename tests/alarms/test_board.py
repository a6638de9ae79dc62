"""The board of alarms."""

from monitor.alarms import lifecycle
from monitor.alarms.board import Board
from monitor.alarms.lifecycle import Delays
from monitor.model import AlarmState, Assessment, Judgement, Priority

AT_ONCE = Delays()


def test_a_seen_alarm_that_is_over_keeps_its_occurrence() -> None:
    """The board forgets the row at that moment; the record of the change must still say whose end it was."""
    board = Board()
    frost = Assessment("low-temperature", "larch-3", 1000.0, Judgement.BREACH, Priority.HIGH, -1.0, 0.0)
    risen, _ = board.assess(frost, AT_ONCE)
    seen, _ = lifecycle.acknowledge(risen, 1010.0, "ann", -1.0)
    board.put(risen, seen)

    warm = Assessment("low-temperature", "larch-3", 1020.0, Judgement.NORMAL, value=3.0, returned=True)
    over, change = board.assess(warm, AT_ONCE)

    assert change is not None
    assert change.to_state is AlarmState.NORMAL
    assert over.occurrence == risen.occurrence != ""
    assert over.seq == 3
    assert over.ended_at_s == 1020.0
    assert board.by_name("low-temperature/larch-3") is None
