"""A guarded house under way, with its page: an invented site on a cold night, a real broker, a real guard.

    with Scene(tmp_path, broker.port, night) as scene:
        scene.client().get("/")
        scene.publish(bench_a=-1.0)

The night before is played through the engine once and kept; each scene goes on from a copy of it at ten past
three. People, trees and readings are made up.
"""

import contextlib
import json
import shutil
import threading
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import httpx

from monitor.app import Guard, open_guard
from monitor.model import Notice
from monitor.settings import Settings
from monitor.web.passwords import make
from monitor.web.server import serve
from tests.engine.house import House, sensor
from tests.intake.publisher import Publisher
from tests.support.broker import free_port
from tests.support.waiting import until

PASSWORD = "frost on the pane"
RATE = 1.000001
"""As good as real time; a clock that is not exactly real is not compared with that of the computer."""
NOW = "03:14:58"
"""The next look of the watches comes two seconds later."""
QUIET_NOW = "23:29:58"
OVER_NOW = "05:29:58"

Entry = dict[str, Any]


def _work(tree: str, at: str, work: str, note: str = "") -> Entry:
    return {"at": at, "kind": "work", "tree": tree, "work": work} | ({"note": note} if note else {})


def _tree(at: str, name: str, species: str, **more: Any) -> Entry:
    known = name.lower().replace(" ", "-")
    return {"at": at, "kind": "tree", "tree": known, "name": name, "species": species, **more}


ENTRIES: Sequence[Entry] = (
    _tree("2026-12-20T10:00:00Z", "Beech 5", "Fagus sylvatica", sensor="bench-b"),
    _tree("2027-01-02T10:00:00Z", "Pine 1", "Pinus sylvestris", sensor="bench-b"),
    _work("pine-1", "2027-01-02T14:00:00Z", "root-prune"),
    _tree("2027-01-05T10:00:00Z", "Yew 2", "Taxus baccata", sensor="bench-b"),
    _work("yew-2", "2027-01-05T15:00:00Z", "moderate-bend"),
    _tree("2027-01-06T10:00:00Z", "Juniper 4", "Juniperus sabina", sensor="bench-a"),
    _work("juniper-4", "2027-01-06T15:00:00Z", "deadwood"),
    _tree("2027-01-09T10:00:00Z", "Larch 3", "Larix decidua", sensor="bench-a"),
    _work("larch-3", "2027-01-09T15:00:00Z", "heavy-bend", "first and third branch"),
    {"at": "2027-01-09T15:30:00Z", "kind": "wrap", "tree": "larch-3", "wrap": "first-branch",
     "fibre": "raffia", "cover": "tape-overlapped", "branch_mm": 20},
    {"at": "2027-01-09T15:40:00Z", "kind": "wrap", "tree": "larch-3", "wrap": "third-branch",
     "fibre": "cloth"},
    {"at": "2027-01-09T16:00:00Z", "kind": "wire", "tree": "larch-3", "part": "first-branch",
     "metal": "copper", "mm": 4},
    {"at": "2027-01-12T08:00:00Z", "kind": "touch", "tree": "larch-3", "wrap": "first-branch", "feel": "damp",
     "how": "lifted-edge", "by": "ann"},
    _tree("2027-01-11T10:00:00Z", "Maple 6", "Acer palmatum", to="garage"),
)  # fmt: skip

SENSORS: Mapping[str, Mapping[str, Any]] = {
    "bench-a": sensor("bench-a", longest_gap_s=3600),
    "bench-b": sensor("bench-b", longest_gap_s=3600),
    "yard": sensor("yard", place="outdoor", longest_gap_s=3600),
}


def settings_of(state: Path, broker_port: int = 1, **web: Any) -> Settings:
    """The invented installation."""
    return Settings.model_validate(
        {
            "file": state.parent / "monitor.toml",
            "site": {"name": "Heather Bank", "timezone": "Europe/London", "latitude_deg": 54.6,
                     "longitude_deg": -3.1},
            "state": {"directory": state},
            "broker": {"port": broker_port},
            "houses": {"cold": {"name": "Cold house", "outdoor": "yard", "heater_setpoint_c": 4.0}},
            "sensors": SENSORS,
            "notifiers": {name: {"type": "journal"} for name in ("mail", "hook", "log")},
            "people": {"ann": {"reach_s": 1800, "notifiers": ["mail"]},
                       "tom": {"reach_s": 600, "notifiers": ["hook"]}},
            "calls": [{"tell": ["high", "medium"], "who": ["ann"], "pass_on_after_s": 600,
                       "pass_on_to": ["tom"]},
                      {"tell": ["low", "report"], "who": ["ann"]}],
            "alarms": {"low-temperature": {"on_delay_s": 0, "on_samples": 1}},
            "quiet_hours": {"from": "22:30", "to": "06:30"},
            "web": web,
        }
    )  # fmt: skip


class Night(tuple[Path, float]):
    """A state directory as it was left, and the guard time at which that was."""

    __slots__ = ()


def play_night(folder: Path, ends: str = NOW) -> Night:
    """The evening and half the night, once: the heater is out from midnight on; or all is quiet, or over."""
    state = folder / "state"
    state.mkdir(parents=True)
    house = House(settings_of(state), ENTRIES, begins="2027-01-14 12:00", keep=state)
    try:
        house.air({"bench-a": 7.5, "bench-b": 8.0, "yard": 4.0}, "12:01")
        house.air({"bench-a": 5.0, "bench-b": 5.6, "yard": 0.5}, "18:00")
        _heated(house, ends if ends == QUIET_NOW else "00:40")
        if ends != QUIET_NOW:
            house.air({"bench-a": 1.6, "bench-b": 2.5, "yard": -5.2}, "01:40")
            house.air({"bench-a": 0.3, "bench-b": 1.5, "yard": -6.0}, "02:40")
            house.air({"bench-a": -0.6, "bench-b": 0.7, "yard": -6.4}, NOW)
        if ends == OVER_NOW:
            house.air({"bench-a": 5.6, "bench-b": 6.1, "yard": -6.0}, "04:00")
            house.air({"bench-a": 5.8, "bench-b": 6.3, "yard": -5.6}, ends)
        at_s = house.now_s
    finally:
        house.close()
    lines = "".join(json.dumps(entry) + "\n" for entry in ENTRIES)
    (state / "book.jsonl").write_text(lines, encoding="utf-8")
    return Night((state, at_s))


def _heated(house: House, ends: str) -> None:
    """The heater holds the house, half a degree up and down."""
    end_s, warm = house.at(ends), False
    while house.now_s < end_s:
        warm = not warm
        part = min(house.now_s + 1500.0, end_s)
        outdoors = round(0.5 - 4.0 * (part - house.start_s) / 45000.0, 2)
        inside = 4.6 if warm else 4.0
        house.air({"bench-a": inside, "bench-b": inside + 0.7, "yard": outdoors}, part)


class Carried:
    """A way to reach somebody that keeps what it carried."""

    def __init__(self) -> None:
        self.notices: list[Notice] = []

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Keep it."""
        del delayed_s, at_s
        self.notices.append(notice)

    def close(self) -> None:
        """Nothing to end."""


class Scene:
    """One guard with its page, in threads of their own."""

    def __init__(
        self, folder: Path, broker_port: int, night: Night, password: bool = False, **web: Any
    ) -> None:
        self.folder = folder
        self.broker_port = broker_port
        self.port = free_port()
        state = folder / "state"
        shutil.copytree(night[0], state)
        web.setdefault("listen", f"127.0.0.1:{self.port}")
        if password:
            (folder / "page-password").write_text(make(PASSWORD), encoding="utf-8")
            web["password_file"] = "page-password"
        self.settings = settings_of(state, broker_port, **web)
        self.ways = {name: Carried() for name in self.settings.notifiers}
        self._begins_at_s = night[1] + 1.95

    def __enter__(self) -> "Scene":
        self._open = contextlib.ExitStack()
        self.guard: Guard = open_guard(self.settings, RATE, self._begins_at_s, self.ways)
        self._thread = threading.Thread(target=self.guard.run, name="guard", daemon=True)
        self.socket = self._open.enter_context(serve(self.guard, {"RUNTIME_DIRECTORY": str(self.folder)}))
        self._thread.start()
        self._publisher = self._open.enter_context(Publisher(self.broker_port, f"sensors-{self.port}"))
        look_s = self._begins_at_s // 300 * 300 + 300
        until(lambda: self.guard.engine.now_s >= look_s, what="the look of the watches")
        self.guard.ask("resume", {"alarms": []}, "nobody")
        return self

    def __exit__(self, *exc: object) -> None:
        self.guard.stop()
        self._thread.join(15.0)
        self._open.close()
        assert not self._thread.is_alive(), "the guard did not end"

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://127.0.0.1:{self.port}"

    @contextlib.contextmanager
    def client(self, **more: Any) -> Iterator[httpx.Client]:
        """Somebody's browser without a screen: keeps cookies, follows nothing by itself."""
        with httpx.Client(base_url=self.address, timeout=20.0, **more) as client:
            yield client

    def publish(self, **values: float) -> None:
        """Sensors report, until the guard has heard them: `bench_a=-1.0`."""
        for known, value in values.items():
            name = known.replace("_", "-")
            until(
                lambda name=name, value=value: self._heard(name, value),
                every_s=0.3,
                what=f"{name} being heard",
            )

    def _heard(self, name: str, value: float) -> bool:
        reading = self.guard.engine.surroundings.latest(name)
        if reading is not None and reading.value == value:
            return True
        self._publisher.publish(
            self.settings.sensors[name].topic, json.dumps({"t": value, "rh": 92.0}).encode()
        )
        return False

    def entries(self, kind: str) -> list[Mapping[str, Any]]:
        """The book's entries of a kind."""
        return [entry for entry in self.guard.book.entries if entry["kind"] == kind]

    def alarm(self, name: str) -> Mapping[str, Any] | None:
        """An alarm that stands."""
        return next((alarm for alarm in self.guard.snapshot.alarms if alarm["alarm"] == name), None)
