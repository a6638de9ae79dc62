"""Cookies, tokens and helpers' links: known again when they are ours, worthless when anything was changed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.web.visitors import LASTS_S, Signer, new_visitor

KEY = b"k" * 32


def test_a_visitor_is_known_again_by_the_cookie() -> None:
    """Role, name and all."""
    signer = Signer(KEY, "stored")
    visitor = new_visitor("helper", 1000.0, "tom", "entry-1")

    assert signer.visitor(signer.cookie(visitor), 2000.0) == visitor


def test_a_cookie_ends_and_is_renewed_before() -> None:
    """Ninety days after the last visit."""
    signer = Signer(KEY)
    visitor = new_visitor("owner", 0.0)

    assert signer.visitor(signer.cookie(visitor), LASTS_S + 1.0) is None
    assert signer.renewed(visitor, 3600.0) is None
    renewed = signer.renewed(visitor, 2 * 86400.0)
    assert renewed is not None
    assert renewed.number == visitor.number


def test_a_new_password_ends_every_cookie_but_no_helper_s_link() -> None:
    """The helper does not know the password anyway."""
    before, after = Signer(KEY, "old"), Signer(KEY, "new")

    assert after.visitor(before.cookie(new_visitor("owner", 0.0)), 1.0) is None
    assert after.duty_of(before.duty_token("3f9c2a71d04b8e65")) == "3f9c2a71d04b8e65"


def test_a_token_belongs_to_one_visitor() -> None:
    """Another's does not do, nor the same number in another role."""
    signer = Signer(KEY)
    ann, tom = new_visitor("owner", 0.0), new_visitor("owner", 0.0)

    assert signer.is_token(ann, signer.token(ann))
    assert not signer.is_token(ann, signer.token(tom))
    assert not signer.is_token(ann, "")
    assert not signer.is_token(ann, "ä")


@given(st.text(max_size=200))
def test_whatever_a_cookie_holds_nobody_gets_in_by_it(text: str) -> None:
    """Property: only what was signed."""
    signer = Signer(KEY)

    assert signer.visitor(text, 0.0) is None
    assert signer.read_message(text) is None
    assert signer.duty_of(text) is None


@pytest.mark.parametrize("place", [0, 5, 20, -1])
def test_a_changed_cookie_is_worthless(place: int) -> None:
    """One letter is enough."""
    signer = Signer(KEY)
    cookie = list(signer.cookie(new_visitor("helper", 0.0, "tom")))
    # The last letter's lowest two bits say nothing: A, B, C and D are the same there.
    cookie[place] = "A" if cookie[place] not in "ABCD" else "a"

    assert signer.visitor("".join(cookie), 1.0) is None


def test_a_message_is_no_visitor() -> None:
    """What is signed for one purpose does not do for another."""
    signer = Signer(KEY)

    assert signer.visitor(signer.message(["owner", "n", "", "", 0]), 1.0) is None
