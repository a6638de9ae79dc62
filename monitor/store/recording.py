"""Raw messages with the instant they arrived, as JSON Lines: one file a day, gzipped when the day is over.

`Recorder` writes what the engine is told, `read_recording` gives it back as the same events. Instants in
the file are guard time. It knows nothing of what a payload says.
"""

import base64
import binascii
import gzip
import json
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from monitor.clock import parse_rfc3339, rfc3339
from monitor.errors import RecordingError
from monitor.model import ClockStep, Command, Event, Message, Outcome, Started
from monitor.store.lines import dumps

COMMANDS = ("ack", "shelve", "resume", "worth")
"""The commands that change what the engine says later."""
_GZIP_MAGIC = b"\x1f\x8b"


def event_line(event: Event, label: Callable[[float], str] = rfc3339) -> str | None:
    """One line with its newline; None for an event that is made anew when replaying."""
    if isinstance(event, Message):
        return message_line(event, label)
    values = _event_values(event)
    if values is None:
        return None
    return dumps({"received_at": label(event.at_s)} | values) + "\n"


def message_line(message: Message, label: Callable[[float], str] = rfc3339) -> str:
    """One message; bytes that are not UTF-8 stand base64 in `payload_b64`."""
    try:
        key, text = "payload", message.payload.decode()
    except UnicodeDecodeError:
        key, text = "payload_b64", base64.b64encode(message.payload).decode("ascii")
    return (
        f'{{"received_at":"{label(message.at_s)}","topic":{_quoted(message.topic)},"{key}":{_quoted(text)},'
        f'"qos":{message.qos:d},"retain":{_TRUTH[message.retain]},"dup":{_TRUTH[message.dup]}}}\n'
    )


_TRUTH = {False: "false", True: "true"}
_quoted = json.JSONEncoder(ensure_ascii=False).encode


def _event_values(event: Event) -> dict[str, Any] | None:
    match event:
        case Outcome(part="broker"):
            detail = {"detail": event.detail} if event.detail else {}
            return {"event": "link-up" if event.ok else "link-down"} | detail
        case Started():
            alive_s = event.last_alive_at_s
            alive = {} if alive_s is None else {"last_alive_at": rfc3339(alive_s)}
            told = {"clock_trusted": False} if not event.clock_trusted else {}
            told |= {"orderly": True} if event.orderly else {}
            return {"event": "started"} | alive | told
        case ClockStep():
            return {"event": "clock-step", "offset_s": round(event.offset_s, 3)}
        case Command() if event.name in COMMANDS:
            return {"event": event.name} | _command_values(event.values) | {"by": event.by}
    return None


def _command_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """What a command says; one alarm stands as `alarm`, several as `alarms`."""
    rest = dict(values)
    alarms = rest.get("alarms")
    if isinstance(alarms, list | tuple) and len(alarms) == 1:
        del rest["alarms"]
        rest = {"alarm": alarms[0]} | rest
    return rest


# ---- reading -------------------------------------------------------------------------------------------


def read_recording(path: Path, say: Callable[[str], None] = lambda text: None) -> Iterator[Event]:
    """The events of a recording in order of arrival, one at a time.

    `path` is a file, gzipped or not, or the daemon's whole `recording` directory. The torn last line of the
    (newest) file is left out and told to `say`. Raises RecordingError with file and line of anything that
    cannot be read.
    """
    files = recording_files(path) if path.is_dir() else [path]
    if not files:
        raise RecordingError(f"{path}: there is no recording in this directory.")
    last_at_s: float | None = None
    for file in files:
        for event in _read_file(file, last_at_s, say if file is files[-1] else None):
            last_at_s = event.at_s
            yield event


def recording_files(directory: Path) -> list[Path]:
    """A recording directory's files, oldest first; of one day the gzipped part goes before the open one."""
    found = [file for file in directory.iterdir() if file.name.endswith((".jsonl", ".jsonl.gz"))]
    return sorted(found, key=lambda file: (file.name.split(".")[0], not file.name.endswith(".gz")))


def recording_lines(directory: Path, from_s: float, to_s: float) -> Iterator[Mapping[str, Any]]:
    """The lines of a recording directory that came between two instants, as they stand."""
    for file in recording_files(directory):
        try:
            with _opened(file) as lines:
                for line in lines:
                    values = _line_or_none(line)
                    if values is not None and from_s <= parse_rfc3339(values["received_at"]) < to_s:
                        yield values
        except (OSError, EOFError, zlib.error) as error:
            raise RecordingError(f"{file}: it cannot be read: {_reason(error)}.") from error


def _line_or_none(line: bytes) -> Mapping[str, Any] | None:
    try:
        values = json.loads(line)
    except ValueError:
        return None
    return values if isinstance(values, dict) and isinstance(values.get("received_at"), str) else None


def _read_file(path: Path, last_at_s: float | None, say: Callable[[str], None] | None) -> Iterator[Event]:
    number = 0
    line = b""
    try:
        with _opened(path) as lines:
            for number, line in enumerate(lines, start=1):  # noqa: B007 - told when something is wrong
                if line.isspace():
                    continue
                event = _parsed(line, last_at_s)
                last_at_s = event[0] if type(event) is Message else event.at_s
                yield event
    except (OSError, EOFError, zlib.error) as error:
        place = f"{path}, after line {number}" if number else f"{path}"
        raise RecordingError(f"{place}: it cannot be read: {_reason(error)}.") from error
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        if say is not None and not line.endswith(b"\n"):
            say(f"{path}, line {number}: the last line is torn and left out.")
            return
        raise RecordingError(f"{path}, line {number}: {_reason(error)}.") from error


@contextmanager
def _opened(path: Path) -> Iterator[Iterable[bytes]]:
    with path.open("rb") as file:
        if file.peek(2)[:2] == _GZIP_MAGIC:
            with gzip.GzipFile(fileobj=file) as unpacked:
                yield unpacked
        else:
            yield file


def _reason(error: Exception) -> str:
    """What is wrong with a line or a file, for people."""
    match error:
        case json.JSONDecodeError():
            return f"it is no JSON ({error.msg} at character {error.pos + 1})"
        case UnicodeDecodeError():
            return "it is no UTF-8 text"
        case binascii.Error():
            return "`payload_b64` is no base64"
        case KeyError():
            return f"the key `{error.args[0]}` is missing"
        case TypeError() | AttributeError():
            return "it is no object with the keys of a recording"
        case RecursionError():
            return "it is nested too deep"
        case OSError() if error.strerror:
            return error.strerror
    return str(error) or type(error).__name__


_scan = json.JSONDecoder().raw_decode


def _parsed(line: bytes, last_at_s: float | None) -> Event:
    """The event of one line; ValueError, KeyError or TypeError when it is none."""
    text = line.decode().strip()
    values, end = _scan(text)
    if end != len(text):
        raise ValueError("more follows after the end of the object")
    at_s = parse_rfc3339(values["received_at"])
    topic = values.get("topic")
    if topic is None:
        return _event(values, at_s, last_at_s)
    payload = values.get("payload")
    data = payload.encode() if payload is not None else base64.b64decode(values["payload_b64"], validate=True)
    return Message(
        at_s, topic, data, values.get("qos", 1), values.get("retain", False), values.get("dup", False)
    )


def _event(values: Mapping[str, Any], at_s: float, last_at_s: float | None) -> Event:
    name = values["event"]
    if name in ("link-up", "link-down"):
        return Outcome(at_s, "broker", name == "link-up", str(values.get("detail", "")))
    if name == "started":
        alive = values.get("last_alive_at")
        alive_s = last_at_s if alive is None else parse_rfc3339(alive)
        trusted, orderly = values.get("clock_trusted", True), values.get("orderly", False)
        return Started(at_s, alive_s, bool(trusted), bool(orderly))
    if name == "clock-step":
        return ClockStep(at_s, float(values["offset_s"]))
    if name in COMMANDS:
        rest = {key: value for key, value in values.items() if key not in ("received_at", "event", "by")}
        return Command(at_s, name, rest, str(values.get("by", "")))
    raise ValueError(f"the event `{name}` is not known")
