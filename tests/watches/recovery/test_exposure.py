"""The record of what a tree went through: hours and degree-hours beyond the limits then in force.

Independent: short counts by hand beside each expected value.
"""

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from monitor.model import AlarmState, HourRow, Priority, Transition
from monitor.tree_record import met_alarms, tree_record
from monitor.trees.exposure import Beyond, Exposure, exposure, table
from monitor.trees.plans import load_plans
from monitor.trees.tree import Finding, OwnLimit, Placement, Tree, Work
from monitor.watches.pot_fold import reckoned_pot_c
from monitor.watches.warm_days import raised_hours
from tests.engine.house import House, instant, sensor, settings_of

PLANS = load_plans(None)
ZONE = ZoneInfo("Europe/London")
HOUR_S = 3600.0
BEGINS = instant("01-14 20:00")
LARCH = Tree(
    "larch-3", "Larch 3", "Larix decidua", placements=(Placement(BEGINS, "bench-a"),)
)  # fmt: skip


def own(key: str, value: float, from_s: float = BEGINS, until_s: float | None = None) -> OwnLimit:
    """A limit of a person's own."""
    return OwnLimit(f"{key}@{from_s}", key, value, "to test", from_s, until_s)


def row(
    hour: int,
    low_c: float,
    mean_c: float,
    high_c: float,
    *,
    at: str = "bench-a",
    covered_s: float = HOUR_S,
    vpd_kpa: float = 0.1,
    wet_s: float = 0.0,
) -> HourRow:
    """The hour that begins so many hours after eight in the evening."""
    at_s = BEGINS + hour * HOUR_S
    return HourRow(
        at, at_s, covered_s, mean_c, low_c, high_c, 80.0, 75.0, 85.0, vpd_kpa, 0.0, 0.0, wet_s
    )  # fmt: skip


def record(tree: Tree, rows: Sequence[HourRow], hours: float = 4.0) -> Exposure:
    """So many hours, without warmth."""
    return exposure(tree, rows, PLANS, lambda _from, _to: 0.0, BEGINS, BEGINS + hours * HOUR_S)


def test_hours_beyond_a_low_limit_are_whole_partial_or_none() -> None:
    """Limit 0: an hour at -3..-1 counts whole (2 K·h); one from -1 to +1 half (0.25 K·h); one at +2 not."""
    tree = replace(LARCH, own_limits=(own("low_harm_c", 0.0),))
    found = record(tree, [row(0, -3, -2, -1), row(1, -1, 0, 1), row(2, 1, 2, 3)]).beyond["low_harm_c"]

    assert found.hours == pytest.approx(1.5)
    assert found.degree_hours == pytest.approx(2.25)


def test_hours_beyond_a_high_limit_are_counted_the_other_way_round() -> None:
    """Limit 22: 24..26 whole (3 K·h), 21..23 half (0.25 K·h)."""
    tree = replace(LARCH, own_limits=(own("high_warn_c", 22.0),))
    found = record(tree, [row(0, 24, 25, 26), row(1, 21, 22, 23), row(2, 5, 6, 7)]).beyond

    assert found == {"high_warn_c": Beyond(pytest.approx(1.5), pytest.approx(3.25))}


def test_an_hour_that_cooled_fast_at_first_counts_for_longer_than_its_extremes_say() -> None:
    """Independent: an hour of cooling from 4 towards -3 °C by minutes, 43 of them under 0 °C."""
    minutes = [-3.0 + 7.0 * math.exp(-(minute + 0.5) / 20.0) for minute in range(60)]
    counted_h = sum(value < 0.0 for value in minutes) / 60
    counted_k_h = sum(-value for value in minutes if value < 0.0) / 60
    tree = replace(LARCH, own_limits=(own("low_harm_c", 0.0),))
    hour = row(0, min(minutes), sum(minutes) / 60, max(minutes))
    found = record(tree, [hour], 1).beyond["low_harm_c"]

    assert found.hours == pytest.approx(counted_h, rel=0.1)
    assert found.degree_hours == pytest.approx(counted_k_h, rel=0.1)


def test_drying_air_counts_by_its_mean() -> None:
    """Limit 0.8 kPa: an hour at 1.3 is half a kilopascal-hour beyond it."""
    tree = replace(LARCH, own_limits=(own("vpd_warn_kpa", 0.8),))
    found = record(tree, [row(0, 15, 16, 17, vpd_kpa=1.3), row(1, 15, 16, 17, vpd_kpa=0.7)])

    assert found.beyond["vpd_warn_kpa"] == Beyond(1.0, pytest.approx(0.5))
    assert found.dry_air_kpa_h == pytest.approx(2.0)


def test_the_limits_are_those_of_that_hour() -> None:
    """The limit ended at ten; of an hour that was half seen only that half is counted."""
    tree = replace(LARCH, own_limits=(own("low_harm_c", 0.0, BEGINS, BEGINS + 2 * HOUR_S),))
    rows = [row(hour, -2, -1, -0.5, covered_s=1800.0 if hour == 0 else HOUR_S) for hour in range(4)]
    found = record(tree, rows)

    assert found.beyond["low_harm_c"].hours == pytest.approx(1.5)
    assert [hour.limits.get("low_harm_c") for hour in found.hours] == [0.0, 0.0, None, None]


def test_the_stage_of_the_work_then_decides() -> None:
    """Heavy bend: 0 while fresh, -2 from the fifteenth day on."""
    tree = replace(LARCH, works=(Work("w", "heavy-bend", BEGINS),))
    rows = [row(hour, -1.5, -1.0, -0.5) for hour in range(16 * 24)]
    found = record(tree, rows, 16 * 24)

    assert [hour.limits["low_harm_c"] for hour in (found.hours[0], found.hours[-1])] == [0.0, -2.0]
    assert found.beyond["low_harm_c"].hours == 14 * 24


def test_a_correction_of_the_book_corrects_the_record() -> None:
    """Voided work had no limits after all: the record is made from the book as it is now."""
    rows = [row(hour, -1.5, -1.0, -0.5) for hour in range(4)]
    worked = replace(LARCH, works=(Work("w", "heavy-bend", BEGINS),))

    assert "low_harm_c" in record(worked, rows).beyond
    assert record(LARCH, rows).beyond == {}


def test_an_hour_without_a_row_is_unseen_and_nothing_else() -> None:
    """Not zero: nobody knows."""
    tree = replace(LARCH, own_limits=(own("low_harm_c", 0.0),))
    found = record(tree, [row(0, 5, 5, 5), row(2, 5, 5, 5, covered_s=900.0)], 4.0)

    assert found.unseen_h == pytest.approx(2.75)
    lines = list(table(found))
    assert lines[1]["temperature_mean_c"] is None
    assert lines[1]["beyond_low_harm_c_h"] is None
    assert lines[0]["beyond_low_harm_c_h"] == 0.0


def test_it_goes_where_the_tree_went() -> None:
    """Two hours on one bench, one in the garage where nobody looks, one on another bench."""
    places = (
        Placement(BEGINS, "bench-a"),
        Placement(BEGINS + 2 * HOUR_S, None, "garage"),
        Placement(BEGINS + 3 * HOUR_S, "bench-b"),
    )
    rows = [row(hour, 5, 5, 5) for hour in range(4)] + [row(hour, 9, 9, 9, at="bench-b") for hour in range(4)]
    found = record(replace(LARCH, placements=places), rows)

    assert [hour.mean_c for hour in found.hours] == [5, 5, None, 9]
    assert found.highest is not None
    assert found.highest.sensor == "bench-b"


def test_after_it_left_nothing_more_is_its_own() -> None:
    """Sold at ten."""
    gone = replace(LARCH, left_at_s=BEGINS + 2 * HOUR_S, left_reason="sold")

    assert len(record(gone, [row(hour, 5, 5, 5) for hour in range(4)]).hours) == 2


def test_root_limits_are_counted_by_the_pot() -> None:
    """The probe's rows, else what is reckoned; never the air's."""
    limits = (own("root_harm_c", -1.0),)
    probed = replace(LARCH, own_limits=limits, pot_sensor="pot-1")
    rows = [row(0, -9, -8, -7), row(0, -2, -2, -2, at="pot-1")]
    assert record(probed, rows, 1).beyond["root_harm_c"] == Beyond(1.0, pytest.approx(1.0))

    alone = replace(LARCH, own_limits=limits)
    assert "root_harm_c" not in record(alone, rows, 1).beyond
    reckoned = exposure(alone, rows, PLANS, lambda _a, _b: 0.0, BEGINS, BEGINS + HOUR_S, pot_c={BEGINS: -1.5})
    assert reckoned.beyond["root_harm_c"] == Beyond(1.0, pytest.approx(0.5))


def test_the_worst_hours_are_those_beyond_harm_not_the_longest_beyond_a_warning() -> None:
    """Three hours a little beyond the warning, later two hours at -4 beyond harm."""
    tree = replace(LARCH, own_limits=(own("low_warn_c", 2.0), own("low_harm_c", -2.0)))
    temperatures = [1.0, 1.0, 1.0, 5.0, -4.0, -4.0, 5.0]
    rows = [row(hour, t, t, t) for hour, t in enumerate(temperatures)]
    found = record(tree, rows, 7)

    worst = found.worst()
    assert worst is not None
    assert (worst.from_s, worst.to_s, worst.low_c) == (BEGINS + 4 * HOUR_S, BEGINS + 6 * HOUR_S, -4.0)
    before = found.worst(before_s=BEGINS + 4 * HOUR_S)
    assert before is not None
    assert before.to_s == BEGINS + 3 * HOUR_S


def test_after_warm_days_the_limits_were_higher_and_the_record_says_so() -> None:
    """Two days at 11 °C, then frost: -2 was its limit, and 0 for three nights, until noon of the third day.

    Independent: by the rule of two days of 10 °C or more on average, 2 K for three nights; counted by hand.
    The record begins at 20:00, so the two whole days end 52 h later; their 18th hour is known at 18:00.
    """
    tree = replace(LARCH, own_limits=(), works=(Work("w", "heavy-bend", BEGINS - 20 * 24 * HOUR_S),))
    rows = [row(hour, t, t, t) for hour in range(8 * 24) for t in [11.0 if hour < 52 else -1.0]]
    found = exposure(
        tree, rows, PLANS, lambda _from, _to: 0.0, BEGINS, BEGINS + 8 * 24 * HOUR_S,
        raised=raised_hours(tree, rows, ZONE, BEGINS, BEGINS + 8 * 24 * HOUR_S),
    )  # fmt: skip

    harm = [hour.limits["low_harm_c"] for hour in found.hours]
    raised_from, raised_to = 4 + 24 + 18, 4 + 24 + 24 + 2 * 24 + 12
    assert set(harm[:raised_from]) == {-2.0}
    assert set(harm[raised_from:raised_to]) == {0.0}
    assert set(harm[raised_to:]) == {-2.0}
    assert found.beyond["low_harm_c"].hours == pytest.approx(60.0)


def test_where_no_limit_was_passed_the_coldest_hour_is_shown() -> None:
    """A dead branch with a clean record still asks where to look first."""
    found = record(LARCH, [row(0, 5, 5, 5), row(1, 3, 4, 5)], 3)

    worst = found.worst()
    assert worst is not None
    assert worst.from_s == BEGINS + HOUR_S
    assert record(LARCH, [], 3).worst() is None


def test_every_row_of_the_table_has_the_same_columns() -> None:
    """So that it goes into CSV and Parquet as it is."""
    found = record(LARCH, [row(0, 5, 5, 5, wet_s=1800.0)], 3)
    lines = list(table(found))

    assert len({tuple(line) for line in lines}) == 1
    out = io.StringIO()
    writer = csv.DictWriter(out, list(lines[0]))
    writer.writeheader()
    writer.writerows(lines)
    assert next(iter(csv.DictReader(io.StringIO(out.getvalue()))))["wet_h"] == "0.5"


def transition(kind: str, subject: str, at: str, because: str, state: AlarmState) -> Transition:
    """One line of what rang."""
    at_s = instant(at)
    return Transition(
        at_s, f"{kind}/{subject}", kind, subject, f"{kind}/{subject}@1", 1, AlarmState.NORMAL, state,
        Priority.HIGH, -1.0, 0.0, "good", None, "", "", "", because,
    )  # fmt: skip


def test_what_rang_stands_in_it_with_its_answer() -> None:
    """Its own alarms, its sensor's, the site's; not its neighbour's."""
    up, seen, over = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.NORMAL
    found = met_alarms(
        [
            transition("low-temperature", "larch-3", "01-15 03:00", "condition", up),
            transition("low-temperature", "yew-2", "01-15 03:00", "condition", up),
            transition("sensor-silent", "bench-a", "01-15 03:05", "condition", up),
            transition("low-temperature", "larch-3", "01-15 03:10", "seen", seen),
            transition("low-temperature", "larch-3", "01-15 06:00", "returned", over),
        ],
        LARCH,
    )

    assert [(met.kind, met.subject) for met in found] == [
        ("low-temperature", "larch-3"),
        ("sensor-silent", "bench-a"),
    ]
    assert found[0].seen_at_s == instant("01-15 03:10")
    assert found[0].to_s == instant("01-15 06:00")
    assert found[1].to_s is None


def test_a_pot_is_reckoned_for_the_record_as_for_the_guard() -> None:
    """It lags: after an hour at -5 it is still above freezing."""
    rows = [row(0, 4, 4, 4), row(1, -5, -5, -5)]
    found = reckoned_pot_c(LARCH, rows, BEGINS, BEGINS + 2 * HOUR_S)

    assert found[BEGINS] == pytest.approx(4.0)
    assert 0.0 <= found[BEGINS + HOUR_S] < 4.0


def test_the_record_comes_out_of_the_store(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """A night in a guarded house, read beside it: its low, its hours beyond, what rang and was answered."""
    from monitor.store.queries import Reader

    house = House(settings_of({"bench-a": sensor("bench-a", 300.0)}), keep=tmp_path)
    house.air(-1.0, by="02:00", every_s=300.0)
    house.ack("low-temperature/larch-3")
    house.air(5.0, by="08:02", every_s=300.0)
    house.commit()
    tree = house.engine.book.trees["larch-3"]
    with Reader(tmp_path) as reader:
        found = tree_record(reader, tree, PLANS, ZONE, BEGINS, house.now_s)

    assert found.lowest is not None
    assert found.lowest.low_c == pytest.approx(-1.0, abs=0.2)
    assert found.beyond["low_harm_c"].hours > 0.5
    assert found.alarms[0].seen_at_s is not None
    house.close()


def test_a_finding_of_death_asks_for_the_hours_before_it() -> None:
    """Seen in May: what came after it is not to blame."""
    tree = replace(
        LARCH,
        own_limits=(own("low_harm_c", 0.0),),
        findings=(Finding("f", BEGINS + 2 * HOUR_S, "dieback"),),
    )
    rows = [row(0, 5, 5, 5), row(1, -1, -1, -1), row(2, 5, 5, 5), row(3, -6, -6, -6)]
    found = record(tree, rows, 4)

    worst = found.worst(before_s=tree.findings[0].at_s)
    assert worst is not None
    assert worst.low_c == -1
