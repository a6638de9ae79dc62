"""Whatever bytes arrive, a decoder returns finite samples in order of time, or raises PayloadError.

The contract of every payload kind, also of those that others add. `independent`: hypothesis makes the bytes.
"""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor import payloads
from monitor.errors import PayloadError
from monitor.model import Quantity
from monitor.payloads import senml, senml_pack
from monitor.settings import Sensor

NOW_S = 1_700_000_000.0
SENSORS = {
    "json": {
        "a": Sensor(
            house="cold",
            topic="t",
            payload="json",
            temperature_c="/t",
            relative_humidity_pct="/x/0",
            observed_at="/at",
        ),
        "b": Sensor(house="cold", topic="t", payload="json", temperature_c="", battery_pct="/0/v"),
    },
    "plain": {"a": Sensor(house="cold", topic="t", payload="plain", quantity=Quantity.TEMPERATURE_C)},
    "senml": {
        "a": Sensor(house="cold", topic="t", name="gh/a"),
        "b": Sensor(house="cold", topic="t", temperature_offset_k=0.5),
    },
}

DECODERS = {kind: payloads.topic_decoders(sensors)["t"] for kind, sensors in SENSORS.items()}

numbers = st.integers() | st.floats() | st.just(10**400)
scalars = st.none() | st.booleans() | numbers | st.text(max_size=8)
documents = st.recursive(
    scalars,
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["t", "x", "at", "v"]), inner)
    ),
)
values = scalars | st.sampled_from(["Cel", "%RH", "%EL", "%", "K", "gh/a", "gh/a:t", "aGk"])
labels = st.sampled_from(
    ["n", "u", "v", "t", "bn", "bt", "bu", "bv", "bs", "bver", "vs", "vb", "vd", "s", "ut", "x", "x_"]
)
packs = st.lists(st.dictionaries(labels, values, max_size=6), max_size=6)
likely = st.lists(
    st.fixed_dictionaries(
        {
            "n": st.sampled_from(["gh/a", "gh/a:t", "gh/b"]),
            "u": st.sampled_from(["Cel", "%RH", "%EL", "V"]),
            "v": numbers,
        },
        optional={"t": numbers, "bt": numbers, "bn": st.just("gh/"), "bv": numbers},
    ),
    max_size=6,
)


def outcome_of(decode, payload, sent_at_s):
    """The samples of a payload, or the message of its refusal."""
    try:
        return decode(payload, sent_at_s), None
    except PayloadError as error:
        return [], error.message


def holds(kind, payload):
    """The contract, for a payload known and not known when it was sent."""
    for sent_at_s in (NOW_S, None):
        samples, refusal = outcome_of(DECODERS[kind].decode, payload, sent_at_s)
        if refusal is not None:
            assert refusal.isascii()
            assert len(refusal) < 500
            continue
        assert samples
        for sample in samples:
            assert sample.sensor in SENSORS[kind]
            assert isinstance(sample.quantity, Quantity)
            assert type(sample.value) is float
            assert math.isfinite(sample.value)
            assert sample.observed_at_s is None or 0 <= sample.observed_at_s <= 4_102_444_800


@pytest.mark.parametrize("kind", SENSORS)
@given(payload=st.binary(max_size=200))
def test_any_bytes(kind, payload):
    """Noise from a broken radio."""
    holds(kind, payload)


@pytest.mark.parametrize("kind", SENSORS)
@given(payload=st.text(alphabet='[]{}",:.0123456789eE+-ntruvfalsCRH%b_ \\u', max_size=80))
def test_any_text_that_looks_like_json(kind, payload):
    """Messages cut short or patched together."""
    holds(kind, payload.encode())


@pytest.mark.parametrize("kind", SENSORS)
@given(document=documents | packs | likely)
def test_any_json(kind, document):
    """Devices that mean something else; NaN among them, as Python writes it."""
    holds(kind, json.dumps(document).encode())


@given(pack=packs | likely)
def test_a_resolved_pack_resolves_to_itself(pack):
    """A property: base fields and relative times are gone after the first time (RFC 8428 section 4.6)."""
    try:
        records = senml_pack.resolve(pack, NOW_S)
    except PayloadError:
        return
    again = [
        {"n": one.name, "v": one.value, **({"u": one.unit} if one.unit is not None else {}),
         **({"t": one.at_s} if one.at_s is not None else {})}
        for one in records
        if type(one.value) in (int, float) and (one.at_s is None or one.at_s >= senml_pack.ABSOLUTE_FROM_S)
    ]  # fmt: skip
    kept = [
        one._replace(sum=None)
        for one in records
        if type(one.value) in (int, float) and (one.at_s is None or one.at_s >= senml_pack.ABSOLUTE_FROM_S)
    ]
    assert kept == senml_pack.resolve(again, NOW_S)


@given(pack=packs | likely)
def test_the_usual_way_finds_what_the_long_way_finds(pack):
    """A property: names and units met before save the second look and change nothing."""
    anew, again = senml.decoder(SENSORS["senml"]), senml.decoder(SENSORS["senml"])
    for name in ("gh/a", "gh/a:t", "gh/b", "gh/gh/a"):
        for unit in ("Cel", "%RH", "%EL", "V"):
            outcome_of(
                again,
                json.dumps([{"n": name, "u": unit, "v": 1}, {"n": "x", "u": "Cel", "v": 1}]).encode(),
                0.0,
            )
    payload = json.dumps(pack).encode()

    for sent_at_s in (NOW_S, None):
        assert outcome_of(anew, payload, sent_at_s) == outcome_of(again, payload, sent_at_s)


@pytest.mark.parametrize(
    "field", ['"v":true', '"v":"1"', '"v":1e999', '"v":1,"t":false', '"v":1,"bt":"0"', '"v":1,"u":null']
)
def test_a_name_met_before_excuses_nothing(field):
    """What is wrong is refused whether or not the name is known."""
    decode = senml.decoder({"a": SENSORS["senml"]["a"]})
    decode(b'[{"n":"gh/a","u":"Cel","v":1}]', NOW_S)

    with pytest.raises(PayloadError, match="record 1 has"):
        decode(
            f'[{{"n":"gh/a","u":"Cel",{field}}}]'.replace('"u":"Cel","v":1,"u"', '"v":1,"u"').encode(), NOW_S
        )


def test_a_usual_pack_is_not_resolved_twice(monkeypatch):
    """A device says the same names over and over."""
    resolved = []
    resolve = senml.resolve
    monkeypatch.setattr(senml, "resolve", lambda *pack: resolved.append(1) or resolve(*pack))
    decode = senml.decoder({"a": SENSORS["senml"]["a"]})
    said = [
        decode(b'[{"n":"gh/a","u":"Cel","v":%d},{"n":"x","u":"lx","v":1}]' % value, NOW_S)
        for value in range(9)
    ]

    assert [samples[0].value for samples in said] == list(range(9))
    assert resolved == [1]


def test_a_device_that_makes_up_names_cannot_fill_the_memory(monkeypatch):
    """Beyond a number of names it is resolved each time."""
    resolved = []
    resolve = senml.resolve
    monkeypatch.setattr(senml, "resolve", lambda *pack: resolved.append(1) or resolve(*pack))
    decode = senml.decoder({"b": SENSORS["senml"]["b"]})
    for number in (*range(2 * senml.MOST_REMEMBERED), 0, 2 * senml.MOST_REMEMBERED - 1):
        assert decode(b'[{"n":"gh/%d","u":"Cel","v":1}]' % number, NOW_S)[0].value == 1.5

    assert len(resolved) == 2 * senml.MOST_REMEMBERED + 1
