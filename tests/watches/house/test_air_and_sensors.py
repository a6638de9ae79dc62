"""Drying air, heat, sensors that cannot be right, batteries: rules of the design, times as arguments."""

import pytest

from monitor.model import Flag, Message, Priority
from monitor.settings import Sensor
from tests.engine.house import House, sensor, settings_of, tree


def limit(key: str, value: float, of: str = "larch-3") -> dict[str, object]:
    """A limit of a person's own."""
    at = "2027-01-01T10:00:00Z"
    return {"at": at, "kind": "limit", "tree": of, "limit": key, "value": value, "reason": "to test"}


def reports(house: House, hours: float, value_c: float, rh_pct: float | None = None) -> None:
    """A reading a minute for some hours."""
    begin_s = house.now_s
    for minute in range(1, int(hours * 60) + 1):
        house.reading(value_c + 0.02 * (minute % 7), begin_s + minute * 60.0, rh_pct=rh_pct)


WARM = [*tree("Larch 3", "bench-a", None, None), limit("high_warn_c", 22.0), limit("high_harm_c", 30.0)]
DRY = [*tree("Larch 3", "bench-a", None, None), limit("vpd_warn_kpa", 0.8)]


def test_heat_must_last_before_it_rings() -> None:
    """Beyond `high_warn_c` for the hour that the plans say, not for a sunny quarter of one."""
    house = House(entries=WARM, begins="2027-02-14 11:00")
    reports(house, 0.9, 24.0)
    assert house.state("high-temperature/larch-3") == "normal"

    reports(house, 0.2, 24.0)
    assert house.state("high-temperature/larch-3") == "unacknowledged"
    assert house.row("high-temperature/larch-3").priority is Priority.MEDIUM  # type: ignore[union-attr]


def test_heat_that_harms_waits_half_as_long() -> None:
    """`high_harm_hold_min` is thirty minutes."""
    house = House(entries=WARM, begins="2027-02-14 11:00")
    reports(house, 0.55, 31.0)

    row = house.row("high-temperature/larch-3")
    assert row is not None
    assert row.priority is Priority.HIGH
    assert "Open the vents" in house.notices("heat")[0].text


def test_heat_is_over_when_it_has_cooled_by_a_degree() -> None:
    """The deadband, and ten minutes."""
    house = House(entries=WARM, begins="2027-02-14 11:00")
    reports(house, 1.2, 24.0)
    reports(house, 0.5, 21.5)
    assert house.row("high-temperature/larch-3").active  # type: ignore[union-attr]

    reports(house, 0.3, 20.0)
    assert house.state("high-temperature/larch-3") == "returned-unacknowledged"


def test_a_suspect_reading_at_the_edge_does_not_keep_an_alarm_up() -> None:
    """A jump back is suspect and clears nothing; the good readings after it do."""
    house = House()
    house.air(-0.5, by="20:10")
    assert house.row() is not None
    house.reading(6.0, house.now_s + 60.0)
    assert house.readings[-1].flag is Flag.SUSPECT
    house.stays(until="20:30")

    assert house.state() == "returned-unacknowledged"


def test_seen_heat_that_gets_two_degrees_worse_rings_again() -> None:
    """Seen is not safe, in the other direction too."""
    house = House(entries=WARM, begins="2027-02-14 11:00")
    reports(house, 1.2, 24.0)
    house.ack("high-temperature/larch-3")
    house.notices("heat")
    reports(house, 0.05, 22.5)
    assert house.kinds("heat") == []

    reports(house, 0.05, 26.6)
    assert house.kinds("heat") == ["raised"]


def test_drying_air_rings_after_two_hours() -> None:
    """20 °C and 50 % are 1.17 kPa (psychrolib: 1.1694, independent); the limit is 0.8."""
    house = House(entries=DRY, begins="2027-02-14 11:00")
    reports(house, 1.9, 20.0, 50.0)
    assert house.state("dry-air/larch-3") == "normal"

    reports(house, 0.3, 20.0, 50.0)
    assert house.state("dry-air/larch-3") == "unacknowledged"


def test_an_hour_of_damp_air_starts_the_count_anew() -> None:
    """Held means held."""
    house = House(entries=DRY, begins="2027-02-14 11:00")
    reports(house, 1.5, 20.0, 50.0)
    reports(house, 0.5, 20.0, 90.0)
    reports(house, 1.5, 20.0, 50.0)

    assert house.state("dry-air/larch-3") == "normal"


def test_air_of_unknown_humidity_ends_nothing() -> None:
    """Unknown is not fine: without humidity the alarm stays."""
    house = House(entries=DRY, begins="2027-02-14 11:00")
    reports(house, 2.3, 20.0, 50.0)
    reports(house, 1.0, 20.0)

    assert house.row("dry-air/larch-3").active  # type: ignore[union-attr]


def two_benches() -> House:
    """Two benches in one house on a January night, a tree at each."""
    entries = [*tree("Larch 3", "bench-a", 1.5, 0.0), *tree("Yew 2", "bench-b", 1.5, 0.0)]
    return House(settings=settings_of(("bench-a", "bench-b")), entries=entries)


def test_neighbours_that_disagree_by_night_are_both_doubtful() -> None:
    """Four degrees apart for more than an hour: one of two cannot be right, and nobody knows which."""
    house = two_benches()
    house.air({"bench-a": 4.0, "bench-b": 8.5}, by="20:05")
    house.stays(until="20:55")
    assert house.state("sensor-doubtful/bench-a") == "normal"

    house.stays(until="21:20")
    assert house.state("sensor-doubtful/bench-a") == "unacknowledged"
    assert house.state("sensor-doubtful/bench-b") == "unacknowledged"


def test_neighbours_that_disagree_by_day_are_not_doubted() -> None:
    """The sun warms one bench and not the other."""
    entries = [*tree("Larch 3", "bench-a", 1.5, 0.0)]
    house = House(settings=settings_of(("bench-a", "bench-b")), entries=entries, begins="2027-01-14 10:00")
    house.air({"bench-a": 6.0, "bench-b": 12.0}, by="10:05")
    house.stays(until="13:00")

    assert house.state("sensor-doubtful/bench-a") == "normal"


def test_a_frozen_sensor_is_doubted_when_its_neighbour_moves() -> None:
    """Two hours at the same value while the other has moved by more than half a degree."""
    house = two_benches()
    house.air({"bench-a": 5.0, "bench-b": 6.0}, by="20:05")
    house.air({"bench-b": 4.0}, by="22:20")

    assert house.state("sensor-doubtful/bench-a") == "unacknowledged"
    assert house.state("sensor-doubtful/bench-b") == "normal"


def test_a_flood_of_impossible_values_makes_a_sensor_doubtful() -> None:
    """−127 is what some probes say when nobody answers them."""
    house = House()
    house.air(5.0, by="20:30")
    begin_s = house.now_s
    for minute in range(1, 40):
        house.reading(-127.0 if minute % 3 else 5.0, begin_s + minute * 60.0)

    assert {reading.flag for reading in house.readings if reading.value == -127.0} == {Flag.FAIL}
    assert house.state("sensor-doubtful/bench-a") == "unacknowledged"
    assert house.state("low-temperature/larch-3") == "normal"


@pytest.mark.parametrize(("percent", "state"), [(19.0, "unacknowledged"), (20.0, "normal")])
def test_a_battery_below_twenty_percent_is_said(percent: float, state: str) -> None:
    """Below, not at."""
    bench = Sensor(**sensor("bench-a", battery_pct="/b"))
    settings = settings_of().model_copy(update={"sensors": {"bench-a": bench}})
    house = House(settings=settings)
    house.reading(5.0, house.now_s + 60.0)
    _battery(house, percent)
    house.air(5.0, by="20:20")

    assert house.state("battery-low/bench-a") == state


def _battery(house: House, percent: float) -> None:
    payload = f'{{"t":5.0,"b":{percent}}}'.encode()
    house.handle(Message(house.now_s + 60.0, house.settings.sensors["bench-a"].topic, payload))
