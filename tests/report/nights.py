"""Invented nights for the report: a house, its trees, a function of the hour, played through the engine."""

import json
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.clock import rfc3339
from monitor.model import Command, Effects, Event, Message, Notice, Outcome, Report, Started
from monitor.replay import replay
from monitor.settings import Settings, load_settings
from monitor.trees.plans import load_plans

HEAD = """
[site]
name = "Heather Bank"
timezone = "Europe/London"
latitude_deg = 54.6
longitude_deg = -3.1
{site}
[houses.cold]
name = "Cold house"
outdoor = "yard"
heater_setpoint_c = 4.0
{sensors}
[sensors.yard]
house = "cold"
place = "outdoor"
topic = "heather/yard"
payload = "json"
temperature_c = "/t"
relative_humidity_pct = "/rh"
[notifiers.mail]
type = "email"
host = "127.0.0.1"
from = "house@example.org"
to = ["grower@example.org"]
[people.ann]
notifiers = ["mail"]
[[calls]]
tell = ["high", "medium", "report"]
who = ["ann"]
[liveness]
url = "http://127.0.0.1:9/alive"
"""
SENSOR = """
[sensors.{name}]
house = "cold"
topic = "heather/cold/{name}"
payload = "json"
temperature_c = "/t"
relative_humidity_pct = "/rh"
"""
EVERY_S = 60.0

Air = tuple[float, float]
"""Temperature [°C] and relative humidity [%]."""
House = Callable[[str, float], Air | None]
"""Sensor and hours since noon of the first day -> air, or None for silence."""


def instant(text: str) -> float:
    """`2027-01-16T18:00+00:00` as seconds since 1970."""
    return datetime.fromisoformat(text).timestamp()


def quiet_house(sensor: str, hour: float) -> Air | None:
    """A heated house on a cold clear night; hour 0 is noon."""
    outside_c = -1.0 + 5.0 * math.cos((hour - 3.0) / 24.0 * 2 * math.pi)
    if sensor == "yard":
        return round(outside_c, 2), 85.0
    inside_c = max(outside_c + 3.0, 4.0 + 0.3 * math.sin(hour * 7.0))
    step_k = {"bench-a": 0.0, "bench-b": 0.4}.get(sensor, 0.2)
    return round(inside_c + step_k, 2), round(88.0 - 2.0 * (inside_c - 4.0), 1)


def with_failure(sensor: str, hour: float, fails: float = 14.0, back: float = 15.6) -> Air | None:
    """The same night with a heater that fails at two and burns again at 3:36."""
    air = quiet_house(sensor, hour)
    if air is None or sensor == "yard" or hour < fails:
        return air
    warm_c, cold_c = air[0], (quiet_house("yard", hour) or (0.0, 0.0))[0] + 3.2
    if hour < back:
        return round(cold_c + (warm_c - cold_c) * math.exp(-(hour - fails) / 0.5), 2), 93.0
    gone_k = warm_c - (with_failure(sensor, back - 0.001, fails, back) or (0.0, 0.0))[0]
    return round(warm_c - gone_k * math.exp(-(hour - back) / 0.2), 2), 90.0


@dataclass
class Played:
    """Collects what a replay gives."""

    reports: list[Report] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)

    def commit(self, effects: Sequence[Effects], at_s: float) -> None:
        """Keep reports and notices."""
        for effect in effects:
            self.reports += effect.reports
            self.notices += effect.notices


@dataclass(frozen=True)
class Scenario:
    """One night: when it begins and ends, what the house does, which trees stand in it, what else happens."""

    from_text: str
    to_text: str
    house: House
    sensors: tuple[str, ...] = ("bench-a", "bench-b")
    entries: tuple[Mapping[str, Any], ...] = ()
    events: tuple[Event, ...] = ()
    site: str = ""
    every_s: float = EVERY_S

    @property
    def from_s(self) -> float:
        """Its beginning."""
        return instant(self.from_text)

    @property
    def to_s(self) -> float:
        """Its end."""
        return instant(self.to_text)

    def settings(self, folder: Path) -> Settings:
        """The installation."""
        every = f"every_s = {self.every_s:g}\n"
        sensors = "".join(SENSOR.format(name=name) + every for name in self.sensors)
        folder.mkdir(parents=True, exist_ok=True)
        file = folder / "monitor.toml"
        head = HEAD.format(site=self.site, sensors=sensors)
        head = head.replace("[notifiers.mail]", f"{every}[notifiers.mail]")
        file.write_text(head, encoding="utf-8")
        return load_settings(file, {})

    def messages(self) -> Iterator[Event]:
        """What the sensors say, a reading a minute, with what else happens at its time."""
        waiting = sorted(self.events, key=lambda event: event.at_s)
        noon_s = math.floor(self.from_s / 86400.0) * 86400.0 + 43200.0
        at_s = self.from_s
        yield Started(at_s)
        while at_s < self.to_s:
            while waiting and waiting[0].at_s <= at_s:
                yield waiting.pop(0)
            for index, sensor in enumerate((*self.sensors, "yard")):
                air = self.house(sensor, (at_s - noon_s) / 3600.0)
                if air is not None:
                    topic = "heather/yard" if sensor == "yard" else f"heather/cold/{sensor}"
                    body = json.dumps({"t": air[0], "rh": air[1]}).encode()
                    yield Message(at_s + index * 0.2, topic, body)
            at_s += self.every_s
        yield from waiting

    def play(self, folder: Path) -> Played:
        """Through the engine."""
        played = Played()
        replay(self.settings(folder), load_plans(None), self.messages(), self.entries, played, self.to_s)
        return played


# ---- what stands in the house --------------------------------------------------------------------------


def tree(
    name: str, species: str, sensor: str, at_s: float, works: Iterable[tuple[str, float]]
) -> list[dict[str, Any]]:
    """A tree and its works: kind of work, and how many days before `at_s` it was done."""
    known = name.lower().replace(" ", "-")
    done = list(works)
    first_s = at_s - 86400.0 * max((days for _work, days in done), default=1.0)
    entries: list[dict[str, Any]] = [
        {
            "at": rfc3339(first_s),
            "kind": "tree",
            "tree": known,
            "name": name,
            "species": species,
            "sensor": sensor,
        }
    ]
    entries += [
        {"at": rfc3339(at_s - 86400.0 * days), "kind": "work", "tree": known, "work": work}
        for work, days in done
    ]
    return entries


def wrap(known: str, part: str, at_s: float, days: float, felt: str = "") -> list[dict[str, Any]]:
    """A wrap put on so many days before, and perhaps felt a day later."""
    put_on_s = at_s - 86400.0 * days
    entries: list[dict[str, Any]] = [
        {
            "at": rfc3339(put_on_s),
            "kind": "wrap",
            "tree": known,
            "wrap": part,
            "fibre": "raffia",
            "cover": "tape-overlapped",
        }
    ]
    if felt:
        entries.append(
            {
                "at": rfc3339(put_on_s + 86400.0),
                "kind": "touch",
                "tree": known,
                "wrap": part,
                "feel": felt,
                "how": "lifted-edge",
            }
        )
    return entries


def three_trees(at_s: float) -> tuple[dict[str, Any], ...]:
    """The invented three: a larch bent hard three days ago, a yew and a pine."""
    noon_s = at_s - 2 * 3600.0
    return (
        *tree("Larch 3", "Larix decidua", "bench-a", noon_s, [("heavy-bend", 3)]),
        *wrap("larch-3", "first-branch", noon_s, 3, "damp"),
        *tree("Yew 2", "Taxus baccata", "bench-b", noon_s, [("moderate-bend", 9)]),
        *tree("Pine 1", "Pinus sylvestris", "bench-b", noon_s, [("root-prune", 12)]),
    )


SPECIES = (
    ("Larch", "Larix decidua"),
    ("Yew", "Taxus baccata"),
    ("Pine", "Pinus sylvestris"),
    ("Juniper", "Juniperus communis"),
    ("Hornbeam", "Carpinus betulus"),
)
WORKS = ("heavy-bend", "moderate-bend", "root-prune", "light-wiring", "collected", "hard-prune", "deadwood")


def sixty_trees(at_s: float, sensors: Sequence[str]) -> tuple[dict[str, Any], ...]:
    """Sixty trees on six benches, each with a work or two."""
    entries: list[dict[str, Any]] = []
    for number in range(60):
        kind, species = SPECIES[number % 5]
        works = [(WORKS[number % 7], 2.0 + (number * 5) % 70)]
        if number % 4 == 0:
            works.append((WORKS[(number + 2) % 7], 1.0 + (number * 3) % 40))
        name = f"{kind} {number // 5 + 1}"
        entries += tree(name, species, sensors[number % len(sensors)], at_s - 7200.0, works)
        if number % 6 == 0:
            entries += wrap(name.lower().replace(" ", "-"), "first-branch", at_s, 2.0 + number % 5, "damp")
    return tuple(entries)


# ---- the nights ----------------------------------------------------------------------------------------

SUNDAY = "2027-01-10T14:00+00:00"
RANG = "cold.frost.20270113T022000Z"
"""The episode of the failing heater, as the guard calls it."""
JANUARY, MORNING = "2027-01-16T14:00+00:00", "2027-01-17T06:50+00:00"


def _blind(sensor: str, hour: float) -> Air | None:
    """Everything falls silent at eight in the evening and is not heard again."""
    return quiet_house(sensor, hour) if hour < 8.0 else None


def _part_blind(sensor: str, hour: float) -> Air | None:
    """One bench falls silent from ten past one to twenty past five."""
    return None if sensor == "bench-a" and 13.17 <= hour < 17.33 else quiet_house(sensor, hour)


def _week(sensor: str, hour: float) -> Air | None:
    """Seven nights of a heated house, no two alike outside; in the third the heater fails at two."""
    night, of_night = int(hour // 24.0), hour % 24.0
    colder_k = (0.0, 1.5, 3.0, -1.0, 0.5, 2.0, -2.0, 0.0)[night % 8]
    if night == 2:
        return with_failure(sensor, of_night)
    air = quiet_house(sensor, of_night)
    if air is None or sensor == "yard":
        return None if air is None else (round(air[0] - colder_k, 2), air[1])
    return round(air[0] - 0.1 * colder_k, 2), air[1]


def _sixty(sensor: str, hour: float) -> Air | None:
    """Six benches, the one by the door coldest; the heater fails for an hour and a half."""
    air = with_failure("bench-a" if sensor != "yard" else "yard", hour, 14.0, 15.2)
    if air is None or sensor == "yard":
        return air
    return round(air[0] + 0.45 * "abcdef".index(sensor[-1]), 2), air[1]


def _ack(text: str, *alarms: str) -> Command:
    return Command(instant(text), "ack", {"alarms": list(alarms)}, "ann")


def scenarios() -> Mapping[str, Scenario]:
    """The nights of the golden reports, by name."""
    begin_s = instant(JANUARY)
    three = three_trees(begin_s)
    six = tuple(f"bench-{letter}" for letter in "abcdef")
    evening = instant("2027-01-16T21:10+00:00")
    spring = instant("2027-03-27T14:00+00:00")
    sunday = instant(SUNDAY)
    return {
        "quiet-night": Scenario(JANUARY, MORNING, quiet_house, entries=three),
        "frost-with-heater-failure": Scenario(
            JANUARY, MORNING, with_failure, entries=three, events=(_ack("2027-01-17T02:31+00:00", "cold"),)
        ),
        "blind-night": Scenario(
            JANUARY, MORNING, _blind, entries=three,
            events=(Outcome(instant("2027-01-16T20:00:30+00:00"), "broker", False, "no answer"),),
        ),
        "one-bench-blind": Scenario(JANUARY, MORNING, _part_blind, entries=three),
        "sixty-trees": Scenario(JANUARY, MORNING, _sixty, six, sixty_trees(begin_s, six)),
        "no-sensors-yet": Scenario(JANUARY, MORNING, lambda sensor, hour: None),
        "first-day": Scenario(
            "2027-01-16T21:10+00:00", MORNING, quiet_house,
            entries=tuple(tree("Larch 3", "Larix decidua", "bench-a", evening, [("heavy-bend", 0.2)])),
        ),
        "daylight-saving-night": Scenario(
            "2027-03-27T14:00+00:00", "2027-03-28T06:00+00:00", with_failure, entries=three_trees(spring),
        ),
        "sunday": Scenario(
            SUNDAY, MORNING, _week, entries=three_trees(sunday), every_s=300.0,
            events=(
                _ack("2027-01-13T02:31+00:00", "cold"),
                Command(instant("2027-01-13T07:10+00:00"), "worth", {"episode": RANG, "worth": True}, "ann"),
            ),
        ),
    }  # fmt: skip
