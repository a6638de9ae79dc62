"""One decoder a topic, whatever kinds of payload there are."""

import importlib.metadata
import json
from types import SimpleNamespace

import pytest

from monitor import payloads
from monitor.errors import AftercareError, PayloadError
from monitor.model import Quantity, Sample
from monitor.settings import Sensor

T = Quantity.TEMPERATURE_C
NOW_S = 1_700_000_000.0


def sensor(topic, **keys):
    """A sensor of the made-up house."""
    return Sensor(house="cold", topic=topic, **keys)


def test_the_kinds_are_those_of_the_design():
    """A file with a `KIND` is a kind, and no other file is."""
    assert list(payloads.kinds()) == ["json", "plain", "senml"]


def test_every_topic_has_its_decoder():
    """Sensors that share a topic share its decoder."""
    sensors = {
        "a": sensor("heather/gate", name="a"),
        "b": sensor("heather/gate", name="b"),
        "c": sensor("heather/pot", payload="plain", quantity=T),
    }
    decoders = payloads.topic_decoders(sensors)

    assert {topic: decoder.sensors for topic, decoder in decoders.items()} == {
        "heather/gate": ("a", "b"),
        "heather/pot": ("c",),
    }
    assert [Sample("c", T, 4.1)] == decoders["heather/pot"].decode(b"4.1", NOW_S)


def test_sensors_on_one_topic_decode_its_payload_once(monkeypatch):
    """Forty sensors behind one gateway are one parse."""
    parsed = []
    parse = payloads.senml.json_of
    monkeypatch.setattr(payloads.senml, "json_of", lambda payload: parsed.append(1) or parse(payload))
    sensors = {f"s{place}": sensor("gate", name=f"s{place}") for place in range(40)}
    pack = [{"n": f"s{place}:t", "u": "Cel", "v": place} for place in range(40)]

    found = payloads.topic_decoders(sensors)["gate"].decode(json.dumps(pack).encode(), NOW_S)

    assert len({sample.sensor for sample in found}) == 40
    assert parsed == [1]


def test_sensors_may_read_one_payload_in_different_ways():
    """A SenML pack is JSON, too."""
    sensors = {
        "air": sensor("gate", name="air"),
        "door": sensor("gate", payload="json", temperature_c="/1/v"),
    }
    payload = b'[{"n":"air","u":"Cel","v":1},{"n":"x","v":2}]'

    assert {("air", 1.0), ("door", 2.0)} == {
        (one.sensor, one.value) for one in payloads.topic_decoders(sensors)["gate"].decode(payload, NOW_S)
    }


def test_an_unknown_kind_says_which_there_are():
    """The settings check has found it before; this is the last word."""
    with pytest.raises(AftercareError, match=r"'csv'.*json, plain, senml"):
        payloads.topic_decoders({"a": sensor("t", payload="csv")})


def installed(monkeypatch, *modules):
    """As if another distribution offered these payload kinds."""
    points = [SimpleNamespace(name="another", load=lambda module=module: module) for module in modules]
    monkeypatch.setattr(payloads, "entry_points", lambda group: points if group == "monitor.payloads" else [])


def test_another_distribution_can_offer_a_kind(monkeypatch):
    """By an entry point, with the same three names as a file of this folder."""
    beeps = SimpleNamespace(
        KIND="beeps",
        decoder=lambda sensors: (
            lambda payload, sent_at_s: [Sample(one, T, float(len(payload))) for one in sensors]
        ),
        problems=lambda sensor: [],
    )
    installed(monkeypatch, beeps)
    decoder = payloads.topic_decoders({"a": sensor("t", payload="beeps")})["t"]

    assert [Sample("a", T, 3.0)] == decoder.decode(b"...", NOW_S)


def test_a_kind_that_two_offer_is_an_error(monkeypatch):
    """Nobody could tell which of the two reads the sensors."""
    installed(monkeypatch, SimpleNamespace(KIND="senml"))

    with pytest.raises(AftercareError, match="two payload kinds are called 'senml'"):
        payloads.kinds()


def test_the_entry_point_group_has_a_name_of_its_own():
    """It is part of what others build on."""
    assert payloads.ENTRY_POINTS == "monitor.payloads"
    assert list(importlib.metadata.entry_points(group=payloads.ENTRY_POINTS)) == []


@pytest.mark.parametrize("kind", ["json", "plain", "senml"])
@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"", "empty"),
        (b"1" * 65_537, "more than 65536 bytes"),
        (b"\xff\xfe", "byte 1 .* not UTF-8"),
    ],
)
def test_bytes_that_no_kind_can_read_are_said_alike(kind, payload, words):
    """An empty message clears a retained one and is no reading of 0."""
    keys = {"json": {"temperature_c": "/t"}, "plain": {"quantity": T}, "senml": {}}[kind]
    decoder = payloads.topic_decoders({"a": sensor("t", payload=kind, **keys)})["t"]

    with pytest.raises(PayloadError, match=words):
        decoder.decode(payload, NOW_S)


@pytest.mark.parametrize("opening", [b"[", b'{"a":', b"[[", b'[{"a":'])
def test_nesting_without_end_is_refused(opening):
    """Whatever the stack would allow, a live run and a replay refuse alike."""
    decoder = payloads.topic_decoders({"a": sensor("t", payload="json", temperature_c="")})["t"]

    with pytest.raises(PayloadError, match=r"deep|not JSON"):
        decoder.decode(opening * (65_536 // len(opening)), NOW_S)


def test_nesting_is_allowed_up_to_its_bound():
    """32 levels are fine, 33 are not, and a long flat pack is."""
    decoder = payloads.topic_decoders({"a": sensor("t", payload="json", temperature_c="/t")})["t"]
    assert decoder.decode(b'{"t":1,"x":' + b"[" * 31 + b"]" * 31 + b"}", NOW_S)
    assert decoder.decode(b'{"t":1,"x":[' + b",".join([b"[]"] * 5000) + b"]}", NOW_S)

    with pytest.raises(PayloadError, match="deeper than 32"):
        decoder.decode(b'{"t":1,"x":' + b"[" * 32 + b"]" * 32 + b"}", NOW_S)


def test_what_follows_the_json_value_is_refused():
    """Two values in one message are a broken message; blanks are none."""
    decoder = payloads.topic_decoders({"a": sensor("t", payload="json", temperature_c="")})["t"]
    assert [Sample("a", T, 1.0)] == decoder.decode(b"\r\n 1 \t\n", NOW_S)

    with pytest.raises(PayloadError, match="goes on"):
        decoder.decode(b"1 2", NOW_S)
