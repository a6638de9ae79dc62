"""What the journal is given."""

import io
import sys

import pytest

from monitor.delivery.notifiers import journal
from monitor.errors import SettingsError, TemporaryFailure
from monitor.model import NoticeKind
from monitor.testing import sample_notice

QUIET = {"log": ""}.__getitem__


@pytest.mark.parametrize(
    ("kind", "level"),
    [
        (NoticeKind.ACTIVATION, 2),
        (NoticeKind.RAISED, 2),
        (NoticeKind.ESCALATION, 2),
        (NoticeKind.REPEAT, 4),
        (NoticeKind.SEEN, 5),
        (NoticeKind.CLEARED, 5),
        (NoticeKind.DRILL, 5),
        (NoticeKind.REPORT, 6),
    ],
)
def test_each_kind_has_its_level_on_every_line(
    kind: NoticeKind, level: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """Levels of syslog(3) as sd-daemon(3) has them (from memory); what must survive a power cut is CRIT."""
    journal.create("log", {}, QUIET).deliver(
        sample_notice(kind=kind, subject="Cold", text="a\n\nb"), 0.0, 0.0
    )

    assert capsys.readouterr().err == f"<{level}>Cold\n<{level}>a\n<{level}>b\n"


def test_a_name_cannot_begin_a_line_or_steer_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    """Line ends in a subject, escapes in a text."""
    notice = sample_notice(subject="Yew\n<0>panic", text="\x1b]0;owned\x07cold\r<0>b")

    journal.create("log", {}, QUIET).deliver(notice, 0.0, 0.0)

    assert capsys.readouterr().err == "<2>Yew <0>panic\n<2> ]0;owned cold\n<2><0>b\n"


def test_a_journal_that_cannot_be_written_is_a_temporary_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    """Full disk behind it, or closed."""
    log = journal.create("log", {}, QUIET)
    closed = io.StringIO()
    closed.close()
    monkeypatch.setattr(sys, "stderr", closed)

    with pytest.raises(TemporaryFailure, match="cannot be written"):
        log.deliver(sample_notice(), 0.0, 0.0)


def test_it_has_no_settings_and_is_only_a_record() -> None:
    """It reaches nobody."""
    with pytest.raises(SettingsError, match=r"notifiers\.log\.level"):
        journal.create("log", {"level": 3}, QUIET)
    assert journal.RECORD_ONLY
