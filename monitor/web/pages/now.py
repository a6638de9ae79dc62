"""The page of now: the verdict, what stands, the night as strands, houses, trees in order of need."""

from starlette.responses import Response

from monitor.errors import StoreError
from monitor.model import NoticeKind
from monitor.store.queries import Reader, SentNotice
from monitor.web import facts, words
from monitor.web.visit import Visit

QUIET_HOURS = (1, 2, 4, 8)
NOTICE_AGE_S = 14 * 86400.0
LOOK_AGAIN_S = 60


def now(visit: Visit) -> Response:
    """Everything that somebody needs at three in the morning."""
    frame = visit.frame
    episodes = facts.episodes_of(frame)
    trees = facts.trees_now(frame)
    urgent = [each for each in episodes if each.is_urgent]
    first = [each for each in urgent if each.priority == "high"] or urgent[:1]
    looks = {"Refresh": str(LOOK_AGAIN_S)} if visit.asked("look") else {}
    return frame.page(
        visit,
        "now.html",
        "Now",
        "now",
        verdict=facts.verdict_of(frame, episodes, trees),
        first=first,
        then=[each for each in episodes if each.is_urgent and each not in first],
        rang=facts.rang_lately(frame, episodes) if visit.is_owner else (),
        over=[each for each in episodes if each.is_over],
        small=[each for each in episodes if not each.is_urgent and not each.is_over],
        trees=trees,
        picture=facts.night_picture(frame, trees),
        houses=facts.house_lines(frame),
        unknown=[words.capital(text) for text in frame.guard.snapshot.unknown],
        quiet_hours=QUIET_HOURS,
        keeps_looking=bool(looks),
        headers=looks,
    )


def seen(visit: Visit) -> Response:
    """One tap takes the whole episode."""
    reply = visit.frame.ask("ack", {"alarms": [visit.form.get("alarm")]}, visit.by)
    if not reply.ok:
        return visit.to("/", "That is over already.", is_problem=True)
    if not reply.value:
        return visit.to("/", "It was seen already.")
    standing = {alarm["alarm"] for alarm in visit.frame.guard.snapshot.alarms}
    if standing.isdisjoint(reply.value):
        return visit.to("/", "Seen; it is over.")
    return visit.to(
        "/", "Seen, and the others are told. Seen is not safe: I ring again if it gets two degrees worse."
    )


def quiet(visit: Visit) -> Response:
    """No more of it for some hours; what is urgent cannot be made quiet."""
    hours = _hours(visit.form.get("hours"))
    alarms = facts.alarms_beside(visit.frame, visit.form.get("alarm"))
    reply = visit.frame.ask("shelve", {"alarms": alarms, "for_s": hours * 3600.0}, visit.by)
    if not reply.ok:
        return visit.to("/", words.capital(reply.message) + ".", is_problem=True)
    until = words.clock_time(visit.frame.guard.label_s() + hours * 3600, visit.frame.guard.settings.site.zone)
    return visit.to("/", f"Quiet until {until}. It rings at once if it becomes urgent.")


def ring_again(visit: Visit) -> Response:
    """The quiet ends now."""
    alarms = facts.alarms_beside(visit.frame, visit.form.get("alarm"))
    reply = visit.frame.ask("resume", {"alarms": alarms}, visit.by)
    said = "It counts again." if reply.ok else words.capital(reply.message) + "."
    return visit.to("/", said, is_problem=not reply.ok)


def worth(visit: Visit) -> Response:
    """Whether what rang was worth it; counted on Sunday, and it changes no rule."""
    is_worth = visit.form.get("worth") == "yes"
    reply = visit.frame.ask("worth", {"episode": visit.form.get("episode"), "worth": is_worth}, visit.by)
    if not reply.ok:
        return visit.to("/", words.capital(reply.message) + ".", is_problem=True)
    said = "Written down: it was worth it." if is_worth else "Written down: it was not worth it."
    return visit.to("/", f"{said} Sunday's report counts such answers.")


def _hours(text: str) -> int:
    return int(text) if text.isdigit() and int(text) in QUIET_HOURS else QUIET_HOURS[0]


def notice(visit: Visit) -> Response:
    """What a notice said, and what stands of it: where its link leads."""
    name = visit.part("notice")
    if name.startswith("report."):
        return visit.to(f"/report/{name.removeprefix('report.')}")
    found = _find(visit, name)
    if found is None:
        return visit.to("/")
    standing = {alarm["alarm"] for alarm in visit.frame.guard.snapshot.alarms}
    zone, now_s = visit.frame.guard.settings.site.zone, visit.frame.guard.label_s()
    return visit.frame.page(
        visit,
        "notice.html",
        found.notice.subject,
        "now",
        notice=found.notice,
        said_at=words.when(found.notice.at_s, zone, now_s),
        alarm=next((alarm for alarm in found.notice.alarms if alarm in standing), ""),
        is_drill=found.notice.kind is NoticeKind.DRILL,
    )


def _find(visit: Visit, name: str) -> SentNotice | None:
    guard = visit.frame.guard
    try:
        with Reader(guard.store.directory) as reader:
            return next(
                (
                    sent
                    for sent in reader.notices(guard.label_s() - NOTICE_AGE_S)
                    if sent.notice.notice == name
                ),
                None,
            )
    except StoreError:
        return None
