"""The interface the command line uses, as JSON over HTTP; it hands questions to the guard and draws nothing.

Over the Unix socket whoever may open it may ask. Over TCP only the page is served.
"""

from collections.abc import Awaitable, Callable, Iterator
from itertools import islice
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from monitor.clock import rfc3339
from monitor.errors import NotRunning
from monitor.model import Reply, Snapshot
from monitor.store.lines import dumps
from monitor.store.queries import EXPORTS, Reader

if TYPE_CHECKING:
    from monitor.app import Guard

LONGEST_BODY = 4_000_000
LINES_AT_ONCE = 500
Handler = Callable[[Request], Awaitable[Response]]


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


def only_from_here(handler: Handler) -> Handler:
    """Refuse whoever does not come over the Unix socket."""

    async def guarded(request: Request) -> Response:
        if request.scope.get("client") is not None:
            return JSONResponse({"message": "This is served to the command line only."}, 403)
        return await handler(request)

    return guarded


def routes(guard: "Guard") -> list[Route]:
    """All routes of the interface."""

    async def status(request: Request) -> Response:
        return JSONResponse(status_json(guard.snapshot))

    async def alarms(request: Request) -> Response:
        return JSONResponse(list(guard.snapshot.alarms))

    async def command(request: Request) -> Response:
        body = await _body(request)
        name = request.path_params["name"]
        return await _asked(guard, name, body, str(body.get("by", "")))

    async def add(request: Request) -> Response:
        body = await _body(request)
        if not isinstance(body.get("entries"), list | str):
            return JSONResponse({"message": "This is no list of entries, or more than 4 MB at once."}, 400)
        return await _asked(guard, "entries", body["entries"], str(body.get("by", "")))

    async def entries(request: Request) -> Response:
        return JSONResponse(guard.book_entries())

    async def drill(request: Request) -> Response:
        body = await _body(request)
        names = [body["notifier"]] if body.get("notifier") else list(guard.settings.notifiers)
        results = [await run_in_threadpool(guard.drill, name) for name in names]
        return JSONResponse(
            {
                "results": [
                    {"notifier": r.notifier, "ok": r.ok, "detail": r.detail, "took_s": round(r.took_s, 3)}
                    for r in results
                ]
            }
        )

    async def report(request: Request) -> Response:
        found = await run_in_threadpool(guard.report, request.query_params.get("date", ""))
        if found is None:
            return JSONResponse({"message": "There is no report for that date."}, 404)
        return JSONResponse(found)

    async def export(request: Request) -> Response:
        what, span = request.path_params["what"], request.query_params
        if what not in EXPORTS:
            return JSONResponse({"message": f"There is no stream {what}."}, 404)
        from_s, to_s = float(span.get("from_s", 0.0)), float(span.get("to_s", 4e9))
        lines = _exported(guard, what, from_s, to_s)
        return StreamingResponse(lines, media_type="application/jsonl")

    return [
        Route("/api/status", only_from_here(status)),
        Route("/api/alarms", only_from_here(alarms)),
        Route("/api/alarms/{name:str}", only_from_here(command), methods=["POST"]),
        Route("/api/book", only_from_here(entries)),
        Route("/api/book", only_from_here(add), methods=["POST"]),
        Route("/api/drill", only_from_here(drill), methods=["POST"]),
        Route("/api/export/{what:str}", only_from_here(export)),
        Route("/api/report", only_from_here(report)),
    ]


def _exported(guard: "Guard", what: str, from_s: float, to_s: float) -> Iterator[str]:
    """A stream's lines from the store, many at a time; in a thread of its own."""
    with Reader(guard.store.directory) as reader:
        lines = reader.export_lines(what, from_s, to_s, reader.label_offset_s())
        while chunk := list(islice(lines, LINES_AT_ONCE)):
            yield "".join(dumps(line) + "\n" for line in chunk)


async def _body(request: Request) -> dict[str, Any]:
    """The JSON object of a request; an empty one where there is none."""
    if int(request.headers.get("content-length", "0") or "0") > LONGEST_BODY:
        return {}
    try:
        value = await request.json()
    except ValueError:
        return {}
    return value if isinstance(value, dict) else {}


async def _asked(guard: "Guard", name: str, values: Any, by: str) -> Response:
    try:
        reply: Reply = await run_in_threadpool(guard.ask, name, values, by)
    except NotRunning as error:
        return JSONResponse({"ok": False, "message": str(error)}, 503)
    return JSONResponse(
        {"ok": reply.ok, "value": reply.value, "message": reply.message}, 200 if reply.ok else 409
    )
