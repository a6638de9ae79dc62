"""`tree show`: a tree's record in words, with a picture and its hours as a table.

Independent: the hours are made up here, and what is expected of them is counted beside it.
"""

import csv
from pathlib import Path

import pyarrow.parquet
import pytest

from monitor.clock import parse_rfc3339
from monitor.model import AlarmState, Effects, HourRow, Priority, Transition
from monitor.store.sqlite import Store
from tests.cli.place import BOOK, Command, Place

PNG = b"\x89PNG\r\n\x1a\n"
BEGUN_S = parse_rfc3339("2026-01-10T15:00:00Z")
HOUR_S = 3600.0
DIEBACK = {
    "at": "2026-01-20T08:00:00Z", "kind": "finding", "tree": "larch-3", "part": "first-branch",
    "found": "dieback",
}  # fmt: skip


def hour(number: int, mean_c: float) -> HourRow:
    """An hour at bench-a, half a degree to each side of its mean."""
    at_s = BEGUN_S + number * HOUR_S
    return HourRow(
        "bench-a", at_s, HOUR_S, mean_c, mean_c - 0.5, mean_c + 0.5, 80.0, 75.0, 85.0, 0.2, 0.0, 0.0, 0.0
    )


def rang(because: str, state: AlarmState, minutes: int) -> Transition:
    """One step of an alarm about the larch; it comes up 50 h after the work."""
    return Transition(
        BEGUN_S + 50 * HOUR_S + minutes * 60.0, "low-temperature/larch-3", "low-temperature", "larch-3",
        "low-temperature/larch-3@1", minutes, AlarmState.NORMAL, state, Priority.HIGH, -2.5, 0.0, "good",
        None, "", "", "", because,
    )  # fmt: skip


@pytest.fixture
def kept(place: Place) -> Place:
    """Ten days at 5 °C since a heavy bend, but for four hours at -2 °C; five hours were not seen."""
    place.write_book([*BOOK, DIEBACK])
    store = Store.open(place.state, BEGUN_S)
    rows = tuple(
        hour(number, -2.0 if 50 <= number < 54 else 5.0) for number in range(240) if not 100 <= number < 105
    )
    alarm = (
        rang("condition", AlarmState.UNACKNOWLEDGED, 1),
        rang("seen", AlarmState.ACKNOWLEDGED, 13),
        rang("returned", AlarmState.NORMAL, 250),
    )
    store.commit([Effects(hours=rows, transitions=alarm)], BEGUN_S + 240 * HOUR_S)
    store.close()
    return place


def shown(aftercare: Command, place: Place, *words: str | Path) -> str:
    """What it says of the larch in those ten days."""
    done = aftercare("tree", "show", "larch-3", "--to", "2026-01-20 15:00", "--config", place.config, *words)
    assert done.status == 0, done.err
    return done.out


def test_it_tells_what_the_tree_went_through(kept: Place, aftercare: Command) -> None:
    """Lows, hours and degree-hours beyond each limit, drying and wet air, hours unseen, what rang.

    Limits 1.5 and 0 °C: four hours, 4 x 3.5 = 14 and 4 x 2 = 8 degree-hours.
    """
    said = shown(aftercare, kept)

    assert "coldest −2.5 °C, Mon 12 Jan 17:00, at bench-a" in said
    assert "colder than it is tender below: 4.0 h, 14.0 degree-hours" in said
    assert "colder than damage is likely below: 4.0 h, 8.0 degree-hours" in said
    assert "drying air: 0.20 kPa on average" in said
    assert "in air that leaves surfaces wet: 0 h" in said
    assert "not seen: 34 h of 269 h" in said, "29 h before the sensor began, and the five"
    assert "Mon 12 Jan 17:01–21:10: frost at Larch 3, lowest −2.5 °C (high); seen 17:13" in said


def test_a_finding_of_dieback_opens_it_at_the_worst_hours(kept: Place, aftercare: Command) -> None:
    """Before the sums stand the four hours, each with what it had and what that was beyond."""
    said = shown(aftercare, kept)
    worst = said.split("its worst hours before that")[1].split("What it went through")[0]

    assert "Dieback of first branch, found Tue 20 Jan 08:00" in said
    assert worst.count("colder than damage is likely below 0 °C") == 4
    assert "Mon 12 Jan 17:00: −2.5 °C to −1.5 °C" in worst


def test_it_is_written_with_pictures_and_a_table_of_its_hours(
    kept: Place, aftercare: Command, tmp_path: Path
) -> None:
    """One picture of all of it, one of its worst hours; each hour with its limits."""
    out = tmp_path / "records"
    shown(aftercare, kept, "--out", out)

    assert "What it went through" in (out / "larch-3.txt").read_text()
    for name in ("larch-3.png", "larch-3-worst.png"):
        assert (out / name).read_bytes().startswith(PNG)
    rows = list(csv.DictReader((out / "larch-3.csv").read_text().splitlines()))
    frost = [row for row in rows if row["temperature_mean_c"] == "-2.0"]
    assert [row["beyond_low_harm_c_k_h"] for row in frost] == ["2.0"] * 4
    assert {row["low_harm_c"] for row in frost} == {"0.0"}
    unseen = [row for row in rows if row["seen_h"] == "0.0"]
    assert {row["beyond_low_harm_c_h"] for row in unseen} == {""}


def test_its_hours_come_as_parquet_too(kept: Place, aftercare: Command, tmp_path: Path) -> None:
    """Independent: read back with pyarrow; numbers are numbers."""
    shown(aftercare, kept, "--out", tmp_path, "--format", "parquet")
    table = pyarrow.parquet.read_table(tmp_path / "larch-3.parquet").to_pydict()

    assert min(cell for cell in table["temperature_min_c"] if cell is not None) == -2.5
    assert set(table["tree"]) == {"larch-3"}


def test_what_cannot_be_drawn_is_said_and_the_rest_is_written(
    kept: Place, aftercare: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 1: not everything that was asked for is there."""
    from monitor.report import pictures

    def fails(facts: str) -> list[bytes]:
        raise pictures.NotDrawn('what draws is not installed (the extra "pictures")')

    monkeypatch.setattr(pictures, "draw", fails)
    done = aftercare("tree", "show", "larch-3", "--config", kept.config, "--out", tmp_path)

    assert done.status == 1
    assert 'There is no picture: what draws is not installed (the extra "pictures").' in done.err
    assert (tmp_path / "larch-3.csv").exists()


def test_before_anything_was_kept_the_rest_is_shown(place: Place, aftercare: Command) -> None:
    """No database yet: what was done stands there, and that nothing is known of what it went through."""
    place.write_book()
    done = aftercare("tree", "show", "larch-3", "--config", place.config)

    assert done.status == 0
    assert "heavy-bend" in done.out
    assert "What it went through is not known." in done.err


def test_degrees_are_those_that_the_site_shows(kept: Place, aftercare: Command) -> None:
    """Fahrenheit: 0 °C is 32 °F, -2.5 °C is 27.5, shown as 28; a degree-hour is 1.8 of them."""
    text = kept.config.read_text()
    kept.config.write_text(text.replace("[site]", '[site]\nshow = "fahrenheit"', 1))
    said = shown(aftercare, kept)

    assert "°C" not in said.replace("above 5 °C", "")
    assert "coldest 28 °F" in said
    assert "colder than damage is likely below: 4.0 h, 14.4 degree-hours" in said
