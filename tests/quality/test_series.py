"""Checks over a whole series, held against ioos-qc, the reference code of QARTOD's own community.

`independent`: ioos-qc 3 (a test dependency only) over the same series. Where this project differs on purpose
the test says so and shows what ioos-qc does instead, so that the reason is seen when either changes.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from ioos_qc import qartod

from monitor.model import Flag
from monitor.quality.consistency import consistency_flags
from monitor.quality.flat_line import flat_flags
from monitor.quality.gap import gap_flags, gaps
from monitor.quality.gross_range import range_flags
from monitor.quality.rate import rate_flags
from monitor.quality.roll_up import PRECEDENCE, roll_up, roll_up_arrays
from monitor.quality.sentinel import sentinel_flags
from monitor.quality.spike import spike_flags
from monitor.quality.thresholds import Band, Pair
from monitor.science.psychrometrics import dew_point_from_relative_humidity

#: Every ten minutes, with a spike, two impossible values and a missing one.
AIR_C = np.array([10, 10.1, 10.2, 16, 10.3, 10.4, 10.4, 10.4, 10.4, 10.4, 55, -60, np.nan, 10.5])
AT_S = 1_700_000_000.0 + 600.0 * np.arange(len(AIR_C))
INSTANTS = AT_S.astype("datetime64[s]")

series = st.lists(
    st.integers(-50, 300).map(lambda tenths: tenths / 10) | st.just(float("nan")), min_size=3, max_size=30
)


def theirs(flags):
    """Flags of ioos-qc as a plain list."""
    return np.ma.filled(flags, Flag.MISSING).astype(int).tolist()


class TestRange:
    """QARTOD test 4, gross range."""

    def test_the_example_gets_the_flags_of_the_reference(self):
        """`independent`, and the flags are written out."""
        ours = range_flags(AIR_C, Band(-20, 45), Band(-40, 80))

        assert ours.tolist() == [1] * 10 + [3, 4, 9, 1]
        assert ours.tolist() == theirs(
            qartod.gross_range_test(AIR_C, fail_span=(-40, 80), suspect_span=(-20, 45))
        )

    @pytest.mark.parametrize(
        ("value", "flag"),
        [(-40.1, 4), (-40, 3), (-20.1, 3), (-20, 1), (0, 1), (45, 1), (45.1, 3), (80, 3), (80.1, 4)],
    )
    def test_a_limit_itself_is_inside(self, value, flag):
        """On both sides of each limit, as the reference has it."""
        assert range_flags([value], Band(-20, 45), Band(-40, 80)).tolist() == [flag]
        assert theirs(qartod.gross_range_test([value], fail_span=(-40, 80), suspect_span=(-20, 45))) == [flag]

    @given(series)
    def test_any_series_gets_the_flags_of_the_reference(self, values):
        """`independent`."""
        expected = theirs(qartod.gross_range_test(values, fail_span=(-1, 25), suspect_span=(0, 20)))

        assert range_flags(values, Band(0, 20), Band(-1, 25)).tolist() == expected


class TestSpike:
    """QARTOD test 6, spike."""

    def test_the_example_gets_the_flags_of_the_reference(self):
        """`independent`, and the flags are written out."""
        ours = spike_flags(AIR_C, Pair(2, 4)).tolist()

        assert ours == [2, 1, 3, 4, 3, 1, 1, 1, 1, 4, 4, 2, 9, 2]
        assert ours == theirs(qartod.spike_test(AIR_C, 2, 4))

    @given(series)
    def test_any_series_gets_the_flags_of_the_reference(self, values):
        """`independent`; thresholds that no sum of tenths can meet, so that rounding has no say."""
        assert spike_flags(values, Pair(1.033, 4.033)).tolist() == theirs(
            qartod.spike_test(values, 1.033, 4.033)
        )

    def test_a_threshold_of_zero_is_a_threshold(self):
        """On purpose: the reference takes zero for "none"."""
        values = [1.0, 1.0, 1.5, 1.0, 1.0]

        assert spike_flags(values, Pair(0.0, 4.0)).tolist() == [2, 3, 3, 3, 2]
        assert theirs(qartod.spike_test(values, 0, 4)) == [2, 1, 1, 1, 2]

    def test_no_threshold_holds_nothing(self):
        """None is none."""
        assert spike_flags([1.0, 9.0, 1.0], Pair(None, None)).tolist() == [2, 1, 2]
        assert spike_flags([1.0, 9.0, 1.0], Pair(None, 5.0)).tolist() == [2, 4, 2]

    @pytest.mark.parametrize("values", [[], [1.0], [1.0, 2.0]])
    def test_too_few_values_are_not_evaluated(self, values):
        """Nobody can tell."""
        assert spike_flags(values, Pair(2, 4)).tolist() == [2] * len(values)


class TestRate:
    """QARTOD test 7, rate of change."""

    def test_the_example_gets_the_flags_of_the_reference_but_where_nothing_came_before(self):
        """`independent`. On purpose: what has no value before it is NOT_EVALUATED."""
        ours = rate_flags(AT_S, AIR_C, per_min=0.3).tolist()
        reference = theirs(qartod.rate_of_change_test(AIR_C, INSTANTS, 3 / 600))

        assert ours == [2, 1, 1, 3, 3, 1, 1, 1, 1, 1, 3, 3, 9, 2]
        assert reference == [1, 1, 1, 3, 3, 1, 1, 1, 1, 1, 3, 3, 9, 1]

    @given(series)
    def test_any_series_gets_the_flags_of_the_reference(self, values):
        """`independent`, where both evaluate; every 90 s."""
        at_s = 1.7e9 + 90.0 * np.arange(len(values))
        ours = rate_flags(at_s, values, per_min=1.033)
        reference = np.array(
            theirs(qartod.rate_of_change_test(values, at_s.astype("datetime64[s]"), 1.033 / 60))
        )

        assert (ours == reference)[ours != Flag.NOT_EVALUATED].all()

    def test_the_last_digit_of_a_quick_sensor_is_no_storm(self):
        """On purpose: time counts for a minute at least; 0.1 K in a second would be 6 K in a minute."""
        at_s = 1.7e9 + np.arange(4.0)
        values = [5.0, 5.1, 5.0, 5.1]

        assert rate_flags(at_s, values, per_min=1.5).tolist() == [2, 1, 1, 1]
        assert theirs(qartod.rate_of_change_test(values, at_s.astype("datetime64[s]"), 1.5 / 60)) == [
            1,
            3,
            3,
            3,
        ]

    @pytest.mark.parametrize("values", [[], [1.0]])
    def test_too_few_values_are_not_evaluated(self, values):
        """Nobody can tell."""
        assert rate_flags(AT_S[: len(values)], values, 1.5).tolist() == [2] * len(values)


class TestFlatLine:
    """QARTOD test 8, flat line."""

    SPANS = Pair(1800.0, 3600.0)

    def test_the_example_gets_the_flags_of_the_reference_once_it_has_lasted(self):
        """`independent`. On purpose: NOT_EVALUATED until the series has lasted so long."""
        ours = flat_flags(AT_S, AIR_C, 0.05, self.SPANS).tolist()
        reference = theirs(qartod.flat_line_test(AIR_C, INSTANTS, 1800, 3600, 0.05))

        assert ours == [2] * 3 + [1] * 5 + [3, 3, 1, 1, 9, 1]
        assert reference == [1] * 8 + [3, 3, 1, 1, 9, 1]

    def test_a_stuck_value_is_found_with_no_tolerance_at_all(self):
        """On purpose: the reference's own default never finds a sensor that is perfectly stuck."""
        stuck = np.full(14, 5.0)

        assert flat_flags(AT_S, stuck, 0.0, self.SPANS).tolist() == [2] * 3 + [3] * 3 + [4] * 8
        assert set(theirs(qartod.flat_line_test(stuck, INSTANTS, 1800, 3600))) == {1}

    def test_time_counts_and_not_samples(self):
        """On purpose: the reference counts samples by the median interval; messages come when they come."""
        at_s = 1.7e9 + np.array([0, 60, 120, 180, 240, 3600, 3660], float)
        stuck = np.full(7, 5.0)

        assert flat_flags(at_s, stuck, 0.05, Pair(1800.0, None)).tolist() == [2, 2, 2, 2, 2, 3, 3]
        assert theirs(qartod.flat_line_test(stuck, at_s.astype("datetime64[s]"), 300, 86400, 0.05))[5] == 3
        assert flat_flags(at_s, stuck, 0.05, Pair(300.0, None)).tolist() == [2, 2, 2, 2, 2, 3, 3]

    @given(st.lists(st.sampled_from([5.0, 5.1, 5.2, float("nan")]), max_size=40), st.integers(1, 8))
    def test_any_series_is_judged_by_what_lies_in_the_time_before(self, values, steps):
        """`independent`: the definition, written out for each value."""
        at_s = 1.7e9 + 600.0 * np.arange(len(values))
        ours = flat_flags(at_s, values, 0.15, Pair(600.0 * steps, None))

        known = [(at, value) for at, value in zip(at_s, values, strict=True) if value == value]
        for at, value, flag in zip(at_s, values, ours, strict=True):
            if value != value:
                assert flag == Flag.MISSING
                continue
            begin = max((when for when, _ in known if when <= at - 600.0 * steps), default=None)
            window = [one for when, one in known if begin is not None and begin <= when <= at]
            expected = Flag.NOT_EVALUATED if not window else 3 if max(window) - min(window) <= 0.15 else 1
            assert flag == expected


class TestGap:
    """QARTOD test 1, gap."""

    def test_a_reading_after_a_gap_fails_the_test_of_the_series(self):
        """The limit itself is no gap."""
        at_s = [0.0, 60.0, 240.0, 421.0, 422.0]

        assert gap_flags(at_s, 180.0).tolist() == [2, 1, 1, 4, 1]

    def test_the_gaps_of_a_span_are_listed_with_its_ends(self):
        """What was not seen, for the report."""
        assert gaps([100.0, 160.0, 1000.0], 0.0, 2000.0, 180.0) == [(160.0, 1000.0), (1000.0, 2000.0)]
        assert gaps([], 0.0, 2000.0, 180.0) == [(0.0, 2000.0)]
        assert gaps([100.0, 200.0], 0.0, 300.0, 180.0) == []


class TestConsistency:
    """QARTOD test 9, several quantities together."""

    def test_dew_above_the_air_is_suspect_and_far_above_it_fails(self):
        """`published`: at saturation dew point and temperature are one (any psychrometric table)."""
        humidity = [50.0, 100.0, 102.0, 110.0]
        dew_c = [float(dew_point_from_relative_humidity(5.0, pct)) if pct <= 100 else above for pct, above in
                 zip(humidity, (0, 0, 5.28, 6.4), strict=True)]  # fmt: skip

        assert consistency_flags([5.0] * 4, [dew_c[0], 5.0, *dew_c[2:]]).tolist() == [1, 1, 3, 4]

    def test_what_is_missing_is_missing(self):
        """In either of the two."""
        assert consistency_flags([float("nan"), 5.0], [1.0, float("nan")]).tolist() == [9, 9]


class TestSentinel:
    """What sensors say when they did not measure."""

    def test_power_on_off_the_wire_and_double_zero_fail(self):
        """From the data sheets of common sensors, from memory; zero degrees alone is a measurement."""
        air_c = [85.0, -127.0, 0.0, 0.0, 0.0, 84.9, float("nan")]
        humidity = [50.0, 50.0, 0.0, 90.0, float("nan"), 50.0, 0.0]

        assert sentinel_flags(air_c, humidity).tolist() == [4, 4, 4, 1, 1, 1, 9]


class TestRollUp:
    """How several flags become one."""

    flags = st.lists(st.sampled_from(list(Flag)), min_size=1, max_size=5)

    def test_the_precedence_is_that_of_qartod(self):
        """`published`: QARTOD; a test that was not made takes nothing from one that passed."""
        assert PRECEDENCE == (9, 2, 1, 3, 4)
        assert roll_up([Flag.GOOD, Flag.NOT_EVALUATED]) is Flag.GOOD
        assert roll_up([Flag.SUSPECT, Flag.FAIL, Flag.GOOD]) is Flag.FAIL
        assert roll_up([]) is Flag.MISSING

    @given(flags)
    def test_any_flags_become_that_of_the_reference(self, flags):
        """`independent`: qartod_compare of ioos-qc; arrays and single flags agree."""
        columns = [np.array([flag]) for flag in flags]

        assert roll_up(flags) == int(qartod.qartod_compare(columns)[0])
        assert roll_up_arrays(*columns).tolist() == [roll_up(flags)]
