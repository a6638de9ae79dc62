"""The door: names, sizes, times and numbers of requests, before the page sees any of them."""

import asyncio
from typing import Any

import httpx
import pytest

from monitor.links import host_of, is_loopback
from monitor.web import door
from monitor.web.door import Door


async def _app(scope: Any, receive: Any, send: Any) -> None:
    """Reads everything and says how much it was."""
    taken, more = 0, True
    while more:
        message = await receive()
        taken += len(message.get("body", b""))
        more = message.get("more_body", False)
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": str(taken).encode()})


def _ask(guarded: Door, method: str = "GET", host: str = "localhost", **more: Any) -> httpx.Response:
    async def asked() -> httpx.Response:
        transport = httpx.ASGITransport(guarded)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{host}") as client:
            return await client.request(method, "/", **more)

    return asyncio.run(asked())


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1", "[::1]", "localhost:8380", "LOCALHOST"])
def test_loopback_s_own_names_are_answered(host: str) -> None:
    """With any port."""
    assert _ask(Door(_app), host=host).status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "localhost.evil.example", "127.0.0.1.evil.example"])
def test_a_name_that_is_not_ours_is_refused_and_told_what_to_do(host: str) -> None:
    """A name that others own could lead here."""
    answer = _ask(Door(_app, ["pi.example"]), host=host)

    assert answer.status_code == 421
    assert "add it to hosts under [web]" in answer.text


def test_configured_names_are_answered_but_not_without_a_password() -> None:
    """Behind somebody's proxy the page would be open to all."""
    assert _ask(Door(_app, ["pi.example:8380"]), host="pi.example").status_code == 200
    assert _ask(Door(_app, ["pi.example"], only_here=True), host="pi.example").status_code == 421


def test_the_address_that_was_reached_is_a_name_too() -> None:
    """No stranger's name leads to it: an address is nobody's name."""

    async def asked(host: bytes) -> int:
        seen: list[Any] = []

        async def send(message: Any) -> None:
            seen.append(message)

        scope = {
            "type": "http", "method": "GET", "headers": [(b"host", host)], "server": ("192.0.2.5", 8380)
        }  # fmt: skip
        await Door(_app)(scope, _nothing, send)
        return int(seen[0]["status"])

    assert asyncio.run(asked(b"192.0.2.5:8380")) == 200
    assert asyncio.run(asked(b"192.0.2.6:8380")) == 421


async def _nothing() -> dict[str, Any]:
    return {"type": "http.request", "body": b"", "more_body": False}


def test_a_shut_page_only_says_why() -> None:
    """And serves nothing else."""
    answer = _ask(Door(_app, shut="The page is shut: type aftercare web password."))

    assert answer.status_code == 503
    assert answer.text == "The page is shut: type aftercare web password.\n"


def test_a_large_body_is_refused_by_its_length_and_by_its_bytes() -> None:
    """Said or not said."""
    large = b"x" * (door.LARGEST_BODY + 1)

    async def in_pieces() -> Any:
        for start in range(0, len(large), 4096):
            yield large[start : start + 4096]

    assert _ask(Door(_app), "POST", content=large).status_code == 413
    assert _ask(Door(_app), "POST", content=in_pieces()).status_code == 413
    assert _ask(Door(_app), "POST", content=large[:-1]).text == str(len(large) - 1)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "TRACE", "OPTIONS", "CONNECT"])
def test_other_methods_are_refused(method: str) -> None:
    """The page reads and writes by GET and POST."""
    assert _ask(Door(_app), method).status_code == 405


def test_every_answer_has_the_safe_headers() -> None:
    """No script, no frame, nothing of others; `published`: CSP Level 3, section 6.1."""
    answer = _ask(Door(_app))

    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "script-src" not in policy
    assert "unsafe-inline" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cache-control"] == "no-store"
    assert "access-control-allow-origin" not in answer.headers


def test_what_takes_too_long_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    """And said."""
    monkeypatch.setattr(door, "TIME_S", 0.05)

    async def never(scope: Any, receive: Any, send: Any) -> None:
        await asyncio.Event().wait()

    answer = _ask(Door(never))

    assert answer.status_code == 503
    assert "too long" in answer.text


def test_only_so_many_wait_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The rest are told to come again."""
    monkeypatch.setattr(door, "WAITING", 3)

    async def crowd() -> list[int]:
        free = asyncio.Event()

        async def slow(scope: Any, receive: Any, send: Any) -> None:
            await free.wait()
            await _app(scope, receive, send)

        guarded = Door(slow)
        transport = httpx.ASGITransport(guarded)
        async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
            asked = [asyncio.create_task(client.get("/")) for _ in range(5)]
            done, _pending = await asyncio.wait(asked, return_when=asyncio.FIRST_COMPLETED)
            first = sorted(task.result().status_code for task in done)
            assert set(first) == {503}
            free.set()
            return sorted([(await task).status_code for task in asked])

    assert asyncio.run(crowd()) == [200, 200, 200, 503, 503]


@pytest.mark.parametrize(
    ("text", "host"),
    [
        ("pi.example:8380", "pi.example"),
        ("[::1]:8380", "::1"),
        ("::1", "::1"),
        ("PI.example.", "pi.example"),
        ("", ""),
    ],
)
def test_a_host_header_without_its_port(text: str, host: str) -> None:
    """`published`: RFC 9110 section 7.2, RFC 3986 section 3.2.2 for brackets."""
    assert host_of(text) == host


def test_what_counts_as_this_machine_only() -> None:
    """`published`: RFC 1122 section 3.2.1.3 (127/8), RFC 4291 section 2.5.3 (::1)."""
    assert is_loopback("127.0.0.1")
    assert is_loopback("127.9.9.9")
    assert is_loopback("::1")
    assert is_loopback("localhost")
    assert not is_loopback("0.0.0.0")
    assert not is_loopback("192.168.1.5")
    assert not is_loopback("pi.example")
