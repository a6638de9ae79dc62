"""What people do at the page, each way from the first tap to the answer, on a running guard."""

from collections.abc import Callable, Iterator

import pytest

from tests.support.waiting import until
from tests.web.hand import Hand
from tests.web.scene import Night, Scene


@pytest.fixture
def hand(scene: Scene) -> Iterator[Hand]:
    """A device at that house."""
    with scene.client() as client:
        yield Hand(client)


# ---- seen, quiet ---------------------------------------------------------------------------------------


def test_one_tap_of_seen_takes_the_whole_episode(scene: Scene, hand: Hand) -> None:
    """The page that comes back knows it, and the others are told."""
    scene.publish(bench_a=-4.5, bench_b=-4.5)
    until(lambda: scene.alarm("low-temperature/yew-2"), what="the second tree's alarm")
    hand.open("/").tap("I’ve seen it")

    assert "Seen, and the others are told." in hand.said()
    states = {a["alarm"]: a["state"] for a in scene.guard.snapshot.alarms if a["kind"] == "low-temperature"}
    assert states == dict.fromkeys(states, "acknowledged")
    assert len(states) > 1
    assert "seen by page at 03:1" in hand.text()


def test_seen_twice_is_seen_once(scene: Scene, hand: Hand) -> None:
    """The back button does no harm."""
    hand.open("/")
    form = hand.page.xpath("//form[@action='/seen']")[0]
    hand.send(form)
    hand.send(form)

    assert hand.said() == "It was seen already."


def test_what_is_not_urgent_can_be_made_quiet_and_count_again(scene: Scene, hand: Hand) -> None:
    """Until a time that is said."""
    hand.open("/")
    form = next(
        f
        for f in hand.page.xpath("//form[@action='/quiet']")
        if "unwatched" in dict(f.form_values())["alarm"]
    )
    hand.send(form, hours="4")
    assert "Quiet until 07:1" in hand.said()
    alarm = scene.alarm("unwatched/maple-6")
    assert alarm is not None
    assert alarm["state"] == "shelved"
    assert "Quiet until 07:1" in hand.text()

    hand.tap("Let it count again")
    assert hand.said() == "It counts again."
    alarm = scene.alarm("unwatched/maple-6")
    assert alarm is not None
    assert alarm["state"] != "shelved"


def test_quiet_is_for_all_that_stands_in_one_place_of_the_page(scene: Scene, hand: Hand) -> None:
    """Two wraps of which nothing is known: one tap for both, and one to let them count again."""

    def states() -> set[str]:
        return {a["state"] for a in scene.guard.snapshot.alarms if a["kind"] == "wrap-unknown"}

    hand.open("/")
    forms = hand.page.xpath("//form[@action='/quiet']")
    hand.send(next(f for f in forms if "wrap-unknown" in dict(f.form_values())["alarm"]), hours="8")
    assert len([a for a in scene.guard.snapshot.alarms if a["kind"] == "wrap-unknown"]) == 2
    assert states() == {"shelved"}

    hand.tap("Let it count again")
    assert "shelved" not in states()


def test_what_is_urgent_has_no_quiet_and_cannot_be_forced(hand: Hand) -> None:
    """High is never shelved, whatever is sent."""
    hand.open("/")
    forms = hand.page.xpath("//section[contains(@class, 'high')]//form[@action='/quiet']")
    assert not forms

    hand.post("/quiet", [("token", hand.token), ("alarm", "low-temperature/larch-3"), ("hours", "8")])
    assert "problem" in hand.page.xpath("//*[@role='status']/@class")[0]


def test_afterwards_it_is_asked_whether_that_was_worth_it(
    make_scene: Callable[..., Scene], over_night: Night
) -> None:
    """Once it is over; one tap, and it is asked no more."""
    scene = make_scene(over_night)
    with scene.client() as client:
        hand = Hand(client).open("/")
        assert "Over: frost at Larch 3" in hand.text()
        assert "Was this worth" not in hand.text(), "first somebody has to have seen it"
        hand.send(hand.page.xpath("//section[@aria-labelledby='h-over']//form[@action='/seen']")[0])
        rang = " ".join(hand.page.xpath("//*[@class='rang']")[0].text_content().split())
        assert rang.startswith("Frost at")
        assert "Larch 3" in rang
        assert "Was this worth waking you?" in rang
        hand.tap("No")

        assert "it was not worth it" in hand.said()
        assert not hand.page.xpath("//*[@class='rang']")
    ring = scene.guard.snapshot.more["rang"][0]
    assert (ring["worth"], ring["by"]) == (False, "page")


def test_while_it_stands_nobody_is_asked_whether_it_was_worth_it(hand: Hand) -> None:
    """Nobody has an answer yet."""
    assert "Was this worth" not in hand.open("/").text()


# ---- two taps ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("button", "value", "kind", "said"),
    [
        ("Damp", "first-branch", "touch", "first branch of Larch 3 felt damp"),
        ("Dry", "third-branch", "touch", "third branch of Larch 3 felt dry"),
        ("Wetted again", "first-branch", "rewet", "first branch of Larch 3 was wetted again"),
        ("Unwrapped", "first-branch", "unwrap", "First branch of Larch 3 is off; 1 wrap left on it."),
        ("Done", "crack", "done", "of Larch 3 is done."),
    ],
)
def test_two_taps_write_down_what_was_done(
    scene: Scene, hand: Hand, button: str, value: str, kind: str, said: str
) -> None:
    """The record page, then the button; the answer counts it at once."""
    before = len(scene.entries(kind))
    hand.open("/record")
    name = next(
        b.get("value") for b in hand.page.iter("button")
        if (b.get("value") or "").startswith(kind) and value in b.get("value") and "larch-3" in b.get("value")
        and (kind != "touch" or b.get("value").endswith(button.lower()))
    )  # fmt: skip
    hand.tap(button, within=name)

    assert said.lower() in hand.said().lower()
    assert len(scene.entries(kind)) == before + 1
    assert scene.entries(kind)[-1]["by"] == "page"


def test_the_same_tap_sent_twice_counts_once(scene: Scene, hand: Hand) -> None:
    """A thumb that trembles, or a reload."""
    hand.open("/record")
    form = hand.page.xpath("//form[@action='/do']")[0]
    button = form.xpath(".//button[@value='touch/larch-3/first-branch/damp']")[0]
    hand.send(form, button)
    hand.send(form, button)

    assert hand.said() == "That is written down already."
    assert len(scene.entries("touch")) == 2


def test_the_last_entry_can_be_taken_back(scene: Scene, hand: Hand) -> None:
    """From the answer itself; it counts as never written, and can be done again."""
    hand.open("/tree/larch-3").tap("Dry", within="first-branch")
    assert "felt dry" in hand.said()
    hand.tap("Take it back")

    assert "Taken back: Larch 3: first branch felt dry." in hand.said()
    tree = scene.guard.book.trees["larch-3"]
    assert [touch.feel for touch in tree.wraps[0].touches] == ["damp"]
    hand.tap("Dry", within="first-branch")
    assert [touch.feel for touch in scene.guard.book.trees["larch-3"].wraps[0].touches] == ["damp", "dry"]


def test_the_record_offers_to_take_back_what_was_written_last(scene: Scene, hand: Hand) -> None:
    """Only that."""
    hand.open("/record")
    assert len(hand.page.xpath("//ol[@class='record']//form[@action='/void']")) == 1
    hand.tap("Take it back")

    assert "Taken back: Maple 6" in hand.said()
    assert "maple-6" not in scene.guard.trees


# ---- forms ---------------------------------------------------------------------------------------------


def test_a_new_tree_needs_a_name_a_place_and_a_day(scene: Scene, hand: Hand) -> None:
    """Its id is made from its name, its work comes with it, and the answer says what now holds."""
    hand.open("/record/tree").fill(
        name="Larch 7", species="Larix decidua", place="sensor/bench-b", work="heavy-bend", on="2027-01-10"
    )

    assert hand.answer.url.path == "/tree/larch-7"
    assert "Larch 7: fresh until 24 January; I wake you below 0 °C, tell you below 1.5 °C." in hand.said()
    tree = scene.guard.book.trees["larch-7"]
    assert tree.species == "Larix decidua"
    assert tree.works[0].work == "heavy-bend"


def test_a_tree_of_unknown_species_without_work_is_taken(scene: Scene, hand: Hand) -> None:
    """ "Don't know" never blocks."""
    hand.open("/record/tree").fill(name="Foundling", place="sensor/bench-a")

    assert "Written down: Foundling stands at bench-a now." in hand.said()
    assert "It counts as not tender until you tell of work on it." in hand.said()
    assert "foundling" in scene.guard.trees


def test_a_second_tree_of_a_name_does_not_change_the_first(scene: Scene, hand: Hand) -> None:
    """It is refused at its field, and what was filled in stands there still."""
    hand.open("/record/tree").fill(name="Larch 3", species="Taxus baccata", place="sensor/bench-b")

    assert hand.status == 422
    assert "There is a tree of this name already." in hand.text()
    assert hand.page.xpath("//input[@name='name']/@aria-invalid") == ["true"]
    assert hand.page.xpath("//input[@name='species']/@value") == ["Taxus baccata"]
    assert scene.guard.book.trees["larch-3"].species == "Larix decidua"


def test_the_next_tree_can_be_as_the_last(hand: Hand) -> None:
    """Species, place and work are there already, the name is not."""
    hand.open("/record/tree").open("/record/tree?like=larch-3")

    assert hand.page.xpath("//input[@name='species']/@value") == ["Larix decidua"]
    assert hand.page.xpath("//select[@name='work']/option[@selected]/@value") == ["heavy-bend"]
    assert hand.page.xpath("//input[@name='name']/@value") == [""]


def test_a_tree_can_be_renamed_and_keeps_its_record(scene: Scene, hand: Hand) -> None:
    """The same tree under another name."""
    hand.open("/record/tree?tree=larch-3").fill(name="The old larch")

    assert scene.guard.book.trees["larch-3"].name == "The old larch"
    assert scene.guard.book.trees["larch-3"].works


def test_work_is_written_down_and_says_how_long_the_tree_is_fresh(scene: Scene, hand: Hand) -> None:
    """And what wakes whom."""
    hand.open("/record/work?tree=beech-5").fill(work="light-wiring")

    assert "Beech 5: fresh until" in hand.said()
    assert "I wake you below" in hand.said()
    assert hand.answer.url.path == "/tree/beech-5"


def test_a_wrap_needs_only_a_name_and_a_fibre(scene: Scene, hand: Hand) -> None:
    """Sizes have their usual values."""
    hand.open("/record/wrap?tree=yew-2").fill(wrap="Second branch", fibre="raffia")

    assert "Second branch of Yew 2 is wrapped" in hand.said()
    wrap = scene.guard.book.trees["yew-2"].wraps_on[-1]
    assert (wrap.wrap, wrap.branch_mm, wrap.thickness_mm) == ("second-branch", 20.0, 1.5)


def test_trees_are_moved_together(scene: Scene, hand: Hand) -> None:
    """And a place without a sensor is said to be one."""
    hand.open("/record/move")
    form = next(f for f in hand.page.iter("form") if f.get("action") == "/record/move")
    pairs = [(name, value) for name, value in form.form_values() if name not in ("trees", "place")]
    hand.post("/record/move", [*pairs, ("trees", "pine-1"), ("trees", "yew-2"), ("place", "to/workshop")])

    assert "Pine 1 is in the workshop now: not watched there." in hand.said()
    assert scene.guard.book.trees["yew-2"].place == "workshop"


def test_a_limit_of_one_s_own_needs_a_reason(scene: Scene, hand: Hand) -> None:
    """With it, it stands over the plan until its day."""
    hand.open("/record/limit?tree=larch-3").fill(limit="low_harm_c", value="-2,5", until="2027-03-01")
    assert hand.status == 422
    assert hand.page.xpath("//input[@name='reason']/@aria-invalid") == ["true"]

    hand.fill(reason="came through -3 last year")
    assert (
        "Larch 3: damage likely below −2.5 °C until the end of 1 March; I wake you below −2.5 °C"
        in hand.said()
    )
    assert scene.guard.trees["larch-3"].limits["low_harm_c"] == -2.5


def test_a_note_is_only_written_down(scene: Scene, hand: Hand) -> None:
    """About a tree, a house or nothing in particular."""
    hand.open("/record/note").fill(note="snow on the roof", house="cold")

    assert "Snow on the roof" in hand.said()
    assert scene.entries("note")[-1]["house"] == "cold"


def test_what_lies_in_the_future_is_refused_at_its_field(scene: Scene, hand: Hand) -> None:
    """Nothing is written."""
    before = len(scene.guard.book.entries)
    hand.open("/record/work?tree=beech-5").fill(work="light-wiring", at="2029-01-01T10:00")

    assert hand.status == 422
    assert "has not come yet" in hand.text()
    assert len(scene.guard.book.entries) == before


@pytest.mark.parametrize("kind", ["void", "nothing", "id"])
def test_a_form_that_is_none_is_not_there(hand: Hand, kind: str) -> None:
    """Nor can it be sent."""
    assert hand.open(f"/record/{kind}").status == 404
    hand.open("/")
    assert hand.post(f"/record/{kind}", [("token", hand.token)]).status == 404


@pytest.mark.parametrize(
    "what",
    [
        "",
        "touch",
        "touch/larch-3",
        "touch/larch-3/none/damp",
        "leave/larch-3",
        "done/larch-3/nothing",
        "a/" * 50,
    ],
)
def test_a_tap_that_means_nothing_writes_nothing(scene: Scene, hand: Hand, what: str) -> None:
    """Whatever is sent."""
    before = len(scene.guard.book.entries)
    hand.open("/record")
    hand.post("/do", [("token", hand.token), ("do", what), ("once", "0123456789abcdef"), ("back", "/record")])

    assert "problem" in hand.page.xpath("//*[@role='status']/@class")[0]
    assert len(scene.guard.book.entries) == before


# ---- workings ------------------------------------------------------------------------------------------


def test_a_drill_goes_through_the_way_that_was_tapped(scene: Scene, hand: Hand) -> None:
    """And says how it went."""
    hand.open("/workings").tap("Drill", within="hook")

    assert "The drill through hook went out in" in hand.said()
    assert [str(notice.kind) for notice in scene.ways["hook"].notices][-1:] == ["drill"]


def test_a_sensor_rests_and_wakes(scene: Scene, hand: Hand) -> None:
    """Whose trees nobody watches meanwhile is said."""
    hand.open("/workings")
    form = next(
        f for f in hand.page.xpath("//form[@action='/rest']") if dict(f.form_values())["sensor"] == "bench-a"
    )
    hand.send(form, hours="4")
    assert "Bench-a is at rest until 07:1" in hand.said()
    assert "nobody watches Juniper 4 and Larch 3 until then" in hand.said()

    hand.tap("Wake it")
    assert hand.said().startswith("Bench-a is back.")
    assert scene.guard.book.sensor_at_rest("bench-a", scene.guard.label_s() + 2) is None


def test_a_device_remembers_whose_it_is(scene: Scene, hand: Hand) -> None:
    """What is written down carries the name."""
    hand.open("/workings")
    hand.send(hand.page.xpath("//form[@action='/me']")[0], who="ann")
    assert "You are Ann from now on" in hand.said()
    hand.open("/tree/larch-3").tap("Damp", within="first-branch")

    assert scene.entries("touch")[-1]["by"] == "ann"


def test_a_link_in_a_notice_opens_what_it_spoke_of(scene: Scene, hand: Hand) -> None:
    """With "I've seen it" under it."""
    scene.publish(bench_b=-4.5)
    notice = until(
        lambda: next((n for n in scene.ways["mail"].notices if "low-temperature/yew-2" in n.alarms), None),
        what="a notice about the second tree",
    )
    until(lambda: hand.open(f"/notice/{notice.notice}").text().find(notice.subject) >= 0, what="its page")

    hand.tap("I’ve seen it")
    assert "Seen" in hand.said()
    assert hand.open("/notice/nothing").answer.url.path == "/"


def test_what_is_over_is_not_told_as_if_it_stood(scene: Scene, hand: Hand) -> None:
    """It waits below what stands to be seen, says nothing to do, and goes with one tap."""
    hand.open("/record/move?tree=maple-6").fill(place="sensor/bench-b", trees="maple-6")
    hand.open("/")

    assert "stands at bench-b, where no sensor is" not in hand.text()
    over = hand.page.xpath("//section[@aria-labelledby='h-over']")[0]
    assert "Over: nobody watches Maple 6" in " ".join(over.text_content().split())
    assert "What to do." not in over.text_content()
    hand.send(over.xpath(".//form[@action='/seen']")[0])
    assert hand.said() == "Seen; it is over."
    assert scene.alarm("unwatched/maple-6") is None
    assert not hand.page.xpath("//section[@aria-labelledby='h-over']")


def test_a_quiet_evening_says_which_tree_is_nearest_to_harm(
    make_scene: Callable[..., Scene], quiet_night: Night
) -> None:
    """Once nothing stands that hurries, and how far from harm it is."""
    with make_scene(quiet_night).client() as client:
        hand = Hand(client)
        hand.open("/record/move?tree=maple-6").fill(place="sensor/bench-b", trees="maple-6")
        assert "Maple 6 stands at bench-b now" in hand.said()
        hand.open("/")

        heading = " ".join(hand.page.find(".//h1").text_content().split())
        assert heading.startswith("Larch 3 is nearest to harm: 4.0° above its frost line.")
        assert hand.page.xpath("//path[@class='strand tenderest']")


def test_a_branch_that_died_opens_its_tree_at_the_worst_hours_before(scene: Scene, hand: Hand) -> None:
    """Written down as something seen; the tree's page then says where to look first."""
    hand.open("/record/finding?tree=larch-3").fill(found="dieback", part="first-branch")
    until(lambda: scene.guard.snapshot.more.get("worst_hours"), what="the hours before it")

    assert "Its worst hours before the dieback of first branch: " in hand.open("/tree/larch-3").text()
