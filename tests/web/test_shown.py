"""A page just drawn does for the next who asks: for a second, for the like of them, while nothing changed."""

from monitor.web import shown
from monitor.web.shown import ONCE_MARK, TOKEN_MARK, Drawn, Shown
from tests.web.hand import Hand
from tests.web.scene import Scene

PAGE = Drawn(f"<i>{TOKEN_MARK}</i><i>{ONCE_MARK}</i><i>{ONCE_MARK}</i>", {})
KEY, STATE = ("/", "owner", "ann"), (object(), object())


def test_it_is_found_by_its_key_for_a_second() -> None:
    """Not by another's, and not later."""
    kept = Shown()
    kept.keep(KEY, STATE, 100.0, PAGE)

    assert kept.find(KEY, STATE, 101.0) is PAGE
    assert kept.find(KEY, STATE, 101.1) is None
    assert kept.find(("/", "helper", "tom"), STATE, 100.1) is None


def test_whatever_changes_makes_it_old() -> None:
    """A new snapshot, or a new book."""
    kept = Shown()
    kept.keep(KEY, STATE, 100.0, PAGE)

    assert kept.find(KEY, (STATE[0], object()), 100.1) is None
    assert kept.find(KEY, (object(), STATE[1]), 100.1) is None


def test_only_so_many_are_kept() -> None:
    """A flood of addresses costs no memory."""
    kept = Shown()
    for number in range(10 * shown.AT_MOST):
        kept.keep((str(number),), STATE, 100.0, PAGE)

    assert len(kept._kept) == shown.AT_MOST


def test_each_visitor_gets_a_token_of_their_own_and_each_page_a_number() -> None:
    """As if it had been drawn for them."""
    one, other = PAGE.filled("ann's"), PAGE.filled("tom's")

    assert one.startswith("<i>ann's</i>")
    assert other.startswith("<i>tom's</i>")
    assert one.split("<i>")[2] != other.split("<i>")[2]
    assert TOKEN_MARK not in one
    assert ONCE_MARK not in one


def test_two_devices_at_the_same_moment_can_both_write(scene: Scene) -> None:
    """The second one's page was drawn for the first."""
    with scene.client() as ann, scene.client() as tom:
        first, second = Hand(ann).open("/record"), Hand(tom).open("/record")
        assert first.token != second.token
        first.tap("Damp", within="first-branch")
        second.tap("Wet", within="third-branch")

    assert [entry["feel"] for entry in scene.entries("touch")[-2:]] == ["damp", "wet"]


def test_what_was_done_stands_on_the_very_next_page(scene: Scene) -> None:
    """Nobody sees the page from before."""
    with scene.client() as client:
        hand = Hand(client).open("/")
        assert "I’ve seen it" in hand.text()
        hand.tap("I’ve seen it")
        assert "seen by page" in hand.open("/").text()
        hand.open("/tree/larch-3").tap("Dry", within="first-branch")
        assert "felt dry" in hand.open("/tree/larch-3").text()
