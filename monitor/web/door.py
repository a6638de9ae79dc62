"""What every request passes before the page sees it: its name, its size, its time, and how many at once.

Pure ASGI, knows nothing of trees. Whoever asks too much is told so in one sentence; the guard never notices.
"""

import asyncio
import ipaddress
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any

from monitor.links import host_of

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

LOOPBACK = frozenset({"localhost", "127.0.0.1", "::1"})
LARGEST_BODY = 64 * 1024
AT_ONCE = 8
WAITING = 32
TIME_S = 30.0
METHODS = frozenset({"GET", "HEAD", "POST"})
HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (
        b"content-security-policy",
        (
            b"default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; "
            b"frame-ancestors 'none'"
        ),
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=()"),
    (b"cache-control", b"no-store"),
)
"""A page may set its own value of any of these; what it leaves out is added."""


class TooLarge(Exception):
    """The body is larger than the page takes."""


class Door:
    """Stands before an app. `hosts`: names beside loopback's; `shut`: why nothing is served at all, or ``.

    `only_here`: only loopback's own names are answered, since there is no password.
    """

    def __init__(self, app: App, hosts: Iterable[str] = (), shut: str = "", only_here: bool = False) -> None:
        self._app = app
        self._hosts = LOOPBACK | {host_of(host) for host in hosts}
        self._shut = shut
        self._only_here = only_here
        self._places: asyncio.Semaphore | None = None
        self._inside = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            return
        answered = _Answered(send)
        refusal = self._refusal(scope)
        if refusal is not None:
            await _say(answered, *refusal)
            return
        await self._let_in(scope, _bounded(receive), answered)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = {name: value for name, value in scope["headers"] if name in (b"host", b"content-length")}
        if self._shut:
            return 503, self._shut
        host = host_of(headers.get(b"host", b"").decode("latin-1"))
        if not self._answers_to(host, scope):
            return 421, (
                f"This page does not go by the name {host or '(none)'}. "
                "If that is its name, add it to hosts under [web] in the configuration, "
                "and make a password: aftercare web password."
            )
        if scope["method"] not in METHODS:
            return 405, "This page only knows GET and POST."
        if _number(headers.get(b"content-length", b"0")) > LARGEST_BODY:
            return 413, "This is more than the page takes at once."
        if self._inside >= WAITING:
            return 503, "Too many ask at once. Try again in a moment."
        return None

    def _answers_to(self, host: str, scope: Scope) -> bool:
        """Its names, and the very address that it was reached at: no name that others own leads there."""
        if self._only_here:
            return host in LOOPBACK
        server = scope.get("server")
        return host in self._hosts or (server is not None and _same_address(host, str(server[0])))

    async def _let_in(self, scope: Scope, receive: Receive, send: "_Answered") -> None:
        if self._places is None:
            self._places = asyncio.Semaphore(AT_ONCE)
        self._inside += 1
        try:
            async with asyncio.timeout(TIME_S), self._places:
                await self._app(scope, receive, send)
        except TimeoutError:
            if not send.begun:
                await _say(send, 503, "This took too long. Try again.")
        except TooLarge:
            if not send.begun:
                await _say(send, 413, "This is more than the page takes at once.")
        finally:
            self._inside -= 1


class _Answered:
    """Adds the headers that every answer has, and knows whether one has begun."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.begun = False

    async def __call__(self, message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            own = list(message.get("headers", ()))
            known = {name.lower() for name, _ in own}
            message["headers"] = [*own, *(pair for pair in HEADERS if pair[0] not in known)]
        await self._send(message)


def _bounded(receive: Receive) -> Receive:
    """The same body, as long as it is small enough: a length that was not said is counted."""
    taken = 0

    async def counted() -> MutableMapping[str, Any]:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > LARGEST_BODY:
            raise TooLarge
        return message

    return counted


async def _say(send: Send, status: int, text: str) -> None:
    body = (text + "\n").encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def _same_address(one: str, other: str) -> bool:
    try:
        first, second = ipaddress.ip_address(one), ipaddress.ip_address(other)
    except ValueError:
        return False
    mapped = getattr(second, "ipv4_mapped", None)
    return first in (second, mapped)


def _number(text: bytes) -> int:
    return int(text) if text.isdigit() else 0
