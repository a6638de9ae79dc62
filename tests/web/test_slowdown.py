"""Guessing at the password gets slower and slower; a person who mistypes hardly notices."""

from hypothesis import given
from hypothesis import strategies as st

from monitor.web.slowdown import (
    ADDRESSES_AT_MOST,
    FREE_TRIES,
    LONGEST_WAIT_S,
    TOGETHER_AT_MOST,
    TOGETHER_WAIT_S,
    Slowdown,
    network_of,
)


def test_a_person_may_mistype_a_few_times() -> None:
    """Nothing waits yet."""
    slowdown = Slowdown()
    for at_s in range(FREE_TRIES - 1):
        slowdown.failed("192.0.2.7", float(at_s))

    assert slowdown.wait_s("192.0.2.7", 5.0) == 0.0


def test_each_further_failure_doubles_the_wait_up_to_a_quarter_of_an_hour() -> None:
    """Nobody is shut out for good."""
    slowdown = Slowdown()
    waits, now_s = [], 0.0
    for _ in range(14):
        slowdown.failed("192.0.2.7", now_s)
        waits.append(slowdown.wait_s("192.0.2.7", now_s))
        now_s += 1000.0

    assert waits[FREE_TRIES - 1 : FREE_TRIES + 3] == [2.0, 4.0, 8.0, 16.0]
    assert waits[-1] == LONGEST_WAIT_S


def test_the_right_password_forgets_the_wrong_ones() -> None:
    """The next mistake is the first again."""
    slowdown = Slowdown()
    for _ in range(6):
        slowdown.failed("192.0.2.7", 0.0)
    slowdown.succeeded("192.0.2.7")

    assert slowdown.wait_s("192.0.2.7", 0.0) == 0.0


def test_many_addresses_together_are_slowed_too() -> None:
    """One try every few seconds for all of them."""
    slowdown = Slowdown()
    for number in range(TOGETHER_AT_MOST):
        slowdown.failed(f"192.0.2.{number}", float(number))

    assert slowdown.wait_s("198.51.100.1", TOGETHER_AT_MOST) == TOGETHER_WAIT_S - 1.0
    assert slowdown.wait_s("198.51.100.1", 10_000.0) == 0.0


def test_a_flood_of_addresses_does_not_fill_the_memory() -> None:
    """The oldest is forgotten."""
    slowdown = Slowdown()
    for number in range(3 * ADDRESSES_AT_MOST):
        slowdown.failed(f"10.{number // 65536}.{number // 256 % 256}.{number % 256}", 0.0)

    assert len(slowdown._by_address) == ADDRESSES_AT_MOST


def test_one_connection_with_many_addresses_counts_as_one() -> None:
    """An IPv6 line has a /64; an IPv4 address in IPv6 clothes is itself."""
    assert network_of("2001:db8::1") == network_of("2001:db8::ffff:2")
    assert network_of("2001:db8:0:1::1") != network_of("2001:db8::1")
    assert network_of("::ffff:192.0.2.7") == "192.0.2.7"
    assert network_of("fe80::1%eth0") == network_of("fe80::2")


@given(st.lists(st.tuples(st.sampled_from(["a", "b", "c"]), st.floats(0, 1e5)), max_size=60))
def test_a_wait_is_never_negative_and_never_endless(tries: list[tuple[str, float]]) -> None:
    """Property: whatever was tried when."""
    slowdown = Slowdown()
    now_s = 0.0
    for address, after_s in tries:
        now_s += after_s
        slowdown.failed(address, now_s)
        assert 0.0 <= slowdown.wait_s(address, now_s) <= LONGEST_WAIT_S
