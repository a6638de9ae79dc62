"""The table of faults: each with the tests that show that it is seen, and that it passes by itself.

A test is named as `file::function`, in the folder `tests`. Where one test shows both it stands twice. What
comes first runs the whole program; what follows in `also` looks at one room more closely.
"""

from typing import NamedTuple


class Fault(NamedTuple):
    """One row; `seen` fails visibly, `passes` recovers by itself."""

    what: str
    seen: str
    passes: str
    also: tuple[str, ...] = ()


def _both(what: str, test: str, *also: str) -> Fault:
    return Fault(what, test, test, also)


_WAYS = "faults/test_ways.py::"
_SAID = f"{_WAYS}test_each_fault_is_said_with_its_reason"
_PASSES = f"{_WAYS}test_what_passes_is_delivered_by_itself"
_FOR_GOOD = f"{_WAYS}test_what_is_refused_for_good_is_an_alarm_and_the_next_notice_is_tried"
_DISK = "faults/test_disk.py::"
_PARTS = "faults/test_parts.py::"
_LINK = "faults/test_link.py::"
_MESSAGES = "faults/test_messages.py::"
_CLOCK = "faults/test_clock.py::"
_UNREADABLE = f"{_MESSAGES}test_a_payload_that_nobody_can_read"
_MENDED = f"{_PARTS}test_all_of_them_are_well_again_once_the_package_is_mended"
_STORE = "store/test_faults.py::"
_RECOVERY = "delivery/test_recovery.py::"
_RETRIED = f"{_RECOVERY}test_a_passing_fault_is_said_and_the_notice_arrives_by_itself"

ROWS: tuple[Fault, ...] = (
    _both("the broker is down at the start", f"{_LINK}test_down_at_the_start"),
    _both(
        "the broker goes down in mid-run", f"{_LINK}test_down_in_mid_run",
        "intake/test_links.py::test_a_broker_that_restarted_without_its_session_is_subscribed_to_again",
    ),
    _both(
        "the link is half open", f"{_LINK}test_half_open",
        "intake/test_links.py::test_a_link_that_hangs_half_open_is_noticed_and_made_anew",
    ),
    _both(
        "the broker refuses the password", f"{_LINK}test_a_wrong_password",
        "intake/test_letting_in.py::"
        "test_a_wrong_password_is_said_and_a_corrected_one_counts_at_the_next_try",
    ),
    _both(
        "retained messages are replayed", f"{_MESSAGES}test_a_retained_replay",
        "engine/test_what_counts.py::test_a_retained_reading_without_a_time_of_its_own_is_only_shown",
    ),
    _both(
        "garbage payloads", _UNREADABLE, f"{_MESSAGES}test_a_flood_of_garbage_is_no_sign_of_life",
        "payloads/test_any_bytes.py::test_any_bytes",
    ),
    _both(
        "huge payloads",
        _UNREADABLE, "intake/test_links.py::test_garbage_payloads_never_end_the_network_thread",
    ),
    _both("deep payloads", _UNREADABLE),
    _both("payloads with NaN", _UNREADABLE),
    _both(
        "a backlog with duplicates", f"{_MESSAGES}test_duplicates",
        "engine/test_what_counts.py::test_the_same_reading_twice_is_one_and_of_two_values_the_first_stands",
    ),
    _both(
        "a backlog that is late", f"{_MESSAGES}test_a_late_backlog",
        "engine/test_what_counts.py::test_late_readings_are_history_and_never_clear",
        "engine/test_what_counts.py::test_late_readings_never_raise",
    ),
    _both("a sensor dies", f"{_MESSAGES}test_a_dead_sensor"),
    _both("a sensor freezes", f"{_MESSAGES}test_a_frozen_sensor"),
    Fault("SMTP refuses the connection", _SAID, _PASSES),
    Fault("SMTP answers 4xx", _SAID, _PASSES, (_RETRIED,)),
    Fault("SMTP answers 5xx", _SAID, _FOR_GOOD),
    Fault("SMTP hangs", _SAID, _PASSES, (f"{_RECOVERY}test_a_hanging_mail_server_never_delays_the_webhook",)),
    Fault("SMTP's reply is lost", _SAID, f"{_WAYS}test_a_lost_reply_comes_twice_under_one_id"),
    Fault(
        "the webhook answers 429",
        _SAID, _PASSES,
        (f"{_RECOVERY}test_retry_after_is_obeyed_within_its_cap",),
    ),
    Fault("the webhook answers 5xx", _SAID, _PASSES, (_RETRIED,)),
    Fault(
        "the webhook redirects",
        _SAID, _FOR_GOOD,
        ("delivery/test_webhook.py::test_a_redirect_is_a_failure_and_is_not_followed",),
    ),
    Fault(
        "the webhook is gone (410)",
        _SAID, _FOR_GOOD,
        (f"{_RECOVERY}test_gone_stays_closed_until_a_drill_arrives",),
    ),
    _both("all notifiers are down", f"{_WAYS}test_all_ways_down_at_once"),
    _both(
        "the disk is full",
        f"{_DISK}test_a_disk_that_takes_nothing", f"{_STORE}test_no_room_on_the_disk_is_said_and_passes",
    ),
    _both(
        "the disk is read-only", f"{_DISK}test_a_state_that_is_read_only_from_the_start",
        f"{_STORE}test_a_read_only_state_directory_is_read_and_guarded_from_memory",
    ),
    _both("the command line's socket cannot be made", f"{_DISK}test_a_socket_that_cannot_be_made"),
    _both("the database is locked", f"{_DISK}test_a_disk_that_takes_nothing"),
    _both("the database is truncated", f"{_DISK}test_a_database_that_is_damaged"),
    _both(
        "the database is corrupt", f"{_DISK}test_a_database_that_is_damaged",
        "app/test_upkeep.py::test_damage_that_nobody_ran_into_is_found_at_night",
        f"{_STORE}test_damage_that_comes_while_running_fails_once_and_is_then_begun_afresh",
    ),
    _both("the database is of a newer release", f"{_DISK}test_a_database_of_a_later_release"),
    _both(
        "alerts from memory",
        f"{_DISK}test_alerts_from_memory_keep_to_the_rate", f"{_DISK}test_a_disk_that_takes_nothing",
    ),
    _both(
        "the clock steps by an hour", f"{_CLOCK}test_a_step_of_an_hour",
        "engine/test_clock_and_report.py::test_a_step_expires_no_shelf",
    ),
    _both("the clock falls to 1970", f"{_CLOCK}test_1970_and_back"),
    _both(
        "summer time begins and ends", f"{_CLOCK}test_summer_time",
        "engine/test_clock_and_report.py::"
        "test_a_report_time_that_is_skipped_or_comes_twice_gives_one_report_that_date",
    ),
    _both("no clock at boot", f"{_CLOCK}test_no_clock_at_boot"),
    _both(
        "kill -9 at every transition", "faults/test_dying.py::test_killed_at_every_transition",
        "app/test_kill.py::test_a_daemon_killed_again_and_again_loses_and_doubles_nothing",
        f"{_STORE}test_kill_9_in_mid_commit_leaves_the_state_before_or_after_it",
    ),
    _both("started again and again", "faults/test_dying.py::test_restarts_within_an_hour_are_an_alarm"),
    _both(
        "the power is cut in mid-write", f"{_DISK}test_a_power_cut_in_the_middle_of_writing",
        f"{_STORE}test_a_power_cut_leaves_a_whole_number_of_commits",
    ),
    _both("two daemons on one state", f"{_DISK}test_two_daemons_on_one_state"),
    Fault("a notifier raises", f"{_PARTS}test_notifiers_that_raise_or_hang_hold_up_nobody", _MENDED),
    Fault("a notifier hangs", f"{_PARTS}test_notifiers_that_raise_or_hang_hold_up_nobody", _MENDED),
    Fault(
        "a payload's reader raises",
        f"{_PARTS}test_a_payload_that_raises_is_a_sensor_that_is_silent", _MENDED,
    ),
    Fault(
        "a quality check raises",
        f"{_PARTS}test_a_quality_check_that_raises_leaves_readings_suspect", _MENDED,
    ),
    Fault(
        "a limit raises",
        f"{_PARTS}test_a_limit_that_raises_leaves_its_tree_unwatched_and_says_so", _MENDED,
    ),
    _both(
        "a part hangs in the guard's own thread",
        "liveness/test_daemon.py::test_neither_sign_nor_watchdog_while_a_pass_hangs",
    ),
    _both("memory, threads and files grow", "faults/test_soak.py::test_nothing_grows"),
    _both(
        "crash equivalence, as a property",
        "engine/test_properties.py::test_killed_anywhere_and_run_on_from_the_last_commit_equals_unbroken",
        "engine/test_properties.py::test_stopped_anywhere_and_started_again_equals_unbroken",
    ),
)  # fmt: skip
