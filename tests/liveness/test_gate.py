"""When a sign of life would be true: every part that guarding needs can withhold it, and gives it back.

The rules are the project's own; the guidance behind them (a sign only after completed work, with evidence of
it) is common practice, no source.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from monitor.liveness import COMMIT_OLD_S, OUTBOX_STUCK_S, PASS_LATE_S, Health, may_speak, reaches_people
from monitor.settings import Settings, load_settings
from tests.settings.installation import SOUND, written

NOW_S = 50_000.0
LONG_AGO_S = NOW_S - OUTBOX_STUCK_S - 1
WELL: dict[str, Any] = {
    "passed_at_s": NOW_S - 1,
    "committed_at_s": NOW_S - 60,
    "store_ok": True,
    "fresh_sensors": 1,
    "reaches_people": True,
    "waiting_since_s": None,
    "tried_at_s": 0.0,
}


def test_a_guard_that_is_well_may_speak() -> None:
    """One fresh sensor, a pass and a commit of late: that is all it takes."""
    assert may_speak(Health(**WELL), NOW_S) == (True, "")


def test_nothing_is_said_before_the_first_pass() -> None:
    """A program that only started has guarded nothing yet."""
    allowed, reason = may_speak(None, NOW_S)

    assert not allowed
    assert "first pass" in reason


@pytest.mark.parametrize(
    ("wrong", "word"),
    [
        ({"passed_at_s": NOW_S - PASS_LATE_S - 1}, "pass"),
        ({"store_ok": False}, "cannot be kept"),
        ({"committed_at_s": NOW_S - COMMIT_OLD_S - 1}, "kept"),
        ({"fresh_sensors": 0}, "sensor"),
        ({"reaches_people": False}, "nobody"),
        (
            {"waiting_since_s": NOW_S - OUTBOX_STUCK_S - 1, "tried_at_s": NOW_S - OUTBOX_STUCK_S - 1},
            "deliver",
        ),
    ],
)
def test_each_part_alone_withholds_the_sign(wrong: dict[str, Any], word: str) -> None:
    """One thing wrong, all else well: no sign, and a reason that names it."""
    allowed, reason = may_speak(Health(**{**WELL, **wrong}), NOW_S)

    assert not allowed
    assert word in reason


@pytest.mark.parametrize(
    "still_well",
    [
        {"passed_at_s": NOW_S - PASS_LATE_S},
        {"committed_at_s": NOW_S - COMMIT_OLD_S},
        {"waiting_since_s": NOW_S - OUTBOX_STUCK_S - 9, "tried_at_s": NOW_S - 5},
        {"waiting_since_s": NOW_S - 5, "tried_at_s": float("-inf")},
    ],
)
def test_what_is_usual_withholds_nothing(still_well: dict[str, Any]) -> None:
    """At the edge it still counts; a notice that is tried again and again, or is new, is no stuck outbox."""
    assert may_speak(Health(**{**WELL, **still_well}), NOW_S) == (True, "")


# ---- ways to reach people ------------------------------------------------------------------------------

MORE = """
[notifiers.hook]
type = "webhook"
url = "http://127.0.0.1:9000/in"
secret_file = "hook-secret"

[notifiers.log]
type = "journal"

[people.tom]
notifiers = ["hook"]
"""
CALLS = """[[calls]]
tell = ["high", "medium", "report"]
who = ["ann"]
"""


def installation(folder: Path, calls: str) -> Settings:
    """Ann by mail, Tom by webhook, a journal; told as `calls` says."""
    return load_settings(written(folder, SOUND.replace(CALLS, calls) + MORE), {})


def call(who: Sequence[str], then: Sequence[str] = (), tell: Sequence[str] = ("high",)) -> str:
    """One [[calls]] table."""
    quoted = [", ".join(f'"{each}"' for each in words) for words in (tell, who, then)]
    passing_on = f"pass_on_to = [{quoted[2]}]\npass_on_after_s = 600\n" if then else ""
    return f"[[calls]]\ntell = [{quoted[0]}]\nwho = [{quoted[1]}]\n{passing_on}"


@pytest.mark.parametrize(
    ("calls", "failing", "reached"),
    [
        (call(["ann"]), [], True),
        (call(["ann"]), ["mail"], False),
        (call(["ann"]), ["hook"], True),
        (call(["ann", "log"]), ["mail"], False),
        (call(["ann"], then=["tom"]), ["mail"], True),
        (call(["ann"], then=["tom"]), ["mail", "hook"], False),
        (call(["ann"]) + call(["tom"]), ["hook"], False),
        (call(["ann"]) + call(["tom"], tell=["medium"]), ["hook"], True),
        (call(["log"]), ["log"], True),
    ],
    ids=[
        "nothing fails", "the only way fails", "another way fails", "a journal reaches nobody",
        "somebody is next", "nobody is next", "one of two calls is cut off", "not a high call",
        "records alone were never a way",
    ],
)  # fmt: skip
def test_a_high_call_with_no_way_left_reaches_nobody(
    tmp_path: Path, calls: str, failing: list[str], reached: bool
) -> None:
    """Records do not count as ways; whoever is passed on to does."""
    assert reaches_people(installation(tmp_path, calls), {"log"}, failing) is reached
