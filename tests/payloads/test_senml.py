"""SenML is read as RFC 8428 says, and what it says is turned into samples of this house's sensors.

Packs and resolved records are `published`, from the RFC, quoted from memory. What the RFC leaves open and is
decided here is named in each test as "own decision".
"""

import json
import math

import pytest

from monitor.errors import PayloadError
from monitor.model import Quantity, Sample
from monitor.payloads import senml, senml_pack
from monitor.settings import Sensor
from tests.payloads import packs

T, RH, BATTERY = Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT, Quantity.BATTERY_PCT
NOW_S = packs.NOW_S


def sensor(**keys):
    """A sensor of the made-up house."""
    return Sensor(**({"house": "cold", "topic": "heather/cold/bench"} | keys))


def decode(pack, now_s=NOW_S, **sensors):
    """The samples of a pack for sensors given by their ids."""
    payload = (
        pack if isinstance(pack, bytes) else (pack if isinstance(pack, str) else json.dumps(pack)).encode()
    )
    return senml.decoder(sensors or {"bench": sensor()})(payload, now_s)


def resolve(*records, now_s=NOW_S):
    """The records of a pack as tuples of name, unit, value, instant."""
    return [tuple(record)[:4] for record in senml_pack.resolve(list(records), now_s)]


class TestResolving:
    """Base fields, times and values, by the RFC's own examples."""

    @pytest.mark.parametrize("pack", packs.RESOLVED, ids=lambda pack: pack[:40])
    def test_the_packs_of_the_rfc_resolve_as_it_says(self, pack):
        """`published`: RFC 8428 sections 5.1.1-5.1.7; the order is that of the pack."""
        assert packs.RESOLVED[pack] == senml_pack.resolve(json.loads(pack), NOW_S)

    def test_an_absolute_time_needs_no_base_time(self):
        """`published`: RFC 8428 section 4.5.3, a time of 2**28 or more is Unix time."""
        found = resolve(
            {"bn": "gh/a", "t": 1276020076, "v": 23.5, "u": "Cel"}, {"t": 1276020091, "v": 23.6, "u": "Cel"}
        )

        assert found == [("gh/a", "Cel", 23.5, 1276020076), ("gh/a", "Cel", 23.6, 1276020091)]

    def test_a_relative_base_time_counts_from_now(self):
        """`published`: RFC 8428 section 4.5.3, smaller times are relative to now, also the sum of two."""
        found = resolve(
            {"bn": "gh/a:", "bt": -30, "n": "t", "u": "Cel", "v": 1}, {"n": "t", "t": 10, "u": "Cel", "v": 2}
        )

        assert [at_s for *_, at_s in found] == [1699999970, 1699999980]

    def test_a_base_value_is_added_to_every_number(self):
        """`published`: RFC 8428 section 4.1, base value."""
        found = resolve({"bn": "gh/a:", "bv": 20, "bu": "Cel", "n": "t", "v": 1.5}, {"n": "t2", "v": -1})

        assert [value for _, _, value, _ in found] == [21.5, 19]

    def test_a_base_value_alone_is_a_value(self):
        """Own decision: RFC 8428 counts a missing one of the two as zero and does not say it of values."""
        assert resolve({"bn": "gh/a:", "bv": 20, "bu": "Cel", "n": "t"}) == [("gh/a:t", "Cel", 20, None)]

    def test_the_last_relative_time_is_far_in_the_future(self):
        """`published`: RFC 8428 section 4.5.3, 2**28 - 1 is still relative."""
        assert resolve({"n": "a", "v": 1, "t": 268435455})[0][3] == NOW_S + 268435455

    def test_the_first_absolute_time_is_in_1978(self):
        """`published`: 2**28 s after 1970 is 1978-07-04T21:24:16Z."""
        assert resolve({"n": "a", "v": 1, "t": 268435456})[0][3] == 268435456

    def test_unknown_fields_are_read_over(self):
        """`published`: RFC 8428 section 4.4."""
        assert resolve({"n": "x", "v": 1, "foo": 2, "deep": {"er": [1]}}) == [("x", None, 1, None)]

    def test_an_update_time_changes_nothing(self):
        """`published`: RFC 8428 section 4.5.5 asks nothing of a reader; its use comes later."""
        assert resolve({"n": "x", "u": "Cel", "v": 1, "ut": 300}) == [("x", "Cel", 1, None)]

    def test_a_sum_needs_no_value(self):
        """`published`: RFC 8428 section 4.2, with a sum no value is needed; sums add up."""
        found = senml_pack.resolve([{"n": "x", "bs": 10, "s": 5}, {"n": "y", "v": 1}], NOW_S)

        assert [(record.value, record.sum) for record in found] == [(None, 15), (1, 10)]

    def test_a_base_lasts_until_it_is_replaced(self):
        """`published`: RFC 8428 section 4.1; an empty `u` or `n` of a record is not a base."""
        found = resolve(
            {"bn": "a", "bu": "Cel", "v": 1}, {"n": "b", "u": "%RH", "v": 2}, {"v": 3}, {"bn": "c", "v": 4}
        )

        assert [one[:3] for one in found] == [
            ("a", "Cel", 1),
            ("ab", "%RH", 2),
            ("a", "Cel", 3),
            ("c", "Cel", 4),
        ]

    def test_trailing_digits_mean_nothing(self):
        """`published`: RFC 8428 section 4.3, 1.1 and 1.10 are the same."""
        assert json.loads("[1.1]") == [value for *_, value, _ in resolve(json.loads('{"n":"x","v":1.10}'))]

    def test_an_empty_pack_has_no_records(self):
        """An empty array breaks no rule."""
        assert resolve() == []


REFUSED = [
    ({"n": "x", "v": 1, "foo_": 2}, "foo_", "4.4: a label that ends in _ must be understood"),
    ({"n": "x", "v": 1, "bver": 11}, "version 11", "4.4: a later version must not be used"),
    ({"n": "x", "v": 1, "bver": 0}, "bver", "4.1: a positive number"),
    ({"n": "x", "v": 1, "bver": 5.5}, "bver", "4.1: a whole number"),
    ({"n": "x", "v": 1, "vs": "a"}, "two values", "4.2: one value"),
    ({"n": "x", "vb": True, "vd": "aGk"}, "two values", "4.2: one value"),
    ({"n": "x"}, "no value", "4.2: one value"),
    ({"n": "_x", "v": 1}, "name", "4.5.1: begins with a letter or digit"),
    ({"n": "a b", "v": 1}, "name", "4.5.1: no blanks"),
    ({"n": "", "v": 1}, "name", "4.5.1: not empty"),
    ({"v": 1}, "name", "4.5.1: not empty"),
    ({"n": "ä", "v": 1}, "name", "4.5.1: ASCII"),
    ({"n": "x", "vd": "aGkgCg=="}, "base64url", "4.3: without padding"),
    ({"n": "x", "vd": "a+/g"}, "base64url", "4.3: the alphabet of URLs"),
    ({"n": "x", "vd": "aGkgC"}, "base64url", "4.3: no such length"),
    ({"n": "x", "v": True}, "True", "own decision: a truth is no number"),
    ({"n": "x", "t": False, "v": 1}, "False", "own decision: a truth is no number"),
    ({"n": "x", "vb": 1}, "'vb'", "4.2: vb is a truth"),
    ({"n": "x", "v": "1"}, "'v'", "4.2: v is a number"),
    ({"n": "x", "v": None}, "None", "4.2: v is a number"),
    ({"n": 1, "v": 1}, "'n'", "4.2: n is text"),
    ({"bn": None, "v": 1}, "'bn'", "4.2: bn is text"),
    ({"n": "x", "u": 3, "v": 1}, "'u'", "4.2: u is text"),
    ({"n": "x", "v": 1, "t": 1e12}, "1970 and 2100", "own decision: milliseconds are not seconds"),
    ({"n": "x", "v": 1, "t": -1e12}, "1970 and 2100", "own decision: before 1970"),
    ({"n": "x", "v": 10**400}, "too large", "own decision: nothing measures this"),
    ({"n": "x", "v": 1, "t": 1e305}, "too large", "own decision: nothing measures this"),
    (["n", "x"], "not an object", "4: records are objects"),
    (3, "not an object", "4: records are objects"),
]


class TestRefusing:
    """What the RFC forbids is refused with the reason; section numbers are `published`, RFC 8428."""

    @pytest.mark.parametrize(("record", "word", "_why"), REFUSED, ids=[why for *_, why in REFUSED])
    def test_a_record_that_breaks_a_rule_is_refused(self, record, word, _why):
        """The message names what is wrong and in which record."""
        with pytest.raises(PayloadError, match=word):
            resolve(record)

    def test_the_message_counts_records_from_one(self):
        """A person counts the lines of a pack from one."""
        with pytest.raises(PayloadError, match="record 2 "):
            resolve({"n": "x", "v": 1}, {"n": "y"})

    @pytest.mark.parametrize("pack", [{"n": "x", "v": 1}, "x", 3, None, True])
    def test_a_pack_that_is_no_array_is_refused(self, pack):
        """`published`: RFC 8428 section 5, a pack is an array."""
        with pytest.raises(PayloadError, match="array"):
            senml_pack.resolve(pack, NOW_S)

    def test_records_of_two_versions_are_refused(self):
        """`published`: RFC 8428 section 4.4, all records of a pack have one version."""
        with pytest.raises(PayloadError, match="another SenML version"):
            resolve({"bver": 5, "n": "x", "v": 1}, {"bver": 6, "n": "y", "v": 1})

    def test_a_field_that_stands_twice_is_refused(self):
        """Own decision: JSON leaves open which of the two counts, so neither does."""
        with pytest.raises(PayloadError, match="'v' stands twice"):
            decode('[{"n":"x","u":"Cel","v":1,"v":2}]')

    @pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity"])
    def test_not_a_number_is_refused(self, word):
        """`published`: RFC 8259 section 6, JSON has no such numbers."""
        with pytest.raises(PayloadError, match=word):
            decode(f'[{{"n":"x","u":"Cel","v":{word}}}]')

    def test_a_number_beyond_all_floats_is_refused(self):
        """1e999 is JSON, and would be infinity."""
        with pytest.raises(PayloadError, match="too large"):
            decode('[{"n":"x","u":"Cel","v":1e999}]')

    def test_percent_as_a_ratio_is_refused_with_the_reason(self):
        """`published`: RFC 8428 section 12.1, % is a ratio and %RH is relative humidity."""
        with pytest.raises(PayloadError, match="ratio from 0 to 1") as caught:
            decode([{"n": "t", "u": "Cel", "v": 4.1}, {"n": "air", "u": "%", "v": 0.885}])

        assert "%RH" in caught.value.hint

    def test_a_temperature_that_is_text_is_refused(self):
        """A unit of ours with a value that is no number is a broken device."""
        with pytest.raises(PayloadError, match="no number"):
            decode([{"n": "t", "u": "Cel", "vs": "4.1"}])

    def test_a_pack_without_anything_for_us_says_what_it_has(self):
        """The person sees which names and units arrived, and can compare them with the settings."""
        with pytest.raises(PayloadError, match="'urn:dev:ow:10e2073a01080063:voltage' in 'V'"):
            decode(packs.TWO)


class TestSamples:
    """Which records become samples, of which sensor, at which instant."""

    def test_the_first_example_of_the_rfc_is_one_temperature(self):
        """`published`: RFC 8428 section 5.1.1; without a time of its own it has none here."""
        assert [Sample("bench", T, 23.1, None)] == decode(packs.ONE)

    def test_units_say_what_a_record_is(self):
        """`published`: RFC 8428 section 12.1: Cel, %RH, %EL and K; others are read over."""
        found = decode(
            [
                {"bn": "gh/a:", "n": "t", "u": "Cel", "v": 4.5},
                {"n": "rh", "u": "%RH", "v": 88},
                {"n": "cell", "u": "%EL", "v": 97},
                {"n": "lamp", "u": "lx", "v": 3},
                {"n": "door", "vb": True},
            ]
        )

        assert {(T, 4.5), (RH, 88.0), (BATTERY, 97.0)} == {
            (sample.quantity, sample.value) for sample in found
        }

    def test_kelvin_becomes_celsius(self):
        """`published`: RFC 8428 section 12.1 has K; 0 °C is 273.15 K exactly (SI brochure, 2.3.1)."""
        assert math.isclose(-1.15, decode([{"n": "t", "u": "K", "v": 272.0}])[0].value)

    def test_values_are_floats(self):
        """Whole numbers of JSON come out as the floats the rest works with."""
        assert [float] == [type(sample.value) for sample in decode([{"n": "t", "u": "Cel", "v": 4}])]

    def test_the_moving_example_gives_its_humidities_and_its_battery(self):
        """`published`: RFC 8428 sections 5.1.3 and 5.1.4."""
        expected = [(RH, 20.0, 1320067464), (RH, 20.3, 1320067524), (RH, 20.7, 1320067584)]
        expected += [(BATTERY, 98.0, 1320067614), (RH, 21.2, 1320067644)]

        assert expected == [sample[1:] for sample in decode(packs.MOVING)]

    def test_samples_come_in_order_of_time(self):
        """`published`: RFC 8428 section 4.6, resolved records are in chronological order."""
        found = decode(
            [
                {"bn": "a:", "bu": "Cel", "n": "t", "v": 3},
                {"n": "t", "t": -120, "v": 1},
                {"n": "t", "t": -60, "v": 2},
            ]
        )

        assert [sample.value for sample in found] == [1.0, 2.0, 3.0]

    def test_at_one_instant_temperature_comes_last(self):
        """Own decision: what came with it helps to judge it."""
        found = decode([{"bn": "a:", "n": "t", "u": "Cel", "v": 0}, {"n": "rh", "u": "%RH", "v": 0}])

        assert [sample.quantity for sample in found] == [RH, T]

    def test_nobody_knows_what_a_retained_relative_time_is_relative_to(self):
        """Own decision: without the instant of sending only absolute times count."""
        pack = [
            {"bn": "a:", "n": "t", "u": "Cel", "t": -60, "v": 1},
            {"n": "t", "u": "Cel", "t": 1699999000, "v": 2},
        ]

        assert [sample.observed_at_s for sample in decode(pack, now_s=None)] == [1699999000.0, None]

    def test_instants_are_whole_milliseconds(self):
        """A recording writes milliseconds and must give the same instants back."""
        assert (
            decode([{"bn": "a", "bt": 1276020076.0012, "t": -5, "u": "Cel", "v": 1}])[0].observed_at_s
            == 1276020071.001
        )

    def test_offsets_are_added(self):
        """From an ice-slush and a salt test; a battery has none."""
        bench = sensor(temperature_offset_k=-0.25, humidity_offset_pct=2.0)
        pack = [
            {"bn": "a:", "n": "t", "u": "Cel", "v": 4.0},
            {"n": "rh", "u": "%RH", "v": 80},
            {"n": "b", "u": "%EL", "v": 50},
        ]

        assert {3.75, 82.0, 50.0} == {sample.value for sample in decode(pack, bench=bench)}


class TestNames:
    """`name` is the beginning of the names of a sensor's records."""

    PACK = (
        '[{"bn":"2001:db8::2/","n":"temperature","u":"Cel","v":25.2},'
        '{"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3}]'
    )

    @pytest.mark.parametrize("name", ["2001:db8::1", "2001:db8::1/", "2001:db8::1/temperature"])
    def test_a_name_fits_with_or_without_its_separator(self, name):
        """The whole name of a record fits too."""
        assert [(one.sensor, one.value) for one in decode(self.PACK, a=sensor(name=name))] == [("a", 12.3)]

    def test_two_devices_of_one_pack_are_two_sensors(self):
        """`published`: RFC 8428 section 5.1.6, a collection of two devices."""
        found = decode(packs.COLLECTION, north=sensor(name="2001:db8::1/"), south=sensor(name="2001:db8::2/"))

        assert {("north", T, 12.3), ("north", RH, 67.0), ("south", T, 25.2), ("south", RH, 30.0)} == {
            sample[:3] for sample in found
        }
        assert {1320078429.0} == {sample.observed_at_s for sample in found}

    def test_a_name_does_not_fit_in_the_middle_of_a_word(self):
        """`gh/a` is not the beginning of `gh/a1`."""
        pack = [{"bn": "gh/a1:", "n": "t", "u": "Cel", "v": 1}, {"bn": "gh/a:", "n": "t", "u": "Cel", "v": 2}]

        assert [sample.value for sample in decode(pack, a=sensor(name="gh/a"))] == [2.0]

    def test_the_longest_name_that_fits_gets_the_record(self):
        """A probe in a pot may have a name under that of the box it is wired to."""
        pack = [{"bn": "box:", "n": "air", "u": "Cel", "v": 1}, {"n": "pot:t", "u": "Cel", "v": 2}]
        found = decode(pack, box=sensor(name="box"), pot=sensor(name="box:pot"))

        assert {("box", 1.0), ("pot", 2.0)} == {(one.sensor, one.value) for one in found}

    def test_percent_of_somebody_else_is_none_of_our_business(self):
        """Only records under a sensor's name are looked at."""
        pack = [
            {"bn": "tank:", "n": "level", "u": "%", "v": 0.3},
            {"bn": "gh:", "n": "t", "u": "Cel", "v": 2},
        ]

        assert [sample.value for sample in decode(pack, a=sensor(name="gh"))] == [2.0]

    def test_a_message_with_only_one_of_two_sensors_is_fine(self):
        """Devices behind one gateway report when they have something to say."""
        pack = [{"bn": "gh/b:", "n": "t", "u": "Cel", "v": 2}]

        assert [one.sensor for one in decode(pack, a=sensor(name="gh/a"), b=sensor(name="gh/b"))] == ["b"]


class TestSettings:
    """What the settings check says of a SenML sensor."""

    def test_a_usual_sensor_has_no_problem(self):
        """Neither without a name nor with one."""
        assert senml.problems(sensor()) + senml.problems(sensor(name="urn:dev:ow:10e2073a01080063:")) == []

    def test_a_name_that_senml_forbids_is_a_problem(self):
        """It could never fit anything."""
        assert [key for key, *_ in senml.problems(sensor(name="gh a"))] == ["name"]

    def test_pointers_have_no_use(self):
        """Somebody who set one meant `payload = "json"`."""
        found = senml.problems(sensor(temperature_c="/t", observed_at="/time", quantity=T))

        assert [key for key, *_ in found] == ["quantity", "temperature_c", "observed_at"]
