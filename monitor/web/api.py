"""The interface for programs, as JSON over HTTP: whole over the Unix socket, after a password over TCP.

It checks shapes, hands questions to the guard and draws nothing: what reaches the guard's thread is of the
types it expects. Over the Unix socket whoever may open it may ask.
"""

import json
import math
from collections.abc import Awaitable, Callable, Iterator, Mapping
from itertools import islice
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from monitor.clock import rfc3339
from monitor.errors import NotRunning, StoreError
from monitor.links import base_url, duty_url
from monitor.model import Reply, Snapshot
from monitor.store.lines import dumps
from monitor.store.queries import EXPORTS, Reader
from monitor.web import openapi
from monitor.web.keys import page_key
from monitor.web.visit import is_foreign
from monitor.web.visitors import Signer

if TYPE_CHECKING:
    from monitor.app import Guard
    from monitor.web.frame import Frame

LONGEST_BODY = 4_000_000
LINES_AT_ONCE = 500
COMMANDS = frozenset({"ack", "shelve", "resume"})
TOKEN_HEADER = "x-csrf-token"  # noqa: S105  the name of a header
LATEST_S = 32_503_680_000.0
"""The year 3000: no reading is younger."""
Handler = Callable[[Request], Awaitable[Response]]
Wrap = Callable[[Handler], Handler]


class Refused(Exception):
    """A request that cannot be meant: its status and why."""

    def __init__(self, status: int, message: str) -> None:
        super().__init__(message)
        self.status = status


def make_socket_app(guard: "Guard") -> Starlette:
    """The whole interface, for the Unix socket."""
    return Starlette(routes=routes(guard, Signer(page_key(guard.store.directory)), _only_here))


def page_routes(frame: "Frame") -> list[Route]:
    """The interface for the owner's programs, with the page's cookie; writing needs the token, too."""
    found = routes(frame.guard, frame.signer, lambda handler: _for_owner(frame, handler))

    async def session(request: Request) -> Response:
        visitor = frame.visitor_of(request)
        return JSONResponse({"who": visitor.who, "token": frame.signer.token(visitor)})

    return [*found, Route("/api/session", _for_owner(frame, session))]


def status_json(snapshot: Snapshot) -> dict[str, Any]:
    """`status --json`."""
    return {
        "at": rfc3339(snapshot.at_s) if snapshot.at_s else None,
        "site": snapshot.site,
        "guarding": snapshot.guarding,
        "houses": list(snapshot.houses),
        "trees": list(snapshot.trees),
        "wraps": list(snapshot.wraps),
        "alarms": list(snapshot.alarms),
        "unknown": list(snapshot.unknown),
        "storage": dict(snapshot.storage),
        "delivery": list(snapshot.delivery),
        **snapshot.more,
    }


# ---- who may -------------------------------------------------------------------------------------------


def _only_here(handler: Handler) -> Handler:
    """Refuse whoever does not come over the Unix socket."""

    async def guarded(request: Request) -> Response:
        if request.scope.get("client") is not None:
            return _refusal(403, "This is served to the command line only.")
        return await _answered(handler, request)

    return guarded


def _for_owner(frame: "Frame", handler: Handler) -> Handler:
    async def guarded(request: Request) -> Response:
        visitor = frame.visitor_of(request)
        if not visitor.is_owner:
            return _refusal(401, "Log in at /enter first, and send its cookie.")
        is_told = frame.signer.is_token(visitor, request.headers.get(TOKEN_HEADER, ""))
        if request.method == "POST" and (not is_told or is_foreign(request)):
            return _refusal(403, "A request that changes something carries X-CSRF-Token, from /api/session.")
        return await _answered(handler, request)

    return guarded


async def _answered(handler: Handler, request: Request) -> Response:
    try:
        return await handler(request)
    except Refused as refused:
        return _refusal(refused.status, str(refused))
    except StoreError as error:
        return _refusal(503, str(error))
    except NotRunning as error:
        return JSONResponse({"ok": False, "message": str(error)}, 503)


def _refusal(status: int, message: str) -> Response:
    return JSONResponse({"message": message}, status)


# ---- what is asked -------------------------------------------------------------------------------------


def routes(guard: "Guard", signer: Signer, wrapped: Wrap) -> list[Route]:
    """All routes of the interface, each behind `wrapped`."""

    async def status(request: Request) -> Response:
        return JSONResponse(status_json(guard.snapshot))

    async def alarms(request: Request) -> Response:
        return JSONResponse(list(guard.snapshot.alarms))

    async def command(request: Request) -> Response:
        name = request.path_params["name"]
        if name not in COMMANDS:
            raise Refused(404, f"There is no command {name}.")
        body = await _body(request)
        return await _asked(guard, name, _meant(name, body), _by(body))

    async def worth(request: Request) -> Response:
        body = await _body(request)
        said = {"episode": body.get("episode"), "worth": body.get("worth")}
        if not isinstance(said["episode"], str) or not isinstance(said["worth"], bool):
            raise Refused(400, "episode is the name of what rang, worth is true or false.")
        return await _asked(guard, "worth", said, _by(body))

    async def add(request: Request) -> Response:
        body = await _body(request)
        reply = await run_in_threadpool(guard.ask, "entries", _entries(body), _by(body))
        return _reply(_with_links(reply, guard, signer))

    async def entries(request: Request) -> Response:
        return JSONResponse(guard.book_entries())

    async def drill(request: Request) -> Response:
        body = await _body(request)
        return JSONResponse(
            {"results": [await run_in_threadpool(_drill, guard, n) for n in _notifiers(guard, body)]}
        )

    async def report(request: Request) -> Response:
        found = await run_in_threadpool(guard.report, request.query_params.get("date", ""))
        if found is None:
            raise Refused(404, "There is no report for that date.")
        return JSONResponse(found)

    async def export(request: Request) -> Response:
        what, query = request.path_params["what"], request.query_params
        if what not in EXPORTS:
            raise Refused(404, f"There is no stream {what}.")
        from_s, to_s = _seconds(query.get("from_s"), 0.0), _seconds(query.get("to_s"), 4e9)
        return StreamingResponse(_exported(guard, what, from_s, to_s), media_type="application/jsonl")

    async def document(request: Request) -> Response:
        return JSONResponse(openapi.document())

    return [
        Route("/api/status", wrapped(status)),
        Route("/api/alarms", wrapped(alarms)),
        Route("/api/alarms/{name:str}", wrapped(command), methods=["POST"]),
        Route("/api/worth", wrapped(worth), methods=["POST"]),
        Route("/api/book", wrapped(entries)),
        Route("/api/book", wrapped(add), methods=["POST"]),
        Route("/api/drill", wrapped(drill), methods=["POST"]),
        Route("/api/export/{what:str}", wrapped(export)),
        Route("/api/report", wrapped(report)),
        Route("/api/openapi.json", document),
    ]


def _drill(guard: "Guard", notifier: str) -> dict[str, Any]:
    result = guard.drill(notifier)
    return {
        "notifier": result.notifier,
        "ok": result.ok,
        "detail": result.detail,
        "took_s": round(result.took_s, 3),
    }


def _exported(guard: "Guard", what: str, from_s: float, to_s: float) -> Iterator[str]:
    """A stream's lines from the store, many at a time; in a thread of its own."""
    with Reader(guard.store.directory) as reader:
        lines = reader.export_lines(what, from_s, to_s, reader.label_offset_s())
        while chunk := list(islice(lines, LINES_AT_ONCE)):
            yield "".join(dumps(line) + "\n" for line in chunk)


async def _asked(guard: "Guard", name: str, values: Any, by: str) -> Response:
    return _reply(await run_in_threadpool(guard.ask, name, values, by))


def _reply(reply: Reply) -> Response:
    body = {"ok": reply.ok, "value": reply.value, "message": reply.message}
    return JSONResponse(body, 200 if reply.ok else 409)


def _with_links(reply: Reply, guard: "Guard", signer: Signer) -> Reply:
    """A duty is answered with the link to send to the helper."""
    if not reply.ok:
        return reply
    base = base_url(guard.settings.web)
    links = [
        f"The link for {entry['person']}, for nobody else: {duty_url(base, signer.duty_token(entry['id']))}"
        for entry in reply.value["entries"]
        if entry["kind"] == "duty"
    ]
    return Reply(reply.ticket, True, {**reply.value, "remarks": [*reply.value["remarks"], *links]})


# ---- shapes --------------------------------------------------------------------------------------------


async def _body(request: Request) -> dict[str, Any]:
    """The JSON object of a request; an empty one where nothing was sent."""
    taken = bytearray()
    try:
        async for chunk in request.stream():
            taken += chunk
            if len(taken) > LONGEST_BODY:
                raise Refused(413, "This is more than 4 MB at once.")
    except ClientDisconnect:
        raise Refused(400, "The request broke off.") from None
    if not taken:
        return {}
    try:
        value = json.loads(taken, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise Refused(400, "This is not JSON.") from None
    if not isinstance(value, dict):
        raise Refused(400, "This is no JSON object.")
    return value


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is not JSON")


def _by(body: Mapping[str, Any]) -> str:
    by = body.get("by", "")
    if not isinstance(by, str) or len(by) > 80 or not by.isprintable():
        raise Refused(400, "by is a name of up to 80 characters.")
    return by


def _meant(name: str, body: Mapping[str, Any]) -> dict[str, Any]:
    """The values of a command, of the types that the guard expects."""
    alarms, for_s = body.get("alarms"), body.get("for_s", 0.0)
    if not isinstance(alarms, list) or not all(isinstance(each, str) for each in alarms) or not alarms:
        raise Refused(400, "alarms is a list of names, at least one.")
    if name != "shelve":
        return {"alarms": alarms}
    if isinstance(for_s, bool) or not isinstance(for_s, int | float) or not math.isfinite(for_s):
        raise Refused(400, "for_s is a number of seconds.")
    return {"alarms": alarms, "for_s": float(for_s)}


def _entries(body: Mapping[str, Any]) -> str | list[dict[str, Any]]:
    """The text of a file of entries, or a list of them with plain values."""
    given = body.get("entries")
    if isinstance(given, str):
        return given
    if not isinstance(given, list) or not given or not all(isinstance(each, dict) for each in given):
        raise Refused(400, "entries is a list of entries, at least one, or the text of a file of them.")
    for entry in given:
        for key, value in entry.items():
            if not _is_plain(value):
                raise Refused(400, f"{key} is a text, a number, yes or no, or a list of texts.")
        if not isinstance(entry.get("kind", ""), str):
            raise Refused(400, "kind is a text.")
    return given


def _is_plain(value: Any) -> bool:
    if isinstance(value, list):
        return all(isinstance(each, str) for each in value)
    if isinstance(value, int | float):
        return abs(value) < 1e15
    return value is None or isinstance(value, str)


def _notifiers(guard: "Guard", body: Mapping[str, Any]) -> list[str]:
    name = body.get("notifier")
    if not name:
        return list(guard.settings.notifiers)
    if not isinstance(name, str):
        raise Refused(400, "notifier is a name.")
    return [name]


def _seconds(text: str | None, otherwise: float) -> float:
    if not text:
        return otherwise
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0 <= value <= LATEST_S:
        raise Refused(400, "from_s and to_s are seconds since 1970.")
    return value
