"""A daemon's own recording, replayed, gives its own alarms: two runs of one engine held together."""

import json
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.clock import rfc3339
from monitor.model import NoticeKind
from tests.app.live import Live
from tests.engine.house import LARCH, settings_of

LARCH_3 = {"kind": "tree", "tree": "larch-3", "name": "Larch 3", "sensor": "bench-a"}
YEW_2 = {"kind": "tree", "tree": "yew-2", "name": "Yew 2", "sensor": "bench-b"}


def plant(live: Live) -> None:
    """Two trees with limits of their own."""
    live.write(**LARCH_3)
    live.write(**YEW_2)
    for tree, warn_c, harm_c in (("larch-3", 1.5, 0.0), ("yew-2", -1.0, -4.0)):
        for limit, value in (("low_warn_c", warn_c), ("low_harm_c", harm_c)):
            live.write(kind="limit", tree=tree, limit=limit, value=value, reason="to test")


def cool(live: Live, *values: float) -> None:
    """A reading a minute from both sensors."""
    for value in values:
        live.reading("bench-a", value)
        live.reading("bench-b", value + 0.3, after_s=0.0)


def frost(live: Live) -> None:
    """A frost that is seen and passes."""
    cool(live, 3.0, 1.4, 1.2, 0.9, -0.2, -0.4)
    live.ask("ack", {"alarms": [LARCH]})
    cool(live, -0.9, -1.6, -2.4, 0.5, *[4.0] * 8)


def silence(live: Live) -> None:
    """A sensor dies, then the link, then both come back."""
    cool(live, 3.0, 3.0)
    for _ in range(5):
        live.reading("bench-b", 3.0)
    live.link(up=False)
    live.passes(400)
    live.link(up=True)
    cool(live, 3.0, 3.0, 3.0)


def clock(live: Live) -> None:
    """The clock is set while it freezes; a tree is written down afterwards."""
    cool(live, 3.0, 1.0, 1.0)
    live.clock_steps(3600.0)
    live.write(kind="tree", tree="pine-1", name="Pine 1", sensor="bench-a")
    live.write(kind="limit", tree="pine-1", limit="low_warn_c", value=2.0, reason="to test")
    cool(live, 1.0, 1.0, 0.5)
    live.clock_steps(600.0)
    live.write(kind="leave", tree="larch-3", reason="sold")
    cool(live, 0.5, -0.5, -0.5, 4.0)
    live.clock_steps(-7200.0)
    cool(live, 4.0, 1.0, 1.0)


def restart(live: Live) -> None:
    """Stopped in a frost, and off for half an hour."""
    cool(live, 3.0, 1.0, 1.0)
    live.stop()
    live.clock.advance(1800.0)
    live.start()
    cool(live, 1.0, 0.5, 4.0, *[4.0] * 7)
    live.ask("ack", {"alarms": ["--all"]})
    cool(live, 4.0)


def short_restart(live: Live) -> None:
    """A restart of a moment while a delay runs, and one after minutes without a message."""
    cool(live, 3.0, 1.2)
    live.stop()
    live.clock.advance(3.0)
    live.start()
    cool(live, 1.2, 1.2)
    live.passes(700)
    live.stop()
    live.clock.advance(500.0)
    live.start()
    cool(live, 1.2)


def shelved(live: Live) -> None:
    """Quiet for a quarter of an hour."""
    cool(live, 3.0, 1.2, 1.2, 1.2)
    live.ask("shelve", {"alarms": [LARCH], "for_s": 900.0})
    cool(live, *[1.1] * 17)
    live.ask("resume", {"alarms": [LARCH]})


def rest(live: Live) -> None:
    """A sensor in melting ice, and back by itself."""
    cool(live, 3.0, 1.2, 1.2, 1.2)
    until = rfc3339(live.clock.now_s() + 1200.0)
    live.pass_once(1.0)
    live.write(kind="rest", sensor="bench-a", until=until)
    cool(live, *[0.0] * 18)
    cool(live, *[1.2] * 8)


def dated(live: Live) -> None:
    """Work entered after the clock was set, and while it stands behind."""
    cool(live, 6.0, 6.0)
    live.clock_steps(3 * 3600.0)
    live.write(kind="work", tree="larch-3", work="heavy-bend")
    cool(live, 2.0, 2.0, 2.0)
    live.clock_steps(-5 * 3600.0)
    cool(live, 2.0, 0.4, 0.4)


def crashes(live: Live) -> None:
    """Killed three times within an hour."""
    for _ in range(3):
        cool(live, 6.0, 6.0)
        live.kill()
        live.clock.advance(30.0)
        live.start()
    cool(live, 6.0)


def anything(live: Live) -> None:
    """A night by dice, always the same ones."""
    dice = random.Random(20270114)
    for _ in range(60):
        cool(live, dice.choice([3.0, 1.4, 1.0, -0.2, -1.2, -4.5, 60.0, -127.0]))
        if dice.random() < 0.15:
            live.ask("ack", {"alarms": ["--all"]}, by=dice.choice(["ann", "tom"]))
        if dice.random() < 0.1:
            live.link(up=dice.random() < 0.5)


NIGHTS = (frost, silence, clock, restart, short_restart, shelved, rest, dated, crashes, anything)


@pytest.mark.parametrize("night", NIGHTS, ids=lambda night: night.__name__)
def test_a_guards_own_recording_replays_to_its_own_alarms(
    tmp_path: Path, night: Callable[[Live], None]
) -> None:
    """Every transition, every word of it."""
    with Live(tmp_path, settings_of(("bench-a", "bench-b"))) as live:
        plant(live)
        night(live)
        live.delivered()
    kept, replayed = live.transitions(), live.replayed()

    assert kept
    assert replayed.transitions == kept
    rang = [(n.notice, n.kind, n.notifier) for n in live.notices() if n.kind is not NoticeKind.CLEARED]
    again = [(n.notice, n.kind, n.notifier) for n in replayed.notices if n.kind is not NoticeKind.CLEARED]
    assert again == rang


def test_what_was_said_of_one_alarm_stands_in_the_recording_as_alarm_and_by(tmp_path: Path) -> None:
    """The recording's own words for it."""
    with Live(tmp_path) as live:
        plant(live)
        cool(live, 1.0, 1.0)
        live.ask("ack", {"alarms": [LARCH]})
        live.delivered()
    files = [file.read_text(encoding="utf-8") for file in (tmp_path / "recording").iterdir()]
    lines = [json.loads(line) for text in files for line in text.splitlines()]
    (ack,) = [line for line in lines if line.get("event") == "ack"]

    assert (ack["alarm"], ack["by"]) == (LARCH, "ann")
    assert [t.to_state for t in live.replayed().transitions if t.alarm == LARCH][-1] == "acknowledged"
