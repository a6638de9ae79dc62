"""Every failure of the link is one plain sentence: what, where, what to do."""

import errno
import socket
import ssl

import pytest

from monitor.intake import words
from monitor.settings import Broker

BROKER = Broker(host="post.example.org", port=1883)
CODES = range(0x80, 0xA3)
"""Published: the failure codes of MQTT 5.0 lie in 0x80-0xA2 (2.4)."""

SENTENCES = {
    "refused": (
        ConnectionRefusedError(111, "refused"),
        "No message post answers at post.example.org port 1883",
    ),
    "name": (socket.gaierror(-2, "Name or service not known"), "'post.example.org' was not found"),
    "label too long": (UnicodeError("label empty or too long"), "'post.example.org' was not found"),
    "time out": (TimeoutError("timed out"), "Nothing came back from post.example.org port 1883"),
    "no route": (OSError(errno.EHOSTUNREACH, "No route to host"), "no way through the network"),
    "other": (OSError(errno.EMFILE, "Too many open files"), "Too many open files"),
    "no tls there": (ssl.SSLError(1, "[SSL: WRONG_VERSION_NUMBER] wrong version number"), "speaks TLS"),
}


@pytest.mark.parametrize(("error", "part"), SENTENCES.values(), ids=SENTENCES.keys())
def test_a_failed_connection_is_one_sentence(error, part) -> None:
    """Place, what is wrong, what to do; no word of Python."""
    sentence = words.cannot_connect(BROKER, error)
    assert part in sentence
    assert_plain(sentence)


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("say", [words.refused, words.ended])
def test_each_reason_code_is_one_sentence(code, say) -> None:
    """Also those that no broker should send here."""
    assert_plain(say(BROKER, code, "Some reason"))


def test_a_wrong_password_points_to_the_keys() -> None:
    """Published: MQTT 5.0, 3.2.2.2: 0x86 bad user name or password, 0x87 not authorised."""
    for code in (0x86, 0x87):
        assert "correct username and password_file under [broker]" in words.refused(BROKER, code, "x")


def test_refused_topics_are_named_in_order() -> None:
    """However many there are."""
    sentence = words.topics_refused(BROKER, {"b", "a"})
    assert "a, b" in sentence
    assert_plain(sentence)


def assert_plain(sentence: str) -> None:
    """Whole, on one line, with the place and something to do or to expect."""
    assert sentence[0].isupper()
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert "post.example.org" in sentence or "[broker]" in sentence
    assert ":" in sentence
    for word in ("Error", "Exception", "errno", "0x", "broker's"):
        assert word not in sentence
