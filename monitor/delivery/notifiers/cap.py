"""Alarms as CAP 1.2 messages (OASIS Standard, 1 July 2010), one XML file for each in a spool directory.

For whoever collects alerts in the open standard's form; they take the files away. A record, not a way to
reach anybody. A notice about several alarms makes several files. What follows on an earlier message refers to
it as long as its file is there, or the program has run since.

Severity is never `Extreme`, which the standard keeps for extraordinary threats to life or property, and a
return to normal is an `Update` whose urgency is `Past`: `Cancel` would say that the alarm was wrong.
"""

import os
import re
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, NamedTuple

from monitor.delivery import keys
from monitor.delivery.notifier import Finding, refuse
from monitor.delivery.plain import file_safe, one_line, plain
from monitor.errors import TemporaryFailure
from monitor.model import Notice, NoticeKind, Priority
from monitor.settings import Site

KIND = "cap"
RECORD_ONLY = True
NEEDS = ("folder", "site")

NAMESPACE = "urn:oasis:names:tc:emergency:cap:1.2"
LONGEST_HEADLINE = 160
"""Characters that the standard recommends for a headline."""

REMEMBERED = 500
"""How many occurrences are remembered."""

RULES: Final[Mapping[str, keys.Rule]] = {"directory": keys.text("the name of a directory", required=True)}

MESSAGE_TYPES: Final[Mapping[NoticeKind, str]] = {
    NoticeKind.ACTIVATION: "Alert",
    NoticeKind.DRILL: "Alert",
    NoticeKind.RAISED: "Update",
    NoticeKind.REPEAT: "Update",
    NoticeKind.ESCALATION: "Update",
    NoticeKind.CLEARED: "Update",
    NoticeKind.SEEN: "Ack",
}
"""A report is no alert: it makes no message."""

SEVERITIES: Final[Mapping[Priority, tuple[str, str, str]]] = {
    Priority.HIGH: ("Execute", "Immediate", "Severe"),
    Priority.MEDIUM: ("Prepare", "Expected", "Moderate"),
    Priority.LOW: ("Monitor", "Future", "Minor"),
}
"""Response type, urgency, severity."""

WEATHER = frozenset(
    (
        "low-temperature", "cooling-fast", "frost-tonight", "vents-open", "high-temperature", "dry-air",
        "sun-ahead", "warm-spell",
    )
)  # fmt: skip
DEVICES = frozenset(
    (
        "heater-not-holding", "sensor-silent", "sensor-doubtful", "battery-low", "unwatched", "was-off",
        "broker-lost", "storage-failing", "delivery-failing", "clock-doubtful", "restarting",
    )
)  # fmt: skip
FORESEEN = frozenset(("cooling-fast", "frost-tonight", "vents-open", "sun-ahead"))
NOT_KNOWN = frozenset(("sensor-silent", "sensor-doubtful", "unwatched", "broker-lost", "wrap-unknown"))


def problems(name: str, values: Mapping[str, object]) -> list[Finding]:
    """Wrong keys."""
    return keys.findings(RULES, values)


def create(name: str, values: Mapping[str, Any], files: Callable[[str], str]) -> "Cap":
    """A spool in `directory`, which if relative stands beside the configuration; made with the first file."""
    refuse(name, problems(name, {key: value for key, value in values.items() if key not in NEEDS}))
    return Cap(Path(values["folder"]) / values["directory"], values["site"])


class Sent(NamedTuple):
    """What an earlier message is referred to by."""

    sent: str
    identifier: str


class Cap:
    """One spool directory."""

    def __init__(self, directory: Path, site: Site) -> None:
        self._directory = directory
        self._site = site
        self._sender = f"aftercare@{file_safe(site.name.lower())}"
        self._last: dict[str, list[Sent]] = {}

    def __repr__(self) -> str:
        return f"Cap({self._directory})"

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Write one file for each alarm of the notice; the same notice again replaces them."""
        if notice.kind not in MESSAGE_TYPES:
            return
        try:
            self._directory.mkdir(mode=0o700, parents=True, exist_ok=True)
            for number, alarm in enumerate(notice.details or ({},)):
                self._write(notice, number, alarm)
        except OSError as fault:
            reason = fault.strerror or type(fault).__name__
            raise TemporaryFailure(f"{self._directory} cannot be written: {reason}") from fault

    def close(self) -> None:
        """Nothing is held."""

    def _write(self, notice: Notice, number: int, alarm: Mapping[str, Any]) -> None:
        occurrence = file_safe(str(alarm.get("occurrence") or notice.notice))
        own = Sent(date_time(notice.at_s), f"{occurrence}.{file_safe(notice.notice)}.{number}")
        before = [one for one in self._earlier(occurrence) if one != own]
        kind = MESSAGE_TYPES[notice.kind] if before or notice.kind is NoticeKind.SEEN else "Alert"
        if kind == "Ack" and not before:
            return
        alert = ET.Element("alert", xmlns=NAMESPACE)
        _add(alert, self._header(notice, own, kind, before[-1] if before else None, occurrence))
        _add(ET.SubElement(alert, "info"), self._info(notice, alarm))
        ET.indent(alert)
        put(self._directory / file_name(own), ET.tostring(alert, encoding="utf-8", xml_declaration=True))
        self._last[occurrence] = [*before[-1:], own]
        if len(self._last) > REMEMBERED:
            del self._last[next(iter(self._last))]

    def _header(
        self, notice: Notice, own: Sent, kind: str, before: Sent | None, occurrence: str
    ) -> Iterator[tuple[str, str]]:
        """The elements of `alert` before `info`, in the order of the schema."""
        drill = notice.kind is NoticeKind.DRILL
        yield "identifier", own.identifier
        yield "sender", self._sender
        yield "sent", own.sent
        yield "status", "Test" if drill else "Actual"
        yield "msgType", kind
        yield "scope", "Restricted"
        yield "restriction", f"For those who look after the trees of {one_line(self._site.name)}"
        if before is not None and kind != "Alert":
            yield "references", f"{self._sender},{before.identifier},{before.sent}"
        if not drill:
            yield "incidents", occurrence

    def _info(self, notice: Notice, alarm: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """The elements of `info`, in the order of the schema."""
        kind = str(alarm.get("kind", "drill" if notice.kind is NoticeKind.DRILL else "alarm"))
        over = notice.kind is NoticeKind.CLEARED
        response, urgency, severity = SEVERITIES[_priority(notice, alarm)]
        site, subject = one_line(self._site.name), one_line(str(alarm.get("subject", "")))
        why = " ".join(plain(str(alarm[key])) for key in ("cause", "consequence") if alarm.get(key))
        yield "language", "en-GB"
        yield "category", "Met" if kind in WEATHER else "Infra" if kind in DEVICES else "Other"
        yield "event", one_line(kind.replace("-", " "))
        yield "responseType", "AllClear" if over else response
        yield "urgency", "Past" if over else urgency
        yield "severity", severity
        yield "certainty", _certainty(kind, alarm)
        yield "senderName", site
        yield "headline", one_line(notice.subject, LONGEST_HEADLINE)
        yield "description", plain(notice.text) if over or not why else why
        if alarm.get("action") and not over:
            yield "instruction", plain(str(alarm["action"]))
        for key in ("alarm", "value", "limit", "quality"):
            if alarm.get(key) is not None:
                yield f"parameter {key}", one_line(str(alarm[key]))
        yield "area", site if subject in ("", "site") else f"{site}, {subject}"

    def _earlier(self, occurrence: str) -> list[Sent]:
        """Earlier messages about an occurrence, oldest first: from memory, else from the files' names."""
        known = self._last.get(occurrence)
        if known is None:
            paths = self._directory.glob(f"*--{occurrence}.*.xml")
            known = sorted(sent for path in paths if (sent := sent_from_name(path.name)) is not None)
        return known


def date_time(at_s: float) -> str:
    """A dateTime as the schema wants it: whole seconds, and `-00:00` for UTC, never `Z`."""
    return datetime.fromtimestamp(int(at_s), UTC).strftime("%Y-%m-%dT%H:%M:%S-00:00")


def file_name(sent: Sent) -> str:
    """`20260114T031000--<identifier>.xml`: in the order of time, and all that a reference needs."""
    return f"{sent.sent[:19].replace('-', '').replace(':', '')}--{sent.identifier}.xml"


_NAME = re.compile(r"(\d{4})(\d\d)(\d\d)T(\d\d)(\d\d)(\d\d)--(.+)\.xml")


def sent_from_name(name: str) -> Sent | None:
    """The opposite of `file_name`; None for a name that is not ours."""
    parts = _NAME.fullmatch(name)
    if parts is None:
        return None
    year, month, day, hour, minute, second, identifier = parts.groups()
    return Sent(f"{year}-{month}-{day}T{hour}:{minute}:{second}-00:00", identifier)


def put(path: Path, content: bytes) -> None:
    """Write a file that is there whole or not at all, also after a power cut."""
    beside = path.with_name(f".{path.name}.new")
    with beside.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    directory = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(directory)
    finally:
        os.close(directory)


def _add(parent: ET.Element, elements: Iterator[tuple[str, str]]) -> None:
    """Append elements; a parameter and an area have an inner structure of their own."""
    for name, text in elements:
        if name.startswith("parameter "):
            parameter = ET.SubElement(parent, "parameter")
            ET.SubElement(parameter, "valueName").text = name.removeprefix("parameter ")
            ET.SubElement(parameter, "value").text = text
        elif name == "area":
            ET.SubElement(ET.SubElement(parent, "area"), "areaDesc").text = text
        else:
            ET.SubElement(parent, name).text = text


def _priority(notice: Notice, alarm: Mapping[str, Any]) -> Priority:
    """The alarm's own priority, else that of the notice."""
    try:
        return Priority(alarm["priority"])
    except (KeyError, ValueError):
        return notice.priority


def _certainty(kind: str, alarm: Mapping[str, Any]) -> str:
    """How sure the message is: measured, foreseen, doubtful or not known."""
    if kind in NOT_KNOWN:
        return "Unknown"
    if kind in FORESEEN:
        return "Likely"
    return "Observed" if alarm.get("quality", "good") == "good" else "Possible"
