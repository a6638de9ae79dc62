"""JSON payloads are read by RFC 6901 pointers."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import PayloadError
from monitor.model import Quantity, Sample
from monitor.payloads import json_pointer
from monitor.settings import Sensor

T, RH, BATTERY = Quantity.TEMPERATURE_C, Quantity.RELATIVE_HUMIDITY_PCT, Quantity.BATTERY_PCT
NOW_S = 1_700_000_000.0


def sensor(**keys):
    """A sensor in the yard of the made-up house."""
    return Sensor(**({"house": "cold", "topic": "heather/yard", "payload": "json"} | keys))


def decode(document, **keys):
    """The samples of a document for one sensor with these settings."""
    payload = document if isinstance(document, bytes) else json.dumps(document).encode()
    return json_pointer.decoder({"yard": sensor(**keys)})(payload, NOW_S)


class TestPointers:
    """RFC 6901, with its own vectors."""

    #: `published`: RFC 6901 section 5, the document and what each pointer leads to.
    DOCUMENT = json.loads(
        r'{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}'
    )
    VECTORS = (
        ("", DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    )

    @pytest.mark.parametrize(("pointer", "value"), VECTORS)
    def test_the_pointers_of_the_rfc_lead_where_it_says(self, pointer, value):
        """`published`: RFC 6901 section 5."""
        assert value == json_pointer.find(self.DOCUMENT, json_pointer.pointer_of(pointer))

    @pytest.mark.parametrize(
        "pointer",
        [
            "/foo/2",
            "/foo/-",
            "/foo/00",
            "/foo/01",
            "/foo/-1",
            "/foo/0x0",
            "/foo/ 0",
            "/foo/٠",
            "/nowhere",
            "/foo/bar",
            "/c%d/0",
        ],
    )
    def test_a_pointer_may_lead_nowhere(self, pointer):
        """`published`: RFC 6901 section 4: no leading zeros, no signs, `-` is past the end, ASCII digits."""
        assert json_pointer.find(self.DOCUMENT, json_pointer.pointer_of(pointer)) is None

    def test_escapes_are_undone_in_order(self):
        """`published`: RFC 6901 section 4: `~01` is `~1`, never `/`."""
        assert json_pointer.find({"~1": 9, "/": 8}, json_pointer.pointer_of("/~01")) == 9

    @pytest.mark.parametrize("pointer", ["foo", "foo/bar", "/~", "/~2", "/a~", "#/foo"])
    def test_what_is_no_pointer_is_refused(self, pointer):
        """`published`: RFC 6901 section 3; the form with # is for web addresses."""
        with pytest.raises(ValueError, match=r"begin|~"):
            json_pointer.pointer_of(pointer)

    @given(
        st.recursive(
            st.integers(),
            lambda inner: (
                st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3)
            ),
        )
    )
    def test_every_place_of_a_document_has_its_pointer(self, document):
        """A property: walking a document and pointing into it find the same."""
        for pointer, value in walk(document):
            assert json_pointer.find(document, json_pointer.pointer_of(pointer)) == value


def walk(document, pointer=""):
    """Every place of a document: its pointer, escaped by RFC 6901, and its value."""
    yield pointer, document
    inner = (
        document.items()
        if isinstance(document, dict)
        else enumerate(document)
        if isinstance(document, list)
        else ()
    )
    for key, value in inner:
        yield from walk(value, f"{pointer}/{str(key).replace('~', '~0').replace('/', '~1')}")


class TestSamples:
    """Which numbers of a document become samples."""

    def test_each_pointer_gives_its_quantity(self):
        """Humidity and battery come before temperature: they help to judge it."""
        keys = {"temperature_c": "/t", "relative_humidity_pct": "/rh", "battery_pct": "/b"}

        assert [Sample("yard", RH, 88.5), Sample("yard", BATTERY, 97.0), Sample("yard", T, 4.1)] == decode(
            {"t": 4.1, "rh": 88.5, "b": 97}, **keys
        )

    def test_a_number_may_be_deep_inside(self):
        """Arrays and objects alike."""
        assert [Sample("yard", T, -2.0)] == decode({"air": [{"t": -2}]}, temperature_c="/air/0/t")

    def test_the_whole_document_may_be_the_number(self):
        """The empty pointer."""
        assert [Sample("yard", T, 3.5)] == decode(3.5, temperature_c="")

    @pytest.mark.parametrize("document", [{"t": 4.1}, {"t": 4.1, "rh": None}])
    def test_one_quantity_is_enough(self, document):
        """What is not there, or null, is not carried."""
        found = decode(document, temperature_c="/t", relative_humidity_pct="/rh")

        assert [Sample("yard", T, 4.1)] == found

    @pytest.mark.parametrize("document", [{}, {"x": 1}, [], {"t": None}, "t", 3])
    def test_none_is_too_few(self, document):
        """The message says which pointers were tried."""
        with pytest.raises(PayloadError, match="/t, /rh"):
            decode(document, temperature_c="/t", relative_humidity_pct="/rh")

    @pytest.mark.parametrize("value", [True, False, "4.1", [4.1], {"c": 4.1}])
    def test_what_is_no_number_is_refused(self, value):
        """A truth is no number, and neither is text."""
        with pytest.raises(PayloadError, match="'/t' is not a number"):
            decode({"t": value}, temperature_c="/t")

    @pytest.mark.parametrize("number", ["NaN", "Infinity", "1e999", "1" + "0" * 5000])
    def test_what_is_no_finite_number_is_refused(self, number):
        """NaN is no JSON; a number beyond all floats would be infinity."""
        with pytest.raises(PayloadError):
            decode(f'{{"t":{number}}}'.encode(), temperature_c="/t")

    def test_a_name_that_stands_twice_is_refused(self):
        """Nobody knows which of the two is meant."""
        with pytest.raises(PayloadError, match="'t' stands twice"):
            decode(b'{"t":4.1,"t":5.1}', temperature_c="/t")

    def test_offsets_are_added(self):
        """From an ice-slush and a salt test."""
        keys = {"temperature_c": "/t", "relative_humidity_pct": "/rh"}
        found = decode({"t": 4.0, "rh": 80}, temperature_offset_k=0.5, humidity_offset_pct=-3, **keys)

        assert {(T, 4.5), (RH, 77.0)} == {(sample.quantity, sample.value) for sample in found}

    def test_two_sensors_may_share_a_payload(self):
        """Each by its own pointers."""
        sensors = {"air": sensor(temperature_c="/0"), "pot": sensor(temperature_c="/1")}
        found = json_pointer.decoder(sensors)(b"[4.1, 6.2]", NOW_S)

        assert [Sample("air", T, 4.1), Sample("pot", T, 6.2)] == found


class TestTimes:
    """`observed_at` is RFC 3339 with an offset, or Unix seconds."""

    @pytest.mark.parametrize(
        ("time", "instant_s"),
        [
            (1_700_000_000, 1_700_000_000.0),
            (1_700_000_000.0016, 1_700_000_000.002),
            ("2023-11-14T22:13:20Z", 1_700_000_000.0),
            ("2023-11-14t22:13:20z", 1_700_000_000.0),
            ("2023-11-14T22:13:20.25+00:00", 1_700_000_000.25),
            ("2023-11-14T23:13:20+01:00", 1_700_000_000.0),
            ("2023-11-14T22:13:20-00:00", 1_700_000_000.0),
            ("1985-04-12T23:20:50.52Z", 482196050.52),
            ("1996-12-19T16:39:57-08:00", 851042397.0),
            ("1990-12-31T23:59:60Z", 662688000.0),
            ("1990-12-31T15:59:60-08:00", 662688000.0),
            ("1937-01-01T12:00:27.87+00:20", None),
        ],
    )
    def test_a_time_is_the_instant_it_says(self, time, instant_s):
        """`published`: the last five are the examples of RFC 3339 section 5.8, in seconds by POSIX.

        POSIX counts no leap seconds. 1937 is a real time and no time of a sensor.
        """
        if instant_s is None:
            with pytest.raises(PayloadError, match="1970 and 2100"):
                decode({"t": 1, "at": time}, temperature_c="/t", observed_at="/at")
            return
        assert [instant_s] == [
            sample.observed_at_s
            for sample in decode({"t": 1, "at": time}, temperature_c="/t", observed_at="/at")
        ]

    @pytest.mark.parametrize(
        "time",
        [
            "2023-11-14T22:13:20",
            "2023-11-14",
            "22:13:20Z",
            "20231114T221320Z",
            "2023-W46-2T22:13:20Z",
            "2023-02-30T00:00:00Z",
            "2023-11-14T25:00:00Z",
            "2023-11-14T22:13:61Z",
            "٢023-11-14T22:13:20Z",
            "yesterday",
            "1700000000",
            "",
            True,
            [1700000000],
            1.7e12,
            -1,
        ],
    )
    def test_what_is_no_instant_is_refused(self, time):
        """A local time would have to be guessed; milliseconds would be the year 55840."""
        with pytest.raises(PayloadError, match="the time"):
            decode({"t": 1, "at": time}, temperature_c="/t", observed_at="/at")

    @pytest.mark.parametrize("document", [{"t": 1}, {"t": 1, "at": None}])
    def test_without_a_time_there_is_none(self, document):
        """The reading then takes the instant of its arrival."""
        assert [one.observed_at_s for one in decode(document, temperature_c="/t", observed_at="/at")] == [
            None
        ]


class TestSettings:
    """What the settings check says of a JSON sensor."""

    def test_a_usual_sensor_has_no_problem(self):
        """One pointer is enough."""
        assert json_pointer.problems(sensor(temperature_c="/t")) == []
        assert json_pointer.problems(sensor(relative_humidity_pct="/a~1b", observed_at="/time")) == []

    def test_without_any_pointer_nothing_could_be_read(self):
        """A battery alone guards nothing."""
        assert [key for key, *_ in json_pointer.problems(sensor(battery_pct="/b"))] == ["temperature_c"]

    def test_a_broken_pointer_is_a_problem_under_its_key(self):
        """Each of them."""
        keys = {
            "temperature_c": "t",
            "relative_humidity_pct": "/~",
            "battery_pct": "b/",
            "observed_at": "/~3",
        }

        assert list(keys) == [key for key, *_ in json_pointer.problems(sensor(**keys))]

    def test_a_name_has_no_use(self):
        """Somebody who set one meant `payload = "senml"`."""
        assert [key for key, *_ in json_pointer.problems(sensor(temperature_c="/t", name="gh"))] == ["name"]
