"""What the entries amount to: order, voids, moves, wraps, own limits; the same whatever way they came in."""

import random
from dataclasses import replace
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.clock import rfc3339
from monitor.trees.book import Book
from monitor.trees.kinds import FEELS, FINDINGS, LIMIT_KEYS, WORKS
from monitor.trees.tree import Placement
from tests.trees.garden import EMPTY, HOUSE_OF, at, checked, grown, larch, said, yew
from tests.trees.test_book_entries import EVERY_KIND


def outcome(book: Book) -> Book:
    """What a book amounts to, without the order in which it was written."""
    return replace(book, entries=(), by_id={}, unreadable=())


def test_the_fold_of_the_file_is_the_book_that_grew() -> None:
    """Entry by entry, and all at once: the same trees, rests, duties, heaters."""
    book = grown(*EVERY_KIND)
    assert Book.fold(book.entries, HOUSE_OF) == book


def test_work_may_be_older_than_the_line_that_brought_the_tree_in() -> None:
    """People enter a tree today and what was done to it last week."""
    book = grown(larch(), said("work", "2026-01-02", work="root-prune"))
    assert [work.work for work in book.trees["larch-3"].works] == ["root-prune"]
    assert book.trees["larch-3"].placement_at(at("2026-01-03")) == Placement(
        at("2026-01-09T10:00"), "bench-a"
    )


def test_a_backdated_move_counts_where_it_belongs() -> None:
    """The tree stands where the latest move by its time put it, not the latest written."""
    book = grown(
        larch(),
        said("move", "2026-02-01", tree=None, trees="larch-3", to="garage"),
        said("move", "2026-01-20", tree=None, trees="larch-3", sensor="bench-b"),
    )
    tree = book.trees["larch-3"]
    assert [(step.sensor, step.place) for step in tree.placements] == [
        ("bench-a", ""),
        ("bench-b", ""),
        (None, "garage"),
    ]
    assert (tree.sensor, tree.place, tree.placed_at_s) == (None, "garage", at("2026-02-01T12:00"))
    standing_then = tree.placement_at(at("2026-01-25"))
    assert standing_then is not None
    assert standing_then.sensor == "bench-b"


def test_a_house_moves_with_the_trees_that_stand_in_it_then() -> None:
    """Not those of another house, nor those that left or were moved out before."""
    elm = {"kind": "tree", "at": "2026-01-09T12:00:00Z", "name": "Elm 1", "sensor": "tall-a"}
    oak = {"kind": "tree", "at": "2026-01-09T12:30:00Z", "name": "Oak 4", "sensor": "bench-a"}
    book = grown(
        larch(),
        yew(),
        elm,
        oak,
        said("move", "2026-01-10", tree=None, trees="yew-2", to="workshop"),
        said("leave", "2026-01-11", tree="oak-4", reason="sold"),
        said("move", "2026-01-16", tree=None, house="cold", to="garage"),
    )
    assert {name: (tree.sensor, tree.place) for name, tree in book.trees.items()} == {
        "larch-3": (None, "garage"),
        "yew-2": (None, "workshop"),
        "elm-1": ("tall-a", ""),
        "oak-4": ("bench-a", ""),
    }
    assert [tree.id for tree in book.trees_at("tall-a")] == ["elm-1"]


def test_a_void_undoes_what_an_entry_did() -> None:
    """As if never written: the move back, the work gone, the wrap on again."""
    book = grown(
        larch(),
        said("work", "2026-01-10", work="heavy-bend"),
        said("wrap", "2026-01-10", wrap="top", fibre="cloth"),
        said("move", "2026-01-11", tree=None, trees="larch-3", to="garage"),
        said("unwrap", "2026-01-12", wrap="top"),
    )
    for entry in book.entries[1:]:
        if entry["kind"] != "wrap":
            book = grown(
                said("void", "2026-01-20", tree=None, entry=entry["id"], reason="wrong tree"), book=book
            )
    tree = book.trees["larch-3"]
    assert tree.works == ()
    assert tree.sensor == "bench-a"
    assert [wrap.wrap for wrap in tree.wraps_on] == ["top"]
    assert len(book.entries) == 8


def test_a_void_of_the_tree_itself_leaves_the_rest_without_effect() -> None:
    """Work on a tree that was never there changes nothing and breaks nothing."""
    book = grown(larch(), said("work", "2026-01-10", work="graft"))
    book = grown(
        said("void", "2026-01-11", tree=None, entry=book.entries[0]["id"], reason="not mine"), book=book
    )
    assert book.trees == {}


def test_voids_that_void_each_other_end() -> None:
    """Only ids written by hand can do that; it must not hang."""
    entries = [
        {"id": "a", "at": "2026-01-10T00:00:00Z", "kind": "void", "entry": "b", "reason": "x"},
        {"id": "b", "at": "2026-01-10T00:00:00Z", "kind": "void", "entry": "a", "reason": "x"},
    ]
    assert set(Book.fold(entries).voided) <= {"a", "b"}


def test_a_later_limit_of_ones_own_replaces_the_earlier_and_until_ends_it() -> None:
    """After `until` the plan's limit holds again, not an older one of one's own."""
    book = grown(
        larch(),
        said("limit", "2026-01-10", limit="low_harm_c", value=-3, reason="hardy"),
        said(
            "limit", "2026-01-20", limit="low_harm_c", value=-1, reason="less so", until="2026-03-01T00:00Z"
        ),
    )
    tree = book.trees["larch-3"]

    def value(day: str) -> float | None:
        own = tree.own_limit_at("low_harm_c", at(day))
        return None if own is None else own.value

    assert [value(day) for day in ("2026-01-09", "2026-01-15", "2026-02-28", "2026-03-01")] == [
        None,
        -3,
        -1,
        None,
    ]
    assert tree.own_limit_at("low_warn_c", at("2026-02-01")) is None


def test_touches_and_rewettings_belong_to_the_wrap_that_was_on() -> None:
    """A wrap of the same name put on later is another wrap."""
    book = grown(
        larch(),
        said("wrap", "2026-01-10", wrap="top", fibre="raffia"),
        said("touch", "2026-01-11", wrap="top", feel="wet"),
        said("wrap", "2026-01-20", wrap="top", fibre="sphagnum"),
        said("touch", "2026-01-21", wrap="top", feel="damp"),
        said("rewet", "2026-01-22", wrap="top"),
    )
    first, second = book.trees["larch-3"].wraps
    assert first.off_at_s == at("2026-01-20T12:00")
    assert [touch.feel for touch in first.touches] == ["wet"]
    assert [touch.feel for touch in second.touches] == ["damp"]
    assert second.rewets == (at("2026-01-22T12:00"),)
    assert (first.thickness_mm, second.thickness_mm) == (1.5, 10.0)


def test_a_rest_and_a_duty_end_when_they_said_or_when_said_again() -> None:
    """Until now means: back. A later one replaces an earlier one."""
    book = grown(
        larch(),
        said("rest", "2026-01-13T18:00:00Z", tree=None, sensor="bench-a", until="2026-01-13T22:00:00Z"),
        said("duty", "2026-02-10T08:00:00Z", tree=None, person="tom", until="2026-02-17T20:00:00Z"),
    )
    assert book.sensor_at_rest("bench-a", at("2026-01-13T21:00")) is not None
    assert book.sensor_at_rest("bench-a", at("2026-01-13T22:00")) is None
    assert book.sensor_at_rest("bench-b", at("2026-01-13T21:00")) is None
    assert book.on_duty(at("2026-02-12")) == ("tom",)
    assert book.on_duty(at("2026-02-18")) == ()
    woken = grown(
        said("rest", "2026-01-13T19:00:00Z", tree=None, sensor="bench-a", until="2026-01-13T19:00:00Z"),
        book=book,
    )
    assert woken.sensor_at_rest("bench-a", at("2026-01-13T21:00")) is None


def test_a_heater_holds_what_it_was_last_set_to() -> None:
    """Before the first entry the book does not say."""
    book = grown(
        said("heater", "2026-01-13T18:00:00Z", tree=None, house="cold", setpoint_c=5),
        said("heater", "2026-01-20T18:00:00Z", tree=None, house="cold", setpoint_c=3.5),
    )
    assert book.setpoint_c("cold", at("2026-01-13")) is None
    assert book.setpoint_c("cold", at("2026-01-15")) == 5
    assert book.setpoint_c("cold", at("2026-01-21")) == 3.5


def test_a_sensor_that_changed_its_house_changes_what_a_house_move_moved() -> None:
    """The configuration says which sensor hangs where; the book is folded anew with it."""
    book = grown(larch(), said("move", "2026-01-16", tree=None, house="cold", to="garage"))
    assert book.trees["larch-3"].place == "garage"
    assert book.with_houses({"bench-a": "tall"}).trees["larch-3"].sensor == "bench-a"


def test_notes_stand_with_what_they_are_about() -> None:
    """A tree, a house, or the site."""
    book = grown(
        larch(),
        said("note", "2026-01-14", note="leans", by="Ann"),
        said("note", "2026-01-15", tree=None, house="cold", note="snow"),
        said("note", "2026-01-16", tree=None, note="away until Sunday"),
    )
    assert [(note.subject, note.note) for note in book.notes] == [
        ("larch-3", "leans"),
        ("cold", "snow"),
        ("site", "away until Sunday"),
    ]
    assert [note.by for note in book.trees["larch-3"].notes] == ["Ann"]


def test_a_sensor_that_left_the_configuration_never_stops_the_start() -> None:
    """Its trees still stand there; whether anybody watches is another question."""
    entry = checked(EMPTY, **larch())
    assert Book.fold([{**entry, "sensor": "gone"}]).trees["larch-3"].sensor == "gone"


def test_lines_mended_by_hand_are_read_as_far_as_they_go() -> None:
    """Without id or entered_at, in any spelling; what is no entry is said and counts for nothing."""
    book = Book.fold(
        [
            {"at": "2026-01-09T11:00:00+01:00", "kind": "tree", "name": "Larch 3", "sensor": "bench-a"},
            {"at": "2026-01-10T15:00:00Z", "kind": "work", "tree": "Larch 3", "work": "heavy-bend"},
            {"at": "2026-01-10T15:00:00Z", "kind": "work", "tree": "larch-3", "work": "heavy-bent"},
            {"kind": "tree", "name": "Yew 2"},
            {},
        ]
    )
    assert [work.work for work in book.trees["larch-3"].works] == ["heavy-bend"]
    assert list(book.trees) == ["larch-3"]
    assert len(book.entries) == 2
    assert [sentence.split(" ")[1] for sentence in book.unreadable] == ["3", "4", "5"]
    assert "entry 3 of the book counts for nothing: work: 'heavy-bent'" in book.unreadable[0]


# ---- whatever the entries are --------------------------------------------------------------------------

TREES = ("larch-3", "yew-2", "elm-1")
WRAPS = ("top", "low")


@st.composite
def some_entries(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Up to 25 entries in their written form, each at an instant of its own, voids of some among them."""
    count = draw(st.integers(1, 25))
    chance = random.Random(draw(st.integers(0, 2**32)))
    instants = chance.sample(range(60 * 24 * 60), count)
    entries: list[dict[str, Any]] = []
    for number, minute in enumerate(instants):
        tree = chance.choice(TREES)
        values = chance.choice(
            [
                {
                    "kind": "tree",
                    "tree": tree,
                    "name": tree.title(),
                    "sensor": chance.choice(["bench-a", "tall-a"]),
                },
                {"kind": "work", "tree": tree, "work": chance.choice(WORKS)},
                {"kind": "release", "tree": tree, "work": chance.choice(WORKS)},
                {"kind": "wrap", "tree": tree, "wrap": chance.choice(WRAPS), "fibre": "raffia"},
                {"kind": "touch", "tree": tree, "wrap": chance.choice(WRAPS), "feel": chance.choice(FEELS)},
                {"kind": "unwrap", "tree": tree, "wrap": chance.choice(WRAPS)},
                {"kind": "wire", "tree": tree, "part": "top", "metal": "copper"},
                {"kind": "unwire", "tree": tree, "part": "top"},
                {"kind": "move", "trees": sorted({tree, "yew-2"}), "to": "garage"},
                {"kind": "move", "house": "cold", "sensor": "bench-b"},
                {"kind": "finding", "tree": tree, "found": chance.choice(FINDINGS)},
                {
                    "kind": "limit",
                    "tree": tree,
                    "limit": chance.choice(LIMIT_KEYS),
                    "value": 1,
                    "reason": "so",
                },
                {"kind": "leave", "tree": tree, "reason": "sold"},
                {"kind": "heater", "house": "cold", "setpoint_c": chance.randint(0, 9)},
                {"kind": "void", "entry": f"e{chance.randrange(max(1, number))}", "reason": "wrong"},
            ]
        )
        entries.append({"id": f"e{number}", "at": rfc3339(at("2026-01-01") + 60 * minute), **values})
    return entries


@settings(max_examples=150, deadline=None)
@given(some_entries())
def test_entries_taken_twice_are_entries_taken_once(entries: list[dict[str, Any]]) -> None:
    """Fold of the file, and of the file after itself, and entry by entry: the same book."""
    once = Book.fold(entries, HOUSE_OF)
    assert Book.fold([*entries, *entries], HOUSE_OF) == once
    assert once.with_entries(once.entries) is once
    grew = EMPTY
    for values in (*once.entries, *once.entries):
        grew = grew.with_entry(values)
    assert grew == once


@settings(max_examples=150, deadline=None)
@given(some_entries(), st.randoms(use_true_random=False))
def test_the_order_in_which_backdated_entries_arrive_does_not_matter(
    entries: list[dict[str, Any]], chance: random.Random
) -> None:
    """Only the instants count, as long as no two are the same."""
    mixed = list(entries)
    chance.shuffle(mixed)
    assert outcome(Book.fold(mixed, HOUSE_OF)) == outcome(Book.fold(entries, HOUSE_OF))
    grew = EMPTY
    for values in Book.fold(mixed, HOUSE_OF).entries:
        grew = grew.with_entry(values)
    assert outcome(grew) == outcome(Book.fold(entries, HOUSE_OF))


@settings(max_examples=100, deadline=None)
@given(some_entries())
def test_a_voided_entry_counts_as_never_written(entries: list[dict[str, Any]]) -> None:
    """The fold with voids is the fold of what is left without them."""
    book = Book.fold(entries, HOUSE_OF)
    left = [values for values in book.entries if values["id"] not in book.voided]
    same = Book.fold([values for values in left if values["kind"] != "void"], HOUSE_OF)
    assert same.trees == book.trees
    assert same.heaters == book.heaters
