"""What the engine tells the report: restarts, the clock, heat that lasted, doubt, what stands where."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from monitor.clock import rfc3339
from monitor.engine import Engine
from monitor.model import Calendar, ClockStep, Effects, Event, Message, Saved, Started
from monitor.morning import morning_facts
from monitor.morning.log import NightLog
from monitor.morning.series import Series, held_high_c
from monitor.trees.plans import load_plans
from tests.report.nights import JANUARY, Scenario, instant, quiet_house, three_trees

DATE = "2027-01-17"
BEGIN_S = instant(JANUARY)
REPORT_S = instant("2027-01-17T06:45+00:00")


def engine_with(folder: Path, entries: Sequence[dict[str, object]] = (), site: str = "") -> Engine:
    """A fresh engine of the Cold house; `entries` stand in its book."""
    settings = Scenario(JANUARY, JANUARY, quiet_house, site=site).settings(folder)
    engine = Engine(settings, load_plans(None))
    engine.load(Saved(), entries)
    return engine


def reading(at_s: float, air_c: float, sensor: str = "bench-a") -> Message:
    """One message of a bench sensor."""
    return Message(at_s, f"heather/cold/{sensor}", json.dumps({"t": air_c, "rh": 80}).encode())


def feed(engine: Engine, *events: Event) -> list[Effects]:
    """Each event, in order."""
    return [engine.handle(event) for event in events]


def test_a_restart_is_told_and_survives_the_next(tmp_path: Path) -> None:
    """Off from ten past two to twenty to six; what was known is in the rows that are kept."""
    engine = engine_with(tmp_path)
    feed(engine, Started(BEGIN_S))
    off_s, on_s = instant("2027-01-17T02:10+00:00"), instant("2027-01-17T05:40+00:00")
    effects = feed(engine, Started(on_s, off_s))[0]
    rows = {row.key: row.value for row in effects.rows if row.table == "site" and row.value is not None}

    later = engine_with(tmp_path)
    later.load(Saved(rows={"site": rows}, last_commit_at_s=on_s), ())
    feed(later, Started(on_s + 60.0, on_s + 30.0))

    assert morning_facts(later, DATE).off == ((off_s, on_s), (on_s + 30.0, on_s + 60.0))


def test_a_step_of_the_clock_is_told_in_its_own_size(tmp_path: Path) -> None:
    """From twelve seconds ahead to an hour behind."""
    engine = engine_with(tmp_path)
    feed(engine, Started(BEGIN_S), ClockStep(BEGIN_S + 10.0, 12.0), ClockStep(BEGIN_S + 20.0, -3588.0))

    assert [by_s for _at_s, by_s in morning_facts(engine, DATE).clock_steps] == [12.0, -3600.0]


def test_the_log_forgets_what_is_old() -> None:
    """Two days, and never more than fifty of each."""
    log = NightLog()
    for number in range(80):
        log.started(number * 600.0, number * 600.0 + 5.0)
    log.stepped(3.0, 0.0)
    log.stepped(4.0, 300_000.0)

    assert len(log.off_since(0.0)) == 50
    assert log.steps_since(0.0) == ((300_000.0, 4.0),)


def test_counts_begin_anew_with_each_report_that_is_sent(tmp_path: Path) -> None:
    """What could not be read is told once; asking for a report changes nothing."""
    engine = engine_with(tmp_path)
    bad = Message(BEGIN_S + 60.0, "heather/cold/bench-a", b"no number")
    feed(engine, Started(BEGIN_S), bad)

    asked = engine.report(DATE).text
    sent = feed(engine, Calendar(REPORT_S, "report", DATE))[0].reports[0].text
    after = engine.report("2027-01-18").text

    assert "1 messages on heather/cold/bench-a" in asked
    assert "1 messages on heather/cold/bench-a" in sent
    assert "heather/cold/bench-a" not in after


def test_a_report_that_is_sent_late_says_so_and_one_that_is_asked_for_does_not(tmp_path: Path) -> None:
    """Through the engine: the calendar fires at nine."""
    engine = engine_with(tmp_path)
    feed(engine, Started(BEGIN_S))
    nine_s = REPORT_S + 8100.0

    sent = feed(engine, Calendar(nine_s, "report", DATE))[0].reports[0]

    assert "This report is 2 h 15 min late: it was due at 06:45." in sent.text
    assert "late" not in engine.report(DATE).text.split("\n\n")[0]


def test_heat_counts_once_it_has_lasted(tmp_path: Path) -> None:
    """Plans: an hour for the warning; twenty minutes above it at noon are no matter, two hours are."""
    for minutes, close in ((20, False), (120, True)):
        engine = engine_with(tmp_path, three_trees(BEGIN_S - 86400.0))
        noon_s = instant("2027-01-16T12:00+00:00")
        feed(engine, Started(noon_s - 3600.0))
        for minute in range(-60, 180):
            air_c = 25.0 if 0 <= minute < minutes else 12.0
            feed(engine, reading(noon_s + 60.0 * minute, air_c))
        larch = next(tree for tree in morning_facts(engine, DATE).trees if tree.name == "Larch 3")
        warm = next(m for m in larch.margins if (m.side, m.grade) == ("high", "warn"))

        assert (warm.margin_k <= 0) is close


def test_the_highest_that_lasted_is_found_between_gaps() -> None:
    """By hand: five-minute means; half an hour of 24 between shorter spells of 30."""
    import numpy as np

    minutes = np.arange(0, 120)
    values = np.where((minutes >= 30) & (minutes < 60), 24.0, np.where(minutes % 30 < 10, 30.0, 15.0))
    series = Series(minutes * 60.0, values, 300.0)

    assert held_high_c(series, 0.0, 7200.0, 1800.0) == 24.0
    assert held_high_c(series, 0.0, 7200.0, 600.0) == 30.0
    assert held_high_c(series, 0.0, 600.0, 1800.0) is None


def test_the_night_before_the_last_report_is_not_told_again(tmp_path: Path) -> None:
    """Frost at six yesterday was in yesterday's report; frost at nine yesterday was not."""
    entries = three_trees(BEGIN_S - 2 * 86400.0)
    engine = engine_with(tmp_path, entries)
    feed(engine, Started(instant("2027-01-16T05:00+00:00")))
    for text, air_c in (("06:00", -3.0), ("06:50", 2.0), ("09:00", -1.0), ("18:00", 4.0)):
        feed(engine, reading(instant(f"2027-01-16T{text}+00:00"), air_c))

    larch = next(tree for tree in morning_facts(engine, DATE).trees if tree.name == "Larch 3")

    assert larch.nearest("harm") is not None
    assert min(margin.reached_c for margin in larch.margins) == -1.0
    assert "−1.0 °C yesterday at 09:00" in engine.report(DATE).text.replace("\n", " ")


def test_a_tree_that_moved_where_nobody_watches_is_told(tmp_path: Path) -> None:
    """To the garage, yesterday."""
    moved = {"at": rfc3339(BEGIN_S), "kind": "move", "trees": ["larch-3"], "to": "garage"}
    engine = engine_with(tmp_path, (*three_trees(BEGIN_S), moved))
    feed(engine, Started(BEGIN_S))

    larch = next(tree for tree in morning_facts(engine, DATE).trees if tree.name == "Larch 3")

    assert (larch.watched, larch.place) == (False, "garage")


def test_facts_and_report_are_the_same_however_often_they_are_asked_for(tmp_path: Path) -> None:
    """The report looks and changes nothing."""
    played = replace(Scenario(JANUARY, "2027-01-16T20:00+00:00", quiet_house, entries=three_trees(BEGIN_S)))
    engine = engine_with(tmp_path, list(played.entries))
    for event in played.messages():
        engine.handle(event)

    assert engine.report(DATE) == engine.report(DATE)
    assert engine.handle(Calendar(engine.now_s + 1.0, "other", DATE)).transitions == ()
