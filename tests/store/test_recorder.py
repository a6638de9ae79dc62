"""The daemon's recording: a file a day, packed when it is over, the newest kept; never in the guard's way."""

import gzip
import shutil
import stat
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.model import Message, Tick
from monitor.store.recorder import Recorder, pack
from monitor.store.recording import message_line, read_recording
from tests.store.shelf import AT_S

DAY_S = 86_400.0


def message(at_s: float) -> Message:
    """A message of the yard's sensor."""
    return Message(at_s, "heather/yard", b'{"t":1.5}')


def names(directory: Path) -> list[str]:
    """The files there."""
    return sorted(file.name for file in directory.iterdir())


def test_messages_are_in_the_file_of_their_day_after_a_flush(tmp_path: Path) -> None:
    """Private, readable by anything that reads lines, and nothing before the flush."""
    recorder = Recorder(tmp_path / "recording")
    recorder.record(message(AT_S))
    recorder.record(Tick(AT_S + 1))
    recorder.record(message(AT_S + 2))
    file = tmp_path / "recording" / "2026-11-30.jsonl"
    assert not file.exists()
    recorder.flush()
    assert file.read_text() == message_line(message(AT_S)) + message_line(message(AT_S + 2))
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700
    recorder.close()


def test_a_day_that_is_over_is_packed_and_read_as_before(tmp_path: Path) -> None:
    """Three days, three files, one order."""
    told = [message(AT_S + hour * 3600.0) for hour in range(0, 60, 6)]
    recorder = Recorder(tmp_path)
    for one in told:
        recorder.record(one)
        recorder.flush()
    recorder.close()
    pack(tmp_path, "2026-12-02", 30)
    assert names(tmp_path) == ["2026-11-30.jsonl.gz", "2026-12-01.jsonl.gz", "2026-12-02.jsonl"]
    assert list(read_recording(tmp_path)) == told
    assert stat.S_IMODE((tmp_path / "2026-11-30.jsonl.gz").stat().st_mode) == 0o600


def test_a_packer_that_is_late_lets_the_days_after_its_own_alone(tmp_path: Path) -> None:
    """It runs beside the recorder, which may be a day further already: that file is being written."""
    for day in ("2026-11-29", "2026-11-30", "2026-12-01"):
        (tmp_path / f"{day}.jsonl").write_text(message_line(message(AT_S)))
    pack(tmp_path, "2026-11-30", 30)
    assert names(tmp_path) == ["2026-11-29.jsonl.gz", "2026-11-30.jsonl", "2026-12-01.jsonl"]


def test_days_are_the_sites_own(tmp_path: Path) -> None:
    """Late on the 29th at the site is early on the 30th in UTC; also over the change of the hour."""
    recorder = Recorder(tmp_path, ZoneInfo("America/New_York"))
    recorder.record(message(AT_S + 1.5 * 3600))
    recorder.record(message(AT_S + 2.5 * 3600))
    recorder.close()
    assert "2026-11-30.jsonl" in names(tmp_path)
    assert len(list(read_recording(tmp_path))) == 2
    assert {name.split(".")[0] for name in names(tmp_path)} == {"2026-11-29", "2026-11-30"}
    autumn = Recorder(tmp_path / "autumn", ZoneInfo("Europe/London"))
    midnight = 1_792_882_800.0  # 2026-10-25T00:00:00+01:00, a day of 25 hours
    for hours in (-0.01, 0, 24.9, 25):
        autumn.record(message(midnight + hours * 3600))
        autumn.flush()
    autumn.close()
    pack(tmp_path / "autumn", "2026-11-01", 30)
    lines = {
        file.name[:10]: gzip.decompress(file.read_bytes()).count(b"\n")
        for file in (tmp_path / "autumn").iterdir()
    }
    assert lines == {"2026-10-24": 1, "2026-10-25": 2, "2026-10-26": 1}


def test_only_the_newest_days_are_kept_whatever_the_clock_says(tmp_path: Path) -> None:
    """A clock that jumps thirty years ahead takes one day of recording with it, not all of them."""
    for day in range(1, 8):
        (tmp_path / f"2026-11-0{day}.jsonl").write_text(message_line(message(AT_S)))
    recorder = Recorder(tmp_path, keep_days=7)
    recorder.record(message(AT_S + 30 * 365 * DAY_S))
    recorder.close()
    pack(tmp_path, "2056-11-22", 7)
    assert names(tmp_path) == [f"2026-11-0{day}.jsonl.gz" for day in range(2, 8)] + ["2056-11-22.jsonl"]


def test_after_a_restart_the_day_goes_on_where_it_was(tmp_path: Path) -> None:
    """A line that the power cut tore is cut off first, so that the next one starts on its own."""
    recorder = Recorder(tmp_path)
    recorder.record(message(AT_S))
    recorder.close()
    file = tmp_path / "2026-11-30.jsonl"
    with file.open("a") as torn:
        torn.write(message_line(message(AT_S + 1))[:50])
    recorder = Recorder(tmp_path)
    recorder.record(message(AT_S + 2))
    recorder.close()
    assert list(read_recording(tmp_path)) == [message(AT_S), message(AT_S + 2)]


def test_a_day_torn_by_a_power_cut_is_packed_without_the_torn_line(tmp_path: Path) -> None:
    """It is no longer the newest file, so a torn line in it would stop a replay."""
    line = message_line(message(AT_S))
    (tmp_path / "2026-11-29.jsonl").write_text(line + line[:50])
    pack(tmp_path, "2026-11-30", 30)
    assert list(read_recording(tmp_path)) == [message(AT_S)]


@pytest.mark.parametrize("parts", [1, 2])
def test_a_crash_while_packing_doubles_nothing(tmp_path: Path, parts: int) -> None:
    """Between making the packed file and removing the other; also when the day had been packed before."""
    earlier = "".join(message_line(message(AT_S + n)) for n in range(5)) if parts == 2 else ""
    later = "".join(message_line(message(AT_S + n)) for n in range(5, 10))
    (tmp_path / "2026-11-30.jsonl").write_text(later)
    if earlier:
        (tmp_path / "2026-11-30.jsonl.gz").write_bytes(gzip.compress(earlier.encode()))
    (tmp_path / "2026-11-30.jsonl.gz.part").write_bytes(b"half of an earlier try")
    plain = (tmp_path / "2026-11-30.jsonl").read_bytes()
    for _ in range(2):
        pack(tmp_path, "2026-12-01", 30)
        assert names(tmp_path) == ["2026-11-30.jsonl.gz"]
        (tmp_path / "2026-11-30.jsonl").write_bytes(plain)
    pack(tmp_path, "2026-12-01", 30)
    assert gzip.decompress((tmp_path / "2026-11-30.jsonl.gz").read_bytes()).decode() == earlier + later


def test_a_disk_that_takes_nothing_costs_no_message_until_ten_thousand_wait(
    tmp_path: Path, monkeypatch
) -> None:
    """Nothing is raised; what waited is written when the disk is back, in order."""
    monkeypatch.setattr("monitor.store.recorder._HELD_LINES", 5)
    place = tmp_path / "recording"
    place.write_text("a file in the way")
    recorder = Recorder(place)
    for number in range(4):
        recorder.record(message(AT_S + number))
        recorder.flush()
        assert str(place) in recorder.failing
    place.unlink()
    recorder.record(message(AT_S + 4))
    recorder.flush()
    assert (recorder.failing, recorder.dropped) == ("", 0)
    shutil.rmtree(place)
    recorder.close()
    assert not place.exists()


def test_beyond_that_the_oldest_lines_are_dropped_and_counted(tmp_path: Path, monkeypatch) -> None:
    """Memory stays bounded."""
    monkeypatch.setattr("monitor.store.recorder._HELD_LINES", 5)
    (tmp_path / "recording").write_text("a file in the way")
    recorder = Recorder(tmp_path / "recording")
    for number in range(8):
        recorder.record(message(AT_S + number))
    recorder.flush()
    assert recorder.dropped == 3
    (tmp_path / "recording").unlink()
    recorder.close()
    kept = [event.at_s - AT_S for event in read_recording(tmp_path / "recording")]
    assert kept == [3, 4, 5, 6, 7]
