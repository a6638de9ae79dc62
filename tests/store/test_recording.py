"""What the engine was told is written as design 3.4 says, and read back as the same events."""

import gzip
import itertools
import json
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import RecordingError
from monitor.model import Calendar, ClockStep, Command, Entry, Event, Message, Outcome, Started, Tick
from monitor.store.recording import event_line, message_line, read_recording
from tests.store.shelf import AT_S

LINE = (
    '{"received_at":"2026-11-30T03:00:00Z","topic":"heather/cold/bench-a","payload":"[{\\"v\\":1}]",'
    '"qos":1,"retain":false,"dup":false}\n'
)
MESSAGE = Message(AT_S, "heather/cold/bench-a", b'[{"v":1}]')

TOLD: tuple[Event, ...] = (
    Started(AT_S, None),
    Outcome(AT_S, "broker", True),
    MESSAGE,
    Message(AT_S + 0.25, "heather/yard", b"\xff\x00\xfe", 0, True, True),
    ClockStep(AT_S + 1, -3600.5),
    Command(AT_S + 2, "ack", {"alarm": "low-temperature/larch-3"}, "ann"),
    Command(AT_S + 3, "shelve", {"alarm": "wrap-drying/yew-2", "for_s": 7200.0}, "tom"),
    Command(AT_S + 4, "resume", {"alarm": "wrap-drying/yew-2"}, "tom"),
    Command(AT_S + 4, "worth", {"episode": "cold.frost.2027-01-17T02:05:00Z", "worth": False}, "tom"),
    Outcome(AT_S + 5, "broker", False),
    Started(AT_S + 600, AT_S + 5, clock_trusted=False),
)
"""Every kind of event that a recording holds."""


def write(path: Path, *lines: str, end: bytes = b"") -> Path:
    """A recording of these lines."""
    path.write_bytes("".join(lines).encode() + end)
    return path


def test_a_message_is_written_as_the_format_says() -> None:
    """Key for key (design 3.4)."""
    assert message_line(MESSAGE) == LINE
    odd = json.loads(message_line(Message(AT_S, "heather/yard", b"\xff\x00\xfe", 0, True, True)))
    assert odd == {
        "received_at": "2026-11-30T03:00:00Z",
        "topic": "heather/yard",
        "payload_b64": "/wD+",
        "qos": 0,
        "retain": True,
        "dup": True,
    }


def test_events_are_written_as_the_format_says() -> None:
    """`event` in place of `topic`."""
    assert event_line(Outcome(AT_S, "broker", False)) == (
        '{"received_at":"2026-11-30T03:00:00Z","event":"link-down"}\n'
    )
    assert event_line(ClockStep(AT_S, 3600.0)) == (
        '{"received_at":"2026-11-30T03:00:00Z","event":"clock-step","offset_s":3600.0}\n'
    )
    assert event_line(Command(AT_S, "ack", {"alarm": "a/b"}, "ann")) == (
        '{"received_at":"2026-11-30T03:00:00Z","event":"ack","alarm":"a/b","by":"ann"}\n'
    )
    assert event_line(Started(AT_S)) == '{"received_at":"2026-11-30T03:00:00Z","event":"started"}\n'


def test_what_a_replay_makes_anew_is_not_written() -> None:
    """Ticks and calendar jobs follow from time, entries from the book, deliveries do not happen."""
    for event in (
        Tick(AT_S),
        Calendar(AT_S, "report", "2026-11-30"),
        Entry(AT_S, {}),
        Outcome(AT_S, "delivery", True),
        Outcome(AT_S, "store", False),
        Command(AT_S, "drill"),
    ):
        assert event_line(event) is None


@pytest.mark.parametrize("packed", [False, True])
def test_everything_told_comes_back_as_it_was(tmp_path: Path, packed: bool) -> None:
    """Gzipped or not, whatever the file is called."""
    text = "".join(line for event in TOLD if (line := event_line(event)))
    path = tmp_path / "night"
    path.write_bytes(gzip.compress(text.encode()) if packed else text.encode())
    assert list(read_recording(path)) == list(TOLD)


@given(
    at_s=st.floats(0, 4e9).map(lambda at_s: round(at_s, 3)),
    topic=st.text(st.characters(exclude_categories=["Cs"]), min_size=1),
    payload=st.binary(),
    qos=st.integers(0, 2),
    retain=st.booleans(),
    dup=st.booleans(),
)
def test_any_message_survives_its_line(
    tmp_path_factory, at_s: float, topic: str, payload: bytes, qos: int, retain: bool, dup: bool
) -> None:
    """Every byte of the payload, every character of the topic, the instant to the millisecond."""
    message = Message(at_s, topic, payload, qos, retain, dup)
    path = write(tmp_path_factory.getbasetemp() / "one.jsonl", message_line(message))
    assert list(read_recording(path)) == [message]


def test_a_hand_made_line_may_leave_out_what_is_usual(tmp_path: Path) -> None:
    """An offset of its own zone, no qos, spaces, blank lines between."""
    path = write(
        tmp_path / "r.jsonl",
        '\n  { "topic" : "t", "payload" : "1.5", "received_at" : "2026-11-30T04:00:00+01:00" }  \r\n\n',
    )
    assert list(read_recording(path)) == [Message(AT_S, "t", b"1.5")]


def test_a_directory_is_read_day_by_day(tmp_path: Path) -> None:
    """Packed days, the open one, and of one day the packed part first."""
    days = {"2026-11-28.jsonl.gz": 0, "2026-11-29.jsonl.gz": 1, "2026-11-29.jsonl": 2, "2026-11-30.jsonl": 3}
    for name, number in days.items():
        line = message_line(MESSAGE._replace(at_s=AT_S + number)).encode()
        (tmp_path / name).write_bytes(gzip.compress(line) if name.endswith("gz") else line)
    (tmp_path / "2026-11-27.jsonl.gz.part").write_bytes(b"half")
    assert [event.at_s - AT_S for event in read_recording(tmp_path)] == [0, 1, 2, 3]


def test_an_empty_directory_says_so(tmp_path: Path) -> None:
    """In place of a replay of nothing."""
    with pytest.raises(RecordingError, match="there is no recording in this directory"):
        list(read_recording(tmp_path))


def test_a_torn_last_line_is_left_out_and_said(tmp_path: Path) -> None:
    """What a power cut leaves; also when it cuts a character in two."""
    for tail in (LINE[:40], LINE[:-2], '{"received_at":"2026-11-30T03:00:00Z","topic":"k'):
        said: list[str] = []
        path = write(tmp_path / "r.jsonl", LINE, tail)
        assert list(read_recording(path, said.append)) == [MESSAGE]
        assert said == [f"{path}, line 2: the last line is torn and left out."]
    path = write(tmp_path / "r.jsonl", LINE, LINE[:40], end=b"\xc3")
    assert list(read_recording(path)) == [MESSAGE]


def test_a_whole_last_line_without_its_end_counts(tmp_path: Path) -> None:
    """Somebody's editor."""
    assert list(read_recording(write(tmp_path / "r.jsonl", LINE, LINE.rstrip()))) == [MESSAGE, MESSAGE]


def test_only_the_newest_file_may_be_torn(tmp_path: Path) -> None:
    """A torn line in the middle of a recording is a hole that must be seen."""
    write(tmp_path / "2026-11-29.jsonl", LINE[:40])
    write(tmp_path / "2026-11-30.jsonl", LINE)
    with pytest.raises(RecordingError, match=r"2026-11-29\.jsonl, line 1: it is no JSON"):
        list(read_recording(tmp_path))


GOOD = '{"received_at":"2026-11-30T03:00:00Z",'


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("nonsense", "it is no JSON (Expecting value at character 1)"),
        ("[1, 2]", "it is no object with the keys of a recording"),
        ("17", "it is no object with the keys of a recording"),
        ('{"topic":"t","payload":"1"}', "the key `received_at` is missing"),
        ('{"received_at":12,"topic":"t","payload":"1"}', "it is no object with the keys of a recording"),
        ('{"received_at":"soon","topic":"t","payload":"1"}', "Invalid isoformat string: 'soon'"),
        ('{"received_at":"2026-11-30T03:00:00","topic":"t","payload":"1"}', "has no offset from UTC"),
        (GOOD + '"topic":"t"}', "the key `payload_b64` is missing"),
        (GOOD + '"topic":"t","payload":{"t":1}}', "it is no object with the keys of a recording"),
        (GOOD + '"topic":"t","payload_b64":"%%%"}', "`payload_b64` is no base64"),
        (GOOD + '"event":"picnic"}', "the event `picnic` is not known"),
        (GOOD + '"qos":1}', "the key `event` is missing"),
        (GOOD + '"event":"clock-step"}', "the key `offset_s` is missing"),
        (GOOD + '"event":"clock-step","offset_s":"x"}', "could not convert string to float: 'x'"),
        (GOOD + '"event":"link-up"} {}', "more follows after the end of the object"),
        ("[" * 100_000, "it is nested too deep"),
        ('{"\udcff', "it is no UTF-8 text"),
    ],
)
def test_a_broken_line_is_named_with_its_file_and_number(tmp_path: Path, line: str, words: str) -> None:
    """One sentence each, exit status 2, and what came before has been handed out."""
    path = tmp_path / "r.jsonl"
    path.write_bytes(LINE.encode() + line.encode("utf-8", "surrogateescape") + b"\n" + LINE.encode())
    events = read_recording(path)
    assert next(events) == MESSAGE
    with pytest.raises(RecordingError) as caught:
        next(events)
    assert str(caught.value).startswith(f"{path}, line 2: ")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.exit_status == 2


def test_a_file_that_is_not_there_or_half_a_file_is_said(tmp_path: Path) -> None:
    """And how far it could be read."""
    with pytest.raises(RecordingError, match=r"missing\.jsonl: it cannot be read: No such file"):
        list(read_recording(tmp_path / "missing.jsonl"))
    whole = gzip.compress(LINE.encode() * 10_000)
    (tmp_path / "half.gz").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(RecordingError, match=r"half\.gz, after line \d+: it cannot be read"):
        list(read_recording(tmp_path / "half.gz"))
    (tmp_path / "noise.gz").write_bytes(whole[:2] + b"\x00" * 100)
    with pytest.raises(RecordingError, match=r"noise\.gz: it cannot be read"):
        list(read_recording(tmp_path / "noise.gz"))


def test_a_long_recording_is_read_in_little_memory(tmp_path: Path) -> None:
    """Streaming: 40,000 messages in less than a megabyte at any time."""
    path = tmp_path / "long.gz"
    with gzip.open(path, "wt") as file:
        for number in range(40_000):
            file.write(message_line(MESSAGE._replace(at_s=AT_S + number)))
    events = read_recording(path)
    next(events)
    tracemalloc.start()
    for _ in itertools.islice(events, 39_000):
        pass
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 1_000_000
    events.close()


def test_a_start_says_when_the_program_was_last_alive_and_a_lost_link_why(tmp_path: Path) -> None:
    """What the engine was told then it is told again, or a replay would say other things."""
    events = [
        Started(AT_S),
        Outcome(AT_S + 60, "broker", False, "connection refused"),
        Started(AT_S + 900, AT_S + 200.5),
    ]
    file = tmp_path / "day.jsonl"
    file.write_text("".join(filter(None, map(event_line, events))), encoding="utf-8")

    assert list(read_recording(file)) == events
