"""How long the intake waits before it connects again; rules of our own, no source."""

from monitor.intake.mqtt import Pace


def waits(pace: Pace, linked_for_s: float, taken_over: bool, count: int) -> list[float]:
    """The waits after that many connections that all went alike."""
    found, wait_s = [], 0.0
    for _ in range(count):
        wait_s = pace.next_wait_s(wait_s, linked_for_s, taken_over)
        found.append(wait_s)
    return found


def test_waits_double_up_to_half_a_minute_while_nothing_answers() -> None:
    """A broker that comes back is found within half a minute."""
    assert waits(Pace(), 0.0, False, 7) == [1, 2, 4, 8, 16, 30, 30]


def test_a_link_that_breaks_at_once_counts_as_none() -> None:
    """Let in and thrown out again is no reason to hurry."""
    assert waits(Pace(), 5.0, False, 4) == [1, 2, 4, 8]


def test_a_link_that_has_held_starts_the_waits_afresh() -> None:
    """After a day of quiet the first try comes after a second."""
    assert Pace().next_wait_s(30.0, 86_400.0, False) == 1.0


def test_a_client_id_in_use_elsewhere_is_tried_ever_more_seldom() -> None:
    """Two programs would otherwise push each other out for ever."""
    assert waits(Pace(), 5.0, True, 6) == [30, 60, 120, 240, 300, 300]
