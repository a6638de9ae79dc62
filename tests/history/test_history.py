"""What the history keeps, gives back, and makes of an hour."""

import tracemalloc

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.history import History
from monitor.model import Flag, Quantity, Reading, Use
from monitor.settings import Sensor

T, RH, BATTERY = Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT, Quantity.BATTERY_PCT
GOOD, SUSPECT, FAIL, MISSING = Flag.GOOD, Flag.SUSPECT, Flag.FAIL, Flag.MISSING
START_S = 1_800_000_000.0
DAY_S = 86400.0
SENSORS = {
    "bench": Sensor(house="cold", topic="heather/cold/bench"),
    "yard": Sensor(house="cold", topic="heather/yard"),
}


def reading(at_s, value=5.0, quantity=T, flag=GOOD, use=Use.PRESENT, sensor="bench"):
    """A reading `at_s` after the start."""
    return Reading(sensor, quantity, value, START_S + at_s, START_S + at_s + 0.5, flag, use)


def history(*readings, **keys):
    """A history that has taken in these readings."""
    made = History(SENSORS, **keys)
    for one in readings:
        made.append(one)
    return made


def series(kept, quantity=T, begin_s=-1e9, end_s=1e9, sensor="bench"):
    """What it holds of one quantity, as (seconds after the start, value, flag)."""
    at_s, values, flags = kept.arrays(sensor, quantity, START_S + begin_s, START_S + end_s)
    return list(zip((at_s - START_S).tolist(), values.tolist(), flags.tolist(), strict=True))


class TestKeeping:
    """Which readings are new, and where they go."""

    def test_readings_come_back_in_order_of_time(self):
        """Late ones in their place."""
        kept = history(reading(60, 1.0), reading(180, 3.0), reading(120, 2.0), reading(0, 0.5))

        assert series(kept) == [(0, 0.5, 1), (60, 1.0, 1), (120, 2.0, 1), (180, 3.0, 1)]

    def test_quantities_of_one_instant_stand_beside_each_other(self):
        """And each may be absent."""
        kept = history(reading(0, 5.0), reading(0, 90.0, RH), reading(60, 91.0, RH), reading(120, 5.2))

        assert series(kept) == [(0, 5.0, 1), (120, 5.2, 1)]
        assert series(kept, RH) == [(0, 90.0, 1), (60, 91.0, 1)]
        assert series(kept, BATTERY) == []

    def test_a_duplicate_changes_nothing(self):
        """Same sensor, quantity, instant and value."""
        kept = history(reading(0, 4.1), reading(60, 4.2))

        assert [kept.append(reading(at_s, value)) for at_s, value in ((60, 4.2), (0, 4.1))] == [False, False]
        assert kept.conflicts == 0
        assert series(kept) == [(0, 4.1, 1), (60, 4.2, 1)]

    def test_of_two_values_of_one_instant_the_first_stands(self):
        """And the second is counted."""
        kept = history(reading(0, 4.1), reading(60, 4.2))

        assert kept.append(reading(0, 4.3)) is False
        assert kept.conflicts == 1
        assert series(kept)[0] == (0, 4.1, 1)

    def test_values_come_back_as_they_were_said(self):
        """To four decimals, whatever single precision makes of them."""
        said = [-0.1, 0.1, 4.05, 23.1, 99.9, 12.3456, -127.0, 84.99]
        kept = history(*(reading(60 * step, value) for step, value in enumerate(said)))

        assert [value for _, value, _ in series(kept)] == said

    def test_sensors_do_not_disturb_each_other(self):
        """Each has its own columns."""
        kept = history(reading(0, 1.0), reading(0, 2.0, sensor="yard"))

        assert (series(kept), series(kept, sensor="yard")) == ([(0, 1.0, 1)], [(0, 2.0, 1)])

    def test_flags_stand_beside_the_values(self):
        """Never in their place."""
        kept = history(reading(0, -9.0, flag=SUSPECT), reading(60, 85.0, flag=FAIL))

        assert series(kept) == [(0, -9.0, 3), (60, 85.0, 4)]

    def test_what_is_only_shown_is_not_kept(self):
        """Readings of unknown age, from the future, or missing."""
        kept = history()

        assert kept.append(reading(1e9, use=Use.SHOWN)) is False
        assert kept.append(reading(0, float("nan"), flag=MISSING)) is False
        assert series(kept) == []
        assert kept.latest("bench", T) is None

    def test_a_span_begins_with_its_first_instant_and_ends_before_its_last(self):
        """As hours and days do."""
        kept = history(*(reading(60 * step) for step in range(5)))

        assert [at_s for at_s, _, _ in series(kept, begin_s=60, end_s=180)] == [60, 120]
        assert series(kept, begin_s=180, end_s=60) == []

    def test_copies_are_given_out(self):
        """Nobody can change the history, and it can go on while they are held."""
        kept = history(reading(0, 1.0))
        at_s, values, flags = kept.arrays("bench", T, 0, 4e9)
        at_s[:], values[:], flags[:] = 0, 9.0, 4
        kept.append(reading(60, 2.0))

        assert series(kept) == [(0, 1.0, 1), (60, 2.0, 1)]

    def test_an_unknown_sensor_is_a_mistake_of_ours(self):
        """The settings decide which there are."""
        with pytest.raises(KeyError):
            history().append(reading(0, sensor="nowhere"))

    @given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 2), st.sampled_from([T, RH])), max_size=60))
    def test_any_order_of_arrival_gives_what_a_table_gives(self, arrivals):
        """`independent`: a dictionary in which the first value of an instant stands."""
        kept, table, conflicts = history(), {}, 0
        for minute, value, quantity in arrivals:
            first = table.setdefault((quantity, minute), value)
            conflicts += first != value
            kept.append(reading(60.0 * minute, float(value), quantity))

        for quantity in (T, RH):
            expected = sorted((60 * minute, value) for (of, minute), value in table.items() if of is quantity)
            assert [(at_s, value) for at_s, value, _ in series(kept, quantity)] == expected
        assert kept.conflicts == conflicts


class TestLetGo:
    """What is too old or too much goes."""

    def test_old_readings_go_and_the_last_days_stay(self):
        """A sixteenth more may stay for a while."""
        kept = history(*(reading(60.0 * step) for step in range(3000)), keep_s=DAY_S)
        at_s = [at_s for at_s, _, _ in series(kept)]

        assert at_s[-1440:] == [60.0 * step for step in range(1560, 3000)]
        assert len(at_s) <= 1440 * 17 / 16 + 1

    def test_a_reading_older_than_that_is_new_and_leaves_no_trace(self):
        """The store keeps it; nothing here says that it was there before."""
        kept = history(reading(10 * DAY_S), keep_s=DAY_S)

        assert kept.append(reading(0)) is True
        assert len(series(kept)) == 1

    def test_a_sensor_of_each_second_cannot_fill_the_memory(self):
        """Its last rows stay."""
        kept = history(*(reading(float(second)) for second in range(500)), most_rows=160)
        at_s = [at_s for at_s, _, _ in series(kept)]

        assert 160 <= len(at_s) <= 170
        assert at_s[-1] == 499

    def test_all_quantities_go_together(self):
        """Rows stay rows."""
        kept = history(keep_s=3600.0)
        for step in range(300):
            kept.append(reading(60.0 * step, float(step)))
            if step % 7 == 0:
                kept.append(reading(60.0 * step, float(step), RH))

        assert all(at_s == 60 * value for at_s, value, _ in series(kept) + series(kept, RH))
        assert series(kept, RH)[-1] == (60.0 * 294, 294.0, 1)


class TestLatest:
    """The newest present reading."""

    def test_it_is_the_reading_itself(self):
        """With all its digits, its flag, and when it arrived."""
        newest = reading(60, 4.123456789, flag=SUSPECT)

        assert history(reading(0), newest).latest("bench", T) is newest

    @pytest.mark.parametrize("use", [Use.HISTORY, Use.RAISES])
    def test_late_and_retained_readings_are_never_present(self, use):
        """They are kept."""
        present = reading(0)
        kept = history(present, reading(60, use=use))

        assert kept.latest("bench", T) is present
        assert kept.last_fresh_at_s("bench") == present.received_at_s
        assert len(series(kept)) == 2

    def test_an_older_one_does_not_take_its_place(self):
        """Two messages may change places on the way."""
        newest = reading(60)

        assert history(newest, reading(0)).latest("bench", T) is newest

    def test_fresh_is_what_arrived_and_did_not_fail(self):
        """A sensor that says 85 all night is not alive, and neither is its battery."""
        kept = history(reading(0), reading(60, 85.0, flag=FAIL), reading(120, 50.0, BATTERY))

        assert kept.last_fresh_at_s("bench") == START_S + 0.5
        assert kept.last_fresh_at_s("yard") is None
        assert kept.latest("bench", T).flag is FAIL


class TestFrame:
    """A table for whoever thinks in tables."""

    def test_it_has_the_air_and_its_flags_in_utc(self):
        """What did not come is NaN, flagged MISSING."""
        frame = history(reading(0, 5.0), reading(0, 90.0, RH), reading(60, 4.9, flag=SUSPECT)).frame(
            "bench", 0, 4e9
        )
        expected = pd.DataFrame(
            {
                "temperature_c": [5.0, 4.9],
                "temperature_flag": np.array([1, 3], np.uint8),
                "relative_humidity_pct": [90.0, np.nan],
                "relative_humidity_flag": np.array([1, 9], np.uint8),
            },
            index=pd.DatetimeIndex(
                ["2027-01-15T08:00:00Z", "2027-01-15T08:01:00Z"],
                name="observed_at",
                dtype="datetime64[ms, UTC]",
            ),
        )

        pd.testing.assert_frame_equal(frame, expected)

    def test_an_empty_one_has_the_same_columns(self):
        """So nobody needs to ask first."""
        empty = history().frame("bench", 0, 4e9)

        assert empty.empty
        assert list(empty.columns) == list(history(reading(0)).frame("bench", 0, 4e9).columns)
        assert str(empty.index.dtype) == "datetime64[ms, UTC]"


class TestLoading:
    """A restart: in bulk what came one by one."""

    rows = st.tuples(
        st.integers(0, 40),
        st.sampled_from([4.0, 4.1, -3.3]),
        st.sampled_from([T, RH, BATTERY]),
        st.sampled_from([GOOD, SUSPECT, FAIL]),
    )

    @given(st.lists(rows, max_size=60))
    def test_loading_is_appending(self, rows):
        """A property: arrays, tables, the newest reading and what comes after are the same."""
        appended, loaded = history(keep_s=1800.0), History(SENSORS, keep_s=1800.0)
        columns = {}
        for minute, value, quantity, flag in sorted(rows, key=lambda row: row[0]):
            at_s = START_S + 60 * minute
            appended.append(Reading("bench", quantity, value, at_s, at_s, flag))
            columns.setdefault(("bench", quantity), {}).setdefault(at_s, (value, flag))
        loaded.load(
            {
                key: (np.array(list(column)), *map(np.array, zip(*column.values(), strict=True)))
                for key, column in columns.items()
            }
        )
        for after in (reading(2400, 1.0), reading(2340, 2.0), reading(2400, 70.0, RH)):
            assert appended.append(after) is loaded.append(after)

        newest = START_S + 2400
        for quantity in Quantity:
            for ours, theirs in zip(
                appended.arrays("bench", quantity, newest - 1800, 4e9),
                loaded.arrays("bench", quantity, newest - 1800, 4e9),
                strict=True,
            ):
                np.testing.assert_array_equal(ours, theirs)
            assert appended.latest("bench", quantity) == loaded.latest("bench", quantity)
        assert appended.last_fresh_at_s("bench") == loaded.last_fresh_at_s("bench")

    def test_what_is_too_old_or_of_another_sensor_is_left(self):
        """A sensor may have left the settings."""
        kept = History(SENSORS, keep_s=DAY_S)
        at_s = START_S + np.array([0.0, 10 * DAY_S])
        kept.load({(name, T): (at_s, np.array([1.0, 2.0]), np.array([1, 1])) for name in ("bench", "gone")})

        assert series(kept) == [(10 * DAY_S, 2.0, 1)]

    def test_nothing_saved_is_fine(self):
        """The first start."""
        kept = history()
        kept.load({})
        kept.load({("bench", T): (np.array([]), np.array([]), np.array([], np.uint8))})

        assert series(kept) == []
        assert kept.append(reading(0)) is True


def test_forty_sensors_for_a_fortnight_fit_into_twenty_megabytes():
    """Temperature and humidity each minute, a sixteenth more than is kept; one sensor is held and counted."""
    tracemalloc.start()
    kept = history()
    before, _ = tracemalloc.get_traced_memory()
    for minute in range(14 * 1440 * 17 // 16):
        kept.append(reading(60.0 * minute))
        kept.append(reading(60.0 * minute, 90.0, RH))
    used = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()

    assert 40 * used < 20e6
