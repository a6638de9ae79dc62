"""Three made winters at five-minute steps: was every harm warned of, in time, without crying wolf; do the
forecasts hold what they promise.

Truth is the simulator's own air without noise (`house.py`), under open weather data of three airports. What
counts as a crossing, a warning, a nuisance stands in `outcomes.py`. All winters: `tests/run bench winters`.
"""

import ast
from pathlib import Path

import numpy as np
import pytest

from tests.winters.forecasts import Errors, errors, mean_error_k
from tests.winters.guarded import Heard
from tests.winters.house import HousePlan, make_winter
from tests.winters.outcomes import Outcome, by_night, leads_where, outcome, quiet_months, share
from tests.winters.weather import BEGINS_AT_S, Weather

HERE = Path(__file__).parent
LEARNT_AFTER_DAYS = 15
A_SPIKE_AND_ITS_NEXT_SAMPLE_MIN = 10.0


@pytest.fixture(scope="session")
def tender(unheated: Heard) -> Outcome:
    """What the guard was worth in the house without a heater."""
    return outcome(unheated)


@pytest.fixture(scope="session")
def kept(heated: Heard) -> Outcome:
    """What it was worth where a heater failed."""
    return outcome(heated)


@pytest.fixture(scope="session")
def nights(unheated: Heard, hardy: Heard) -> Errors:
    """The forecasts of both houses without a heater."""
    return errors(unheated).joined(errors(hardy))


def test_no_harm_comes_unwarned(tender: Outcome, kept: Outcome) -> None:
    """Every time that the true air came to the damage limit, a warning stood already."""
    assert tender.crossings >= 10
    assert kept.crossings >= 4
    assert tender.missed == []
    assert kept.missed == []


def test_where_there_was_no_time_the_alarm_comes_with_the_frost(tender: Outcome, kept: Outcome) -> None:
    """A heater that gave all it had goes out: the air is at the limit before three readings have come."""
    assert all(late <= A_SPIKE_AND_ITS_NEXT_SAMPLE_MIN for late in tender.told_late_min + kept.told_late_min)


def test_the_first_warning_comes_hours_before_the_harm(tender: Outcome, kept: Outcome) -> None:
    """Half of all crossings are warned of two hours before, nine of ten half an hour, where that could be."""
    assert share(leads_where(tender, 2.0) + leads_where(kept, 2.0), 0.5) >= 2.0
    assert share(leads_where(tender, 0.75) + leads_where(kept, 0.75), 0.1) >= 0.5


def test_a_quiet_month_is_quiet_where_a_heater_keeps_frost_out(kept: Outcome) -> None:
    """At most one ring in thirty days that come nowhere near damage."""
    assert kept.quiet_days >= 90
    assert quiet_months(kept) <= 1.0


def test_a_quiet_month_is_quiet_for_hardened_trees(hardy: Heard) -> None:
    """So too in a house without a heater or a sensor outside."""
    result = outcome(hardy)

    assert result.quiet_days >= 90
    assert quiet_months(result) <= 1.0


def test_in_a_house_at_its_limit_the_evening_speaks_in_vain_once_a_week_at_most(tender: Outcome) -> None:
    """Not the one ring of a quiet month: on every third evening frost is as likely as the cost/loss line.

    Covering in vain is cheap beside losing a tree, so a chance of one in six is told; and one in six comes.
    """
    assert {kind for _, kind in tender.nuisance} == {"frost-tonight"}
    assert quiet_months(tender) <= 4.3


def test_the_chances_that_are_said_come_true(nights: Errors) -> None:
    """As many nights of damage as the chances add up to, within a third; few where little was said."""
    assert nights.came.sum() == pytest.approx(nights.chance.sum(), rel=1 / 3)
    assert nights.came[nights.chance < 0.05].mean() <= 0.02
    assert nights.came[nights.chance > 0.6].mean() >= 0.6


def test_nobody_is_woken_in_vain(unheated: Heard, heated: Heard, hardy: Heard) -> None:
    """Between eleven and six nothing rings about frost on a day that comes nowhere near it."""
    assert [by_night(heard, outcome(heard)) for heard in (unheated, heated, hardy)] == [0, 0, 0]


def test_bands_of_eighty_per_cent_hold_eighty_per_cent(nights: Errors) -> None:
    """Three quarters at least, not more than seventeen in twenty."""
    assert len(nights.held) >= 250
    assert 0.75 <= nights.held_share <= 0.85


def test_the_evening_forecast_beats_the_usual_fall_on_the_same_nights(nights: Errors) -> None:
    """By a tenth of its error at least."""
    assert mean_error_k(nights.evening_k) <= 0.9 * mean_error_k(nights.usual_k)


def test_at_two_in_the_morning_half_of_the_error_is_left(nights: Errors) -> None:
    """Of the usual fall's, and of the evening forecast's own."""
    assert mean_error_k(nights.at_two_k) <= 0.5 * mean_error_k(nights.usual_k)
    assert mean_error_k(nights.at_two_k) <= 0.5 * mean_error_k(nights.evening_k)


def test_a_heater_that_goes_out_on_a_cold_night_is_found_in_a_quarter_of_an_hour(kept: Outcome) -> None:
    """From the first call of the thermostat that brought no heat."""
    assert kept.failures >= 4
    assert kept.not_found == 0
    assert max(kept.found_min) <= 15.0


def test_a_heater_that_holds_is_not_called_failing(heated: Heard, kept: Outcome) -> None:
    """At most one false alarm a month; its cycling, doors and the sensor's own faults do not ring."""
    months = (heated.winter.weather.days() - LEARNT_AFTER_DAYS) / 30.0

    assert len(kept.false_heater) <= months


# ---- the simulator itself --------------------------------------------------------------------------------


def test_the_simulator_knows_nothing_of_the_science_it_tests() -> None:
    """No module of this room imports `monitor.science`."""
    for path in HERE.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(name.startswith(("monitor.science", "monitor.watches")) for name in names), path


def test_the_made_house_keeps_its_energy() -> None:
    """Independent: in a steady state the heater's watts go through the envelope, Q = U·A·ΔT."""
    count = 4 * 1440
    still = np.zeros(count)
    weather = Weather(
        BEGINS_AT_S + 60.0 * np.arange(count), still - 10.0, still + 80.0, still + 3.0, still, still
    )
    made = make_winter(weather, HousePlan(heater_w=2500.0, setpoint_c=4.0, sky_k=0.0), seed=1, forgets=0.0)
    day = slice(3 * 1440 + 23 * 60, None)

    watts = 2500.0 * made.heating[day].mean()
    assert watts == pytest.approx(130.0 * (made.air_c[day].mean() + 10.0), rel=0.02)
