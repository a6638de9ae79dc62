"""What all pages share: the guard they ask, who is let in, and how a page is drawn."""

import importlib.metadata
import platform
import sqlite3
import threading
from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from monitor import links
from monitor.clock import monotonic_s, parse_rfc3339, wall_s
from monitor.errors import NotRunning
from monitor.model import Reply
from monitor.safety import SAFETY_LINES
from monitor.web import words
from monitor.web.curves import Curves
from monitor.web.drawing import Picture
from monitor.web.drills import Drills
from monitor.web.shown import ONCE_MARK, TOKEN_MARK, Drawn, Key, Shown
from monitor.web.slowdown import Slowdown
from monitor.web.visit import COOKIE, SAID_COOKIE, Visit
from monitor.web.visitors import Signer, Visitor, new_visitor
from monitor.web.warmth import Warmth

if TYPE_CHECKING:
    from monitor.app import Guard

FOLDER = Path(__file__).parent
STYLE = (FOLDER / "style.css").read_text(encoding="utf-8")
STYLE_NAME = f"style-{sha256(STYLE.encode()).hexdigest()[:10]}.css"
NAVIGATION = (
    ("/", "Now", "now"),
    ("/record", "Record", "record"),
    ("/tonight", "Tonight", "tonight"),
    ("/report", "Report", "report"),
    ("/workings", "Workings", "workings"),
)
STUCK_AFTER_S = 30.0


@cache
def templates() -> Environment:
    """Every template, compiled: nobody waits for that at the first page."""
    found = Environment(
        loader=FileSystemLoader(FOLDER / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    found.filters.update(words.FILTERS)
    for name in found.list_templates():
        found.get_template(name)
    return found


class Frame:
    """One page of one guard; `password` is its stored form, None where none is set."""

    def __init__(self, guard: "Guard", signer: Signer, password: str | None = None) -> None:
        self.guard = guard
        self.signer = signer
        self.password = password
        self.slowdown = Slowdown()
        self.curves = Curves(guard.store.directory)
        self.warmth = Warmth(guard.store.directory)
        self.drills = Drills(guard)
        self.shown = Shown()
        self.drawing = threading.Lock()
        self.night: tuple[tuple[float, int], Picture | None] | None = None
        """The picture of the night as it was last drawn, with what it was drawn from."""

    # ---- who -----------------------------------------------------------------------------------------------

    def visitor_of(self, request: Request) -> Visitor:
        """Who comes: by the cookie, or anew; without a password whoever is on this machine is the owner."""
        now_s = wall_s()
        known = self.signer.visitor(request.cookies.get(COOKIE, ""), now_s)
        if known is not None and self._still(known):
            return known
        if self.password is not None:
            return new_visitor("", now_s)
        people = list(self.guard.settings.people)
        return new_visitor("owner", now_s, people[0] if len(people) == 1 else "")

    def _still(self, visitor: Visitor) -> bool:
        """Whether somebody is still what the cookie says."""
        if visitor.is_helper:
            return self.duty_stands(visitor.duty)
        return visitor.is_owner or self.password is not None

    def fresh(self, visitor: Visitor, request: Request) -> Visitor | None:
        """The visitor to leave in a cookie, where there is none yet or the old one has aged."""
        now_s = wall_s()
        if self.signer.visitor(request.cookies.get(COOKIE, ""), now_s) != visitor:
            return visitor
        return self.signer.renewed(visitor, now_s)

    def duty_stands(self, entry: str) -> bool:
        """Whether the duty that lets a helper in counts, and is not over."""
        book = self.guard.book
        found = book.by_id.get(entry)
        if found is None or found["kind"] != "duty" or entry in book.voided:
            return False
        label_s = self.guard.label_s()
        return parse_rfc3339(found["at"]) <= label_s < parse_rfc3339(found["until"])

    def duty_link(self, entry: str) -> str:
        """The link that lets a helper in as long as a duty stands."""
        return links.duty_url(links.base_url(self.guard.settings.web), self.signer.duty_token(entry))

    # ---- asking --------------------------------------------------------------------------------------------

    def ask(self, name: str, values: Any, by: str) -> Reply:
        """The guard's answer; that it does not answer is an answer, too."""
        try:
            return self.guard.ask(name, values, by)
        except NotRunning as error:
            return Reply(0, False, message=str(error))

    # ---- drawing -------------------------------------------------------------------------------------------

    def page(
        self,
        visit: Visit,
        template: str,
        title: str,
        here: str = "",
        status: int = 200,
        headers: Mapping[str, str] | None = None,
        **values: Any,
    ) -> Response:
        """A page with everything around it."""
        said = visit.said()
        text = (
            templates()
            .get_template(template)
            .render(
                **values,
                title=title,
                here=here,
                site=self.guard.settings.site.name,
                navigation=self._navigation(visit),
                style=STYLE_NAME,
                token=TOKEN_MARK,
                once=ONCE_MARK,
                path=_path(visit.request),
                said=said,
                visitor=visit.visitor,
                is_owner=visit.is_owner,
                as_of=words.clock_time(self.guard.label_s(), self.guard.settings.site.zone),
                stuck=self.stuck(),
                safety=SAFETY_LINES,
                speech=self.guard.speech,
            )
        )
        drawn = Drawn(text, headers or {})
        if said is None and status == 200 and visit.request.method == "GET":
            self.shown.keep(_key(visit), visit.state, monotonic_s(), drawn)
        return self._response(visit, drawn, status)

    def just_drawn(self, visit: Visit) -> Response | None:
        """The page, where it was drawn for the like of this visitor a moment ago and nothing changed."""
        if visit.request.method != "GET" or SAID_COOKIE in visit.request.cookies:
            return None
        drawn = self.shown.find(_key(visit), visit.state, monotonic_s())
        return None if drawn is None else self._response(visit, drawn, 200)

    def _response(self, visit: Visit, drawn: Drawn, status: int) -> Response:
        return HTMLResponse(drawn.filled(self.signer.token(visit.visitor)), status, drawn.headers)

    def state(self) -> tuple[Any, ...]:
        """What every page is drawn from: frozen values that are replaced when anything changes."""
        return (self.guard.snapshot, self.guard.book)

    def stopped(self, visit: Visit, status: int, text: str) -> Response:
        """A page that only says why it is none."""
        return self.page(
            visit, "stopped.html", "Not done" if status == 403 else "Not here", "", status, text=text
        )

    def stuck(self) -> str:
        """That the guard itself does not move, which nothing else on the page would show."""
        health = self.guard.checkup.health
        if health is None:
            return "The guard has not begun yet: nothing here is known."
        still_s = monotonic_s() - health.passed_at_s
        if still_s < STUCK_AFTER_S:
            return ""
        return (
            f"The guard has not moved for {words.span(still_s)}: what stands here is old, and nobody watches."
        )

    def _navigation(self, visit: Visit) -> list[tuple[str, str, str]]:
        if visit.is_owner:
            return list(NAVIGATION)
        return [each for each in NAVIGATION if each[2] != "workings"] if visit.visitor.is_helper else []


def _key(visit: Visit) -> Key:
    """What a page depends on beside the guard's state."""
    return (_path(visit.request), visit.visitor.role, visit.visitor.who)


def _path(request: Request) -> str:
    query = f"?{request.url.query}" if request.url.query else ""
    return request.url.path + query


def versions() -> list[tuple[str, str]]:
    """The release that runs, and what it runs on."""
    return [
        ("Release", _release("greenhouse-aftercare-monitor")),
        ("Python", platform.python_version()),
        ("SQLite", sqlite3.sqlite_version),
        ("MQTT client", _release("paho-mqtt")),
    ]


def _release(package: str) -> str:
    try:
        return importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return "not installed"


Values = Mapping[str, Any]
