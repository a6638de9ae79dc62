"""Entries of the book by themselves and against it: written forms, ids, and every refusal in words.

Expected values here are the project's own rules (snapshot) unless a test says otherwise.
"""

import json
from typing import Any

import pytest

from monitor.errors import BookError
from monitor.trees.book import Book, check_entry, entry_id
from monitor.trees.entries import tree_id_from_name
from monitor.trees.kinds import ENTRY_KINDS, LIMIT_KEYS, WORKS, entry_fields
from monitor.trees.plan_checks import LIMIT_KEYS as PLAN_LIMIT_KEYS
from tests.trees.garden import EMPTY, HOUSES, NOW, NOW_S, SENSORS, checked, grown, larch, said, yew

EVERY_KIND: tuple[dict[str, Any], ...] = (
    larch(pot_litres=12, pot_sensor="pot-1", evergreen="no"),
    yew(),
    said("work", "2026-01-10T15:00:00Z", work="heavy-bend", note="first and third branch"),
    said(
        "wrap",
        "2026-01-10T15:00:00Z",
        wrap="first-branch",
        fibre="raffia",
        cover="tape-overlapped",
        branch_mm=20,
        thickness_mm=1.5,
    ),
    said("wire", "2026-01-10T15:30:00Z", part="first-branch", metal="copper", mm=4),
    said("guy", "2026-01-10T15:40:00Z", part="second-branch", metal="steel", mm=1),
    said("move", "2026-01-11T08:00:00Z", tree=None, trees=["larch-3"], sensor="bench-b"),
    said("touch", "2026-01-12T08:00:00Z", wrap="first-branch", feel="damp", how="lifted-edge"),
    said("heater", "2026-01-13T18:00:00Z", tree=None, house="cold", setpoint_c=5.0),
    said("rest", "2026-01-13T18:00:00Z", tree=None, sensor="bench-a", until="2026-01-13T19:00:00Z"),
    said("note", "2026-01-14T08:00:00Z", tree=None, house="cold", note="snow on the roof"),
    said("rewet", "2026-01-15T08:00:00Z", wrap="first-branch"),
    said("move", "2026-01-16T03:30:00Z", tree=None, house="cold", to="garage"),
    said(
        "limit",
        "2026-01-20T08:00:00Z",
        limit="low_harm_c",
        value=-1.0,
        reason="came through -3 last year",
        until="2026-03-01T00:00:00Z",
    ),
    said("done", "2026-02-01T08:00:00Z", follow_up="wire-check", note="no bite yet"),
    said("duty", "2026-02-10T08:00:00Z", tree=None, person="tom", until="2026-02-17T20:00:00Z"),
    said("unwrap", "2026-03-01T09:00:00Z", wrap="first-branch"),
    said("unguy", "2026-03-02T09:00:00Z", part="second-branch"),
    said("finding", "2026-04-02T08:00:00Z", part="first-branch", found="buds-swelling"),
    said("release", "2026-04-20T08:00:00Z", work="heavy-bend"),
    said("unwire", "2026-05-20T09:00:00Z", part="first-branch"),
    said("leave", "2026-06-12T08:00:00Z", reason="sold"),
)


def test_a_whole_life_in_the_book_is_taken_kind_by_kind() -> None:
    """Every kind of the table is taken in its usual form, in the order in which it happens."""
    book = grown(*EVERY_KIND)
    kinds = {values["kind"] for values in book.entries}
    assert kinds == set(ENTRY_KINDS) - {"void"}
    tree = book.trees["larch-3"]
    assert tree.sensor is None
    assert tree.place == "garage"
    assert tree.left_reason == "sold"
    assert tree.evergreen is False
    assert tree.pot_sensor == "pot-1"
    assert book.setpoint_c("cold", NOW_S) == 5.0


def test_an_entry_is_written_in_one_form() -> None:
    """Offsets become Z, texts from a command line become numbers and lists, names become ids."""
    book = grown(larch())
    entry = checked(
        book,
        kind="wrap",
        at="2026-01-10T16:00:00+01:00",
        tree="Larch 3",
        wrap="First branch",
        fibre="raffia",
        branch_mm="20.0",
        cover="",
        by="Ann",
    )
    assert entry == {
        "id": entry["id"],
        "at": "2026-01-10T15:00:00Z",
        "kind": "wrap",
        "tree": "larch-3",
        "wrap": "first-branch",
        "fibre": "raffia",
        "branch_mm": 20,
        "by": "Ann",
        "entered_at": NOW,
    }
    assert json.loads(json.dumps(entry)) == entry


def test_an_entry_without_a_time_is_of_now() -> None:
    """`at` and `entered_at` left out are the present."""
    entry = checked(grown(larch()), kind="note", note="frost on the glass")
    assert (entry["at"], entry["entered_at"]) == (NOW, NOW)


def test_an_id_is_made_from_the_content_alone() -> None:
    """Who wrote it, when, and in which spelling makes no other entry; another fact does."""
    one = {"kind": "work", "at": "2026-01-10T15:00:00Z", "tree": "larch-3", "work": "heavy-bend"}
    same = {**one, "at": "2026-01-10T16:00:00+01:00", "tree": "Larch 3", "by": "Tom", "entered_at": NOW}
    assert entry_id(one) == entry_id(same)
    assert entry_id(one) != entry_id({**one, "note": "third branch"})
    assert len(entry_id(one)) == 16


def test_an_entry_taken_twice_is_the_entry_that_stands() -> None:
    """The same fact again gives back the line that is there, with its own first `entered_at`."""
    book = grown(larch())
    again = checked(book, now_s=NOW_S + 3600, **larch(by="Tom"))
    assert again == book.entries[0]
    assert book.with_entry(again) is book


@pytest.mark.parametrize(
    ("name", "tree_id"),
    [
        ("Larch 3", "larch-3"),
        ("  Käthe's  Yew ", "kathe-s-yew"),
        ("LARCH_3", "larch_3"),
        ("-- 7 --", "7"),
        ("松", ""),
        ("x" * 80, "x" * 63),
    ],
)
def test_a_tree_has_an_id_from_its_name(name: str, tree_id: str) -> None:
    """Small letters, digits and dashes, at most 63."""
    assert tree_id_from_name(name) == tree_id


def test_every_kind_describes_its_keys_for_the_command_line() -> None:
    """`--help` and the options are made from the same table as the checks."""
    for kind, described in ENTRY_KINDS.items():
        fields = entry_fields(kind)
        names = [field.name for field in fields]
        assert len(names) == len(set(names)), kind
        assert {"at", "by", "id", "entered_at", "note"} <= set(names)
        assert all(field.help and field.option.startswith("--") for field in fields)
        assert described.help.endswith(".")
        assert described.example.startswith("book ")
        assert all(name in names for group in described.one_of for name in group)


def test_book_and_plans_speak_of_the_same_limits() -> None:
    """A limit of one's own can be set for everything a plan can hold."""
    assert LIMIT_KEYS == PLAN_LIMIT_KEYS
    assert len(WORKS) == 8


BAD: tuple[tuple[dict[str, Any], str], ...] = (
    ({"at": NOW}, "kind: is missing. Say one of: tree, work,"),
    ({"kind": "wrapp"}, "kind: 'wrapp' is no kind of entry. Did you mean \"wrap\"?"),
    ({"kind": "tree"}, "name: is missing. Add it: what you call the tree"),
    ({"kind": "tree", "name": "松"}, "tree: no id can be made from '松'. Give one: larch-3."),
    ({"kind": "tree", "name": "x" * 81}, "name: is longer than 80 characters. Shorten it."),
    ({"kind": "tree", "name": "Elm\x07"}, "name: has characters that cannot be printed"),
    (
        {"kind": "tree", "name": "Elm", "sensor": "bench-x"},
        "sensor: 'bench-x' is no sensor of the configuration. Did you mean \"bench-",
    ),
    (
        {"kind": "tree", "name": "Elm", "sensor": "pot-1"},
        "sensor: 'pot-1' is in a pot and says nothing of the air.",
    ),
    (
        {"kind": "tree", "name": "Elm", "pot_sensor": "bench-a"},
        "pot_sensor: 'bench-a' is no probe in a pot; its place is bench.",
    ),
    (
        {"kind": "tree", "name": "Elm", "sensor": "bench-a", "to": "garage"},
        "sensor: and to cannot both be given. Give one of: sensor, to.",
    ),
    (
        {"kind": "tree", "name": "Elm", "evergreen": "perhaps"},
        "evergreen: 'perhaps' is neither yes nor no. Say yes or no.",
    ),
    (
        {"kind": "tree", "name": "Elm", "pot_litres": "4,5"},
        "pot_litres: '4,5' is not a number. Write decimals with a point.",
    ),
    (
        {"kind": "tree", "name": "Elm", "pot_litres": -1},
        "pot_litres: -1 is out of range. It can be 0.05 to 2000.",
    ),
    (
        {"kind": "tree", "name": "Elm", "pot_litres": float("nan")},
        "pot_litres: nan is out of range.",
    ),
    ({"kind": "tree", "name": "Elm", "pot_litres": True}, "pot_litres: True is not a number."),
    ({"kind": "tree", "name": "Elm", "size": 3}, "size: is not a key of 'tree'."),
    ({"kind": "tree", "name": ["Elm"]}, "name: ['Elm'] is not a text."),
    (
        {"kind": "work", "tree": "larch-4", "work": "heavy-bend"},
        "tree: 'larch-4' is no tree of the book. Did you mean \"larch-3\"?",
    ),
    (
        {"kind": "work", "tree": "larch-3", "work": "heavy-bent"},
        "work: 'heavy-bent' is not known here. Did you mean \"heavy-bend\"?",
    ),
    ({"kind": "work", "tree": "larch-3"}, "work: is missing. Add it: what was done."),
    (
        {"kind": "work", "tree": "larch-3", "work": "graft", "at": "2026-07-01T00:06:00Z"},
        "at: 2026-07-01T00:06:00Z has not come yet.",
    ),
    (
        {"kind": "work", "tree": "larch-3", "work": "graft", "at": "2026-01-10T15:00:00"},
        "at: '2026-01-10T15:00:00' has no offset from UTC. Write it like 2026-01-09T10:00:00Z.",
    ),
    (
        {"kind": "work", "tree": "larch-3", "work": "graft", "at": "last Monday"},
        "at: 'last Monday' is not a date and time.",
    ),
    (
        {"kind": "work", "tree": "larch-3", "work": "graft", "at": "0026-01-10T15:00:00Z"},
        "at: '0026-01-10T15:00:00Z' is too long ago or too far ahead. Look at its year.",
    ),
    (
        {"kind": "touch", "tree": "larch-3", "wrap": "first-brunch", "feel": "damp"},
        "wrap: 'first-brunch' is no wrap of 'larch-3'. Did you mean \"first-branch\"?",
    ),
    (
        {
            "kind": "touch",
            "tree": "larch-3",
            "wrap": "first-branch",
            "feel": "damp",
            "at": "2026-01-10T12:00:00Z",
        },
        "wrap: 'first-branch' was not on at 2026-01-10T12:00:00Z. Look at the time, or enter the wrap first.",
    ),
    (
        {"kind": "unwire", "tree": "larch-3", "part": "top"},
        "part: 'larch-3' has no wire on 'top'. Known are: first-branch.",
    ),
    (
        {"kind": "unguy", "tree": "larch-3", "part": "first-branch"},
        "part: 'larch-3' has no guy on 'first-branch'.",
    ),
    (
        {"kind": "unwire", "tree": "larch-3", "part": "first-branch", "at": "2026-01-10T12:00:00Z"},
        "part: the wire on 'first-branch' was not on at 2026-01-10T12:00:00Z.",
    ),
    (
        {"kind": "release", "tree": "larch-3", "work": "graft"},
        "work: 'larch-3' has no work 'graft'. Known are: heavy-bend.",
    ),
    (
        {"kind": "release", "tree": "larch-3", "work": "heavy-bend", "at": "2026-01-09T12:00:00Z"},
        "at: is before the work itself (2026-01-10). Give the time of the release.",
    ),
    ({"kind": "move", "sensor": "bench-a"}, "trees: is missing. Give one of: trees, house."),
    (
        {"kind": "move", "trees": "larch-3", "house": "cold", "to": "garage"},
        "trees: and house cannot both be given. Give one of: trees, house.",
    ),
    ({"kind": "move", "trees": "larch-3"}, "sensor: is missing. Give one of: sensor, to."),
    (
        {"kind": "move", "trees": "larch-3,yew-9", "to": "garage"},
        "trees: 'yew-9' is no tree of the book. Did you mean \"yew-2\"?",
    ),
    ({"kind": "move", "trees": 3, "to": "garage"}, "trees: 3 is not a list of ids."),
    (
        {"kind": "move", "trees": "larch-3", "to": "cellar"},
        "to: 'cellar' is not known here. Known are: garage, outside, workshop.",
    ),
    ({"kind": "move", "house": "tall", "to": "garage"}, "house: no tree stands in 'tall'."),
    (
        {"kind": "heater", "house": "colt", "setpoint_c": 4},
        "house: 'colt' is no house of the configuration. Did you mean \"cold\"?",
    ),
    (
        {"kind": "limit", "tree": "larch-3", "limit": "low_harm", "value": 0, "reason": "so"},
        "limit: 'low_harm' is not known here. Did you mean \"low_harm_c\"?",
    ),
    (
        {"kind": "limit", "tree": "larch-3", "limit": "vpd_warn_kpa", "value": 20, "reason": "so"},
        "value: 20 is out of range for vpd_warn_kpa. It can be 0.05 to 10.",
    ),
    ({"kind": "limit", "tree": "larch-3", "limit": "low_harm_c", "value": 0}, "reason: is missing."),
    (
        {
            "kind": "limit",
            "tree": "larch-3",
            "limit": "low_harm_c",
            "value": 0,
            "reason": "so",
            "at": "2026-02-01T00:00:00Z",
            "until": "2026-01-01T00:00:00Z",
        },
        "until: 2026-01-01T00:00:00Z is before 2026-02-01T00:00:00Z. Give a later time.",
    ),
    (
        {"kind": "rest", "sensor": "bench-a", "until": "2026-07-02T00:00:01Z"},
        "until: is more than 24 h ahead, and Larch 3 would stand unwatched.",
    ),
    (
        {"kind": "duty", "person": "tim", "until": "2026-07-02T00:00:00Z"},
        "person: 'tim' is nobody in the configuration. Did you mean \"tom\"?",
    ),
    ({"kind": "note"}, "note: is missing. Add it: what there is to say."),
    (
        {"kind": "void", "entry": "abc", "reason": "wrong tree"},
        "entry: 'abc' is no entry of the book.",
    ),
    (
        {"kind": "leave", "tree": "larch-3", "reason": "sold", "at": "2026-01-09T12:00:00Z"},
        "at: 'larch-3' has later entries (the first: work at 2026-01-10T15:00:00Z).",
    ),
    ({"kind": "note", "note": "x" * 501}, "note: is longer than 500 characters. Shorten it."),
    ({"kind": "note", "note": "x", "id": "a b"}, "id: 'a b' is no id."),
)


@pytest.mark.parametrize(("values", "sentence"), BAD, ids=[sentence[:50] for _values, sentence in BAD])
def test_a_refusal_is_a_sentence_that_says_what_to_do(values: dict[str, Any], sentence: str) -> None:
    """Key, what is wrong, what to do; the nearest known name where there is one."""
    book = grown(*(values for values in EVERY_KIND[:5]))
    with pytest.raises(BookError) as refused:
        checked(book, **values)
    assert str(refused.value).startswith(sentence)
    assert len(refused.value.problems) == 1
    assert str(refused.value).endswith((".", "?", '"', "}"))


def test_all_problems_of_an_entry_are_said_at_once() -> None:
    """Nobody mends one key after the other."""
    with pytest.raises(BookError) as refused:
        checked(EMPTY, kind="wrap", fibre="rafia", branch_mm="thick", sized=1)
    assert {problem.key for problem in refused.value.problems} == {
        "sized",
        "tree",
        "wrap",
        "fibre",
        "branch_mm",
    }


def test_what_follows_a_leave_is_refused_but_for_findings_and_notes() -> None:
    """A tree that left may still be written about, and its leaving be voided."""
    book = grown(larch(), said("leave", "2026-02-01", reason="sold"))
    for values in (
        said("work", "2026-02-02", work="graft"),
        said("move", "2026-02-02", tree=None, trees="larch-3", to="garage"),
        larch(at="2026-02-02T00:00:00Z"),
        said("leave", "2026-02-02", reason="sold again"),
    ):
        with pytest.raises(BookError, match=r"'larch-3' left on 2026-02-01 \(sold\)\. Only a finding"):
            checked(book, **values)
    for values in (
        said("finding", "2026-02-02", found="dead"),
        said("note", "2026-02-02", note="seen at the new owner's"),
        said("work", "2026-01-31", work="light-wiring"),
        said("void", "2026-02-02", tree=None, entry=book.entries[-1]["id"], reason="still here"),
    ):
        assert checked(book, **values)["kind"] == values["kind"]


def test_an_entry_once_voided_does_not_come_back_by_itself() -> None:
    """Writing the very same again is met with the void to take back, not silently ignored."""
    work = said("work", "2026-01-10", work="graft")
    book = grown(larch(), work)
    void = said("void", "2026-01-11", tree=None, entry=book.entries[-1]["id"], reason="wrong tree")
    book = grown(void, book=book)
    with pytest.raises(BookError, match=f"id: this very entry was voided. Void {book.entries[-1]['id']}"):
        checked(book, **work)
    with pytest.raises(BookError, match="was voided already"):
        checked(book, **{**void, "at": "2026-01-12T00:00:00Z"})
    taken_back = said("void", "2026-01-13", tree=None, entry=book.entries[-1]["id"], reason="right after all")
    assert [work.work for work in grown(taken_back, book=book).trees["larch-3"].works] == ["graft"]


def test_an_id_of_ones_own_stands_for_one_content() -> None:
    """The same id with other words is refused, not taken for the known entry."""
    book = grown(larch(id="first"))
    assert checked(book, **larch(id="first"))["id"] == "first"
    with pytest.raises(BookError, match="id: 'first' is another entry already"):
        checked(book, **yew(id="first"))


def test_a_done_names_what_can_be_due() -> None:
    """A mistyped follow-up would otherwise stay due for ever."""
    book = grown(larch())
    known = ("wire-check", "unwrap")
    values = said("done", "2026-02-01", follow_up="wire-chek")
    with pytest.raises(BookError, match=r'nothing that is ever due\. Did you mean "wire-check"'):
        check_entry(values, book, SENSORS, HOUSES, NOW_S, follow_ups=known)
    assert check_entry(values, book, SENSORS, HOUSES, NOW_S)["follow_up"] == "wire-chek"


def test_a_time_without_an_offset_is_local_where_a_zone_is_given() -> None:
    """On the day after the clocks went forward, London's 9:00 is 8:00 UTC; a day alone is its beginning."""
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("Europe/London")
    book = Book()
    for text, written in (
        ("2026-03-28 09:00", "2026-03-28T09:00:00Z"),
        ("2026-03-30 09:00", "2026-03-30T08:00:00Z"),
        ("2026-03-30", "2026-03-29T23:00:00Z"),
    ):
        entry = check_entry(
            {"kind": "tree", "name": "Elm", "at": text}, book, SENSORS, HOUSES, NOW_S, zone=zone
        )
        assert entry["at"] == written
