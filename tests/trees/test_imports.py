"""Many entries at once: all or none, every bad line by its number, twice is once.

Expected values here are the project's own rules (snapshot).
"""

import json
from collections.abc import Iterable
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings

from monitor.errors import BookError
from monitor.trees.book import Book
from monitor.trees.imports import check_import
from tests.trees.garden import EMPTY, HOUSES, NOW, NOW_S, PEOPLE, SENSORS, grown, larch, said, yew
from tests.trees.test_book_entries import EVERY_KIND
from tests.trees.test_book_fold import outcome

LONDON = ZoneInfo("Europe/London")


def imported(
    text: str | Iterable[str], book: Book = EMPTY, now_s: float = NOW_S
) -> tuple[dict[str, Any], ...]:
    """What an import brings."""
    return check_import(text, book, SENSORS, HOUSES, now_s, people=PEOPLE, zone=LONDON, file="trees.csv")


def refused(text: str | Iterable[str], book: Book = EMPTY) -> list[str]:
    """What is wrong with an import, a sentence each."""
    with pytest.raises(BookError) as wrong:
        imported(text, book)
    return [str(problem) for problem in wrong.value.problems]


def lines(*entries: dict[str, Any]) -> str:
    """Entries as JSON Lines."""
    return "".join(json.dumps(values) + "\n" for values in entries)


def test_an_exported_book_goes_into_another_whole() -> None:
    """With its voids, its own times and hands; a second time nothing is new."""
    book = grown(*EVERY_KIND)
    book = grown(
        said("void", "2026-06-20", tree=None, entry=book.entries[2]["id"], reason="wrong tree", by="Ann"),
        book=book,
    )
    brought = imported(lines(*map(dict, book.entries)))
    assert brought == book.entries
    again = EMPTY.with_entries(brought)
    assert again == book
    assert imported(lines(*map(dict, book.entries)), again) == ()


@settings(max_examples=60, deadline=None)
@given(...)
def test_lines_may_stand_in_any_order(seed: int) -> None:
    """A void before what it voids, a touch before its wrap, work before its tree: the instants count."""
    import random

    book = grown(*EVERY_KIND)
    mixed = list(map(dict, book.entries))
    random.Random(seed).shuffle(mixed)
    assert outcome(EMPTY.with_entries(imported(lines(*mixed)))) == outcome(book)


def test_a_line_that_stands_twice_is_taken_once() -> None:
    """In another spelling, too."""
    twice = lines(larch(), {**larch(), "at": "2026-01-09T11:00:00+01:00"})
    assert len(imported(twice)) == 1


def test_every_bad_line_is_said_with_its_number_and_nothing_is_taken() -> None:
    """One problem does not hide the next."""
    text = "\n".join(
        [
            json.dumps(larch()),
            "",
            '{"at": "2026-01-10T15:00:00Z", "kind": ',
            "[1, 2]",
            json.dumps(said("work", "2026-01-10", work="heavy-bent")),
            json.dumps({"kind": "work", "tree": "larch-3", "work": "graft"}),
            json.dumps(said("work", "2026-07-02", work="graft")),
        ]
    )
    problems = refused(text)
    assert [problem.split(":")[0] for problem in problems] == [
        "trees.csv, line 3",
        "trees.csv, line 4",
        "trees.csv, line 5, work",
        "trees.csv, line 6, at",
        "trees.csv, line 7, at",
    ]
    assert problems[0].endswith("One entry a line.")
    assert "'heavy-bent' is not known here. Did you mean \"heavy-bend\"?" in problems[2]


def test_names_that_nobody_knows_are_refused_line_by_line() -> None:
    """Unknown sensors, trees and wraps; and work after the tree left."""
    problems = refused(
        lines(
            larch(),
            yew(sensor="bench-z"),
            said("work", "2026-01-10", tree="larch-4", work="graft"),
            said("touch", "2026-01-10", wrap="top", feel="wet"),
            said("leave", "2026-02-01", reason="sold"),
            said("work", "2026-02-02", work="graft"),
        )
    )
    assert [problem.split(": ")[0] for problem in problems] == [
        "trees.csv, line 2, sensor",
        "trees.csv, line 3, tree",
        "trees.csv, line 4, wrap",
        "trees.csv, line 5, at",
        "trees.csv, line 6, tree",
    ]


def test_an_empty_import_brings_nothing() -> None:
    """Neither error nor entry."""
    assert imported("") == ()
    assert imported("\n \n") == ()


CSV = """tree,name,species,sensor,pot_litres,evergreen,work,at
,Larch 3,Larix decidua,bench-a,12,no,heavy-bend,2026-01-10 15:00
yew-2,"Yew, the second",Taxus baccata,bench-b,,yes,,
,Elm 1,,,4.5,,root-prune,2026-03-30
"""


def test_a_list_of_trees_becomes_trees_and_their_work() -> None:
    """A day alone is its beginning, in the site's time; a tree without work or date is of now."""
    brought = imported(CSV)
    assert [(entry["kind"], entry["tree"], entry["at"]) for entry in brought] == [
        ("tree", "larch-3", "2026-01-10T15:00:00Z"),
        ("work", "larch-3", "2026-01-10T15:00:00Z"),
        ("tree", "yew-2", NOW),
        ("tree", "elm-1", "2026-03-29T23:00:00Z"),
        ("work", "elm-1", "2026-03-29T23:00:00Z"),
    ]
    book = EMPTY.with_entries(brought)
    assert book.trees["larch-3"].pot_litres == 12
    assert book.trees["larch-3"].evergreen is False
    assert book.trees["yew-2"].name == "Yew, the second"
    assert book.trees["elm-1"].sensor is None


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_a_list_from_any_spreadsheet_is_read(delimiter: str) -> None:
    """Semicolons, tabs, a byte order mark, Windows line ends."""
    text = "\ufeffname;sensor;pot_litres\r\nLarch 3;bench-a;12\r\n\r\n".replace(";", delimiter)
    (entry,) = imported(text)
    assert (entry["tree"], entry["sensor"], entry["pot_litres"]) == ("larch-3", "bench-a", 12)


def test_a_list_imported_again_later_changes_nothing() -> None:
    """Not even for a tree that was moved in between; what the list says anew is news."""
    book = EMPTY.with_entries(imported(CSV))
    moved = grown(said("move", "2026-06-30", tree=None, trees="yew-2", to="garage"), book=book)
    assert imported(CSV, moved, NOW_S + 86_400) == ()
    (news,) = imported(CSV.replace("bench-b,,yes", "bench-b,9,yes"), moved, NOW_S + 86_400)
    assert (news["tree"], news["pot_litres"]) == ("yew-2", 9)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("name,sort\nElm,x\n", "trees.csv, line 1, sort: is no column of a list of trees."),
        ("sensor,species\nbench-a,x\n", "trees.csv, line 1: has no column name. A list of trees is a CSV"),
        ("name,name\nElm,Elm\n", "trees.csv, line 1, name: stands twice in the header."),
        ("name,sensor\nElm 1,bench-a,4\n", "trees.csv, line 2: has 3 cells under 2 columns."),
        ("name,sensor\nElm 1,bench-q\n", "trees.csv, line 2, sensor: 'bench-q' is no sensor"),
        ("name,work\nElm 1,graft\n", "trees.csv, line 2, at: is missing. An import says when"),
        ("name,sensor\n,bench-a\n", "trees.csv, line 2, name: is missing."),
        ('name,sensor\n"Elm 1,bench-a\n', "trees.csv, line 2: is not CSV"),
        ("name;pot_litres\nElm 1;4,5\n", "trees.csv, line 2, pot_litres: '4,5' is not a number."),
    ],
)
def test_a_list_that_is_wrong_is_refused_in_words(text: str, sentence: str) -> None:
    """With the line and the column."""
    assert refused(text)[0].startswith(sentence)


def test_a_long_list_is_taken_in_a_moment() -> None:
    """A thousand trees with work; no more than a few seconds even on a small board (no timing held)."""
    rows = "".join(f"Tree {n},bench-a,heavy-bend,2026-01-10\n" for n in range(1000))
    assert len(imported("name,sensor,work,at\n" + rows)) == 2000
