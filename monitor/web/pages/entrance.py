"""Letting people in: the password, a helper's link, and out again. Slow for whoever guesses."""

import threading

from starlette.responses import RedirectResponse, Response

from monitor.clock import monotonic_s, wall_s
from monitor.web import passwords, words
from monitor.web.visit import Visit, leave_cookie, own_path
from monitor.web.visitors import new_visitor

ONE_AT_A_TIME = threading.Semaphore(1)
"""A hash takes memory and time on purpose: never two at once."""
BUSY_S = 5.0


def enter(visit: Visit) -> Response:
    """Where the password is asked for."""
    if visit.is_owner:
        return RedirectResponse(own_path(visit.asked("next")), 303)
    return _ask(visit, own_path(visit.asked("next")))


def _ask(visit: Visit, back: str, problem: str = "", status: int = 200) -> Response:
    people = list(visit.frame.guard.settings.people)
    return visit.frame.page(
        visit,
        "enter.html",
        "Password",
        "",
        status,
        people=people,
        back=back,
        problem=problem,
        who=visit.form.get("who"),
    )


def let_in(visit: Visit) -> Response:
    """A password was given."""
    frame, back = visit.frame, own_path(visit.form.get("back"))
    if frame.password is None:
        return RedirectResponse(back, 303)
    address = visit.request.client.host if visit.request.client else ""
    wait_s = frame.slowdown.wait_s(address, monotonic_s())
    if wait_s > 0:
        return _ask(visit, back, f"Too many wrong ones. Try again in {words.span(wait_s + 1)}.", 429)
    if not ONE_AT_A_TIME.acquire(timeout=BUSY_S):
        return _ask(visit, back, "Others are trying just now. Try again in a moment.", 429)
    try:
        is_right = passwords.verify(frame.password, visit.form.get("password"))
    finally:
        ONE_AT_A_TIME.release()
    if not is_right:
        frame.slowdown.failed(address, monotonic_s())
        return _ask(visit, back, "That is not the password.", 403)
    frame.slowdown.succeeded(address)
    who = visit.form.get("who")
    response = RedirectResponse(back, 303)
    leave_cookie(
        visit, response, new_visitor("owner", wall_s(), who if who in frame.guard.settings.people else "")
    )
    return response


def leave(visit: Visit) -> Response:
    """This device forgets who it was."""
    response = visit.to("/enter", "You are out.")
    leave_cookie(visit, response, new_visitor("", wall_s()))
    return response


def helper(visit: Visit) -> Response:
    """A helper's link: in, as long as the duty stands."""
    entry = visit.frame.signer.duty_of(visit.part("token"))
    if entry is None:
        return visit.frame.stopped(visit, 404, "This link is not complete. Ask for it again.")
    if visit.is_owner:
        return visit.to("/", "You are the owner already: the link is for your helper.")
    if not visit.frame.duty_stands(entry):
        return visit.frame.stopped(visit, 403, "This link is over, or its time has not come yet.")
    person = visit.frame.guard.book.by_id[entry]["person"]
    response = visit.to(
        "/", f"Welcome, {words.capital(person)}. You can say what you have seen, felt, wetted and done."
    )
    leave_cookie(visit, response, new_visitor("helper", wall_s(), person, entry))
    return response
