"""What the guard sees, for anybody else's use: one retained message a place and a tree, as SenML (RFC 8428).

`<client_id>/places/<sensor>` carries what the air is, `<client_id>/trees/<tree>` how far a tree is from harm.
`quality` and `alarm` always stand there; a value that is not known now is left out, and no old one kept.
Whether the guard itself lives stands in `<client_id>/state`.
"""

import json
import threading
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Protocol

from monitor.clock import monotonic_s
from monitor.errors import AftercareError, PermanentFailure
from monitor.model import Snapshot
from monitor.science.psychrometrics import vapour_pressure_deficit

EVERY_S = 10.0
ANEW_EVERY_S = 900.0
"""What did not change is said again so often, so that its time is never old."""
WITHIN_S = 2.0
KNOWN = frozenset({"good", "suspect"})
"""Qualities of a value that is one of now."""

Pack = list[dict[str, Any]]


def topic_of(client_id: str, what: str, name: str) -> str:
    """Where the conditions of a place or a tree stand."""
    return f"{client_id.replace('+', '-').replace('#', '-')}/{what}/{name}"


def conditions(snapshot: Snapshot, client_id: str) -> dict[str, Pack]:
    """Topic -> SenML pack of everything that the guard sees now."""
    said = {}
    for house in snapshot.houses:
        for sensor in house["sensors"]:
            said[topic_of(client_id, "places", sensor["sensor"])] = _place(sensor, snapshot.at_s)
    alarms = _worst_alarms(snapshot.alarms)
    for tree in snapshot.trees:
        pack = _tree(tree, alarms.get(tree["tree"], ""), snapshot.at_s)
        said[topic_of(client_id, "trees", tree["tree"])] = pack
    return said


def _place(sensor: Mapping[str, Any], at_s: float) -> Pack:
    """The air at a sensor: `Cel`, `%RH`, drying power in `Pa`, and how good it is."""
    quality = sensor["quality"]
    pack: Pack = [{"bn": f"{sensor['sensor']}/", "bt": round(at_s - (sensor["age_s"] or 0.0), 3)}]
    temperature_c, humidity_pct = sensor["temperature_c"], sensor["relative_humidity_pct"]
    if quality in KNOWN:
        if temperature_c is not None:
            pack.append({"n": "temperature", "u": "Cel", "v": temperature_c})
        if humidity_pct is not None:
            pack.append({"n": "humidity", "u": "%RH", "v": humidity_pct})
        if temperature_c is not None and humidity_pct is not None:
            drying_kpa = float(vapour_pressure_deficit(temperature_c, min(humidity_pct, 100.0)))
            pack.append({"n": "vapour-pressure-deficit", "u": "Pa", "v": round(1000.0 * drying_kpa)})
    else:
        pack[0]["bt"] = round(at_s, 3)
    return _joined([*pack, {"n": "quality", "vs": quality}])


def _tree(tree: Mapping[str, Any], alarm: str, at_s: float) -> Pack:
    """A tree: what it is held to, how far it is from damage [K], whether something is asked."""
    pack: Pack = [{"bn": f"{tree['tree']}/", "bt": round(at_s, 3)}]
    for key in ("low_warn_c", "low_harm_c"):
        if key in tree["limits"]:
            name = key.removesuffix("_c").replace("_", "-")
            pack.append({"n": name, "u": "Cel", "v": tree["limits"][key]["value"]})
    if tree["margin_k"] is not None:
        pack.append({"n": "margin", "u": "K", "v": tree["margin_k"]})
    if not alarm:
        alarm = "unknown" if tree["margin_k"] is None and "low_harm_c" in tree["limits"] else "none"
    pack.append({"n": "tender", "vb": tree["tender"]})
    return _joined([*pack, {"n": "alarm", "vs": alarm}])


def _joined(pack: Pack) -> Pack:
    """The base fields in the first record that has a value: a record without one is none."""
    return [{**pack[0], **pack[1]}, *pack[2:]]


def _worst_alarms(alarms: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """Tree -> the highest priority of its alarms that stand."""
    rank = {"low": 1, "medium": 2, "high": 3}
    worst: dict[str, str] = {}
    for alarm in alarms:
        tree = alarm["subject"].split("/")[0]
        if alarm["active"] and rank[alarm["priority"]] > rank.get(worst.get(tree, ""), 0):
            worst[tree] = alarm["priority"]
    return worst


class Publishes(Protocol):
    """What the teller needs of the intake."""

    def publish(self, topic: str, payload: bytes, retain: bool = False, within_s: float = 10.0) -> None:
        """Publish; TemporaryFailure or PermanentFailure when it could not be."""
        ...


class Teller:
    """Says what changed every ten seconds, from a thread of its own."""

    def __init__(
        self,
        intake: Publishes,
        client_id: str,
        snapshot: Callable[[], Snapshot],
        gone: Callable[[], Iterable[str]],
        note: Callable[[str], None],
    ) -> None:
        """`gone` names trees that left; `note` takes what must not stay unknown."""
        self._intake = intake
        self._client_id = client_id
        self._snapshot = snapshot
        self._gone = gone
        self._note = note
        self._said: dict[str, tuple[Pack, float]] = {}
        self._cleared: set[str] = set()
        self._refused: set[str] = set()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="telling", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, timeout_s: float = 0.5) -> None:
        """End; what was said stays at the broker."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def _run(self) -> None:
        wait_s = 1.0
        while not self._stopping.wait(wait_s):
            wait_s = EVERY_S if self.say() else 5.0

    def say(self) -> bool:
        """Publish what changed, or was not said for long; False when the broker could not be reached."""
        snapshot, now_s = self._snapshot(), monotonic_s()
        if not snapshot.guarding:
            return False
        present = conditions(snapshot, self._client_id)
        for topic, pack in present.items():
            before, said_at_s = self._said.get(topic, ([], float("-inf")))
            is_news = _without_time(before) != _without_time(pack) or now_s - said_at_s >= ANEW_EVERY_S
            if is_news and not self._publish(topic, json.dumps(pack, separators=(",", ":")).encode()):
                return False
            if is_news:
                self._said[topic] = (pack, now_s)
        left = {topic_of(self._client_id, "trees", tree) for tree in self._gone()}
        for topic in sorted((left | self._said.keys()) - present.keys() - self._cleared):
            if not self._publish(topic, b""):
                return False
            self._cleared.add(topic)
        self._cleared -= present.keys()
        return True

    def _publish(self, topic: str, payload: bytes) -> bool:
        """Whether to go on: a refused topic is noted once, a link that is down ends the turn."""
        try:
            self._intake.publish(topic, payload, retain=True, within_s=WITHIN_S)
        except PermanentFailure as error:
            if topic not in self._refused:
                self._refused.add(topic)
                self._note(f"what the guard sees could not be published: {error.message}")
        except AftercareError:
            return False
        return True


def _without_time(pack: Pack) -> Pack:
    return [{key: value for key, value in record.items() if key != "bt"} for record in pack]
