"""The way to the message post fails: down at the start, in mid-run, half open, or behind a wrong password.

A frost goes on over all of it and stays one occurrence; each failure is one occurrence of its own.
"""

import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.faults.figures import measured
from tests.faults.house import COLD_C, LARCH, LOST, House, heard
from tests.intake.proxy import Wire
from tests.support.broker import Mosquitto, hash_passwords, need_broker
from tests.support.waiting import until

LOGINS = {"guard": "to-test-with", "sensors": "also-to-test-with"}


class Post:
    """A message post that asks for passwords, a wire to it, and a house that guards through the wire."""

    def __init__(self, broker: Mosquitto, wire: Wire, house: House) -> None:
        self.broker = broker
        self.wire = wire
        self.house = house
        self.before = 0

    def password(self, word: str) -> None:
        """What the guard tries to come in with."""
        secret = self.house.folder / "broker-password"
        secret.write_text(word)
        secret.chmod(0o600)

    def lost(self) -> int:
        """How often it was said that the link is lost."""
        return len(self.house.occurrences(LOST))

    def is_lost(self, words: str) -> None:
        """Wait until it is said, with the reason."""
        began_s = time.monotonic()
        self.house.rises(LOST)
        measured("longest silence before an alarm says that nothing is heard [s]", time.monotonic() - began_s)
        until(lambda: words in self.house.rises(LOST)["cause"], 10.0, f"{words!r} in the cause")

    def is_back(self) -> None:
        """It has ended by itself, both sensors are heard, and neither it nor the frost counts twice."""
        began_s = time.monotonic()
        self.house.ends(LOST)
        until(lambda: heard(self.house) == 2, 20.0, "both sensors heard again")
        measured("from a link that is back to guarding again [s]", time.monotonic() - began_s)
        assert LARCH in self.house.standing()
        until(lambda: self.lost() == self.before + 1, 5.0, "one more occurrence of a lost link")
        frosts = self.house.occurrences(LARCH)
        measured("occurrences doubled by a lost link", len(frosts) - 1)
        assert len(frosts) == 1


@pytest.fixture(scope="module")
def running(folder: Path) -> Iterator[Post]:
    """Everything runs, and it freezes."""
    passwords = folder / "passwords"
    passwords.write_text("".join(f"{name}:{word}\n" for name, word in LOGINS.items()))
    hash_passwords(passwords)
    with ExitStack() as stack:
        settings = [f"password_file {passwords}"]
        broker = stack.enter_context(Mosquitto(need_broker(), folder, settings, anonymous=False))
        wire = stack.enter_context(Wire(broker.port))
        login = 'username = "guard"\npassword_file = "broker-password"'
        sensors = {"sensors_port": broker.port, "sensors_login": ("sensors", LOGINS["sensors"])}
        house = House(folder, wire.port, login=login, **sensors)
        post = Post(broker, wire, house)
        post.password(LOGINS["guard"])
        house.air["bench-a"] = COLD_C
        stack.enter_context(house)
        house.start()
        house.rises(LARCH)
        yield post


@pytest.fixture
def post(running: Post) -> Post:
    """All is well but for the frost; what was lost before is counted."""
    until(lambda: heard(running.house) == 2, 20.0, "both sensors heard")
    running.before = running.lost()
    return running


def test_down_at_the_start(post: Post) -> None:
    """It guards at once, says that it hears nothing, and hears as soon as there is something to hear."""
    assert post.house.end() == 0
    post.broker.stop()
    measured("restart to guarding [s]", post.house.start())
    post.is_lost("no connection to the message post")
    post.broker.start()
    post.is_back()


def test_down_in_mid_run(post: Post) -> None:
    """Killed, and started again."""
    post.broker.kill()
    post.is_lost("no connection to the message post")
    post.broker.start()
    post.is_back()


def test_half_open(post: Post) -> None:
    """No byte and no end: only the keepalive finds it out, and the next connections are as mute."""
    post.wire.go_dead(for_good=True)
    post.is_lost("no connection to the message post")
    post.wire.revive()
    post.is_back()


def test_a_wrong_password(post: Post) -> None:
    """Said as that; a corrected file counts without a restart. The password stands in no log."""
    assert post.house.end() == 0
    post.password("not-the-one")
    post.house.start()
    post.is_lost("refused")
    post.password(LOGINS["guard"])
    post.is_back()
    assert not any(word in post.house.said() for word in (*LOGINS.values(), "not-the-one"))
