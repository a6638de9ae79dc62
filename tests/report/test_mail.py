"""A morning report through a real mail server: text first, page with its pictures, calendar beside it.

Independent: Python's own parser of mails, and icalendar for the calendar.
"""

import base64
from collections.abc import Callable
from email.message import EmailMessage

import icalendar
import pytest

from monitor.delivery.inline import as_parts
from monitor.delivery.notifiers import email
from monitor.model import Notice, NoticeKind, Priority, Report
from monitor.report.pictures import with_images
from tests.report.nights import Played
from tests.support.servers import MailServer

PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(40))


def sent(report: Report, html: str) -> EmailMessage:
    """What arrives when the report's notice is delivered."""
    notice = Notice(
        report.at_s, report.notice, NoticeKind.REPORT, Priority.LOW, "mail", report.subject, report.text,
        html=html, calendar=report.calendar, pictures=report.pictures,
    )  # fmt: skip
    with MailServer() as server:
        values = {
            "host": "127.0.0.1", "port": server.port, "from": "house@example.org", "to": ["g@example.org"]
        }  # fmt: skip
        email.create("mail", values, {}.__getitem__).deliver(notice, 0.0, report.at_s)
        return server.mails[0].message


@pytest.fixture(scope="module")
def report(played: Callable[[str], Played]) -> Report:
    """The report of a night of frost."""
    return played("frost-with-heater-failure").reports[0]


@pytest.fixture(scope="module")
def mail(report: Report) -> EmailMessage:
    """It as a mail, pictures and all."""
    return sent(report, with_images(report.html, report.pictures))


def test_a_mail_has_text_page_pictures_and_calendar_in_their_places(mail: EmailMessage) -> None:
    """Published: RFC 2046 5.1.4 (plainest first), RFC 2387 (related, with `type`), RFC 2392 (cid)."""
    assert mail.get_content_type() == "multipart/mixed"
    alternative, calendar = mail.iter_parts()
    assert alternative.get_content_type() == "multipart/alternative"
    text, related = alternative.iter_parts()
    assert text.get_content_type() == "text/plain"
    assert related.get_content_type() == "multipart/related"
    assert related.get_param("type") == "text/html"
    page, picture = related.iter_parts()
    assert page.get_content_type() == "text/html"
    assert picture.get_content_type() == "image/png"
    assert picture.get_content_disposition() == "inline"
    assert f'src="cid:{picture["Content-ID"].strip("<>")}"' in page.get_content()
    assert calendar.get_content_type() == "text/calendar"
    assert calendar.get_filename() == "trees-to-look-after.ics"


def test_what_arrives_is_what_was_sent(mail: EmailMessage, report: Report) -> None:
    """Text line by line, the picture byte by byte, the calendar as another program reads it."""
    text = mail.get_body(("plain",))
    page = mail.get_body(("html",))
    assert text is not None
    assert page is not None
    assert text.get_content().splitlines() == report.text.splitlines()
    assert mail["Subject"] == report.subject
    assert "data:image" not in page.get_content()
    picture = next(part for part in mail.walk() if part.get_content_type() == "image/png")
    assert picture.get_content().startswith(b"\x89PNG\r\n\x1a\n")
    calendar = next(part for part in mail.walk() if part.get_content_type() == "text/calendar")
    data = calendar.get_payload(decode=True)
    assert data == report.calendar.encode()
    events = icalendar.Calendar.from_ical(data).walk("VEVENT")
    assert any(str(event["summary"]).startswith("Larch 3: ") for event in events)


def test_the_first_words_say_it_all(mail: EmailMessage) -> None:
    """A phone shows some sixty characters."""
    text = mail.get_body(("plain",))
    assert text is not None

    assert text.get_content()[:60] == "Frost reached Larch 3: −2.5 °C at 03:36, damage likely below"


def test_no_blank_of_a_subject_is_lost_wherever_it_is_folded(report: Report) -> None:
    """Independent: Python's parser gives back every subject that was sent, at every length."""
    with MailServer() as server:
        values = {"host": "127.0.0.1", "port": server.port, "from": "h@example.org", "to": ["g@example.org"]}
        mailer = email.create("mail", values, {}.__getitem__)
        subjects = [f"{'x' * pad} −2.5 °C at 03:36, über −1 °C, Lärche ärger" for pad in range(1, 90, 4)]
        for number, subject in enumerate(subjects):
            notice = Notice(0.0, f"n{number}", NoticeKind.REPORT, Priority.LOW, "mail", subject, "text")
            mailer.deliver(notice, 0.0, 0.0)
        assert [mail.message["Subject"] for mail in server.mails] == subjects
        assert all(
            len(line) <= 78 for mail in server.mails for line in mail.raw.split(b"\r\n\r\n")[0].split(b"\r\n")
        )


def test_a_page_without_pictures_is_not_wrapped(report: Report) -> None:
    """And a mail without a calendar has nothing beside it."""
    bare = Report(report.at_s, report.date, report.subject, report.text, report.html)

    mail = sent(bare, report.html)

    assert mail.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/html"]


def test_pictures_leave_the_page_and_keep_their_order() -> None:
    """Two houses; what is not base64 stays."""
    two = [base64.b64encode(PNG + number).decode() for number in (b"1", b"2")]
    page = f'<img src="data:image/png;base64,{two[0]}"><img src="data:image/png;base64,{two[1]}">'
    bad = '<img src="data:image/png;base64,A">'

    found, parts = as_parts(page + bad, "report@example.org")

    assert (
        found
        == '<img src="cid:picture-1.report@example.org"><img src="cid:picture-2.report@example.org">' + bad
    )
    assert parts == (
        ("picture-1.report@example.org", PNG + b"1"),
        ("picture-2.report@example.org", PNG + b"2"),
    )
