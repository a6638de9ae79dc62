"""Root-balls: lag, plateau, root limits held against them, frozen days, needles over a frozen pot.

The lag and the plateau themselves are held against their sources in `tests/science/test_roots.py`; here it is
what the guard makes of them.
"""

import math
from collections.abc import Mapping
from typing import Any

import pytest

from monitor.model import HourRow, Priority
from monitor.science.roots import RootBall, pot, root_ball_step
from monitor.settings import Settings
from monitor.trees.tree import Placement
from monitor.watches.pot_fold import PotFacts, PotNow, fold_pot, pot_in
from tests.engine.house import House, sensor, settings_of

FROZEN, DRIES = "frozen-root-ball/yew-2", "winter-desiccation/yew-2"
POT = PotFacts("yew-2", 6.0, None, True, (Placement(0.0, "bench-a"),))


def yew(**more: Any) -> list[Mapping[str, Any]]:
    """A yew without work, in a pot of six litres."""
    tree = {"kind": "tree", "tree": "yew-2", "name": "Yew 2", "sensor": "bench-a", "pot_litres": 6.0}
    return [{"at": "2027-01-01T10:00:00Z", "species": "Taxus baccata", **tree, **more}]


def work(kind: str, at: str = "2027-01-14T12:00:00Z") -> Mapping[str, Any]:
    """Something done to the yew."""
    return {"at": at, "kind": "work", "tree": "yew-2", "work": kind}


def settings(*probes: str) -> Settings:
    """One bench, and probes in pots, each reporting every ten minutes."""
    sensors = {"bench-a": sensor("bench-a", 600.0)}
    return settings_of(sensors | {name: sensor(name, 600.0, place="pot") for name in probes})


def weather(house: House, hours: float, value_c: float, rh_pct: float = 70.0, **probes: float) -> None:
    """All sensors report for some hours; probes say what is given."""
    begin_s = house.now_s
    for step in range(1, int(hours * 6) + 1):
        at_s = begin_s + step * 600.0
        house.reading(round(value_c + 0.08 * (step % 4), 2), at_s, rh_pct=rh_pct)
        for name, probe_c in probes.items():
            house.reading(round(probe_c + 0.08 * (step % 4), 2), at_s, name.replace("_", "-"))


def pot_now(house: House) -> Mapping[str, Any]:
    """The one pot as `status --json` has it."""
    return house.engine.snapshot().more["pots"][0]  # type: ignore[no-any-return]


def hours_of(*temperatures_c: float) -> Any:
    """Air by the hour from 0 on; NaN is an hour nobody saw."""

    def air(sensor_name: str | None, hour_at_s: float) -> tuple[float, float]:
        place = int(hour_at_s // 3600)
        known = sensor_name is not None and 0 <= place < len(temperatures_c)
        return (temperatures_c[place], 70.0) if known else (math.nan, math.nan)

    return air


def nothing(sensor_name: str, hour_at_s: float) -> HourRow | None:
    """No probe ever said anything."""
    del sensor_name, hour_at_s


def folded(*temperatures_c: float, facts: PotFacts = POT) -> PotNow:
    """The pot after those hours, from 6 °C."""
    air = hours_of(*temperatures_c)
    return fold_pot(facts, PotNow(0.0, 6.0), len(temperatures_c) * 3600.0, 0.0, air, nothing)


def test_a_pot_lags_the_air_and_stands_at_zero_while_it_freezes() -> None:
    """Sixty-three per cent of a step in 2.1 h; then the plateau of 100 K·h holds it for a day at -4."""
    assert folded(2.0, 2.0).temperature_c == pytest.approx(2.0 + 4.0 * math.exp(-2 / 2.139), abs=0.01)
    plateau = folded(*[-4.0] * 20)
    assert plateau.temperature_c == pytest.approx(0.0)
    assert 0.5 < plateau.ice < 1.0
    assert folded(*[-4.0] * 40).temperature_c == pytest.approx(-4.0, abs=0.1)


def test_a_small_pot_freezes_through_before_a_large_one() -> None:
    """Volume over surface."""
    small = PotFacts("yew-2", 0.5, None, True, POT.placements)

    assert folded(*[-4.0] * 14, facts=small).ice > 2 * folded(*[-4.0] * 14).ice


def test_a_few_unknown_hours_hold_what_was_known_and_more_make_it_unknown() -> None:
    """Its lag is hours; after six nobody can say."""
    assert folded(6.0, *[math.nan] * 4).temperature_c == pytest.approx(6.0)
    assert folded(6.0, *[math.nan] * 8).temperature_c is None
    assert folded(6.0, *[math.nan] * 8, 3.0).temperature_c == pytest.approx(3.0)


def test_the_short_way_above_freezing_is_the_long_one() -> None:
    """The lag alone; independent: the whole step of `monitor.science.roots`."""
    shape = pot(6.0)
    ball = RootBall(5.0, 0.0, 0.0)
    long = root_ball_step(ball, 2.0, 0.7, lag_h=shape.lag_h, plateau_k_h=shape.plateau_k_h)

    assert pot_in(POT, PotNow(0.0, 5.0), 2.0, 0.7).temperature_c == pytest.approx(
        long.temperature_c, rel=1e-12
    )


def test_half_an_hour_twice_is_an_hour() -> None:
    """So that looking between the hours changes nothing."""
    begun = PotNow(0.0, 2.0)

    twice = pot_in(POT, pot_in(POT, begun, -5.0, 0.5), -5.0, 0.5)
    assert twice.temperature_c == pytest.approx(pot_in(POT, begun, -5.0, 1.0).temperature_c)


def test_a_root_limit_is_held_against_the_pot_not_against_the_air() -> None:
    """Roots freshly cut: harm at -1 in the pot; the air is at -6 long before the pot is."""
    house = House(settings(), [*yew(), work("root-prune")])
    weather(house, 2, 6.0)
    weather(house, 6, -6.0)
    assert house.row("low-temperature/yew-2") is not None
    assert pot_now(house)["temperature_c"] == pytest.approx(0.0, abs=0.3)
    row = house.row(FROZEN)
    assert row is not None
    assert row.priority is Priority.MEDIUM

    weather(house, 20, -6.0)
    row = house.row(FROZEN)
    assert row is not None
    assert row.priority is Priority.HIGH
    assert row.limit == -1.0
    said = house.transitions(FROZEN)[-1]
    assert "in danger below −1 °C" in said.consequence
    assert "Do not touch, bend or carry frozen branches" in said.action


def test_a_probe_in_the_pot_stands_over_what_is_reckoned() -> None:
    """The probe says 3 while the air is at -6."""
    house = House(settings("pot-1"), [*yew(pot_sensor="pot-1"), work("root-prune")])
    weather(house, 30, -6.0, pot_1=3.0)
    assert pot_now(house)["by"] == "probe"
    assert pot_now(house)["temperature_c"] == pytest.approx(3.1, abs=0.2)
    assert house.state(FROZEN) == "normal"

    weather(house, 1, -6.0, pot_1=-1.5)
    assert house.row(FROZEN).priority is Priority.HIGH  # type: ignore[union-attr]


def test_a_night_frozen_is_ordinary_and_a_day_is_not() -> None:
    """Common practice, no source: the threshold is frozen through the day."""
    house = House(settings(), [*yew(species="", pot_litres=1.0), work("light-wiring")])
    weather(house, 2, 6.0)
    weather(house, 17.5, -2.5)
    assert pot_now(house)["frozen_h"] > 14
    assert house.state(FROZEN) == "normal"

    weather(house, 25, -2.5)
    said = house.transitions(FROZEN)[0]
    assert "frozen through the day" in said.cause
    assert "let it thaw slowly where it stands" in said.action


def test_unknown_air_clears_nothing() -> None:
    """A silent sensor at a frozen pot: the alarm stands, and nothing is said of the pot."""
    house = House(settings(), [*yew(), work("root-prune")])
    weather(house, 26, -6.0)
    assert house.row(FROZEN).active  # type: ignore[union-attr]

    house.passes(house.now_s + 12 * 3600.0)
    assert house.row(FROZEN).active  # type: ignore[union-attr]
    assert pot_now(house)["temperature_c"] is None


def test_a_thawed_pot_is_over_by_a_margin() -> None:
    """Half a kelvin above the limit that warned."""
    house = House(settings(), [*yew(), work("root-prune")])
    weather(house, 4, 6.0)
    weather(house, 9, -4.0)
    assert house.row(FROZEN).active  # type: ignore[union-attr]

    weather(house, 24, 6.0)
    assert not house.row(FROZEN).active  # type: ignore[union-attr]


def test_an_evergreen_over_a_frozen_pot_loses_water() -> None:
    """0.34 kPa and the larger conductance: some 45 g a square metre and day, once it is half frozen."""
    house = House(settings(), yew(), begins="2027-01-13 20:00")
    weather(house, 26, -4.0, 30.0)
    assert house.state(DRIES) == "normal"
    weather(house, 48, -3.0, 30.0)

    assert pot_now(house)["needle_loss_g_per_m2"] > 60
    assert house.row(DRIES).priority is Priority.MEDIUM  # type: ignore[union-attr]
    assert "keeps its needles" in house.transitions(DRIES)[0].cause

    weather(house, 60, 8.0, 70.0)
    assert not house.row(DRIES).active  # type: ignore[union-attr]


def test_a_tree_that_drops_its_leaves_does_not() -> None:
    """Nothing to dry."""
    house = House(settings(), yew(evergreen=False), begins="2027-01-13 20:00")
    weather(house, 70, -4.0, 30.0)

    assert pot_now(house)["needle_loss_g_per_m2"] == 0.0
    assert house.state(DRIES) == "normal"


def test_a_restart_and_a_late_entry_change_nothing(tmp_path: Any) -> None:
    """From the saved pots, and anew where the book says another pot."""
    steady, other = House(settings(), yew()), House(settings(), yew(), keep=tmp_path)
    for house in (steady, other):
        weather(house, 20, -4.0)
    other.restart(after_s=2.0)
    for house in (steady, other):
        house.passes("01-15 16:03")
        weather(house, 5, -4.0)
    assert pot_now(other) == pot_now(steady)

    known = House(settings(), yew(pot_litres=2.0))
    weather(known, 20, -4.0)
    known.passes("01-15 16:03")
    weather(known, 5, -4.0)
    at = "2027-01-01T10:00:00Z"
    steady.entry("tree", tree="yew-2", pot_litres=2.0, at=at)
    for house in (steady, known):
        house.passes(house.now_s + 330.0)
    assert pot_now(steady) == pot_now(known)
    other.close()


def test_a_first_moment_of_air_says_nothing_of_a_pot() -> None:
    """Twenty minutes after the first start its root-ball may still be as warm as the shed it came from."""
    house = House(settings(), yew())
    weather(house, hours=1 / 3, value_c=-9.0)

    assert pot_now(house)["temperature_c"] is None
    assert house.occurrences(FROZEN) == []


def test_a_pot_does_not_jump_at_the_whole_hour() -> None:
    """The heater comes back at half past: between the hours a pot follows the air's mean since the last one.

    Reckoned with the last minute's air alone it would be a kelvin too warm at the end of the hour.
    """
    house = House(settings(), yew(pot_litres=2.0))
    weather(house, 12.5, 1.0)
    weather(house, 0.5, 15.0)
    before_c = pot_now(house)["temperature_c"]
    house.passes(house.now_s + 90.0)

    assert pot_now(house)["temperature_c"] == pytest.approx(before_c, abs=0.5)
