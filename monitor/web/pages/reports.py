"""The morning reports, as they were sent: the newest, and earlier ones by their date."""

import re

from markupsafe import Markup
from starlette.responses import HTMLResponse, Response

from monitor.errors import StoreError
from monitor.store.queries import Reader
from monitor.web.visit import Visit

DATES_AT_MOST = 60
_BODY = re.compile(r"<body[^>]*>(.*)</body>", re.DOTALL)
_MAIN = re.compile(r"<(/?)main\b")
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
AS_SENT = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; base-uri 'none'; "
    "form-action 'none'; sandbox"
)
"""A report is a page of its own, with its style inside."""


def report(visit: Visit) -> Response:
    """One report: the newest, or that of the address's date."""
    frame = visit.frame
    date = visit.request.path_params.get("date", "")
    found = frame.guard.report(date) if not date or _DATE.fullmatch(date) else None
    if found is None and date:
        return frame.stopped(visit, 404, "There is no report of that date.")
    dates = _dates(visit)
    return frame.page(
        visit,
        "report.html",
        "Report",
        "report",
        date=found["date"] if found else "",
        letter=Markup(_body(found["html"])) if found else "",  # noqa: S704  written and escaped by the report
        was_sent=found is not None and found["date"] in dates,
        dates=dates[:DATES_AT_MOST],
    )


def _body(html: str) -> str:
    """What a report says, without its own style and main part: the page has one of each."""
    match = _BODY.search(html)
    return _MAIN.sub(r"<\1div", match[1]) if match else ""


def as_sent(visit: Visit) -> Response:
    """The report as mail shows it."""
    date = visit.part("date")
    found = visit.frame.guard.report(date) if _DATE.fullmatch(date) else None
    if found is None:
        return visit.frame.stopped(visit, 404, "There is no report of that date.")
    return HTMLResponse(found["html"], headers={"Content-Security-Policy": AS_SENT})


def _dates(visit: Visit) -> list[str]:
    try:
        with Reader(visit.frame.guard.store.directory) as reader:
            return list(reversed(reader.report_dates()))
    except StoreError:
        return []
