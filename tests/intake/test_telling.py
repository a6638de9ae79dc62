"""What the guard sees, published for anybody else: SenML that our own decoder and anybody's reads.

Units are those of the SenML registry (published: RFC 8428 section 12.1); the rest are rules of this program's
own, but for what says otherwise.
"""

import json
from typing import Any

import psychrolib
import pytest

from monitor.errors import PermanentFailure, TemporaryFailure
from monitor.model import Quantity, Snapshot
from monitor.payloads.senml import decoder
from monitor.settings import Sensor
from monitor.telling import Teller, conditions
from tests.support.waiting import until

AT_S = 1_800_000_000.0


def air(sensor: str = "bench-a", **values: Any) -> dict[str, Any]:
    """One sensor of a snapshot."""
    known = {"temperature_c": 3.25, "relative_humidity_pct": 81.5, "age_s": 20.0, "quality": "good"}
    return {"sensor": sensor, "place": "bench"} | known | values


def tree(name: str = "larch-3", margin_k: float | None = 3.2) -> dict[str, Any]:
    """One tree of a snapshot."""
    limits = {"low_warn_c": {"value": 1.5, "source": "own"}, "low_harm_c": {"value": 0.0, "source": "own"}}
    return {"tree": name, "name": "Larch 3", "tender": True, "limits": limits, "margin_k": margin_k}


def seen(*sensors: dict[str, Any], trees: tuple[Any, ...] = (), alarms: tuple[Any, ...] = ()) -> Snapshot:
    """A snapshot of one house."""
    house = {"house": "cold", "name": "Cold house", "sensors": list(sensors)}
    return Snapshot(AT_S, "Heather Bank", True, houses=(house,), trees=trees, alarms=alarms)


def records(pack: list[dict[str, Any]]) -> dict[str, Any]:
    """Name -> value of a pack."""
    return {each["n"]: each.get("v", each.get("vs", each.get("vb"))) for each in pack}


class Post:
    """A message post that keeps what is retained, refuses or is away."""

    def __init__(self) -> None:
        self.kept: dict[str, bytes] = {}
        self.published: list[str] = []
        self.fails: type[Exception] | None = None

    def publish(self, topic: str, payload: bytes, retain: bool = False, within_s: float = 10.0) -> None:
        """As the intake does it."""
        assert retain
        if self.fails is not None:
            raise self.fails("no")
        self.published.append(topic)
        self.kept[topic] = payload


def teller(post: Post, snapshot: Any, gone: tuple[str, ...] = ()) -> tuple[Teller, list[str]]:
    """A teller that is asked by hand, and what it noted."""
    notes: list[str] = []
    return Teller(post, "guard", snapshot, lambda: gone, notes.append), notes


def test_our_own_decoder_reads_what_we_say_of_a_place() -> None:
    """The air of a place can be taken in by another guard as a sensor of its own."""
    pack = conditions(seen(air()), "guard")["guard/places/bench-a"]
    sensor = Sensor(house="cold", topic="guard/places/bench-a", name="bench-a")
    samples = decoder({"there": sensor})(json.dumps(pack).encode(), AT_S)

    assert {sample.quantity: (sample.value, sample.observed_at_s) for sample in samples} == {
        Quantity.TEMPERATURE_C: (3.25, AT_S - 20.0),
        Quantity.RELATIVE_HUMIDITY_PCT: (81.5, AT_S - 20.0),
    }


def test_every_record_has_a_name_and_one_value() -> None:
    """RFC 8428 section 4.2: a record has exactly one value field."""
    for pack in conditions(seen(air(), trees=(tree(),)), "guard").values():
        assert all("n" in each and len({"v", "vs", "vb"} & each.keys()) == 1 for each in pack)


@pytest.mark.parametrize("quality", ["silent", "missing", "failed", "at-rest"])
def test_a_value_that_is_not_known_now_is_not_said(quality: str) -> None:
    """No old value stands there as if it were one of now; why stands there."""
    pack = conditions(seen(air(quality=quality)), "guard")["guard/places/bench-a"]

    assert records(pack) == {"quality": quality}


def test_a_place_says_how_drying_its_air_is() -> None:
    """In pascal; independent: psychrolib's saturation pressure over water."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    pack = conditions(seen(air()), "guard")["guard/places/bench-a"]
    expected_pa = psychrolib.GetSatVapPres(3.25) * (1.0 - 0.815)
    assert records(pack)["vapour-pressure-deficit"] == pytest.approx(expected_pa, abs=2.0)


def test_a_tree_says_how_far_it_is_from_damage_and_what_stands() -> None:
    """The worst of its alarms, those of its wraps included."""
    alarms = tuple(
        {"subject": subject, "priority": priority, "active": active}
        for subject, priority, active in (
            ("larch-3", "medium", True),
            ("larch-3/first-branch", "low", True),
            ("larch-3", "high", False),
            ("yew-2", "high", True),
        )
    )
    pack = conditions(seen(air(), trees=(tree(),), alarms=alarms), "guard")["guard/trees/larch-3"]

    assert records(pack) == {
        "low-warn": 1.5, "low-harm": 0.0, "margin": 3.2, "tender": True, "alarm": "medium",
    }  # fmt: skip


def test_of_a_tree_that_cannot_be_judged_that_is_said() -> None:
    """Unknown is not "none"."""
    pack = conditions(seen(air(), trees=(tree(margin_k=None),)), "guard")["guard/trees/larch-3"]
    assert records(pack)["alarm"] == "unknown"


def test_what_did_not_change_is_not_said_again() -> None:
    """Only the time did."""
    post = Post()
    told, _ = teller(post, lambda: seen(air(), air("bench-b")))
    assert told.say()
    told._snapshot = lambda: seen(air(age_s=80.0), air("bench-b", temperature_c=3.0))
    assert told.say()

    assert post.published == ["guard/places/bench-a", "guard/places/bench-b", "guard/places/bench-b"]


def test_a_tree_that_left_is_taken_away() -> None:
    """An empty retained message ends what stood there, once."""
    post = Post()
    told, _ = teller(post, lambda: seen(air()), gone=("larch-3",))
    told.say()
    told.say()

    assert post.kept["guard/trees/larch-3"] == b""
    assert post.published.count("guard/trees/larch-3") == 1


def test_without_a_connection_it_is_said_later() -> None:
    """Nothing is lost by it: what counts is what holds then."""
    post = Post()
    post.fails = TemporaryFailure
    told, notes = teller(post, lambda: seen(air()))
    assert not told.say()

    post.fails = None
    assert told.say()
    assert records(json.loads(post.kept["guard/places/bench-a"]))["quality"] == "good"
    assert notes == []


def test_a_topic_that_is_refused_is_noted_once() -> None:
    """For the next report; the guard goes on."""
    post = Post()
    post.fails = PermanentFailure
    told, notes = teller(post, lambda: seen(air()))
    told.say()
    told._snapshot = lambda: seen(air(temperature_c=1.0))
    told.say()

    assert len(notes) == 1


def test_a_real_message_post_keeps_it_for_whoever_asks_later(broker, publisher_on, start_intake) -> None:
    """Retained at a real mosquitto, over the guard's own connection."""
    intake, inbox = start_intake(broker.port)
    inbox.wait_linked()
    told = Teller(intake, "guard", lambda: seen(air(), trees=(tree(),)), lambda: (), print)
    told.start()
    try:
        later = publisher_on(broker.port, client_id="later")
        later.listen("guard/+/+")
        until(lambda: len(later.heard) >= 2, 15.0, "both")
    finally:
        told.stop()

    heard = {message.topic: json.loads(message.payload) for message in later.heard}
    assert records(heard["guard/places/bench-a"])["temperature"] == 3.25
    assert records(heard["guard/trees/larch-3"])["margin"] == 3.2
    again = publisher_on(broker.port, client_id="again")
    again.listen("guard/+/+")
    until(lambda: len(again.heard) >= 2, 10.0, "both, kept")
    assert all(message.retain for message in again.heard)
