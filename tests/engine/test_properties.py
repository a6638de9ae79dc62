"""What holds for any night: more ticks, entries twice, and stops anywhere change nothing.

No expected values: two runs of the same night are held against each other.
"""

import tempfile
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from monitor.model import Notice, NoticeKind, Tick, Transition
from tests.engine.house import House
from tests.engine.script import (
    ENTRIES,
    SETTINGS,
    Step,
    clock,
    late,
    link,
    play,
    scripts,
    seen,
    shelved,
    too_late,
    written,
)

AFTERWARDS_S = 8700.0
"""Long enough for repeats, the end of the quiet hours and mostly a report."""

few = settings(
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # making a failing night shorter takes minutes
    max_examples=12,
    suppress_health_check=[HealthCheck.too_slow],
)


def everything(house: House) -> tuple[list[Transition], list[Notice], list[list[str]], list[object]]:
    """All that a house said and kept; that it was started again may stand in the report."""
    reports = [
        [line for line in report.text.splitlines() if "started again" not in line] for report in house.reports
    ]
    said = [notice for notice in house.notices_seen if notice.kind is not NoticeKind.REPORT]
    return house.transitions_seen, said, reports, list(house.readings)


def new_house(**more: object) -> House:
    """Two benches and three trees on a January morning, an hour and a half before the quiet hours end."""
    return House(SETTINGS, ENTRIES, begins="2027-01-15 05:00", **more)


def run(house: House, script: list[Step]) -> None:
    """The whole script, and what comes of it by itself."""
    at_s = house.now_s
    for step in script:
        at_s += step[0]
        play(house, step, at_s)
    house.passes(at_s + AFTERWARDS_S)


@few
@given(
    scripts(late, seen, shelved, written, link, clock),
    st.lists(st.floats(0.0, AFTERWARDS_S), max_size=30),
)
def test_extra_ticks_change_no_effect(script: list[Step], ticks: list[float]) -> None:
    """However often the engine is asked in between, and whenever."""
    plain, ticked = new_house(), new_house()
    run(plain, script)
    waiting = sorted(ticked.now_s + round(tick, 3) for tick in ticks)
    at_s = ticked.now_s
    for step in script:
        at_s += step[0]
        while waiting and waiting[0] < at_s:
            _tick(ticked, waiting.pop(0))
        play(ticked, step, at_s)
    for tick_s in waiting:
        if tick_s <= at_s + AFTERWARDS_S:
            _tick(ticked, tick_s)
    ticked.passes(at_s + AFTERWARDS_S)

    assert everything(ticked) == everything(plain)


def _tick(house: House, at_s: float) -> None:
    for effects in house.driver.advance(at_s):
        house.take(effects)
    house.take(house.engine.handle(Tick(at_s)))


@few
@given(scripts(seen, written, written))
def test_an_entry_handed_in_twice_counts_once(script: list[Step]) -> None:
    """Importing the same book again changes nothing."""
    once, twice = new_house(), new_house()
    twice.entries_count_twice = True
    run(once, script)
    run(twice, script)

    assert everything(twice) == everything(once)
    assert twice.engine.book.entries == once.engine.book.entries


@few
@given(scripts(too_late, seen, shelved, written, link, clock), st.data())
def test_stopped_anywhere_and_started_again_equals_unbroken(script: list[Step], data: st.DataObject) -> None:
    """One orderly stop, wherever: the same alarms, the same notices, the same report."""
    stop = data.draw(st.integers(0, len(script) - 1))
    unbroken = new_house()
    run(unbroken, script)
    with tempfile.TemporaryDirectory() as folder:
        house = new_house(keep=Path(folder))
        at_s = house.now_s
        for number, step in enumerate(script):
            at_s += step[0]
            play(house, step, at_s)
            if number == stop:
                house.restart(after_s=0.0)
        house.passes(at_s + AFTERWARDS_S)
        house.close()

    assert everything(house) == everything(unbroken)


@few
@given(scripts(too_late, seen, shelved, written, link), st.data())
def test_killed_anywhere_and_run_on_from_the_last_commit_equals_unbroken(
    script: list[Step], data: st.DataObject
) -> None:
    """What was not committed comes again, as a broker redelivers it; what was, does not."""
    commits = sorted(data.draw(st.sets(st.integers(0, len(script) - 1), max_size=4)))
    kill = data.draw(st.integers(0, len(script) - 1))
    unbroken = new_house()
    run(unbroken, script)
    at = [unbroken.start_s + sum(step[0] for step in script[: n + 1]) for n in range(len(script))]
    with tempfile.TemporaryDirectory() as folder:
        house = new_house(keep=Path(folder))
        house.commit()
        again = 0
        for number in range(kill + 1):
            play(house, script[number], at[number])
            if number in commits or script[number][1] in {"entry", "ack", "shelve"}:
                house.commit()
                again = number + 1
        house.crash()
        for number in range(again, len(script)):
            play(house, script[number], at[number])
        house.passes(at[-1] + AFTERWARDS_S)
        house.close()

    assert everything(house) == everything(unbroken)
