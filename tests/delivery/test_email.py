"""Mail through a real SMTP server and back through Python's own parser."""

from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from itertools import repeat

import pytest

from monitor.delivery.notifiers import email
from monitor.delivery.notifiers.email import Email
from monitor.errors import DeliveryFailure, PermanentFailure, SettingsError, TemporaryFailure
from monitor.model import NoticeKind, Priority
from monitor.testing import sample_notice
from tests.delivery.cases import mail_values
from tests.support.certificate import CERTIFICATE
from tests.support.servers import DROP, HANG, MailServer, greeting

NOTICE = sample_notice("mail")
AT_S = NOTICE.at_s


def mailer(port: int, secrets: dict[str, str] | None = None, **more: object) -> Email:
    """A mailer to this computer."""
    return email.create("mail", mail_values(port, **more), (secrets or {}).__getitem__)


def failure_of(notifier: Email) -> DeliveryFailure:
    """How delivering the sample notice fails."""
    with pytest.raises(DeliveryFailure) as caught:
        notifier.deliver(NOTICE, 0.0, AT_S)
    return caught.value


def test_a_mail_says_the_same_as_the_notice() -> None:
    """Subject, text, page and what filters need, each read back by a general-purpose parser (independent)."""
    notice = sample_notice("mail", html="<p>Yew 2 at −2.4 °C</p>")
    with MailServer() as server:
        mailer(server.port).deliver(notice, 0.0, AT_S)

        mail = server.mails[0].message

    assert server.mails[0].to == ("grower@example.org",)
    assert mail["From"] == "house@example.org"
    assert mail["To"] == "grower@example.org"
    assert mail["Subject"] == notice.subject
    assert parsedate_to_datetime(mail["Date"]) == datetime(2026, 1, 14, 3, 10, tzinfo=UTC)
    assert mail["X-Aftercare-Notice"] == "n-000001"
    assert mail["X-Aftercare-Kind"] == "activation"
    assert mail["X-Aftercare-Occurrence"] == "low-temperature/yew-2@2026-01-14T03:10:00Z"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["Importance"] == "high"
    assert mail.get_content_type() == "multipart/alternative"
    text, page = mail.iter_parts()
    assert text.get_content_type() == "text/plain"
    assert text.get_content().splitlines() == notice.text.splitlines()
    assert page.get_content_type() == "text/html"
    assert page.get_content().splitlines() == [notice.html]


def test_a_notice_without_a_page_is_plain_text() -> None:
    """And what is not high does not call itself important."""
    with MailServer() as server:
        mailer(server.port).deliver(sample_notice("mail", priority=Priority.LOW), 0.0, AT_S)

        mail = server.mails[0].message

    assert mail.get_content_type() == "text/plain"
    assert mail["Importance"] is None


def test_a_mail_sent_again_keeps_its_id_and_date() -> None:
    """After a lost reply the copy is known for what it is, also from a program started again."""
    with MailServer() as server:
        mailer(server.port).deliver(NOTICE, 0.0, AT_S)
        mailer(server.port).deliver(NOTICE, 300.25, AT_S + 300.25)

        first, second = (mail.message for mail in server.mails)

    assert first["Message-ID"] == second["Message-ID"]
    assert first["Date"] == second["Date"]


def test_mails_about_one_occurrence_form_one_thread() -> None:
    """A later mail answers the first one; another occurrence has a thread of its own."""
    with MailServer() as server:
        sender = mailer(server.port)
        for notice, kind, occurrences in (
            ("n1", NoticeKind.ACTIVATION, ("a",)),
            ("n2", NoticeKind.RAISED, ("a", "b")),
            ("n3", NoticeKind.CLEARED, ("a",)),
            ("n4", NoticeKind.ACTIVATION, ("c",)),
        ):
            sender.deliver(
                sample_notice("mail", notice=notice, kind=kind, occurrences=occurrences), 0.0, AT_S
            )
        mailer(server.port).deliver(sample_notice("mail", notice="n5", occurrences=("a",)), 0.0, AT_S)
        n1, n2, n3, n4, n5 = (mail.message for mail in server.mails)

    assert len({mail["Message-ID"] for mail in (n1, n2, n3, n4, n5)}) == 5
    assert n2["In-Reply-To"] == n1["Message-ID"] == n3["In-Reply-To"]
    assert n1["Message-ID"] in n3["References"].split()
    assert n2["X-Aftercare-Occurrence"].split(", ") == ["a", "b"]
    shared = set(n1["References"].split())
    assert shared <= set(n2["References"].split())
    assert shared <= set(n5["References"].split())  # after a restart, when n1 is no longer remembered
    assert shared.isdisjoint(n4["References"].split())
    assert n4["In-Reply-To"] not in {n1["Message-ID"], n1["In-Reply-To"]}


def test_many_occurrences_and_long_names_survive_the_header() -> None:
    """Folded lines come back as they were (independent: Python's parser); none has over 998 bytes."""
    occurrences = tuple(f"low-temperature/{'larch-' * 9}{n}@2026-01-14T03:10:00Z" for n in range(20))
    subject = "Lärche 3 at −2.4 °C; " * 12
    with MailServer() as server:
        mailer(server.port).deliver(
            sample_notice("mail", occurrences=occurrences, subject=subject), 0.0, AT_S
        )
        mail = server.mails[0]

    assert tuple(mail.message["X-Aftercare-Occurrence"].split(", ")) == occurrences
    assert mail.message["Subject"] == subject.strip()
    assert max(map(len, mail.raw.split(b"\r\n"))) <= 998


def test_a_name_cannot_add_a_header_or_a_recipient() -> None:
    """A tree's name with line ends in it stays inside its line."""
    name = "Yew 2\r\nBcc: thief@example.org\r\n\r\nIgnore the rest"
    with MailServer() as server:
        mailer(server.port).deliver(
            sample_notice("mail", notice=name, subject=name, occurrences=(name,)), 0.0, AT_S
        )
        mail = server.mails[0]

    assert mail.to == ("grower@example.org",)
    assert mail.message["Bcc"] is None
    assert mail.message["Subject"] == "Yew 2 Bcc: thief@example.org Ignore the rest"


def test_a_line_with_a_single_dot_does_not_end_the_mail() -> None:
    """Transparency of RFC 5321, 4.5.2."""
    with MailServer() as server:
        mailer(server.port).deliver(sample_notice("mail", text="before\n.\n..after"), 0.0, AT_S)

        assert server.mails[0].message.get_content().splitlines() == ["before", ".", "..after"]


@pytest.mark.parametrize(
    ("stage", "reply", "permanent"),
    [
        ("MAIL", "451 4.3.0 try later", False),
        ("MAIL", "550 5.7.1 not from you", True),
        ("RCPT", "450 4.2.0 greylisted", False),
        ("RCPT", "550 5.1.1 no such user", True),
        ("DATA", "452 4.2.2 mailbox full", False),
        ("DATA", "554 5.6.0 not wanted", True),
        ("DATA", "421 4.3.2 shutting down", False),
    ],
)
def test_refusals_mean_what_their_first_digit_says(stage: str, reply: str, permanent: bool) -> None:
    """RFC 5321, 4.2.1 (published): 4yz is for now, 5yz for good; the server's words are passed on."""
    with MailServer() as server:
        server.faults[stage] = iter([reply])
        sender = mailer(server.port)

        failure = failure_of(sender)

        assert isinstance(failure, PermanentFailure if permanent else TemporaryFailure)
        assert reply.split(" ", 1)[1] in failure.message
        sender.deliver(NOTICE, 0.0, AT_S)
        assert len(server.mails) == 1


@pytest.mark.parametrize(
    ("line", "permanent"),
    [("554 no service here", True), ("421 too busy", False), ("SSH-2.0-x", False), (HANG, False)],
)
def test_a_strange_greeting_is_told_apart(line: str, permanent: bool) -> None:
    """Refused at the door, busy, something else than mail, silent."""
    with greeting(line) as port:
        failure = failure_of(mailer(port))

    assert isinstance(failure, PermanentFailure if permanent else TemporaryFailure)
    assert f"127.0.0.1:{port}" in failure.message


def test_a_server_that_is_not_there_is_a_temporary_failure() -> None:
    """The message names the server."""
    server = MailServer()

    failure = failure_of(mailer(server.port))

    assert isinstance(failure, TemporaryFailure)
    assert f"mail server 127.0.0.1:{server.port} could not be reached" in failure.message


def test_silence_and_a_lost_reply_are_temporary() -> None:
    """The second mail after a lost reply has the id of the first."""
    with MailServer() as server:
        sender = mailer(server.port)
        server.faults["DATA"] = iter([HANG, DROP])

        assert "did not answer within 1 s" in failure_of(sender).message
        assert isinstance(failure_of(sender), TemporaryFailure)
        sender.deliver(NOTICE, 0.0, AT_S)

    assert len({mail.message["Message-ID"] for mail in server.mails}) == 1
    assert len(server.mails) == 2


def test_a_wrong_password_is_permanent_and_never_repeated() -> None:
    """The failure says where to look, and holds no secret."""
    with MailServer(login=("house", "correct horse")) as server:
        login = {"username": "house", "password_file": "p"}

        failure = failure_of(mailer(server.port, {"p": "wrong horse"}, **login))

        assert isinstance(failure, PermanentFailure)
        assert "refused the user name or password" in failure.message
        assert "horse" not in str(failure)
        mailer(server.port, {"p": "correct horse"}, **login).deliver(NOTICE, 0.0, AT_S)
        assert len(server.mails) == 1


def test_a_server_that_demands_a_login_is_permanent() -> None:
    """530 without a user name in the configuration."""
    with MailServer(login=("house", "correct horse")) as server:
        assert isinstance(failure_of(mailer(server.port)), PermanentFailure)


def test_one_refused_address_does_not_have_the_others_told_twice() -> None:
    """Who has had the mail is left out when it is tried again; who is refused for good is named."""
    both = {"to": ["ann@example.org", "tom@example.org"]}
    with MailServer() as server:
        sender = mailer(server.port, **both)
        server.faults["tom@example.org"] = iter(["450 4.2.0 greylisted"])
        failure = failure_of(sender)
        sender.deliver(NOTICE, 0.0, AT_S)

        assert isinstance(failure, TemporaryFailure)
        assert [mail.to for mail in server.mails] == [("ann@example.org",), ("tom@example.org",)]
        server.faults["tom@example.org"] = iter(["550 5.1.1 no such user"])
        failure = failure_of(mailer(server.port, **both))
        assert isinstance(failure, PermanentFailure)
        assert "tom@example.org: 550 5.1.1 no such user" in failure.message
        assert "ann@example.org" not in failure.message


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_a_protected_connection_demands_the_right_certificate(security: str) -> None:
    """A certificate that nobody vouches for is not believed; with `ca_file` it is."""
    with MailServer(login=("house", "pw"), security=security) as server:
        login = {"host": "localhost", "security": security, "username": "house", "password_file": "p"}
        secrets = {"p": "pw", "ca": CERTIFICATE}

        failure = failure_of(mailer(server.port, secrets, **login))

        assert isinstance(failure, TemporaryFailure)
        assert "could not prove who it is" in failure.message
        assert "AUTH" not in server.seen
        mailer(server.port, secrets, **login, ca_file="ca").deliver(NOTICE, 0.0, AT_S)
        assert len(server.mails) == 1


def test_a_password_never_crosses_a_connection_that_could_not_be_protected() -> None:
    """A server without STARTTLS is refused for good, before the login."""
    with MailServer(login=("house", "pw")) as server:
        sender = mailer(server.port, {"p": "pw"}, security="starttls", username="house", password_file="p")

        assert isinstance(failure_of(sender), PermanentFailure)
        assert "AUTH" not in server.seen


def test_nothing_that_happens_after_the_mail_is_taken_is_a_failure() -> None:
    """Each mail is sent once, though this server never answers a farewell."""
    with MailServer() as server:
        server.faults["QUIT"] = repeat(HANG)
        mailer(server.port).deliver(NOTICE, 0.0, AT_S)

        assert len(server.mails) == 1


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"host": ""}, "host"),
        ({"host": "mail server"}, "host"),
        ({"host": "a..b"}, "host"),
        ({"port": 0}, "port"),
        ({"port": True}, "port"),
        ({"port": "25"}, "port"),
        ({"security": "ssl"}, "security"),
        ({"from": "House <house@example.org>"}, "from"),
        ({"from": "house@example.org\nBcc: x@y"}, "from"),
        ({"to": "grower@example.org"}, "to"),
        ({"to": []}, "to"),
        ({"to": ["a@b", "ü@example.org"]}, "to"),
        ({"timeout_s": 51}, "timeout_s"),
        ({"timeout_s": float("nan")}, "timeout_s"),
        ({"username": "house"}, "password_file"),
        ({"password_file": "p"}, "username"),
        ({"host": "mail.example.org", "security": "none", "username": "a", "password_file": "p"}, "security"),
        ({"password": "hunter2"}, "password"),
    ],
)
def test_wrong_settings_are_named_by_their_key(changes: dict[str, object], key: str) -> None:
    """The finding names the key and never repeats a value; create() refuses the same."""
    values = {**mail_values(25), **changes}

    found = email.problems("mail", values)

    assert [one for one, _, _ in found] == [key]
    assert "hunter2" not in str(found)
    with pytest.raises(SettingsError, match=f"notifiers.mail.{key}"):
        email.create("mail", values, {"p": "pw"}.__getitem__)


@pytest.mark.parametrize(
    ("values", "security"),
    [
        ({"host": "127.0.0.1"}, "none"),
        ({"host": "localhost"}, "none"),
        ({"host": "::1"}, "none"),
        ({"host": "mail.example.org"}, "starttls"),
        ({"host": "mail.example.org", "port": 465}, "tls"),
        ({"host": "mail.example.org", "port": 25, "security": "none"}, "none"),
    ],
)
def test_what_is_left_out_is_safe(values: dict[str, object], security: str) -> None:
    """To any other machine the connection is protected unless somebody asked otherwise."""
    assert email.security_of(values) == security


def test_a_password_or_certificate_that_cannot_be_right_is_refused_at_start() -> None:
    """Named by its key."""
    login = {"username": "house", "password_file": "p"}
    with pytest.raises(SettingsError, match="password_file"):
        mailer(25, {"p": "päss"}, **login)
    with pytest.raises(SettingsError, match="ca_file"):
        mailer(25, {"ca": "no certificate"}, security="tls", ca_file="ca")
