"""Slow and hostile clients: each is cut off in its time, others are answered, the guard waits for none."""

import contextlib
import socket
from collections.abc import Callable, Iterator

import pytest

from monitor.web import patience
from tests.support.waiting import until
from tests.web.scene import Scene

HEAD = b"GET / HTTP/1.1\r\nHost: localhost\r\n"
Dial = Callable[..., socket.socket]


@pytest.fixture
def dial(scene: Scene) -> Iterator[Dial]:
    """Open connections to the page; all are closed at the end."""
    with contextlib.ExitStack() as opened:

        def connect(sent: bytes = b"", address: str = "127.0.0.1") -> socket.socket:
            made = socket.create_connection(("127.0.0.1", scene.port), 10.0, (address, 0))
            opened.enter_context(made)
            made.sendall(sent)
            return made

        yield connect


def _all(of: socket.socket) -> bytes:
    """Everything until the other side ends; nothing where it breaks off."""
    found = b""
    with contextlib.suppress(ConnectionError):
        while piece := of.recv(65536):
            found += piece
    return found


def _ask(dial: Dial, address: str = "127.0.0.1") -> bytes:
    return _all(dial(HEAD + b"Connection: close\r\n\r\n", address))


@pytest.mark.parametrize("sent", [b"", b"G", HEAD], ids=["nothing", "a letter", "half a head"])
def test_who_does_not_finish_asking_is_cut_off(
    monkeypatch: pytest.MonkeyPatch, dial: Dial, sent: bytes
) -> None:
    """After its time and without an answer; somebody else is answered meanwhile."""
    monkeypatch.setattr(patience, "REQUEST_WITHIN_S", 0.4)
    slow = dial(sent)
    assert _ask(dial).startswith(b"HTTP/1.1 200")

    assert _all(slow) == b""


def test_a_trickle_of_letters_does_not_buy_time(monkeypatch: pytest.MonkeyPatch, dial: Dial) -> None:
    """What counts is the whole head."""
    monkeypatch.setattr(patience, "REQUEST_WITHIN_S", 0.4)
    slow = dial(HEAD)

    def is_cut() -> bool:
        try:
            slow.sendall(b"X: y\r\n")
        except ConnectionError:
            return True
        return False

    until(is_cut, within_s=5.0, every_s=0.05, what="the end of a trickle")


def test_a_body_that_never_comes_is_not_waited_for(monkeypatch: pytest.MonkeyPatch, dial: Dial) -> None:
    """A connection has an end whatever it does."""
    monkeypatch.setattr(patience, "LIVES_S", 0.5)
    head = b"POST /do HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/x-www-form-urlencoded\r\n"

    assert b"200" not in _all(dial(head + b"Content-Length: 900\r\n\r\ndo="))


def test_one_address_cannot_hold_all_places(dial: Dial) -> None:
    """Its own thirteenth connection is refused; another address is answered."""
    held = [dial(HEAD) for _ in range(patience.FROM_ONE_ADDRESS)]

    assert _all(dial(HEAD)) == b""
    assert _ask(dial, "127.0.0.2").startswith(b"HTTP/1.1 200")
    held[0].close()
    until(lambda: _ask(dial).startswith(b"HTTP/1.1 200"), what="a place that has come free")


def test_whatever_is_sent_alarms_get_through(scene: Scene, dial: Dial) -> None:
    """Half heads, bytes that are no HTTP, a flood of questions; and then it is colder."""
    for sent in (HEAD, b"\x16\x03\x01\x02\x00" * 50, b"GET /" + b"x" * 70_000, HEAD * 500, b"\r\n" * 5000):
        with contextlib.suppress(ConnectionError):
            dial(sent)
    scene.publish(bench_b=-4.5)

    until(lambda: scene.alarm("low-temperature/yew-2"), what="the alarm")
    assert _ask(dial, "127.0.0.2").startswith(b"HTTP/1.1 200")
