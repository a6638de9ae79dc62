"""Real servers for mail and HTTP on this computer, with faults on demand.

    with MailServer() as server:
        server.faults["DATA"] = iter(["451 busy", HANG])
        ... server.port, server.mails ...

A fault holds for one command or request; when the iterator ends all is well again, so one test shows both
that a fault is noticed and that delivery recovers from it (`itertools.repeat` for a fault that stays).
"""

import asyncio
import base64
import contextlib
import email
import hashlib
import hmac
import http.server
import socket
import ssl
import tempfile
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from email.message import EmailMessage
from email.policy import default as default_policy
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

from tests.support.broker import free_port
from tests.support.certificate import CERTIFICATE, KEY

HANG = "hang"
"""No answer, ever."""
DROP = "drop"
"""The connection breaks off; a complete mail or request has been taken all the same (a lost reply)."""


def server_tls() -> ssl.SSLContext:
    """The server's side of TLS, with the certificate for `localhost`."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    with tempfile.NamedTemporaryFile("w", suffix=".pem") as file:
        file.write(CERTIFICATE + KEY)
        file.flush()
        context.load_cert_chain(file.name)
    return context


# ---- mail ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Mail:
    """One mail as the server took it: the envelope's recipients and the bytes."""

    to: tuple[str, ...]
    raw: bytes

    @property
    def message(self) -> EmailMessage:
        """The mail as Python's own parser reads it."""
        parsed = email.message_from_bytes(self.raw, policy=default_policy)
        assert isinstance(parsed, EmailMessage)
        return parsed


class MailServer:
    """An SMTP server; `faults` may hold an iterator of replies under MAIL, RCPT, an address, DATA or QUIT."""

    def __init__(self, *, login: tuple[str, str] | None = None, security: str = "none") -> None:
        self.port = free_port()
        self.mails: list[Mail] = []
        self.seen: list[str] = []
        self.faults: dict[str, Iterator[str]] = {}
        self._login = login
        self._security = security
        self._controller: Controller | None = None

    def start(self) -> None:
        """Listen (again) on the same port."""
        tls = server_tls() if self._security != "none" else None
        self._controller = Controller(
            self,
            hostname="127.0.0.1",
            port=self.port,
            ssl_context=tls if self._security == "tls" else None,
            tls_context=tls if self._security == "starttls" else None,
            authenticator=self._authenticate,
            auth_require_tls=self._security == "starttls",
        )
        self._controller.start()

    def stop(self) -> None:
        """Refuse connections from here on."""
        if self._controller is not None:
            self._controller.stop()
            self._controller = None

    def __enter__(self) -> "MailServer":
        self.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self.stop()

    # The names below are those that aiosmtpd calls.

    async def handle_MAIL(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        """MAIL FROM."""
        if self._login and not session.authenticated:
            return "530 5.7.0 Authentication required"
        envelope.mail_from = address
        return await self._fault(server, "MAIL") or "250 OK"

    async def handle_RCPT(  # noqa: N802
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        """RCPT TO."""
        fault = await self._fault(server, address) or await self._fault(server, "RCPT")
        if fault is None:
            envelope.rcpt_tos.append(address)
        return fault or "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        """The final dot."""
        mail = Mail(tuple(envelope.rcpt_tos), bytes(envelope.content or b""))
        fault = await self._fault(server, "DATA", mail)
        if fault is None:
            self.mails.append(mail)
        return fault or "250 OK"

    async def handle_QUIT(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        """The farewell."""
        return await self._fault(server, "QUIT") or "221 Bye"

    async def _fault(self, server: SMTP, stage: str, mail: Mail | None = None) -> str | None:
        """The next fault of a stage, if there is one."""
        self.seen.append(stage)
        fault = next(self.faults.get(stage, iter(())), None)
        if fault == HANG:
            await asyncio.Event().wait()
        if fault == DROP:
            if mail is not None:
                self.mails.append(mail)
            server.transport.abort()
        return fault

    def _authenticate(
        self, server: SMTP, session: Session, envelope: Envelope, how: str, data: Any
    ) -> AuthResult:
        """Whether user name and password are those of `login`; SMTP's own 535 if not."""
        self.seen.append("AUTH")
        given = (data.login.decode(), data.password.decode()) if isinstance(data, LoginPassword) else None
        return AuthResult(success=given == self._login, handled=False)


@contextlib.contextmanager
def greeting(line: str) -> Iterator[int]:
    """A port where every connection gets one line and is closed; with HANG it stays open and silent."""
    listener = socket.create_server(("127.0.0.1", 0))
    held: list[socket.socket] = []

    def serve() -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            if line == HANG:
                held.append(connection)
                continue
            with connection:
                connection.sendall(line.encode() + b"\r\n")

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield int(listener.getsockname()[1])
    finally:
        listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        thread.join(5)
        for connection in held:
            connection.close()


# ---- HTTP ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Request:
    """One request as the server saw it; header names in lower case."""

    path: str
    headers: Mapping[str, str]
    body: bytes
    method: str = "POST"


@dataclass(frozen=True, slots=True)
class Status:
    """An answer other than 204."""

    code: int
    headers: Mapping[str, str]
    body: bytes = b""


def is_signed(request: Request, secret: str) -> bool:
    """Whether the request is signed as Standard Webhooks 1.0 says, without any code of ours."""
    headers = request.headers
    signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + request.body
    key = base64.b64decode(secret.removeprefix("whsec_"))
    expected = "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    return expected in headers["webhook-signature"].split(" ")


class HttpServer:
    """An HTTP server; `faults` is an iterator of status codes, `Status`, HANG and DROP.

    With `verify_with` set to a secret, a request that it did not sign is answered 401.
    """

    def __init__(self, *, tls: bool = False) -> None:
        self.port = free_port()
        self.requests: list[Request] = []
        self.faults: Iterator[int | str | Status] = iter(())
        self.verify_with = ""
        self._tls = tls
        self._released = threading.Event()
        self._server: http.server.ThreadingHTTPServer | None = None

    @property
    def url(self) -> str:
        """The address to post to."""
        return f"{'https://localhost' if self._tls else 'http://127.0.0.1'}:{self.port}/in"

    def start(self) -> None:
        """Listen (again) on the same port."""
        self._released.clear()
        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", self.port), self._handler())
        if self._tls:
            self._server.socket = server_tls().wrap_socket(self._server.socket, server_side=True)
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def stop(self) -> None:
        """Refuse connections from here on."""
        self._released.set()
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None

    def __enter__(self) -> "HttpServer":
        self.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self.stop()

    def _handler(self) -> type[http.server.BaseHTTPRequestHandler]:
        ours = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                self.do_POST()

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                headers = {name.lower(): value for name, value in self.headers.items()}
                ours.requests.append(Request(self.path, headers, body, self.command))
                forged = bool(ours.verify_with) and not is_signed(ours.requests[-1], ours.verify_with)
                ours._answer(self, 401 if forged else next(ours.faults, None))

            def log_message(self, *args: Any) -> None:
                """Say nothing."""

        return Handler

    def _answer(self, handler: http.server.BaseHTTPRequestHandler, fault: int | str | Status | None) -> None:
        if fault == HANG:
            self._released.wait(60)
        if fault in (HANG, DROP):
            handler.close_connection = True
            return
        status = fault if isinstance(fault, Status) else Status(int(fault or 204), {})
        handler.send_response(status.code)
        for name, value in status.headers.items():
            handler.send_header(name, value)
        handler.send_header("Content-Length", str(len(status.body)))
        handler.end_headers()
        handler.wfile.write(status.body)
