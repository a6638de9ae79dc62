"""Each kind of notifier with a real other side, for the contract and for tests of its own."""

import base64
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import repeat

from monitor.delivery.notifiers import email, webhook
from monitor.testing import NotifierCase
from tests.support.servers import HANG, HttpServer, MailServer

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"  # the published example's, and so nobody's
OTHER_SECRET = "whsec_" + base64.b64encode(b"quite another secret key").decode()


def mail_values(port: int, **more: object) -> dict[str, object]:
    """Settings of a mailer to this computer."""
    return {
        "host": "127.0.0.1",
        "port": port,
        "from": "house@example.org",
        "to": ["grower@example.org"],
        "timeout_s": 1,
        **more,
    }


@contextmanager
def email_case() -> Iterator[NotifierCase]:
    """A mail server that wants a password."""
    with MailServer(login=("house", "correct horse")) as server:
        yield NotifierCase(
            kind=email,
            values=mail_values(server.port, username="house", password_file="mail-password"),
            secrets={"mail-password": "correct horse"},
            bad_secrets={"mail-password": "wrong horse"},
            received=lambda: [mail.raw for mail in server.mails],
            hang=lambda: server.faults.update(DATA=repeat(HANG)),
        )


@contextmanager
def webhook_case() -> Iterator[NotifierCase]:
    """A server that checks the signature as an outsider would."""
    with HttpServer() as server:
        server.verify_with = SECRET

        def hang() -> None:
            server.faults = repeat(HANG)

        yield NotifierCase(
            kind=webhook,
            values={"url": server.url, "secret_file": "hook-secret", "timeout_s": 1},
            secrets={"hook-secret": SECRET},
            bad_secrets={"hook-secret": OTHER_SECRET},
            received=lambda: [
                b"\n".join(f"{name}: {value}".encode() for name, value in request.headers.items())
                + b"\n\n"
                + request.body
                for request in server.requests
            ],
            hang=hang,
        )
