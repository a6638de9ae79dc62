"""Notices as mail, through any SMTP server (RFC 5321 and 6409), with the standard library alone.

`250` means that the server has taken the mail, not that anybody read it. Message-ID and Date of a notice
never change, so that a copy sent again after a lost reply is seen for what it is. All mails about one
occurrence form one thread.
"""

import contextlib
import hashlib
import smtplib
import socket
import ssl
from collections import OrderedDict
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from email.header import Header
from email.message import EmailMessage
from email.policy import SMTP as SMTP_POLICY
from email.utils import format_datetime
from typing import Any, Final, TypeVar

from monitor.delivery import keys
from monitor.delivery.inline import as_parts
from monitor.delivery.notifier import Finding, refuse
from monitor.delivery.plain import one_line, plain
from monitor.delivery.tls import tls_context
from monitor.errors import PermanentFailure, TemporaryFailure
from monitor.links import is_loopback
from monitor.model import Notice, NoticeKind, Priority

KIND = "email"

V = TypeVar("V")

PORTS: Final[Mapping[str, int]] = {"none": 25, "starttls": 587, "tls": 465}
TIMEOUT_S = 20.0
REMEMBERED = 500
"""How many occurrences, and half-delivered notices, are remembered."""

RULES: Final[Mapping[str, keys.Rule]] = {
    "host": keys.host("a mail server"),
    "port": keys.whole(1, 65535),
    "security": keys.one_of("none", "starttls", "tls"),
    "from": keys.mail_address(),
    "to": keys.mail_addresses(),
    "username": keys.text("a user name"),
    "password_file": keys.text("the name of a file"),
    "ca_file": keys.text("the name of a file"),
    "timeout_s": keys.timeout(),
}


def problems(name: str, values: Mapping[str, object]) -> list[Finding]:
    """Wrong keys, half a login, and a password that would travel in the clear."""
    found = keys.findings(RULES, values)
    if ("username" in values) != ("password_file" in values):
        missing = "password_file" if "username" in values else "username"
        found.append((missing, "a user name and a password only work together.", "Give both or neither."))
    host = values.get("host")
    in_clear = isinstance(host, str) and security_of(values) == "none" and not is_loopback(host)
    if in_clear and "password_file" in values:
        found.append(
            ("security", "the password would cross the network unprotected.", "Use starttls or tls.")
        )
    return found


def security_of(values: Mapping[str, object]) -> str:
    """How the connection is protected: as asked, else by the port, else starttls to any other machine."""
    if "security" in values:
        return str(values["security"])
    if values.get("port") == PORTS["tls"]:
        return "tls"
    return "none" if is_loopback(str(values.get("host"))) else "starttls"


def create(name: str, values: Mapping[str, object], files: Callable[[str], str]) -> "Email":
    """A mailer with its secrets read; connects only when there is something to deliver."""
    refuse(name, problems(name, values))
    security = security_of(values)
    tls = tls_context(name, values, files) if security != "none" else None
    password = files(str(values["password_file"])) if "password_file" in values else ""
    if not password.isascii():
        refuse(
            name, [("password_file", "the password holds letters that no mail server takes.", "Use ASCII.")]
        )
    return Email(values, security, tls, password)


class Email:
    """One mail server and its recipients; a new connection for each mail."""

    SHOWS_PICTURES = True

    def __init__(
        self, values: Mapping[str, Any], security: str, tls: ssl.SSLContext | None, password: str
    ) -> None:
        self._host = str(values["host"])
        self._port = int(values.get("port", PORTS[security]))
        self._security = security
        self._tls = tls
        self._username = values.get("username")
        self._password = password
        self._sender = str(values["from"])
        self._to: tuple[str, ...] = tuple(values["to"])
        self._timeout_s = float(values.get("timeout_s", TIMEOUT_S))
        self._threads: OrderedDict[str, str] = OrderedDict()
        self._accepted: OrderedDict[str, frozenset[str]] = OrderedDict()

    def __repr__(self) -> str:
        return f"Email({self._host}:{self._port}, {self._security})"

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Send to every recipient that has not had this notice yet."""
        had = self._accepted.get(notice.notice, frozenset())
        to = [address for address in self._to if address not in had]
        mail = self._mail(notice)
        try:
            refused = self._send(mail, to)
        except smtplib.SMTPRecipientsRefused as failure:
            refused = failure.recipients
        except (smtplib.SMTPException, OSError) as failure:
            raise self._meaning_of(failure) from failure
        if refused:
            _remember(self._accepted, notice.notice, had | (set(to) - set(refused)))
            raise self._refusal(refused)
        self._accepted.pop(notice.notice, None)
        for occurrence in notice.occurrences:
            if occurrence not in self._threads:
                _remember(self._threads, occurrence, str(mail["Message-ID"]))

    def close(self) -> None:
        """Nothing is held between two mails."""

    def _send(self, mail: EmailMessage, to: list[str]) -> dict[str, tuple[int, bytes]]:
        """One SMTP conversation; the recipients that were refused while others were taken."""
        name = socket.gethostname()
        place = (self._host, self._port, name if "." in name and name.isascii() else "[127.0.0.1]")
        server: smtplib.SMTP
        if self._security == "tls":
            server = smtplib.SMTP_SSL(*place, timeout=self._timeout_s, context=self._tls)
        else:
            server = smtplib.SMTP(*place, timeout=self._timeout_s)
        try:
            if self._security == "starttls":
                server.starttls(context=self._tls)
            if self._username is not None:
                server.login(self._username, self._password)
            refused = server.send_message(mail, self._sender, to)
            # Said without waiting for an answer: once a mail is taken, no fault may have it sent again.
            with contextlib.suppress(OSError, smtplib.SMTPException):
                server.putcmd("quit")
            return refused
        finally:
            server.close()

    def _mail(self, notice: Notice) -> EmailMessage:
        """The notice as a mail: what a filter needs in the header, the text first, then perhaps HTML."""
        mail = EmailMessage(policy=SMTP_POLICY)
        mail["From"] = self._sender
        mail["To"] = ", ".join(self._to)
        _set_subject(mail, one_line(notice.subject))
        mail["Date"] = format_datetime(datetime.fromtimestamp(int(notice.at_s), UTC))
        mail["Message-ID"] = self._id("notice", notice.notice)
        self._thread(mail, notice)
        mail["Auto-Submitted"] = "auto-generated"
        mail["X-Aftercare-Notice"] = one_line(notice.notice)
        mail["X-Aftercare-Kind"] = notice.kind.value
        occurrences = [one_line(one) for one in notice.occurrences if one]
        if occurrences:
            mail["X-Aftercare-Occurrence"] = ", ".join(occurrences)
        if notice.priority is Priority.HIGH and notice.kind is not NoticeKind.CLEARED:
            mail["Importance"] = "high"
            mail["X-Priority"] = "1"
        mail.set_content(plain(notice.text))
        if notice.html:
            self._add_page(mail, notice)
        if notice.calendar:
            mail.add_attachment(
                notice.calendar.encode(),
                maintype="text",
                subtype="calendar",
                filename="trees-to-look-after.ics",
                params={"charset": "utf-8"},
            )
        return mail

    def _add_page(self, mail: EmailMessage, notice: Notice) -> None:
        """The page, with the pictures that are in it as parts of their own: few mail programs show others."""
        name = self._id("notice", notice.notice).strip("<>")
        page, pictures = as_parts(notice.html, name)
        mail.add_alternative(plain(page), subtype="html")
        part = list(mail.iter_parts())[-1]
        for cid, picture in pictures:
            part.add_related(picture, "image", "png", cid=f"<{cid}>", disposition="inline")
        if pictures:
            part.set_param("type", "text/html")

    def _thread(self, mail: EmailMessage, notice: Notice) -> None:
        """Tie the mail to the earlier ones about its occurrences.

        An identifier made from the occurrence alone stands in every one of them, so the thread holds together
        over a restart too, when the mail that began it is no longer remembered.
        """
        own = str(mail["Message-ID"])
        first = [self._threads[one] for one in notice.occurrences if self._threads.get(one, own) != own]
        roots = [self._id("occurrence", one) for one in notice.occurrences if one]
        if roots:
            mail["In-Reply-To"] = (first or roots)[0]
            mail["References"] = " ".join(dict.fromkeys(roots + first))

    def _id(self, what: str, of: str) -> str:
        """An identifier for a header, always the same for the same thing."""
        text = "\n".join((what, of, self._sender, *self._to))
        digest = hashlib.sha256(text.encode("utf-8", "replace"))
        return f"<{digest.hexdigest()[:32]}@{self._sender.rpartition('@')[2]}>"

    def _meaning_of(self, failure: Exception) -> TemporaryFailure | PermanentFailure:
        """What a failed conversation means: 5xx for good, anything else for now."""
        place = f"mail server {self._host}:{self._port}"
        if isinstance(failure, smtplib.SMTPAuthenticationError) and failure.smtp_code >= 500:
            return PermanentFailure(
                f"{place} refused the user name or password ({failure.smtp_code}).", "Check password_file."
            )
        if isinstance(failure, smtplib.SMTPNotSupportedError):
            return PermanentFailure(f"{place} cannot do this: {one_line(str(failure))}", "Check security.")
        if isinstance(failure, smtplib.SMTPResponseException):
            kind = PermanentFailure if 500 <= failure.smtp_code < 600 else TemporaryFailure
            return kind(f"{place} answered {failure.smtp_code} {_words(failure.smtp_error)}".rstrip())
        if isinstance(failure, ssl.SSLCertVerificationError):
            return TemporaryFailure(f"{place} could not prove who it is: {one_line(failure.verify_message)}")
        # The standard library wraps a time-out while it waits for an answer in an error of its own.
        if isinstance(failure, TimeoutError) or isinstance(failure.__context__, TimeoutError):
            return TemporaryFailure(f"{place} did not answer within {self._timeout_s:g} s")
        return TemporaryFailure(f"{place} could not be reached or broke off: {one_line(str(failure))}")

    def _refusal(self, refused: Mapping[str, tuple[int, bytes]]) -> TemporaryFailure | PermanentFailure:
        """What refused recipients mean: worth another try as long as one of them may still be taken."""
        words = "; ".join(
            f"{address}: {code} {_words(reply)}".rstrip() for address, (code, reply) in refused.items()
        )
        message = f"mail server {self._host}:{self._port} refused {words}"
        if any(code < 500 for code, _ in refused.values()):
            return TemporaryFailure(message)
        return PermanentFailure(message, "Check the addresses under to.")


def _set_subject(mail: EmailMessage, subject: str) -> None:
    """The subject in encoded words (RFC 2047) that we fold ourselves.

    The standard library's own folding loses a blank between two words with letters outside ASCII.
    """
    if subject.isascii():
        mail["Subject"] = subject
    else:
        mail.set_raw("Subject", Header(subject, "utf-8", header_name="Subject").encode())


def _words(reply: bytes | str) -> str:
    """A server's reply as harmless words."""
    return one_line(reply.decode("utf-8", "replace") if isinstance(reply, bytes) else reply, 200)


def _remember(memory: OrderedDict[str, V], key: str, value: V) -> None:
    """Keep a value, and forget the oldest beyond REMEMBERED."""
    memory[key] = value
    while len(memory) > REMEMBERED:
        memory.popitem(last=False)
