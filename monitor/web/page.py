"""The app on the page's own address: every route, who may open it, and the door before all of them."""

from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from monitor.links import host_of, is_loopback
from monitor.trees.species import shipped_species
from monitor.web import api
from monitor.web.door import Door
from monitor.web.frame import FOLDER, STYLE, STYLE_NAME, Frame, templates
from monitor.web.keys import page_key
from monitor.web.pages import entrance, labels, now, record, reports, tonight, tree, workings
from monitor.web.visit import ANYONE, HELPER, OWNER, Page, Visit, visited
from monitor.web.visitors import Signer

if TYPE_CHECKING:
    from monitor.app import Guard

PAGES: tuple[tuple[str, str, Page, str], ...] = (
    ("GET", "/", now.now, HELPER),
    ("POST", "/seen", now.seen, HELPER),
    ("POST", "/quiet", now.quiet, OWNER),
    ("POST", "/ring-again", now.ring_again, OWNER),
    ("POST", "/worth", now.worth, OWNER),
    ("GET", "/notice/{notice:path}", now.notice, HELPER),
    ("GET", "/tree/{tree:str}", tree.tree, HELPER),
    ("GET", "/record", record.record, HELPER),
    ("POST", "/do", record.do, HELPER),
    ("GET", "/record/{kind:str}", record.form, OWNER),
    ("POST", "/record/{kind:str}", record.send, OWNER),
    ("POST", "/void", record.void, OWNER),
    ("GET", "/tonight", tonight.tonight, HELPER),
    ("GET", "/report", reports.report, HELPER),
    ("GET", "/report/{date:str}", reports.report, HELPER),
    ("GET", "/report/{date:str}/as-sent", reports.as_sent, HELPER),
    ("GET", "/workings", workings.workings, OWNER),
    ("POST", "/drill", workings.drill, OWNER),
    ("POST", "/rest", workings.rest, OWNER),
    ("POST", "/me", workings.me, OWNER),
    ("GET", "/labels", labels.labels, OWNER),
    ("GET", "/enter", entrance.enter, ANYONE),
    ("POST", "/enter", entrance.let_in, ANYONE),
    ("POST", "/leave", entrance.leave, ANYONE),
    ("GET", "/helper/{token:str}", entrance.helper, ANYONE),
)
FOR_EVER = {"Cache-Control": "public, max-age=31536000, immutable"}


def make_page(guard: "Guard", password: str | None) -> Door:
    """The page behind its door; `password` is its stored form, None where none is set."""
    web = guard.settings.web
    templates()
    shipped_species()
    frame = Frame(guard, Signer(page_key(guard.store.directory), password or ""), password)
    app = Starlette(
        routes=[*_still(), *api.page_routes(frame), *_routes(frame)],
        exception_handlers={404: _not_here(frame), 405: _not_here(frame), 500: _failed},
    )
    listens = host_of(web.listen)
    shut = shut_because(web.listen) if password is None and not is_loopback(listens) else ""
    return Door(app, [*web.hosts, listens], shut, only_here=password is None)


def shut_because(listen: str) -> str:
    """Why a page that others could reach is not served without a password."""
    return (
        f"The page is shut: it listens on {listen}, where others can reach it, and has no password. "
        "On the machine that guards, type: aftercare web password. Then start it again."
    )


def _routes(frame: Frame) -> list[BaseRoute]:
    return [Route(path, visited(frame, page, who), methods=[method]) for method, path, page, who in PAGES]


def _still() -> list[BaseRoute]:
    """What never changes: the style and the icon."""
    icon = (FOLDER / "icon.svg").read_bytes()

    async def style(request: Request) -> Response:
        del request
        return Response(STYLE, media_type="text/css", headers=FOR_EVER)

    async def picture(request: Request) -> Response:
        del request
        return Response(icon, media_type="image/svg+xml", headers={"Cache-Control": "public, max-age=86400"})

    return [Route(f"/{STYLE_NAME}", style), Route("/icon.svg", picture), Route("/favicon.ico", picture)]


def _not_here(frame: Frame):  # type: ignore[no-untyped-def]
    def page(visit: Visit) -> Response:
        return frame.stopped(visit, 404, "There is no such page.")

    drawn = visited(frame, page, ANYONE)

    async def answered(request: Request, error: Exception) -> Response:
        status = error.status_code if isinstance(error, HTTPException) else 404
        if request.url.path.startswith("/api/") or request.method == "POST":
            return JSONResponse({"message": "There is no such address, or not for this method."}, status)
        return await drawn(request)

    return answered


async def _failed(request: Request, error: Exception) -> Response:
    """A fault of ours: said in a sentence here, and in full in the log."""
    del request, error
    return Response("Something went wrong in the page itself; the guard goes on. Its log says more.\n", 500)
