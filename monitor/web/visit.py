"""One visit to one page: who comes, what a form says, and how the answer goes back. It draws nothing.

Every page is a plain function of a visit, run in a thread of its own; this wraps it: who may, the token of a
form, the cookie. Nothing here knows of trees.
"""

from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from monitor.web.visitors import LASTS_S, Visitor

if TYPE_CHECKING:
    from monitor.web.frame import Frame

COOKIE = "aftercare"
SAID_COOKIE = "aftercare-said"
SAID_FOR_S = 60
FIELDS_AT_MOST = 200
FORM_TYPE = "application/x-www-form-urlencoded"

OWNER, HELPER, ANYONE = "owner", "helper", "anyone"
"""Who may open a page: the owner; people on duty, too; whoever comes."""


@dataclass(frozen=True, slots=True)
class Form:
    """The fields of a form as text; a field may stand there several times."""

    values: Mapping[str, Sequence[str]] = field(default_factory=dict)

    def get(self, name: str, otherwise: str = "") -> str:
        """The last value of a field, without blanks around it."""
        found = self.values.get(name)
        return found[-1].strip() if found else otherwise

    def all(self, name: str) -> list[str]:
        """Every value of a field."""
        return [value.strip() for value in self.values.get(name, ()) if value.strip()]

    @property
    def flat(self) -> dict[str, str]:
        """The last value of each field."""
        return {name: self.get(name) for name in self.values}


@dataclass(frozen=True, slots=True)
class Said:
    """What the page before did, told on the next one; `entry` can be taken back."""

    text: Sequence[str]
    entry: str = ""
    is_problem: bool = False


@dataclass(frozen=True, slots=True)
class Visit:
    """One request of one visitor."""

    frame: "Frame"
    request: Request
    visitor: Visitor
    form: Form = Form()
    state: tuple[Any, ...] = ()
    """What everything was drawn from, taken before anything is drawn."""

    @property
    def is_owner(self) -> bool:
        """Whether everything is allowed."""
        return self.visitor.is_owner

    @property
    def by(self) -> str:
        """Who is written down as having done it."""
        return self.visitor.who or "page"

    def asked(self, name: str, otherwise: str = "") -> str:
        """A value of the address's query."""
        return self.request.query_params.get(name, otherwise)

    def part(self, name: str) -> str:
        """A part of the address's path."""
        return str(self.request.path_params[name])

    @property
    def back(self) -> str:
        """The page that a form wants to return to; only ever one of ours."""
        return own_path(self.form.get("back"))

    def to(self, path: str, *text: str, entry: str = "", is_problem: bool = False) -> Response:
        """On to a page, which says this first."""
        response = RedirectResponse(path, 303)
        if text:
            value = self.frame.signer.message([list(text), entry, is_problem])
            set_cookie(self.request, response, SAID_COOKIE, value, SAID_FOR_S)
        return response

    def said(self) -> Said | None:
        """What the page before has to say."""
        found = self.frame.signer.read_message(self.request.cookies.get(SAID_COOKIE, ""))
        return Said(*found) if isinstance(found, list) and len(found) == 3 else None


Page = Callable[[Visit], Response]


def own_path(text: str, otherwise: str = "/") -> str:
    """A path of this page that a link or form may name as the next; anything else becomes `otherwise`."""
    is_path = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable()
    if not is_path or len(text) > 300:
        return otherwise
    parts = urlsplit(text)
    return text if not parts.netloc and not parts.scheme and "\\" not in text else otherwise


def visited(frame: "Frame", page: Page, who: str = HELPER) -> Callable[[Request], Awaitable[Response]]:
    """A page as the server calls it."""

    async def answered(request: Request) -> Response:
        visitor = frame.visitor_of(request)
        refusal = _refused(frame, request, visitor, who)
        if refusal is not None:
            return refusal
        form = Form()
        if request.method == "POST":
            form = await form_of(request)
            if not frame.signer.is_token(visitor, form.get("token")) or is_foreign(request):
                return await run_in_threadpool(
                    frame.stopped,
                    Visit(frame, request, visitor),
                    403,
                    "That page was too old, so nothing was done. Go back to the page and try once more.",
                )
        visit = Visit(frame, request, visitor, form, frame.state())
        response = frame.just_drawn(visit)
        if response is None:
            response = await run_in_threadpool(page, visit)
        _leave_cookies(visit, response)
        return response

    return answered


def _refused(frame: "Frame", request: Request, visitor: Visitor, who: str) -> Response | None:
    if who == ANYONE or visitor.is_owner or (who == HELPER and visitor.is_helper):
        return None
    if visitor.is_helper:
        text = "This is for the owner. You can say that you have seen it, felt, wetted or done something."
        return frame.stopped(Visit(frame, request, visitor), 403, text)
    path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    back = "" if request.method == "POST" or path == "/" else f"?next={quote(path)}"
    return RedirectResponse(f"/enter{back}", 303)


def _leave_cookies(visit: Visit, response: Response) -> None:
    """The visitor's cookie where it is new or getting old; what was said is said once."""
    if not any(name == b"set-cookie" and value.startswith(COOKIE.encode() + b"=")
               for name, value in response.raw_headers):  # fmt: skip
        fresh = visit.frame.fresh(visit.visitor, visit.request)
        if fresh is not None:
            leave_cookie(visit, response, fresh)
    if response.status_code == 200 and SAID_COOKIE in visit.request.cookies:
        response.delete_cookie(SAID_COOKIE, path="/")


def leave_cookie(visit: Visit, response: Response, visitor: Visitor) -> None:
    """Let the browser remember who this is."""
    value = visit.frame.signer.cookie(visitor)
    set_cookie(visit.request, response, COOKIE, value, int(LASTS_S))


def set_cookie(request: Request, response: Response, name: str, value: str, lasts_s: int) -> None:
    """A cookie that scripts and other sites do not get."""
    is_secret = request.url.scheme == "https"
    response.set_cookie(name, value, lasts_s, path="/", secure=is_secret, httponly=True, samesite="lax")


async def form_of(request: Request) -> Form:
    """The form of a request; an empty one for anything that is none."""
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != FORM_TYPE:
        return Form()
    try:
        text = (await request.body()).decode()
        pairs = parse_qsl(text, keep_blank_values=True, max_num_fields=FIELDS_AT_MOST)
    except ValueError:
        return Form()
    values: dict[str, list[str]] = {}
    for name, value in pairs:
        values.setdefault(name, []).append(value)
    return Form(values)


def is_foreign(request: Request) -> bool:
    """Whether a browser says that another site sent this."""
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return True
    origin = request.headers.get("origin")
    return origin is not None and urlsplit(origin).netloc != request.headers.get("host", "")
