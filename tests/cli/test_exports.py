"""`export`, `backup` and `report` from a state directory without a daemon."""

import csv
import io
import json
import tarfile
from pathlib import Path

import icalendar
import pyarrow.parquet
import pytest

from monitor.clock import parse_rfc3339
from monitor.model import Effects, Flag, Notice, NoticeKind, Priority, Quantity, Reading, Report
from monitor.store.sqlite import Store
from tests.cli.place import Command, Place

AT_S = parse_rfc3339("2027-01-17T02:00:00Z")
DAY_S = 86400.0


def _reading(at_s: float, value_c: float) -> Reading:
    return Reading("bench-a", Quantity.TEMPERATURE_C, value_c, at_s, at_s, Flag.GOOD)


@pytest.fixture
def kept(place: Place) -> Place:
    """An installation that has seen two nights and sent a report of each."""
    place.write_book()
    store = Store.open(place.state, AT_S)
    nights = (AT_S - DAY_S, AT_S)
    reports = tuple(
        Report(at_s, date, "quiet", f"The night to {date}.\n", f"<p>{date}</p>")
        for at_s, date in zip(nights, ("2027-01-16", "2027-01-17"), strict=True)
    )
    notice = Notice(AT_S, "n.1", NoticeKind.ACTIVATION, Priority.HIGH, "log", "=1+1", "text, with\nbreaks")
    readings = (*(_reading(at_s, -1.25) for at_s in nights), _reading(AT_S + 60, 0.5))
    store.commit([Effects(readings=readings, notices=(notice,), reports=reports)], AT_S + 60)
    store.close()
    return place


def _export(aftercare: Command, place: Place, *words: str | Path) -> str:
    done = aftercare("export", *words, "--config", place.config)
    assert done.status == 0, done.err
    return done.out


def test_readings_come_as_the_lines_of_a_replay(kept: Place, aftercare: Command) -> None:
    """In order, with their flags."""
    lines = [json.loads(line) for line in _export(aftercare, kept, "readings").splitlines()]

    assert [line["value"] for line in lines] == [-1.25, -1.25, 0.5]
    assert list(lines[0]) == ["observed_at", "received_at", "sensor", "quantity", "value", "flag"]


def test_a_span_is_taken_in_the_sites_time(kept: Place, aftercare: Command) -> None:
    """From a day's beginning to before an instant."""
    out = _export(aftercare, kept, "readings", "--from", "2027-01-17", "--to", "2027-01-17 02:01")

    assert len(out.splitlines()) == 1


def test_a_table_is_safe_to_open_and_keeps_its_numbers(
    kept: Place, aftercare: Command, tmp_path: Path
) -> None:
    """A text that a spreadsheet would run is quoted; a negative number stays a number."""
    out = tmp_path / "readings.csv"
    notices = list(csv.DictReader(io.StringIO(_export(aftercare, kept, "notices", "--format", "csv"))))
    _export(aftercare, kept, "readings", "--format", "csv", "--out", out)
    readings = list(csv.DictReader(out.read_text().splitlines()))

    assert notices[0]["subject"] == "'=1+1"
    assert notices[0]["text"] == "text, with\nbreaks"
    assert [float(row["value"]) for row in readings] == [-1.25, -1.25, 0.5]


def test_a_parquet_file_holds_the_same(kept: Place, aftercare: Command, tmp_path: Path) -> None:
    """Independent: read back with pyarrow."""
    out = tmp_path / "readings.parquet"

    _export(aftercare, kept, "readings", "--format", "parquet", "--out", out)

    table = pyarrow.parquet.read_table(out)
    assert table.column("value").to_pylist() == [-1.25, -1.25, 0.5]
    assert table.column("sensor").to_pylist() == ["bench-a"] * 3


@pytest.mark.parametrize("what", ["alarms", "notices", "forecasts", "wraps", "stages"])
def test_every_stream_has_a_head_even_when_it_is_empty(what: str, kept: Place, aftercare: Command) -> None:
    """Other programs find their columns."""
    out = _export(aftercare, kept, what, "--format", "csv")

    assert len(out.splitlines()[0].split(",")) >= 5


def test_follow_ups_are_a_calendar_that_others_can_read(kept: Place, aftercare: Command) -> None:
    """Independent: read back with icalendar."""
    calendar = icalendar.Calendar.from_ical(_export(aftercare, kept, "follow-ups"))

    assert "Heather Bank" in calendar["name"]
    assert calendar.walk("VEVENT") is not None


def test_an_export_that_fails_leaves_no_half_file(place: Place, aftercare: Command, tmp_path: Path) -> None:
    """Without a database there is nothing to export."""
    done = aftercare("export", "readings", "--out", tmp_path / "r.jsonl", "--config", place.config)

    assert done.status == 1
    assert len(done.err.splitlines()) == 1
    assert not list(tmp_path.glob("*r.jsonl*"))
    assert not list(tmp_path.glob(".half*"))


def test_a_backup_holds_database_and_book(kept: Place, aftercare: Command, tmp_path: Path) -> None:
    """And nobody else may read it."""
    file = tmp_path / "copy.tar.gz"

    done = aftercare("backup", file, "--config", kept.config)

    assert done.status == 0
    with tarfile.open(file) as archive:
        assert sorted(archive.getnames()) == ["aftercare.db", "book.jsonl"]
    assert file.stat().st_mode & 0o777 == 0o600


def test_the_newest_report_is_shown_as_it_was_sent(kept: Place, aftercare: Command) -> None:
    """Or that of a date."""
    newest = aftercare("report", "--config", kept.config)
    earlier = aftercare("report", "--date", "2027-01-16", "--config", kept.config)

    assert newest.out == "The night to 2027-01-17.\n"
    assert earlier.out == "The night to 2027-01-16.\n"


def test_a_report_is_written_as_text_and_page(kept: Place, aftercare: Command, tmp_path: Path) -> None:
    """With the date as its name."""
    done = aftercare("report", "--out", tmp_path / "reports", "--config", kept.config)

    assert done.status == 0
    assert (tmp_path / "reports/2027-01-17.txt").read_text() == "The night to 2027-01-17.\n"
    assert (tmp_path / "reports/2027-01-17.html").read_text() == "<p>2027-01-17</p>"


@pytest.mark.parametrize("words", [("report",), ("report", "--date", "2026-01-01"), ("backup", "b.tar")])
def test_what_is_not_there_is_one_sentence(words: tuple[str, ...], place: Place, aftercare: Command) -> None:
    """Status 1: the words were right."""
    done = aftercare(*words, "--config", place.config)

    assert done.status == 1
    assert len(done.err.splitlines()) == 1
