"""The book without a daemon: straight on the file, checked before anything is written."""

import io
import json
import sys
from pathlib import Path

import pytest

from monitor import clock
from monitor.store.lock import StateLock
from tests.cli.place import BOOK, Command, Place


@pytest.fixture
def book(place: Place) -> Path:
    """The book of an installation with one tree."""
    return place.write_book()


def _entries(book: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in book.read_text(encoding="utf-8").splitlines()]


def test_an_entry_is_written_and_its_id_is_said(book: Path, place: Place, aftercare: Command) -> None:
    """So that it can be taken back."""
    done = aftercare(
        "book", "add", "finding", "--tree", "Larch 3", "--found", "buds-swelling", "--config", place.config
    )

    assert done.status == 0
    entry = _entries(book)[-1]
    assert entry["kind"] == "finding"
    assert entry["tree"] == "larch-3"
    assert f"book void {entry['id']}" in done.out


def test_the_first_entry_makes_a_private_state_directory(place: Place, aftercare: Command) -> None:
    """Before the daemon ever ran."""
    done = aftercare(
        "book", "add", "tree", "--name", "Yew 2", "--sensor", "bench-a", "--config", place.config
    )

    assert done.status == 0
    assert place.state.stat().st_mode & 0o777 == 0o700
    assert (place.state / "book.jsonl").stat().st_mode & 0o777 == 0o600


def test_times_without_an_offset_are_the_sites(book: Path, place: Place, aftercare: Command) -> None:
    """London in July is an hour ahead of UTC (published: the zone's own rule, tzdata)."""
    at = ("--at", "2026-07-01 10:00")
    done = aftercare("book", "add", "note", "--note", "hot", *at, "--config", place.config)

    assert done.status == 0
    assert _entries(book)[-1]["at"] == "2026-07-01T09:00:00Z"


def test_a_negative_limit_is_a_value_and_no_option(book: Path, place: Place, aftercare: Command) -> None:
    """`--value -1` is how anybody writes it."""
    words = [
        "book",
        "add",
        "limit",
        "--tree",
        "larch-3",
        "--limit",
        "low_harm_c",
        "--value",
        "-1",
        "--reason",
        "seen",
    ]

    assert aftercare(*words, "--config", place.config).status == 0
    assert _entries(book)[-1]["value"] == -1


@pytest.mark.parametrize(
    ("words", "named"),
    [
        ("touch --tree larch-3 --wrap first --feel damp", "wrap"),
        ("work --tree larch-33 --work heavy-bend", "larch-33"),
        ("work --tree larch-3 --work havy-bend", "heavy-bend"),
        ("work --tree larch-3", "work: is missing"),
        ("move --trees larch-3 --sensor bench-b", "bench-b"),
        ("note --note x --at 2126-01-01", "has not come yet"),
        ("note --note x --at yesterday", "'yesterday' is not a date and time"),
    ],
)
def test_a_wrong_entry_is_refused_and_nothing_is_written(
    words: str, named: str, book: Path, place: Place, aftercare: Command
) -> None:
    """One sentence, status 2."""
    before = book.read_bytes()

    done = aftercare("book", "add", *words.split(), "--config", place.config)

    assert done.status == 2
    assert named in done.err
    assert len(done.err.splitlines()) == 1
    assert book.read_bytes() == before


def test_the_list_shows_ids_and_what_was_taken_back(book: Path, place: Place, aftercare: Command) -> None:
    """A void counts, and both stay readable."""
    aftercare("book", "add", "note", "--note", "snow on the roof", "--config", place.config)
    entry = aftercare("book", "list", "--json", "--config", place.config).json[-1]

    voided = aftercare("book", "void", entry["id"], "--reason", "wrong day", "--config", place.config)
    listed = aftercare("book", "list", "--config", place.config)

    assert voided.status == 0
    line = next(line for line in listed.out.splitlines() if line.startswith(entry["id"]))
    assert line.endswith("(taken back)")
    assert listed.out.splitlines()[1].split()[1:3] == ["2026-01-09", "10:00"]


def test_the_list_can_be_about_one_tree(book: Path, place: Place, aftercare: Command) -> None:
    """And an unknown one is wrong usage."""
    aftercare("book", "add", "note", "--note", "snow", "--config", place.config)

    listed = aftercare("book", "list", "--tree", "larch-3", "--json", "--config", place.config)
    unknown = aftercare("book", "list", "--tree", "oak-1", "--config", place.config)

    assert [entry["kind"] for entry in listed.json] == ["tree", "work"]
    assert unknown.status == 2


def test_an_exported_book_imports_into_another_house_and_twice_changes_nothing(
    book: Path, place: Place, aftercare: Command, tmp_path: Path
) -> None:
    """The round trip keeps every entry."""
    exported = tmp_path / "exported.jsonl"
    aftercare("book", "export", "--out", exported, "--config", place.config)
    (tmp_path / "other").mkdir()
    other = Place(tmp_path / "other")

    first = aftercare("book", "import", exported, "--config", other.config)
    after_first = (other.state / "book.jsonl").read_bytes()
    again = aftercare("book", "import", exported, "--config", other.config)

    assert (first.status, again.status) == (0, 0)
    assert [e["kind"] for e in _entries(other.state / "book.jsonl")] == [e["kind"] for e in BOOK]
    assert "Nothing in it is new" in again.out
    assert (other.state / "book.jsonl").read_bytes() == after_first


def test_a_bad_import_names_every_bad_line_and_takes_nothing(
    book: Path, place: Place, aftercare: Command, tmp_path: Path
) -> None:
    """All or nothing."""
    before = book.read_bytes()
    file = tmp_path / "more.jsonl"
    good = {"at": "2026-01-12T08:00:00Z", "kind": "note", "note": "good"}
    wrong = [{**good, "kind": "nite"}, {**good, "tree": "oak-1"}]
    file.write_text("\n".join(["{", *map(json.dumps, [good, *wrong])]) + "\n")

    done = aftercare("book", "import", file, "--config", place.config)

    assert done.status == 2
    lines = done.err.splitlines()
    assert all(line.startswith(f"{file}, line ") for line in lines)
    assert {line.partition(", line ")[2][0] for line in lines} == {"1", "3", "4"}
    assert book.read_bytes() == before


def test_a_list_of_trees_can_come_over_standard_input(
    place: Place, aftercare: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a spreadsheet saves."""
    text = "name;species;sensor;work;at\nLarch 3;Larix decidua;bench-a;heavy-bend;2026-01-10\n"
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode("utf-8-sig"))))

    done = aftercare("book", "import", "-", "--config", place.config)

    assert done.status == 0
    assert [entry["kind"] for entry in _entries(place.state / "book.jsonl")] == ["tree", "work"]


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", None])
def test_a_file_that_is_no_text_or_not_there_is_one_sentence(
    content: bytes | None, place: Place, aftercare: Command, tmp_path: Path
) -> None:
    """With the file's name."""
    file = tmp_path / "strange"
    if content is not None:
        file.write_bytes(content)

    done = aftercare("book", "import", file, "--config", place.config)

    assert done.status == 2
    assert done.err.startswith(f"{file}: ")
    assert len(done.err.splitlines()) == 1


def test_with_a_clock_that_cannot_be_right_an_entry_needs_its_time(
    book: Path, place: Place, aftercare: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A board without a battery wakes up in 1970; the night it happened must not be lost."""
    monkeypatch.setattr(clock, "wall_s", lambda: 1000.0)
    words = ("book", "add", "note", "--note", "x", "--config", place.config)

    before = book.read_bytes()
    without = aftercare(*words)
    after_without = book.read_bytes()
    given = aftercare(*words, "--at", "2026-12-09T10:00:00Z")

    assert without.status == 2
    assert "--at" in without.err
    assert after_without == before
    assert given.status == 0
    assert _entries(book)[-1]["at"] == "2026-12-09T10:00:00Z"


def test_while_somebody_else_holds_the_state_nothing_is_written(
    book: Path, place: Place, aftercare: Command
) -> None:
    """A daemon that is just starting must not find the book changing."""
    before = book.read_bytes()

    with StateLock.take(place.state):
        done = aftercare("book", "add", "note", "--note", "x", "--config", place.config)

    assert done.status == 1
    assert "another aftercare" in done.err
    assert book.read_bytes() == before


def test_a_broken_book_is_told_with_its_line(book: Path, place: Place, aftercare: Command) -> None:
    """And is left as it is, for a person to mend."""
    book.write_text("[]\n" + book.read_text())
    before = book.read_bytes()

    done = aftercare("book", "add", "note", "--note", "x", "--config", place.config)

    assert done.status == 2
    assert done.err.startswith(f"{book}, line 1: ")
    assert book.read_bytes() == before


def test_a_trees_record_shows_its_limits_with_their_sources(
    book: Path, place: Place, aftercare: Command
) -> None:
    """Every limit carries where it comes from."""
    shown = aftercare("tree", "show", "Larch 3", "--config", place.config)

    assert shown.status == 0
    assert "Larch 3 (larch-3), Larix decidua" in shown.out
    assert "heavy-bend" in shown.out


def test_a_sensor_can_rest_and_wake(book: Path, place: Place, aftercare: Command) -> None:
    """Both are entries of the book."""
    rested = aftercare("sensor", "rest", "bench-a", "--for", "1h", "--by", "ann", "--config", place.config)
    too_long = aftercare("sensor", "rest", "bench-a", "--for", "25h", "--config", place.config)
    woken = aftercare("sensor", "wake", "bench-a", "--config", place.config)

    assert (rested.status, too_long.status, woken.status) == (0, 2, 0)
    assert [entry["kind"] for entry in _entries(book)[2:]] == ["rest", "rest"]
    assert _entries(book)[2]["by"] == "ann"
