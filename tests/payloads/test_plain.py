"""A plain payload is one bare number."""

import pytest

from monitor.errors import PayloadError
from monitor.model import Quantity, Sample
from monitor.payloads import plain
from monitor.settings import Sensor

T, RH = Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT


def sensor(**keys):
    """A sensor that says one number."""
    return Sensor(**({"house": "cold", "topic": "heather/pot", "payload": "plain", "quantity": T} | keys))


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"4.1", 4.1),
        (b"-3", -3.0),
        (b"+0.5", 0.5),
        (b" 12.0\r\n", 12.0),
        (b"1e1", 10.0),
        (b"-0.0", 0.0),
        (b"007", 7.0),
    ],
)
def test_a_bare_number_is_a_sample(payload, value):
    """Blanks and line ends around it are usual."""
    assert [Sample("pot", T, value)] == plain.decoder({"pot": sensor()})(payload, 0.0)


@pytest.mark.parametrize(
    "payload",
    [
        *(b"nan", b"inf", b"-Infinity", b"1_000", b"0x10", b"4,1", b"4.1 C", b"4.", b".5", b"--1", b"true"),
        *(b'"4.1"', b"[1]", "\u0664".encode(), b"1e999", b"1e9999", b"9" * 400, b" ", b"1 2"),
    ],
)
def test_what_is_no_bare_number_is_refused(payload):
    """Python's own idea of a number is wider than a sensor's."""
    with pytest.raises(PayloadError):
        plain.number(payload)


def test_the_quantity_of_the_settings_decides():
    """And with it which offset is added."""
    humid = sensor(quantity=RH, temperature_offset_k=5.0, humidity_offset_pct=-2.0)

    assert [Sample("pot", RH, 86.0)] == plain.decoder({"pot": humid})(b"88", 0.0)


def test_the_settings_must_name_the_quantity():
    """And a battery alone is none."""
    assert [key for key, *_ in plain.problems(sensor(quantity=None))] == ["quantity"]
    assert [key for key, *_ in plain.problems(sensor(quantity=Quantity.BATTERY_PCT))] == ["quantity"]
    assert plain.problems(sensor()) == []


def test_parts_have_no_use():
    """One number has no names and no pointers."""
    found = plain.problems(sensor(name="gh", temperature_c="/t", observed_at="/at"))

    assert [key for key, *_ in found] == ["name", "temperature_c", "observed_at"]
