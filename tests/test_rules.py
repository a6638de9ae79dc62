"""Every rule that this program is held to, in one sentence, with the tests that hold it.

The sentences are this program's own. A rule without a test, a test that was renamed, or an alarm kind that no
rule speaks of, fails here.
"""

import ast
from functools import cache
from pathlib import Path

import pytest

from monitor.settings.checks import WITH_A_NUMBER, WITHOUT_A_NUMBER

TESTS = Path(__file__).parent
NO_DATA, COUNTS, REST = "engine/test_no_data.py", "engine/test_what_counts.py", "engine/test_rest.py"
CLOCK, RESTARTS, TROUBLES = (
    "engine/test_clock_and_report.py",
    "engine/test_restarts.py",
    "engine/test_troubles.py",
)
PROPERTIES, EDGES = "engine/test_properties.py", "engine/test_edges.py"
EPISODES, QUIET, SEEN, RATE = (
    f"notices/test_{name}.py" for name in ("episodes", "quiet_hours", "seen", "rate")
)
ONE_CAUSE = "notices/test_one_cause.py"
AIR, WRAPS, POTS = (
    "watches/house/test_air_and_sensors.py",
    "watches/recovery/test_wrap_watch.py",
    "watches/recovery/test_pots.py",
)
JUDGE, USUAL = "quality/test_judge.py", "notices/test_usual.py"

Rules = dict[str, tuple[tuple[str, str], ...]]
"""A rule -> (file under tests, test's name without `test_`)."""

COOLING, TONIGHT, HEATER, VENTS, WARM = (
    f"watches/night/test_{name}.py"
    for name in (
        "cooling_fast",
        "frost_tonight",
        "heater_not_holding",
        "vents_and_sun",
        "warm_spell_and_wraps",
    )
)
KINDS: Rules = {
    "cooling-fast: harm within the way to the house and a margin, with its chance": (
        (COOLING, "it_comes_while_there_is_still_time_to_walk_over"),
        (COOLING, "it_says_when_how_sure_and_what_to_do"),
    ),
    "cooling-fast: yields to the frost itself": ((COOLING, "it_yields_to_the_frost_itself"),),
    "frost-tonight: at the earlier of two hours after sunset and an hour before quiet hours": (
        (TONIGHT, "it_is_said_two_hours_after_sunset"),
        (TONIGHT, "it_is_said_an_hour_before_quiet_hours_where_that_is_earlier"),
    ),
    "frost-tonight: the chance of damage at the line of cost and loss": (
        (TONIGHT, "it_says_how_cold_how_sure_and_what_to_do_before_bed"),
        (TONIGHT, "a_night_that_is_warm_enough_is_not_spoken_of"),
    ),
    "vents-open: the house follows outdoors faster than when shut, and tonight is cold": (
        (VENTS, "open_vents_are_told_of_before_dusk"),
        (VENTS, "a_shut_house_is_left_in_peace"),
        (VENTS, "vents_may_stay_open_before_a_mild_night"),
    ),
    "heater-not-holding: against its own usual band, while it still falls": (
        (HEATER, "a_heater_that_goes_out_is_found_within_a_quarter_of_an_hour"),
        (HEATER, "it_does_not_ring_while_the_thermostat_cycles"),
        (HEATER, "it_does_not_ring_for_a_door_in_the_evening"),
    ),
    "wrap-freezing: a damp wrap's own surface, before it is frozen through": (
        (WARM, "a_bare_wet_wrap_freezes_in_dry_air_above_zero"),
        (WARM, "it_says_which_wrap_how_far_and_that_nobody_may_touch_it"),
    ),
    "sun-ahead: too warm with vents shut, and never into frost": (
        (VENTS, "heat_is_told_of_an_hour_before_it_is_there"),
        (VENTS, "nobody_is_told_to_open_the_vents_into_frost"),
    ),
    "warm-spell: limits below zero rise for three nights, never past zero": (
        (WARM, "two_days_of_ten_degrees_raise_limits_below_zero_by_two_degrees"),
        (WARM, "limits_never_rise_past_zero"),
        (WARM, "after_three_nights_they_are_as_before"),
    ),
    "low-temperature: air at or below the milder limit is medium, at or below the damage limit high": (
        (EDGES, "air_at_the_milder_limit_is_medium_and_at_the_damage_limit_high"),
        (EDGES, "air_a_hair_above_its_limit_is_nothing"),
    ),
    "high-temperature: beyond its limits for the hold time": (
        (AIR, "heat_must_last_before_it_rings"),
        (AIR, "heat_that_harms_waits_half_as_long"),
    ),
    "dry-air: drying air beyond its limit for the hold time": ((AIR, "drying_air_rings_after_two_hours"),),
    "frozen-root-ball: the pot below its root limit, or frozen through the day": (
        (POTS, "a_root_limit_is_held_against_the_pot_not_against_the_air"),
        (POTS, "a_night_frozen_is_ordinary_and_a_day_is_not"),
    ),
    "winter-desiccation: an evergreen loses water over a frozen pot": (
        (POTS, "an_evergreen_over_a_frozen_pot_loses_water"),
        (POTS, "a_tree_that_drops_its_leaves_does_not"),
    ),
    "wrap-drying: only what is to be kept damp, low, never rings": (
        (WRAPS, "a_wrap_that_dries_is_an_alarm_that_never_rings"),
        (WRAPS, "a_wrap_that_was_wet_only_to_be_pliable_is_asked_about_by_nobody"),
    ),
    "wrap-unknown: what cannot be known of a wrap is said, and never rings": (
        (WRAPS, "after_an_outage_it_is_unknown_and_says_so"),
        (WRAPS, "a_taped_wrap_that_nobody_felt_is_unknown_after_a_day"),
    ),
    "wet-too-long: a wrap kept wet past its maximum is looked at": (
        (WRAPS, "a_wrap_kept_wet_past_its_maximum_is_looked_at_for_mould"),
    ),
    "sensor-silent: nothing fresh for three intervals, or for the longest gap": (
        (NO_DATA, "a_sensor_is_silent_after_three_intervals_without_anything_fresh"),
        (NO_DATA, "a_sensor_that_reports_on_change_may_be_silent_for_its_longest_gap"),
    ),
    "sensor-silent: its priority follows what it guards and the hour": (
        (NO_DATA, "silence_at_night_near_harm_is_high_and_by_day_medium"),
        (NO_DATA, "silence_of_a_sensor_that_guards_no_tree_is_low"),
        (NO_DATA, "with_a_neighbour_that_reports_silence_is_medium"),
        (NO_DATA, "a_silence_becomes_high_when_night_falls"),
    ),
    "sensor-silent: out of service while its sensor is at rest": (
        (REST, "a_sensor_at_rest_is_out_of_service_and_its_silence_rings_nobody"),
        (REST, "it_comes_back_by_itself_and_then_has_its_usual_time_to_be_heard"),
        (REST, "while_a_tree_depends_on_it_a_rest_is_refused_beyond_a_day"),
    ),
    "sensor-doubtful: frozen, impossible, disagreeing": (
        (AIR, "neighbours_that_disagree_by_night_are_both_doubtful"),
        (AIR, "a_frozen_sensor_is_doubted_when_its_neighbour_moves"),
        (AIR, "a_flood_of_impossible_values_makes_a_sensor_doubtful"),
    ),
    "battery-low: below a fifth": ((AIR, "a_battery_below_twenty_percent_is_said"),),
    "every kind: the settings' own delays and deadband hold": (
        ("engine/test_own_delays.py", "an_alarm_that_is_found_once_waits_for_its_on_delay"),
        ("engine/test_own_delays.py", "an_alarm_that_is_found_once_is_over_after_its_off_delay"),
    ),
    "unwatched: no configured sensor at its place, or moved where none is twelve hours ago": (
        (NO_DATA, "a_tree_whose_sensor_left_the_settings_is_unwatched_at_once"),
        (NO_DATA, "a_tree_moved_to_a_place_without_a_sensor_is_asked_for_after_twelve_hours"),
    ),
    "was-off: after ten minutes, with its times; high where frost could have been; over when seen": (
        (NO_DATA, "ten_minutes_off_are_no_news"),
        (NO_DATA, "more_than_ten_minutes_off_are_said_with_their_times"),
        (NO_DATA, "was_off_is_high_where_a_tree_is_below_warn_or_could_have_been"),
        (NO_DATA, "was_off_goes_by_how_the_house_itself_has_cooled"),
        (NO_DATA, "was_off_ends_when_it_is_seen"),
    ),
    "broker-lost: stands for all silences at their highest priority, with grace when it ends": (
        (NO_DATA, "a_lost_broker_stands_for_the_silence_of_all_sensors"),
        (NO_DATA, "when_the_broker_is_back_the_sensors_have_their_usual_time"),
        (REST, "a_lost_broker_stands_for_silences_that_are_known_already"),
        (REST, "a_silence_that_outlasts_the_lost_broker_rings_again"),
    ),
    "storage-failing: what happens is not kept": (
        (TROUBLES, "a_store_that_does_not_keep_is_said_and_ends_by_itself"),
    ),
    "delivery-failing: three failures over a minute, one for good, all of a high call": (
        (TROUBLES, "three_failures_over_a_minute_are_a_failing_delivery"),
        (TROUBLES, "a_permanent_failure_counts_at_once"),
        (TROUBLES, "an_urgent_notice_that_reaches_nobody_goes_by_any_other_way_left"),
    ),
    "clock-doubtful: a clock before the release": (
        (TROUBLES, "a_clock_before_the_release_is_doubtful_until_it_is_set"),
    ),
    "restarting: three starts in an hour": (
        (TROUBLES, "three_starts_in_an_hour_are_said_and_forgotten_an_hour_later"),
        (TROUBLES, "starts_after_an_orderly_end_are_no_trouble"),
    ),
}

NEVER_BEND: Rules = {
    "a suspect low reading still warns, marked": (
        (COUNTS, "a_suspect_low_reading_still_warns_and_is_marked"),
    ),
    "suspect, stale, late and retained data never clear": (
        (COUNTS, "suspect_readings_never_clear"),
        (NO_DATA, "silence_does_not_clear_a_frost"),
        (COUNTS, "late_readings_are_history_and_never_clear"),
        (COUNTS, "a_retained_reading_with_its_own_recent_time_raises_but_never_clears"),
    ),
    "what cannot be judged is unknown, says so, and alarms": (
        (NO_DATA, "what_cannot_be_judged_is_unknown_and_changes_nothing"),
        (REST, "that_nobody_watches_the_tree_meanwhile_is_said"),
        (NO_DATA, "a_sensor_that_only_says_what_cannot_be_is_silent"),
    ),
    "no set clock loses an occurrence, raises it twice, or expires a shelf": (
        (CLOCK, "a_step_loses_no_occurrence_and_raises_none_twice"),
        (CLOCK, "a_step_expires_no_shelf"),
    ),
    "no restart, crash or outage loses an occurrence, raises it twice, or expires a shelf": (
        (RESTARTS, "a_restart_in_a_frost_raises_nothing_anew"),
        (RESTARTS, "a_restart_expires_no_shelf"),
        (RESTARTS, "a_delay_that_runs_goes_on_after_a_restart"),
        (PROPERTIES, "stopped_anywhere_and_started_again_equals_unbroken"),
        (PROPERTIES, "killed_anywhere_and_run_on_from_the_last_commit_equals_unbroken"),
    ),
    "seen is not safe: two kelvin worse rings again": (
        (SEEN, "two_kelvin_worse_than_when_seen_rings_again"),
    ),
    "seen is not safe: still getting worse after 45 minutes rings again": (
        (SEEN, "still_getting_worse_after_45_minutes_rings_again"),
    ),
    "quiet hours hold a medium alarm only if no tree is expected to come to harm": (
        (QUIET, "medium_is_held_when_no_tree_is_expected_to_reach_harm"),
        (QUIET, "medium_goes_at_once_and_as_high_when_harm_is_expected_before_morning"),
        (QUIET, "what_counts_is_the_end_of_the_quiet_hours_plus_the_way_to_the_house"),
    ),
    "held alarms go with the report, or at the end of the quiet hours": (
        (QUIET, "held_alarms_go_with_the_report"),
        (QUIET, "where_no_call_tells_the_report_held_alarms_go_at_the_end_of_the_quiet_hours"),
    ),
    "high is never held": ((QUIET, "high_is_never_held"),),
    "alarms of one cause in one house share one notice that names every tree and who is next": (
        (EPISODES, "one_notice_names_every_tree_and_who_is_next"),
        (ONE_CAUSE, "fast_cooling_of_a_tree_that_was_named_as_urgently_joins_without_ringing"),
        (ONE_CAUSE, "a_heater_that_does_not_hold_joins_an_episode_that_was_rung_as_urgently"),
    ),
    "a tree that was named joins without ringing; one that was not, or a rise to high, rings": (
        (EPISODES, "a_named_tree_that_comes_back_in_the_same_episode_is_silent"),
        (EPISODES, "a_tree_that_was_not_named_rings"),
        (EPISODES, "a_rise_to_high_rings"),
    ),
    "a tree named only as next joins silently at medium and rings at high": (
        (EPISODES, "a_tree_that_was_named_as_next_joins_silently_at_medium"),
        (EPISODES, "a_tree_that_was_named_as_next_rings_at_high"),
    ),
    "seen counts for the whole episode, by anyone, for all, and the others are told": (
        (SEEN, "seen_counts_for_the_whole_episode"),
        (SEEN, "the_others_are_told_that_it_was_seen_and_who_saw_it_is_not"),
    ),
    "repeats come after 30, 60 and 120 minutes, then only when it is worse": (
        (EPISODES, "repeats_come_after_30_60_and_120_minutes_and_then_only_when_worse"),
    ),
    "a notifier carries five notices in ten minutes; the rest is folded; high waits 30 s at most": (
        (RATE, "five_in_ten_minutes_pass_and_the_sixth_waits_for_the_window"),
        (RATE, "everything_that_waited_goes_out_as_one_with_the_most_urgent_first"),
        (RATE, "high_is_held_thirty_seconds_at_most"),
        (RATE, "reports_and_drills_are_not_counted_and_never_wait"),
    ),
    "the same thing night after night becomes a line of the report; the unusual rings": (
        (USUAL, "three_nights_alike_ring_and_the_fourth_is_a_line_of_the_report"),
        (USUAL, "a_night_that_is_colder_than_usual_rings_as_it_becomes_urgent"),
        (USUAL, "the_usual_rings_when_harm_is_expected_soon"),
        (USUAL, "a_tree_of_which_nobody_was_told_rings"),
    ),
    "what is entered, and check, hold limits against what the house comes to": (
        ("engine/test_usual_nights.py", "a_limit_that_the_house_never_holds_is_said_as_it_is_entered"),
        ("cli/test_nights.py", "work_that_the_house_cannot_hold_is_said_as_it_is_written"),
        ("cli/test_nights.py", "check_says_it_too"),
    ),
    "where readings are rare the first one at the damage limit raises, marked": (
        (COUNTS, "one_reading_at_harm_raises_where_readings_are_rare"),
    ),
    "whatever suggests heat ends with the caution about burners": (
        (EPISODES, "a_notice_that_suggests_heat_ends_with_the_caution_about_burners"),
        (RATE, "a_caution_about_burners_stays_the_last_line_of_a_folded_notice"),
    ),
    "nothing harmful is advised by any sentence about an alarm": (
        ("notices/test_no_harm.py", "whatever_suggests_heat_ends_with_the_caution_about_burners"),
        ("notices/test_no_harm.py", "nothing_advises_to_handle_what_is_frozen_or_to_take_it_into_the_warm"),
        ("notices/test_no_harm.py", "nothing_advises_to_wet_a_wrap_before_a_frost_night"),
    ),
    "no text advises to handle, bend or carry frozen branches": (
        (EPISODES, "no_notice_advises_to_handle_frozen_branches"),
    ),
    "no code and no word of the workshop reaches a person": (
        ("test_words.py", "what_speaks_to_people_has_no_word_of_the_workshop"),
        ("test_words.py", "no_page_has_a_word_of_the_workshop"),
        ("test_words.py", "a_bad_night_has_no_word_of_the_workshop"),
        ("test_words.py", "a_bad_night_has_no_code"),
    ),
    "an open alarm whose subject left ends as removed": (
        (COUNTS, "an_open_alarm_whose_tree_left_ends_as_removed"),
        (NO_DATA, "an_alarm_of_a_sensor_that_left_the_settings_ends_as_removed"),
    ),
    "an alarm is quiet for twelve hours at most; high never is, and ends a shelf": (
        (EPISODES, "high_is_never_shelved_and_nothing_for_longer_than_twelve_hours"),
        (EPISODES, "a_shelved_alarm_that_rises_to_high_rings_and_its_shelf_ends"),
    ),
}

WHAT_COUNTS: Rules = {
    "the same value twice is one; of two values at one instant the first stands, counted": (
        (COUNTS, "the_same_reading_twice_is_one_and_of_two_values_the_first_stands"),
    ),
    "without a time of its own a reading takes its arrival": (
        (COUNTS, "without_a_time_of_its_own_a_reading_takes_its_arrival"),
    ),
    "older than three intervals and five minutes it is history, kept, never a present alarm": (
        (COUNTS, "late_means_older_than_three_intervals_and_at_least_five_minutes"),
        (COUNTS, "late_readings_never_raise"),
    ),
    "more than five minutes ahead it fails": ((COUNTS, "a_reading_from_the_future_fails"),),
    "retained with a sane time of its own it may raise, never clears; without one it is only shown": (
        (COUNTS, "a_retained_reading_with_its_own_recent_time_raises_but_never_clears"),
        (COUNTS, "a_retained_reading_without_a_time_of_its_own_is_only_shown"),
    ),
    "rates are taken over a minute at least": (
        (JUDGE, "the_last_digit_of_a_quick_sensor_is_no_storm"),
        (JUDGE, "a_rate_is_suspect_beyond_a_kelvin_and_a_half_a_minute"),
    ),
    "values stand still by hours, not by samples, and fog may": (
        (JUDGE, "six_hours_without_a_move_are_suspect"),
        (JUDGE, "fog_may_stand_still"),
    ),
    "what a thermometer says that was not read fails": (
        (JUDGE, "the_words_of_a_thermometer_fail"),
        (JUDGE, "zero_degrees_with_zero_humidity_are_none"),
        (COUNTS, "what_a_thermometer_says_that_was_not_read_fails_and_raises_nothing"),
    ),
}

EVERYWHERE: Rules = {
    "more ticks change nothing": ((PROPERTIES, "extra_ticks_change_no_effect"),),
    "live and replayed are the same": (
        ("app/test_live_and_replay.py", "a_guards_own_recording_replays_to_its_own_alarms"),
    ),
    "handed in twice is handed in once": ((PROPERTIES, "an_entry_handed_in_twice_counts_once"),),
    "stopped anywhere, reloaded and run on is unbroken": (
        (PROPERTIES, "stopped_anywhere_and_started_again_equals_unbroken"),
    ),
}

EVERY = {**KINDS, **NEVER_BEND, **WHAT_COUNTS, **EVERYWHERE}


@cache
def names_in(file: str) -> frozenset[str]:
    """The tests that a file holds."""
    nodes = ast.walk(ast.parse((TESTS / file).read_text(encoding="utf-8")))
    return frozenset(node.name for node in nodes if isinstance(node, ast.FunctionDef))


@pytest.mark.parametrize("rule", EVERY, ids=list(EVERY))
def test_a_rule_is_held_by_tests_that_exist(rule: str) -> None:
    """Each by name."""
    missing = [f"{file}::test_{name}" for file, name in EVERY[rule] if f"test_{name}" not in names_in(file)]

    assert EVERY[rule]
    assert missing == []


def test_every_kind_of_alarm_has_its_rule() -> None:
    """A kind that nothing is held to would be a stub."""
    spoken_of = {rule.split(":")[0] for rule in KINDS}

    assert sorted({*WITH_A_NUMBER, *WITHOUT_A_NUMBER} - spoken_of) == []
