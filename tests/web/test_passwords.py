"""The page's password: hashed as RFC 7914 says, and nothing else is taken for one."""

import base64

import pytest

from monitor.web import passwords


def test_a_password_is_known_again_and_another_is_not() -> None:
    """What `make` gives, `verify` takes."""
    stored = passwords.make("frost on the pane")

    assert passwords.is_stored_form(stored)
    assert passwords.verify(stored, "frost on the pane")
    assert passwords.verify(stored + "\n", "frost on the pane")
    assert not passwords.verify(stored, "frost on the pan")
    assert not passwords.verify(stored, "")


def test_the_same_password_is_stored_differently_each_time() -> None:
    """A salt of its own."""
    assert passwords.make("frost on the pane") != passwords.make("frost on the pane")


def test_the_hash_is_that_of_the_standard() -> None:
    """`published`: RFC 7914 section 12, third vector; of its 64 bytes ours are the first 32, exact."""
    digest = bytes.fromhex("7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2")
    salt = base64.b64encode(b"SodiumChloride").decode().rstrip("=")
    stored = f"scrypt$n=16384,r=8,p=1${salt}${base64.b64encode(digest).decode().rstrip('=')}"

    assert passwords.verify(stored, "pleaseletmein")


@pytest.mark.parametrize(
    "stored",
    [
        "",
        "frost on the pane",
        "scrypt$n=16384,r=8,p=1$c2FsdA$",
        "scrypt$n=16384,r=8,p=1$c2FsdA$c2hvcnQ",
        "scrypt$n=16777216,r=8,p=16$c2FsdHNhbHQ$" + "A" * 43,
        "scrypt$n=3,r=8,p=1$c2FsdHNhbHQ$" + "A" * 43,
        "md5$n=1,r=1,p=1$c2FsdA$c2hvcnQ",
    ],
)
def test_what_is_no_stored_password_lets_nobody_in(stored: str) -> None:
    """Also what would cost more memory than a small board has."""
    assert not passwords.verify(stored, "frost on the pane")


def test_a_short_or_endless_password_is_refused_with_words() -> None:
    """Eight characters at least."""
    with pytest.raises(ValueError, match="8 characters or more"):
        passwords.make("frost")
    with pytest.raises(ValueError, match="256 characters at most"):
        passwords.make("f" * 300)
