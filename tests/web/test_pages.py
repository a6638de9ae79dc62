"""Every page as somebody finds it at a quarter past three: what stands there, its size, where it leads."""

import re
import statistics
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import httpx
import pytest

from monitor.web import facts
from monitor.web.frame import STYLE
from tests.web.hand import Hand
from tests.web.scene import ENTRIES, Night, Scene

PAGES = ("/", "/tree/larch-3", "/tree/maple-6", "/record", "/record/tree", "/record/move?tree=larch-3",
         "/tonight", "/report", "/workings", "/labels")  # fmt: skip
LARGEST_BYTES = 60_000


@pytest.fixture
def hand(looked_at: Scene) -> Iterator[Hand]:
    """A device at that house."""
    with looked_at.client() as client:
        yield Hand(client)


@pytest.mark.parametrize("path", PAGES)
def test_a_page_is_there_and_small(hand: Hand, path: str) -> None:
    """With its style under 60 kB, and nothing else to fetch but the icon."""
    hand.open(path)

    assert hand.status == 200
    assert len(hand.answer.content) + len(STYLE.encode()) < LARGEST_BYTES
    fetched = hand.page.xpath("//@src | //link/@href")
    assert all(re.fullmatch(r"/style-[0-9a-f]{10}\.css|/icon\.svg", each) for each in fetched), fetched
    assert not hand.page.xpath("//script | //@style | //@onclick")


def test_every_link_and_form_leads_somewhere(hand: Hand) -> None:
    """From the page of now on, as far as links go."""
    waiting, seen = ["/"], set()
    while waiting:
        path = waiting.pop().split("#")[0]
        if path in seen or not path.startswith("/"):
            continue
        seen.add(path)
        answer = hand.client.get(path)
        assert answer.status_code == 200, path
        if answer.headers["content-type"].startswith("text/html") and len(seen) < 120:
            waiting += hand.open(path).page.xpath("//a/@href")

    assert {"/tree/larch-3", "/record/limit?tree=larch-3", "/report", "/labels"} <= seen


def test_the_page_of_now_says_first_what_stands_and_what_to_do(hand: Hand) -> None:
    """The loudest alarm is the heading."""
    hand.open("/")

    loud = hand.page.xpath("//section[starts-with(@class, 'episode high')]")
    assert loud[0].find("h1") is not None, "what is loudest is the heading of the page"
    assert "The air at Larch 3 is −0.6 °C, fall" in hand.text()
    assert "No burner or charcoal in a shut house" in hand.text()


def test_trees_stand_in_order_of_need(hand: Hand) -> None:
    """By their distance from their own line; those without a line last, and what is not watched is said."""
    hand.open("/")

    rows = [" ".join(row.text_content().split()) for row in hand.page.xpath("//ol[@class='trees']/li")]
    assert [row.split(" ", 2)[0] for row in rows] == ["Larch", "Pine", "Yew", "Juniper", "Beech", "Maple"]
    assert "0.6° below" in rows[0]
    assert "3.7° above" in rows[1]
    assert "not tender" in rows[4]
    assert "not watched" in rows[5]


def test_the_picture_has_one_strand_a_tree_and_the_tenderest_lowest(hand: Hand) -> None:
    """Names at the end of the strands, in the same order."""
    hand.open("/")

    names = [text.text for text in hand.page.xpath("//svg[@class='names']/text")]
    assert names == ["Larch 3", "Pine 1", "Yew 2", "Juniper 4"]
    assert len(hand.page.xpath("//path[contains(@class, 'strand')]")) == 4
    assert len(hand.page.xpath("//path[@class='strand tenderest']")) == 1


def test_the_picture_is_drawn_once_for_all_who_ask(
    make_scene: Callable[..., Scene], night: Night, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Eight phones at once do not draw it eight times."""
    times, draw = [], facts._drawn

    def counted(*given: Any) -> Any:
        times.append(1)
        return draw(*given)

    monkeypatch.setattr(facts, "_drawn", counted)
    scene = make_scene(night)
    with ThreadPoolExecutor(8) as phones:
        found = list(phones.map(lambda _: httpx.get(scene.address).text, range(24)))

    assert all("strand tenderest" in page for page in found)
    assert 1 <= len(times) <= 3, "a new one comes when the clock passes a third of a minute"


def test_a_tree_s_page_says_stage_limits_with_source_wraps_and_record(hand: Hand) -> None:
    """And why."""
    hand.open("/tree/larch-3")
    text = hand.text()

    assert "Heavy bend: fresh day 5 of 14" in text
    assert "I wake you below 0 °C, tell you below 1.5 °C." in text
    assert "judgement: open cells freeze without supercooling" in text
    assert "First branch raffia under tape overlapped, day 5, must stay damp; felt damp 3 days ago" in text
    assert "Wire on first branch, copper 4 mm" in text
    assert "12 January 08:00 First branch felt damp by ann" in text
    assert "Heavy bend (first and third branch)" in text


@pytest.mark.parametrize("span", ["24h", "7d", "work", "nonsense"])
def test_a_tree_s_history_can_be_seen_in_three_spans(hand: Hand, span: str) -> None:
    """A curve and its lowest value."""
    hand.open(f"/tree/larch-3?span={span}")

    assert hand.page.xpath("//path[@class='strand tenderest']/@d")[0].startswith("M")
    assert re.search(r"Lowest −0\.6 °C (at 03:1\d|on 15 January)", hand.text())


def test_a_tree_where_no_sensor_is_says_so(hand: Hand) -> None:
    """Not watched is not fine."""
    hand.open("/tree/maple-6")

    assert "in the garage: not watched there" in hand.text()
    assert "Nothing was seen there in that time." in hand.text()


def test_the_page_of_tonight_says_who_is_called_and_what_is_not_known(hand: Hand) -> None:
    """In sentences."""
    text = hand.open("/tonight").text()

    assert (
        "What is urgent and what needs somebody soon: Ann (by mail); "
        "if nobody has seen it after 10 min: Tom (by hook)" in text
    )
    assert "From 22:30 to 06:30 only what cannot wait rings." in text
    assert "Maple 6 stands where no sensor is" in text


def test_a_report_that_was_never_made_is_not_there(hand: Hand) -> None:
    """Nor is a date that is none."""
    assert hand.open("/report/2026-02-31").status == 404
    assert hand.open("/report/..%2Fx").status == 404


def test_what_does_not_exist_is_said_in_a_page(hand: Hand) -> None:
    """With the way back."""
    hand.open("/tree/none")
    assert hand.status == 404
    assert "There is no tree none in the book." in hand.text()
    assert hand.open("/nothing/here").status == 404


def test_no_word_of_machines_stands_on_any_page(hand: Hand) -> None:
    """`published`: the words that the design keeps off the screen."""
    forbidden = re.compile(
        r"deadband|\bp10\b|\bp90\b|K·h|\bVPD\b|\bbroker\b|\bgauge|CRIT|unacknowledged|low_harm_c",
        re.IGNORECASE,
    )
    for path in PAGES:
        found = forbidden.search(hand.open(path).text())
        assert found is None, (path, found)


def test_an_answer_comes_at_once(looked_at: Scene) -> None:
    """The middle of twenty; prints, and fails only far beyond what a person notices."""
    with httpx.Client(base_url=looked_at.address) as client:
        took = []
        for turn in range(20):
            began_s = time.perf_counter()
            client.get(f"/?turn={turn}")
            took.append((time.perf_counter() - began_s) * 1000)
    print(f"page of now: {statistics.median(took):.1f} ms")

    assert statistics.median(took) < 1000


def test_names_that_look_like_markup_stay_names(make_scene, night) -> None:  # type: ignore[no-untyped-def]
    """Everywhere they are shown."""
    scene = make_scene(night)
    with scene.client() as client:
        hand = Hand(client)
        hand.open("/record/tree").fill(
            name='<script>alert("1")</script> "Oak"', species="<b>Quercus</b>", place="sensor/bench-a",
            note="</textarea><img src=x>",
        )  # fmt: skip
        name = hand.answer.url.path.rpartition("/")[2]
        for path in (
            "/",
            f"/tree/{name}",
            "/record",
            "/labels",
            "/record/move",
            f"/record/tree?tree={name}",
            "/tonight",
        ):
            page = hand.open(path).answer.text
            assert "<script" not in page
            assert "<b>Quercus" not in page
            assert "<img" not in page


def test_the_book_of_the_scene_is_what_the_tests_think(looked_at: Scene) -> None:
    """All of it was taken."""
    assert len(looked_at.guard.book.entries) == len(ENTRIES)
    assert not looked_at.guard.book.unreadable
