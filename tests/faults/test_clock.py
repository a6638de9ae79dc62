"""People's clock is wrong, stepped, or nowhere, in a frost: one occurrence, one report a date, nothing ends.

The daemon's wall clock is the computer's own and an offset that the test writes into a file.
"""

import json
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from monitor.store.queries import Reader
from tests.faults.figures import measured
from tests.faults.house import CLOCK, COLD_C, LARCH, House, heard
from tests.support.broker import Mosquitto
from tests.support.waiting import until

LONDON = ZoneInfo("Europe/London")


def offset_to(instant: datetime) -> float:
    """How far ahead the wall must stand to show this instant now [s]."""
    return round(instant.timestamp() - time.time(), 3)


def shows(house: House) -> float:
    """The instant that the daemon's own status shows now [s since 1970]."""
    at = house.status().get("at") or "1970-01-01T00:00:00Z"
    return datetime.fromisoformat(at).timestamp()


def follows(house: House, instant: datetime) -> None:
    """Wait until it shows people's time."""
    until(lambda: abs(shows(house) - instant.timestamp()) < 15.0, 15.0, f"a status of {instant}")


def steps(house: House) -> list[float]:
    """Each step that the guard noticed, as its recording has it: the new offset [s]."""
    files = sorted((house.state / "recording").glob("*.jsonl"))
    lines = [line for file in files for line in file.read_text(encoding="utf-8").splitlines()]
    return [found["offset_s"] for line in lines if (found := json.loads(line)).get("event") == "clock-step"]


def reports(house: House) -> list[str]:
    """The dates whose report went out."""
    with Reader(house.state) as reader:
        return sorted(reader.report_dates())


@pytest.fixture(scope="module")
def house(folder: Path, broker: Mosquitto) -> Iterator[House]:
    """It freezes, and the report is due at half past one: an hour that summer time skips and doubles."""
    with House(folder, broker.port, report_at="01:30") as house:
        house.order("wall", offset_to(datetime(2027, 1, 14, 20, 0, tzinfo=UTC)))
        house.air["bench-a"] = COLD_C
        house.start()
        house.rises(LARCH)
        yield house


def frost_goes_on(house: House) -> None:
    """The one occurrence stands, both sensors are heard, and nothing else has come up."""
    until(lambda: heard(house) == 2, 10.0, "both sensors")
    assert house.standing().keys() == {LARCH}
    measured("occurrences doubled by a clock", len(house.occurrences(LARCH)) - 1)
    assert len(house.occurrences(LARCH)) == 1


@pytest.mark.parametrize("by_s", [3600.0, -3600.0], ids=["an-hour-on", "an-hour-back"])
def test_a_step_of_an_hour(house: House, by_s: float) -> None:
    """People's time follows; the frost neither ends nor comes twice, and the report says what was done."""
    now = datetime(2027, 1, 14, 20, 0, tzinfo=UTC)
    house.order("wall", offset_to(now))
    follows(house, now)
    house.order("wall", offset_to(now) + by_s)
    follows(house, datetime.fromtimestamp(now.timestamp() + by_s, UTC))
    until(lambda: steps(house)[-1:] == [pytest.approx(by_s, abs=300.0)], 10.0, "the step")
    frost_goes_on(house)


def test_1970_and_back(house: House) -> None:
    """A clock that cannot be right is an alarm; it guards on; once it is set, that is over."""
    house.order("wall", offset_to(datetime(1970, 1, 2, tzinfo=UTC)))
    alarm = house.rises(CLOCK)
    assert "cannot be right" in alarm["cause"]
    assert LARCH in house.standing()
    house.order("wall", offset_to(datetime(2027, 1, 14, 20, 0, tzinfo=UTC)))
    house.ends(CLOCK)
    frost_goes_on(house)


@pytest.mark.parametrize(
    ("day", "change_utc"),
    [
        ("2027-03-28", datetime(2027, 3, 28, 1, 0, tzinfo=UTC)),
        ("2027-10-31", datetime(2027, 10, 31, 1, 0, tzinfo=UTC)),
    ],
    ids=["spring", "autumn"],
)
def test_summer_time(house: House, day: str, change_utc: datetime) -> None:
    """Over the change in mid-frost: one report of that date, and no duration moves."""
    before = change_utc.timestamp() - 2.0
    assert datetime.fromtimestamp(before, LONDON).utcoffset() != change_utc.astimezone(LONDON).utcoffset()
    house.order("wall", offset_to(datetime.fromtimestamp(before, UTC)))
    until(lambda: shows(house) > change_utc.timestamp(), 20.0, "the change of the clocks")
    house.order("wall", offset_to(datetime.fromtimestamp(change_utc.timestamp() + 7200.0, UTC)))
    until(lambda: day in reports(house), 20.0, f"the report of {day}")
    until(lambda: shows(house) > change_utc.timestamp() + 7200.0, 20.0, "two hours later")
    assert reports(house).count(day) == 1
    frost_goes_on(house)


def test_no_clock_at_boot(tmp_path: Path, own_broker: Mosquitto) -> None:
    """A board without a clock begins in 1970: it guards at once and says so; set later, nothing is lost."""
    with House(tmp_path, own_broker.port) as house:
        house.order("wall", offset_to(datetime(1970, 1, 1, 0, 0, 30, tzinfo=UTC)))
        house.air["bench-a"] = COLD_C
        measured("restart to guarding [s]", house.start())
        house.rises(CLOCK)
        house.rises(LARCH)
        house.order("wall", 0.0)
        house.ends(CLOCK)
        frost_goes_on(house)
        with Reader(house.state) as reader:
            kept = [reading.value for reading in reader.readings() if reading.sensor == "bench-a"]
        assert kept
        assert len(reports(house)) <= 1
