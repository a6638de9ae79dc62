"""Plays the night: a broker, sensors that publish over it, the real guard in scaled time, its notices shown.

Everything lives in one folder that is thrown away, unless told otherwise. Nothing in the guard knows that it
is a demo but the rate of its clock.
"""

import json
import threading
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from textwrap import wrap
from typing import Any

from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from monitor.app import Guard, open_guard
from monitor.clock import GuardClock, local, rfc3339
from monitor.demo import night
from monitor.demo.night import Moment
from monitor.intake.broker import EmbeddedBroker
from monitor.model import Notice, NoticeKind, Priority
from monitor.settings import Settings, load_settings

DAY = "2027-01-16"
ENDS_H = 31.0
"""Seven in the morning, after the report."""
SLEEPS_S = 25 * 60.0
"""Ann sleeps through the first ring."""
ANSWERS_S = 5 * 60.0
"""Later she has the phone in her hand."""
WIDTH = 78
EVERY_S = 60.0

SETTINGS = """\
[site]
name = "Heather Bank"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1
elevation_m = 210
[state]
directory = "state"
[broker]
port = {port}
[houses.cold]
name = "Cold house"
outdoor = "yard"
heater_setpoint_c = 4.0
[sensors.bench-a]
house = "cold"
topic = "heather/cold/bench-a"
payload = "senml"
longest_gap_s = 1200
[sensors.bench-b]
house = "cold"
topic = "heather/cold/bench-b"
payload = "senml"
longest_gap_s = 1200
[sensors.yard]
house = "cold"
place = "outdoor"
longest_gap_s = 1200
topic = "heather/yard"
payload = "json"
temperature_c = "/t"
relative_humidity_pct = "/rh"
[notifiers.screen]
type = "journal"
[notifiers.other-screen]
type = "journal"
[people.ann]
reach_s = 1200
notifiers = ["screen"]
[people.tom]
reach_s = 600
notifiers = ["other-screen"]
[[calls]]
tell = ["high", "medium", "report"]
who = ["ann"]
pass_on_after_s = 900
pass_on_to = ["tom"]
[quiet_hours]
from = "22:30"
to = "06:30"
"""

TREES: tuple[tuple[str, str, str, str, str, int], ...] = (
    ("larch-3", "Larch 3", "Larix decidua", "bench-a", "heavy-bend", 3),
    ("yew-2", "Yew 2", "Taxus baccata", "bench-b", "moderate-bend", 9),
    ("pine-1", "Pine 1", "Pinus sylvestris", "bench-b", "root-prune", 12),
)
"""Id, name, species, sensor, work, and how many days ago that was."""
DONE: tuple[tuple[str, str, int], ...] = (
    ("yew-2", "unwrap", 5),
    ("yew-2", "crack-check", 3),
    ("pine-1", "tie-down-check", 4),
    ("pine-1", "water-by-weight", 2),
    ("larch-3", "crack-check", 1),
    ("larch-3", "seal-check", 1),
)
"""Tree, what was due on it and was done, and how many days ago."""


HOW = {
    NoticeKind.RAISED: "rings again, it is worse",
    NoticeKind.REPEAT: "rings again",
    NoticeKind.ESCALATION: "rings, since nobody answers",
    NoticeKind.SEEN: "shows, without a sound",
    NoticeKind.CLEARED: "shows",
}
"""What a phone does with a notice of that kind; all others ring."""
RINGS = frozenset({NoticeKind.ACTIVATION, NoticeKind.RAISED, NoticeKind.REPEAT})
ANSWERS = (
    'Ann wakes, says "I have seen it", and goes for the other gas bottle.',
    'Ann says "I have seen it" again; she is on her way with the bottle.',
)


class Screen:
    """A way to reach somebody: the terminal."""

    def __init__(self, whose: str, show: Callable[[str], None], zone: Any) -> None:
        self._whose = whose
        self._show = show
        self._zone = zone
        self.shown: list[Notice] = []

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Draw the notice."""
        self.shown.append(notice)
        if notice.kind is NoticeKind.REPORT:
            head, body = f"The morning report, as it reaches {self._whose}", notice.text
        else:
            when = f"{local(notice.at_s, self._zone):%H:%M}"
            head = f"{when}  {self._whose}'s phone {HOW.get(notice.kind, 'rings')}"
            body = f"{notice.subject}\n\n{notice.text}"
        lines = [part for line in body.rstrip().splitlines() for part in wrap(line, WIDTH) or [""]]
        drawn = [f"  | {line}".rstrip() for line in lines]
        self._show("\n".join(["", f"  +-- {head}", *drawn, "  +--"]))

    def close(self) -> None:
        """Nothing to end."""


class Sensors:
    """Made-up sensors: a thread that publishes what the night's house has, as real sensors would."""

    def __init__(self, port: int, clock: GuardClock, begins_at_s: float, show: Callable[[str], None]) -> None:
        self._clock = clock
        self._begins_at_s = begins_at_s
        self._show = show
        self._stopping = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2, "demo-sensors", protocol=MQTTv5)
        self._client.connect("127.0.0.1", port)
        self._thread = threading.Thread(target=self._run, name="sensors", daemon=True)

    def start(self) -> None:
        """Begin to publish."""
        self._client.loop_start()
        self._thread.start()

    def stop(self) -> None:
        """End."""
        self._stopping.set()
        self._thread.join(5.0)
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        moment, hour, minute = night.begin(), night.BEGINS_H, 0
        while not self._stopping.is_set():
            due_s = self._begins_at_s + minute * EVERY_S
            if self._stopping.wait(self._clock.real_wait_s(due_s)):
                return
            self._publish(moment)
            self._tell(moment, hour, minute)
            moment = night.after(moment, hour, EVERY_S)
            minute += 1
            hour = night.BEGINS_H + minute * EVERY_S / 3600.0

    def _tell(self, moment: Moment, hour: float, minute: int) -> None:
        """What somebody in the house would see, once an hour and when the heater stops or burns again."""
        if minute % 60 == 0:
            works = not night.HEATER_FAILS_H < hour < night.HEATER_BACK_H
            heater = ("on" if moment.heating else "off") if works else "OUT"
            outdoors, inside = (f"{c:5.1f} °C".replace("-", "−") for c in (moment.outdoor_c, moment.air_c))
            clock = f"{int(hour) % 24:02d}:00"
            self._show(f"{clock}  outdoors {outdoors}   cold house {inside}   heater {heater}")
        if hour == night.HEATER_FAILS_H:
            self._show("\n02:00  The heater goes out: its gas bottle is empty.")
        if hour == night.HEATER_BACK_H:
            self._show("\n03:15  The new bottle is on, the heater burns again.")

    def _publish(self, moment: Moment) -> None:
        humidity = night.relative_humidity_pct(moment.air_c, moment.heating)
        for name, offset_k in (("bench-a", 0.0), ("bench-b", 0.4)):
            pack = [
                {"bn": f"urn:dev:demo:{name}:", "n": "t", "u": "Cel", "v": round(moment.air_c + offset_k, 2)},
                {"n": "rh", "u": "%RH", "v": round(humidity, 1)},
            ]
            self._client.publish(f"heather/cold/{name}", json.dumps(pack), qos=1)
        outdoors = {"t": round(moment.outdoor_c, 2), "rh": 90.0}
        self._client.publish("heather/yard", json.dumps(outdoors), qos=1)


def play(folder: Path, show: Callable[[str], None], seconds: float = 60.0) -> list[Notice]:
    """The whole night in about `seconds` [real s]; returns the notices that were shown."""
    with EmbeddedBroker() as broker:
        settings = _settings(folder, broker.port)
        begins_at_s = _local_hour(settings, night.BEGINS_H)
        _write_book(folder / "state", begins_at_s)
        zone = settings.site.zone
        ann, tom = Screen("Ann", show, zone), Screen("Tom", show, zone)
        rate = (ENDS_H - night.BEGINS_H) * 3600.0 / seconds
        guard = open_guard(settings, rate, begins_at_s, {"screen": ann, "other-screen": tom})
        _run(guard, broker.port, begins_at_s, ann, show)
        return [*ann.shown, *tom.shown]


def _run(guard: Guard, port: int, begins_at_s: float, ann: Screen, show: Callable[[str], None]) -> None:
    sensors = Sensors(port, guard.clock, begins_at_s, show)
    thread = threading.Thread(target=guard.run, name="guard", daemon=True)
    thread.start()
    sensors.start()
    try:
        _answer_when_rung(guard, ann, begins_at_s + (ENDS_H - night.BEGINS_H) * 3600.0, show)
    finally:
        sensors.stop()
        guard.stop()
        thread.join(15.0)


def _answer_when_rung(guard: Guard, ann: Screen, ends_at_s: float, show: Callable[[str], None]) -> None:
    """Until the night ends Ann says "I have seen it" a while after each ring."""
    waiting = threading.Event()
    heard, after_s = 0, SLEEPS_S
    while guard.clock.now_s() < ends_at_s:
        rings = sum(notice.priority is Priority.HIGH and notice.kind in RINGS for notice in ann.shown)
        if rings > heard:
            heard = rings
            waiting.wait(guard.clock.real_wait_s(guard.clock.now_s() + after_s))
            now = f"{local(guard.clock.now_s(), guard.settings.site.zone):%H:%M}"
            show(f"\n{now}  {ANSWERS[min(heard, len(ANSWERS)) - 1]}")
            guard.ask("ack", {"alarms": ["cold"]}, by="ann")
            after_s = ANSWERS_S
        waiting.wait(min(0.05, guard.clock.real_wait_s(ends_at_s)))


def _settings(folder: Path, port: int) -> Settings:
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "monitor.toml"
    file.write_text(SETTINGS.format(port=port), encoding="utf-8")
    return load_settings(file, {})


def _local_hour(settings: Settings, hour: float) -> float:
    begin = datetime.fromisoformat(DAY).replace(tzinfo=settings.site.zone) + timedelta(hours=hour)
    return begin.timestamp()


def _write_book(state: Path, begins_at_s: float) -> None:
    """The invented trees and what was done to them."""
    state.mkdir(mode=0o700, parents=True, exist_ok=True)
    lines = []
    for tree, name, species, sensor, work, days in TREES:
        at = rfc3339(begins_at_s - days * 86400.0 - 4 * 3600.0)
        known = {"tree": tree, "name": name, "species": species, "sensor": sensor}
        lines.append({"at": at, "kind": "tree", **known})
        lines.append({"at": at, "kind": "work", "tree": tree, "work": work})
    for tree, follow_up, days in DONE:
        at = rfc3339(begins_at_s - days * 86400.0 - 3 * 3600.0)
        lines.append({"at": at, "kind": "done", "tree": tree, "follow_up": follow_up})
    text = "".join(json.dumps(line) + "\n" for line in lines)
    (state / "book.jsonl").write_text(text, encoding="utf-8")
