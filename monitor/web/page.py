"""The app: the interface for the command line and, over TCP, a plain page of what the guard sees now."""

from html import escape
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from monitor.web.api import routes

if TYPE_CHECKING:
    from monitor.app import Guard

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


def make_app(guard: "Guard") -> Starlette:
    """One app for both sockets."""

    async def now(request: Request) -> Response:
        return HTMLResponse(_page(guard), headers=HEADERS)

    return Starlette(routes=[*routes(guard), Route("/", now)])


def _page(guard: "Guard") -> str:
    snapshot = guard.snapshot
    lines = [f"<h1>{escape(snapshot.site)}</h1>"]
    lines += [
        f"<p><strong>{escape(alarm['cause'])}</strong>: {escape(alarm['action'])}</p>"
        for alarm in snapshot.alarms
    ]
    for house in snapshot.houses:
        lines.append(f"<h2>{escape(house['name'] or house['house'])}</h2>")
        for sensor in house["sensors"]:
            value = "not known" if sensor["temperature_c"] is None else f"{sensor['temperature_c']:.1f} °C"
            lines.append(f"<p>{escape(sensor['sensor'])}: {escape(value)}, {escape(sensor['quality'])}</p>")
    lines += [f"<p>Not known: {escape(text)}</p>" for text in snapshot.unknown]
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width"><meta name="color-scheme" content="light dark">'
        f"<title>{escape(snapshot.site)}</title></head><body>{''.join(lines)}</body></html>"
    )
