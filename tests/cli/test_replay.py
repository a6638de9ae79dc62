"""`replay`: the same engine over a recording; its files appear whole or not at all."""

import gzip
import json
from collections.abc import Iterable
from pathlib import Path

import pytest

from monitor.clock import parse_rfc3339, rfc3339
from tests.cli.place import BOOK, Command, Place

FILES = {"alarms.jsonl", "notices.jsonl", "forecasts.jsonl", "wraps.jsonl", "stages.jsonl", "reports"}
BEGINS_S = parse_rfc3339("2026-01-12T20:00:00Z")


def _line(minute: float, value_c: float) -> str:
    payload = json.dumps([{"n": "t", "u": "Cel", "v": value_c}, {"n": "rh", "u": "%RH", "v": 80}])
    at = rfc3339(BEGINS_S + minute * 60)
    return json.dumps({"received_at": at, "topic": "heather/cold/bench-a", "payload": payload, "qos": 1})


def _ack(minute: float) -> str:
    return json.dumps(
        {
            "received_at": rfc3339(BEGINS_S + minute * 60),
            "event": "ack",
            "alarms": ["low-temperature/larch-3"],
            "by": "ann",
        }
    )


def _night(values_c: Iterable[float]) -> list[str]:
    return [_line(minute, value_c) for minute, value_c in enumerate(values_c)]


FROST = [*_night([4.0] * 30 + [-1.0] * 5), _ack(34.5), *(_line(minute, 4.0) for minute in range(35, 45))]


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A book that stands beside the recording."""
    path = tmp_path / "book.jsonl"
    path.write_text("".join(json.dumps(entry) + "\n" for entry in BOOK))
    return path


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """A frost of five minutes that somebody has seen."""
    path = tmp_path / "night.jsonl"
    path.write_text("\n".join(FROST) + "\n")
    return path


def _alarms(out: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in (out / "alarms.jsonl").read_text().splitlines()]


def test_a_frost_that_was_seen_comes_out_as_one_occurrence(
    place: Place, aftercare: Command, recording: Path, book: Path, tmp_path: Path
) -> None:
    """Raised, seen, over: three steps of one occurrence, in order."""
    out = tmp_path / "out"

    done = aftercare("replay", recording, "--book", book, "--out", out, "--config", place.config)

    assert done.status == 0
    assert done.err == ""
    frost = [line for line in _alarms(out) if line["kind"] == "low-temperature"]
    assert [line["to"] for line in frost] == ["unacknowledged", "acknowledged", "normal"]
    assert [line["seq"] for line in frost] == [1, 2, 3]
    assert len({line["occurrence"] for line in frost}) == 1
    assert {path.name for path in out.iterdir()} == FILES


def test_a_folder_of_day_files_packed_or_not_gives_the_same(
    place: Place, aftercare: Command, recording: Path, book: Path, tmp_path: Path
) -> None:
    """As the daemon leaves them."""
    folder = tmp_path / "recording"
    folder.mkdir()
    lines = recording.read_text().splitlines(keepends=True)
    (folder / "2026-01-12.jsonl.gz").write_bytes(gzip.compress("".join(lines[:20]).encode()))
    (folder / "2026-01-13.jsonl").write_text("".join(lines[20:]))
    config = ("--config", place.config, "--book", book)

    aftercare("replay", recording, "--out", tmp_path / "one", *config)
    done = aftercare("replay", folder, "--out", tmp_path / "two", "--readings", *config)

    assert done.status == 0
    assert (tmp_path / "one/alarms.jsonl").read_bytes() == (tmp_path / "two/alarms.jsonl").read_bytes()
    assert len((tmp_path / "two/readings.jsonl").read_text().splitlines()) == 2 * (len(FROST) - 1)


def test_a_second_replay_takes_the_place_of_the_first(
    place: Place, aftercare: Command, recording: Path, book: Path, tmp_path: Path
) -> None:
    """Nothing of the earlier one stays to mislead; what is not ours does."""
    out = tmp_path / "out"
    words = ("replay", recording, "--book", book, "--out", out, "--config", place.config)
    aftercare(*words, "--readings")
    (out / "reports" / "2020-01-01.txt").write_text("old")
    (out / "mine.txt").write_text("mine")

    done = aftercare(*words)

    assert done.status == 0
    assert {path.name for path in out.iterdir()} == FILES | {"mine.txt"}
    assert not (out / "reports" / "2020-01-01.txt").exists()


def test_a_broken_recording_is_told_with_its_line_and_nothing_is_left(
    place: Place, aftercare: Command, recording: Path, book: Path, tmp_path: Path
) -> None:
    """Half a replay would look like a quiet night."""
    lines = recording.read_text().splitlines()
    recording.write_text("\n".join([*lines[:7], '{"received_at":"soon"}', *lines[7:]]) + "\n")

    done = aftercare("replay", recording, "--book", book, "--out", tmp_path / "out", "--config", place.config)

    assert done.status == 2
    assert done.err.startswith(f"{recording}, line 8: ")
    assert len(done.err.splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_a_broken_recording_leaves_an_earlier_replay_as_it_was(
    place: Place, aftercare: Command, recording: Path, book: Path, tmp_path: Path
) -> None:
    """Only what is whole takes its place."""
    out = tmp_path / "out"
    words = ("replay", recording, "--book", book, "--out", out, "--config", place.config)
    aftercare(*words)
    before = {path.name: path.read_bytes() for path in out.iterdir() if path.is_file()}
    recording.write_text("no recording\n" + recording.read_text())

    done = aftercare(*words)

    assert done.status == 2
    assert {path.name: path.read_bytes() for path in out.iterdir() if path.is_file()} == before


def test_a_torn_last_line_is_left_out_and_said(
    place: Place, aftercare: Command, recording: Path, book: Path, tmp_path: Path
) -> None:
    """A power cut tears it."""
    recording.write_text(recording.read_text() + '{"received_at":"2026-01-12T2')

    done = aftercare("replay", recording, "--book", book, "--out", tmp_path / "out", "--config", place.config)

    assert done.status == 0
    assert "torn" in done.err


@pytest.mark.parametrize(
    ("line", "number"),
    [
        ("no entry", 3),
        ('{"at":"2026-01-09T10:00:00Z","kind":"wrok","tree":"larch-3","work":"heavy-bend"}', 3),
        ('{"at":"2026-01-09","kind":"note","note":"no offset"}', 3),
        ('{"kind":"note","note":"no time"}', 3),
    ],
)
def test_a_broken_book_is_told_with_its_line_before_anything_runs(
    line: str, number: int, place: Place, aftercare: Command, recording: Path, book: Path, tmp_path: Path
) -> None:
    """A tree that is not there would be a night without alarms."""
    book.write_text(book.read_text() + line + "\n")

    done = aftercare("replay", recording, "--book", book, "--out", tmp_path / "out", "--config", place.config)

    assert done.status == 2
    assert done.err.startswith(f"{book}, line {number}")
    assert len(done.err.splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_an_entry_whose_sensor_left_does_not_stop_a_replay(
    place: Place, aftercare: Command, recording: Path, book: Path, tmp_path: Path
) -> None:
    """An old book goes with new settings; its trees stand unwatched."""
    place.config.write_text(place.config.read_text().replace("[sensors.bench-a]", "[sensors.bench-z]"))

    done = aftercare("replay", recording, "--book", book, "--out", tmp_path / "out", "--config", place.config)

    assert done.status == 0


def test_without_a_book_it_is_said_that_no_tree_is_guarded(
    place: Place, aftercare: Command, recording: Path, tmp_path: Path
) -> None:
    """Never silently."""
    done = aftercare("replay", recording, "--out", tmp_path / "out", "--config", place.config)

    assert done.status == 0
    assert "no tree is guarded" in done.err
    assert _alarms(tmp_path / "out") == []


def test_a_file_in_the_place_of_the_folder_is_left_alone(
    place: Place, aftercare: Command, recording: Path, book: Path, tmp_path: Path
) -> None:
    """One sentence instead."""
    (tmp_path / "out").write_text("mine")

    done = aftercare("replay", recording, "--book", book, "--out", tmp_path / "out", "--config", place.config)

    assert done.status == 1
    assert "not a directory" in done.err
    assert (tmp_path / "out").read_text() == "mine"
