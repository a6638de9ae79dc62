"""Notices as signed HTTP posts after Standard Webhooks 1.0, with the standard library alone.

https://github.com/standard-webhooks/standard-webhooks/blob/main/spec/standard-webhooks.md : `webhook-id` is
the same over retries, `webhook-timestamp` is the instant of the attempt, the signature is the HMAC-SHA-256
of `id.timestamp.body`. The whole body stays below 20 kB; redirects are failures.
"""

import base64
import binascii
import hashlib
import hmac
import http.client
import ssl
from collections.abc import Callable, Mapping
from email.utils import parsedate_to_datetime
from typing import Any, Final
from urllib.parse import urlsplit

from monitor.delivery import keys
from monitor.delivery.notifier import Finding, refuse
from monitor.delivery.plain import one_line
from monitor.delivery.tls import tls_context
from monitor.delivery.wire import LONGEST_BYTES, encoded, fitted, notice_data
from monitor.errors import DeliveryFailure, PermanentFailure, TemporaryFailure
from monitor.model import Notice, NoticeKind

KIND = "webhook"

TIMEOUT_S = 20.0
LEAST_SECRET_BYTES = 24
ANSWER_BYTES = 2_000
"""As much of an answer as is read: enough for the reason of a refusal."""
WORTH_ANOTHER_TRY = frozenset((408, 429))

RULES: Final[Mapping[str, keys.Rule]] = {
    "url": keys.web_address(),
    "secret_file": keys.text("the name of a file", required=True),
    "ca_file": keys.text("the name of a file"),
    "timeout_s": keys.timeout(),
}


def problems(name: str, values: Mapping[str, object]) -> list[Finding]:
    """Wrong keys."""
    return keys.findings(RULES, values)


def create(name: str, values: Mapping[str, object], files: Callable[[str], str]) -> "Webhook":
    """A webhook with its secret read and checked."""
    refuse(name, problems(name, values))
    secret = secret_bytes(files(str(values["secret_file"])))
    if secret is None:
        hint = "Make one with: echo whsec_$(head -c 24 /dev/urandom | base64)"
        refuse(name, [("secret_file", "the file must hold whsec_ and 24 bytes or more in base64.", hint)])
    tls = tls_context(name, values, files) if str(values["url"]).startswith("https:") else None
    return Webhook(str(values["url"]), secret or b"", tls, float(str(values.get("timeout_s", TIMEOUT_S))))


def secret_bytes(text: str) -> bytes | None:
    """The key in a secret such as `whsec_MfKQ…`; None if it is none, or too short to be safe."""
    prefix, _, code = text.strip().partition("_")
    try:
        key = base64.b64decode(code, validate=True)
    except (binascii.Error, ValueError):
        return None
    return key if prefix == "whsec" and len(key) >= LEAST_SECRET_BYTES else None


def signature(secret: bytes, message_id: str, at_s: int, body: bytes) -> str:
    """The value of `webhook-signature` for one attempt at the instant `at_s` [s since 1970]."""
    signed = f"{message_id}.{at_s}.".encode() + body
    return "v1," + base64.b64encode(hmac.digest(secret, signed, hashlib.sha256)).decode()


def type_of(kind: NoticeKind) -> str:
    """The webhook's `type` for a kind of notice."""
    if kind is NoticeKind.REPORT:
        return "report.daily"
    return kind.value if kind is NoticeKind.DRILL else f"alarm.{kind.value}"


def body_of(notice: Notice) -> bytes:
    """What is posted: `type`, the notice's own instant as `timestamp`, and the notice as `data`."""
    data = notice_data(notice)
    envelope = {"type": type_of(notice.kind), "timestamp": data["at"], "data": {}}
    envelope["data"] = fitted(data, LONGEST_BYTES - len(encoded(envelope)))
    return encoded(envelope)


class Webhook:
    """One address that notices are posted to; a new connection for each."""

    def __init__(self, url: str, secret: bytes, tls: ssl.SSLContext | None, timeout_s: float) -> None:
        parts = urlsplit(url)
        self._host = parts.hostname or ""
        self._port = parts.port
        self._path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        self._secret = secret
        self._tls = tls
        self._timeout_s = timeout_s

    def __repr__(self) -> str:
        return f"Webhook({self._host})"

    def deliver(self, notice: Notice, delayed_s: float, at_s: float) -> None:
        """Post the notice; only a status of 2xx means that it was taken."""
        body = body_of(notice)
        message_id = one_line(notice.notice).encode("ascii", "backslashreplace").decode()
        headers = {
            "Content-Type": "application/json",
            "User-Agent": "aftercare",
            "webhook-id": message_id,
            "webhook-timestamp": str(int(at_s)),
            "webhook-signature": signature(self._secret, message_id, int(at_s), body),
        }
        try:
            status, answer, retry_after = self._post(body, headers)
        except ssl.SSLCertVerificationError as failure:
            raise TemporaryFailure(
                f"{self._host} could not prove who it is: {one_line(failure.verify_message)}"
            ) from failure
        except TimeoutError as failure:
            raise TemporaryFailure(f"{self._host} did not answer within {self._timeout_s:g} s") from failure
        except (OSError, http.client.HTTPException) as failure:
            words = one_line(str(failure)) or type(failure).__name__
            raise TemporaryFailure(f"{self._host} could not be reached or broke off: {words}") from failure
        if not 200 <= status < 300:
            raise self._meaning_of(status, answer, seconds(retry_after, at_s))

    def close(self) -> None:
        """Nothing is held between two notices."""

    def _post(self, body: bytes, headers: Mapping[str, str]) -> tuple[int, str, str | None]:
        """One request: status, the beginning of the answer, and Retry-After."""
        connection: http.client.HTTPConnection
        if self._tls is None:
            connection = http.client.HTTPConnection(self._host, self._port, timeout=self._timeout_s)
        else:
            connection = http.client.HTTPSConnection(
                self._host, self._port, timeout=self._timeout_s, context=self._tls
            )
        try:
            connection.request("POST", self._path, body, dict(headers))
            response = connection.getresponse()
            taken = 200 <= response.status < 300
            answer = "" if taken else response.read(ANSWER_BYTES).decode("utf-8", "replace")
            return response.status, answer, response.getheader("Retry-After")
        finally:
            connection.close()

    def _meaning_of(self, status: int, answer: str, retry_after_s: float | None) -> DeliveryFailure:
        """What a status other than 2xx means for this notice."""
        said = f"{self._host} answered {status} {one_line(answer, 200)}".rstrip()
        if status == http.HTTPStatus.GONE:
            return PermanentFailure(said, "The address is closed until a drill succeeds.", until_drill=True)
        if status in WORTH_ANOTHER_TRY or status >= 500 or status < 300:
            return TemporaryFailure(said, retry_after_s)
        if status < 400:
            return PermanentFailure(said, "Redirects are not followed: put the new address under url.")
        return PermanentFailure(said, "Check url and secret_file.")


def seconds(retry_after: Any, at_s: float) -> float | None:
    """What a Retry-After header asks for [s from `at_s`]; None if it cannot be read (RFC 9110, 10.2.3)."""
    if not isinstance(retry_after, str):
        return None
    if retry_after.strip().isdecimal():
        return float(retry_after)
    try:
        return max(0.0, parsedate_to_datetime(retry_after).timestamp() - at_s)
    except (ValueError, OverflowError):
        return None
