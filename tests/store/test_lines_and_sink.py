"""The lines of design 3.5 to the letter, from the two that write them: replay and export over SQLite."""

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.clock import rfc3339
from monitor.errors import StoreError
from monitor.model import Effects, Flag, Quantity
from monitor.store import lines
from monitor.store.labels import Labels
from monitor.store.sink import JsonLinesSink, ReadingLines
from monitor.store.sqlite import Store
from tests.store.shelf import (
    AT_S,
    FORECAST,
    NIGHT,
    STAGE,
    WRAP,
    exported,
    notice,
    reading,
    report,
    transition,
)

KEYS = {
    "alarms": "at alarm kind subject occurrence seq from to priority value limit quality respond_within_s "
    "cause consequence action because",
    "notices": "at notice kind priority notifier subject text alarms",
    "forecasts": "issued_at night sensor method nights_learned low_c low_at below",
    "wraps": "at tree wrap moisture_kg_per_kg dry_in_h feel gain",
    "stages": "at tree work stage because",
    "readings": "observed_at received_at sensor quantity value flag",
}
"""The public format, key by key (design 3.5)."""


def written(directory: Path) -> dict[str, list[dict[str, Any]]]:
    """Every stream that a sink wrote."""
    return {
        what: [json.loads(line) for line in (directory / f"{what}.jsonl").read_text().splitlines()]
        for what in KEYS
        if (directory / f"{what}.jsonl").exists()
    }


def by_sink(directory: Path, batches: list[list[Effects]]) -> dict[str, list[dict[str, Any]]]:
    """What the sink makes of commits."""
    with JsonLinesSink(directory, readings=True) as sink:
        for batch in batches:
            sink.commit(batch, AT_S, [("heather/yard", b"x")])
    return written(directory)


def by_database(directory: Path, batches: list[list[Effects]]) -> dict[str, list[dict[str, Any]]]:
    """What export makes of the same commits."""
    with Store.open(directory, AT_S) as store:
        for batch in batches:
            store.commit(batch, AT_S, [("heather/yard", b"x")])
    return exported(directory)


@pytest.fixture(params=[by_sink, by_database])
def kept(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[..., dict[str, list[dict[str, Any]]]]:
    """The contract of everything that takes commits: hand it batches, get the lines of each stream."""
    return lambda *batches: request.param(tmp_path / "kept", list(batches))


# ---- what both mean alike -----------------------------------------------------------------------------


def test_every_line_has_exactly_the_public_keys_in_order(kept) -> None:
    """Other programs are written against them."""
    for what, found in kept([NIGHT]).items():
        assert found, what
        for line in found:
            assert " ".join(line) == KEYS[what]


def test_lines_come_in_the_order_in_which_they_were_committed(kept) -> None:
    """Within a commit and over several."""
    first = Effects(transitions=(transition(1, occurrence="b"), transition(2, occurrence="b")))
    second = Effects(transitions=(transition(1, occurrence="a"),), notices=(notice("z"), notice("a")))
    found = kept([first, second], [Effects(notices=(notice("m"),))])
    assert [(line["occurrence"], line["seq"]) for line in found["alarms"]] == [("b", 1), ("b", 2), ("a", 1)]
    assert [line["notice"] for line in found["notices"]] == ["z", "a", "m"]


def test_a_night_reads_the_same_wherever_it_was_kept(tmp_path: Path) -> None:
    """Replay's files and the export of a daemon's state, line for line."""
    batches = [[NIGHT], [Effects(readings=(reading(3, -0.0004),), stages=({**STAGE, "stage": "hardening"},))]]
    assert by_sink(tmp_path / "sink", batches) == by_database(tmp_path / "state", batches)


def test_an_alarm_line_says_what_it_must(kept) -> None:
    """RFC 3339 with Z, numbers to 3 decimals, words in UTF-8."""
    line = kept([NIGHT])["alarms"][0]
    assert line["at"] == "2026-11-30T03:00:00Z"
    assert (line["from"], line["to"], line["priority"]) == ("normal", "unacknowledged", "high")
    assert (line["value"], line["limit"], line["respond_within_s"]) == (-1.235, -1.0, 1800.0)
    assert line["consequence"] == "Fresh bends of Larch 3 – “die back” below −1 °C."


def test_a_forecast_line_says_what_it_must(kept) -> None:
    """Instants become labels, numbers are rounded also inside."""
    line = kept([NIGHT])["forecasts"][0]
    assert (line["issued_at"], line["low_at"]) == ("2026-11-30T03:00:00Z", "2026-11-30T05:00:00Z")
    assert line["low_c"] == {"p10": -2.346, "p50": -1.0, "p90": 0.5}
    assert line["below"] == [{"limit_c": -1.0, "chance": 0.488}]


def test_a_reading_line_says_what_it_must(kept) -> None:
    """Flags are QARTOD's numbers."""
    line = kept([Effects(readings=(reading(1, 1.23456, flag=Flag.SUSPECT),))])["readings"][0]
    assert line == {
        "observed_at": "2026-11-30T03:01:00Z",
        "received_at": "2026-11-30T03:01:00.400Z",
        "sensor": "bench-a",
        "quantity": "temperature_c",
        "value": 1.235,
        "flag": 3,
    }


def test_what_is_no_number_is_null(kept) -> None:
    """JSON has no other word for it."""
    failed = (reading(0, math.nan, flag=Flag.FAIL), reading(1, math.inf, flag=Flag.FAIL))
    assert [line["value"] for line in kept([Effects(readings=failed)])["readings"]] == [None, None]


# ---- each alone ---------------------------------------------------------------------------------------


def test_instants_may_be_seconds_or_labels_under_either_name() -> None:
    """`at`, `at_s` and a label already made mean the same."""
    for at in ({"at": AT_S}, {"at_s": AT_S}, {"at": "2026-11-30T03:00:00Z"}):
        line = lines.stage_line({key: value for key, value in STAGE.items() if key != "at"} | at)
        assert line["at"] == "2026-11-30T03:00:00Z"
    assert lines.wrap_line({**WRAP, "more": 1}).keys() == dict.fromkeys(KEYS["wraps"].split()).keys()
    assert lines.forecast_line({**FORECAST, "low_at": None})["low_at"] is None


def test_labels_may_stand_ahead_of_guard_time() -> None:
    """An hour of summer time, half a second of drift."""
    assert lines.transition_line(transition(), 3600.5)["at"] == "2026-11-30T04:00:00.500Z"
    assert lines.notice_line(notice(), -3600)["at"] == "2026-11-30T02:00:00Z"


def test_a_replay_without_readings_writes_every_other_file_even_if_empty(tmp_path: Path) -> None:
    """Whoever reads them need not ask what happened."""
    JsonLinesSink(tmp_path / "out").close()
    names = sorted(file.name for file in (tmp_path / "out").iterdir())
    assert names == [
        "alarms.jsonl",
        "forecasts.jsonl",
        "notices.jsonl",
        "reports",
        "stages.jsonl",
        "wraps.jsonl",
    ]
    assert all(file.is_dir() or file.stat().st_size == 0 for file in (tmp_path / "out").iterdir())


def test_reports_are_files_of_their_local_date(tmp_path: Path) -> None:
    """Text and page as they were sent."""
    with JsonLinesSink(tmp_path) as sink:
        sink.commit([Effects(reports=(report("2026-11-30"), report("2026-12-01")))], AT_S)
    assert sorted(file.name for file in (tmp_path / "reports").iterdir()) == [
        "2026-11-30.html",
        "2026-11-30.txt",
        "2026-12-01.html",
        "2026-12-01.txt",
    ]
    assert (tmp_path / "reports" / "2026-11-30.txt").read_text() == "All trees came through."


def test_a_second_replay_into_the_same_place_begins_anew(tmp_path: Path) -> None:
    """Lines of an earlier replay would be taken for this one's."""
    by_sink(tmp_path, [[NIGHT]])
    assert by_sink(tmp_path, [])["alarms"] == []


def test_a_place_that_cannot_be_written_is_said_in_one_sentence(tmp_path: Path) -> None:
    """A file where the directory should be."""
    (tmp_path / "out").write_text("")
    with pytest.raises(StoreError) as caught:
        JsonLinesSink(tmp_path / "out")
    assert str(caught.value).startswith(str(tmp_path / "out"))


@given(at_s=st.lists(st.floats(0, 4e9).map(lambda at_s: round(at_s, 3)), min_size=1, max_size=20))
def test_fast_labels_are_the_clocks_own(at_s: list[float]) -> None:
    """Independent: `clock.rfc3339`, which is datetime's."""
    label = Labels()
    assert [label(one) for one in at_s] == [rfc3339(one) for one in at_s]


@given(
    value=st.floats(),
    minute=st.floats(0, 1e5).map(lambda minute: round(minute, 4)),
    quantity=st.sampled_from(list(Quantity)),
    flag=st.sampled_from(list(Flag)),
    sensor=st.text(),
    offset_s=st.sampled_from([0.0, 3600.0, -0.25]),
)
def test_fast_reading_lines_are_the_slow_ones(value, minute, quantity, flag, sensor, offset_s) -> None:
    """Independent: the json module over `reading_line`."""
    one = reading(minute, value, sensor, quantity, flag)
    assert json.loads(ReadingLines().text([one], offset_s)) == lines.reading_line(one, offset_s)
