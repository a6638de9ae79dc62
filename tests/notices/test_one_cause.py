"""One episode rings once: what has one cause shares one notice (rule of the design)."""

from monitor.model import AlarmState, NoticeKind, Priority, Transition
from monitor.notices.episodes import Episode, join

RUNG = Episode(
    "cold/frost",
    "cold.frost.20270117T020500Z",
    0.0,
    Priority.HIGH,
    named={"low-temperature/larch-3": "high"},
    rung_at_s=0.0,
)


def came_up(kind: str, subject: str, priority: Priority = Priority.HIGH) -> Transition:
    """An alarm that comes up ten minutes later."""
    return Transition(
        600.0, f"{kind}/{subject}", kind, subject, f"{kind}/{subject}@1", 1, AlarmState.NORMAL,
        AlarmState.UNACKNOWLEDGED, priority, -0.5, 0.0, "good", None, "", "", "", "condition",
    )  # fmt: skip


def test_fast_cooling_of_a_tree_that_was_named_as_urgently_joins_without_ringing() -> None:
    """Whoever was rung for the frost at a tree is on the way already."""
    episode, kind = join(RUNG, came_up("cooling-fast", "larch-3"))

    assert kind is None
    assert "cooling-fast/larch-3" in episode.occurrences


def test_a_heater_that_does_not_hold_joins_an_episode_that_was_rung_as_urgently() -> None:
    """The first notice has asked for the heater."""
    assert join(RUNG, came_up("heater-not-holding", "cold"))[1] is None


def test_a_tree_that_was_not_named_rings() -> None:
    """Another tree in danger is news."""
    assert join(RUNG, came_up("cooling-fast", "yew-2"))[1] is NoticeKind.ACTIVATION


def test_a_rise_to_high_rings_where_only_medium_was_said() -> None:
    """The same cause, but worse than was said."""
    said = Episode(
        RUNG.key, RUNG.name, 0.0, Priority.MEDIUM, named={"low-temperature/larch-3": "medium"}, rung_at_s=0.0
    )

    assert join(said, came_up("cooling-fast", "larch-3"))[1] is NoticeKind.ACTIVATION
    assert join(said, came_up("heater-not-holding", "cold"))[1] is NoticeKind.ACTIVATION
