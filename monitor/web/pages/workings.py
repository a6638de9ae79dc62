"""The page of workings: sensors, ways to reach people, helpers, storage, who you are. For the owner."""

from collections.abc import Mapping
from dataclasses import replace
from math import ceil
from typing import Any

from starlette.responses import Response

from monitor.clock import parse_rfc3339, rfc3339
from monitor.web import facts, words
from monitor.web.frame import Frame, versions
from monitor.web.pages.record import hand_in
from monitor.web.visit import Visit, leave_cookie

REST_HOURS = (1, 4, 12, 24)
HOUR_S = 3600.0
KEPT: Mapping[str, str] = {
    "readings": "Readings",
    "database_bytes": "Readings, alarms, notices",
    "recording_bytes": "Raw messages",
    "set_aside_bytes": "Set aside, damaged",
    "free_bytes": "Room left on the disk",
    "failing": "Keeping fails",
}


def workings(visit: Visit) -> Response:
    """How the guard itself is."""
    frame = visit.frame
    snapshot = frame.guard.snapshot
    return frame.page(
        visit,
        "workings.html",
        "Workings",
        "workings",
        sensors=[_sensor(frame, sensor) for house in snapshot.houses for sensor in house["sensors"]],
        rest_hours=REST_HOURS,
        ways=[_way(way) for way in snapshot.delivery],
        helpers=_helpers(frame),
        people=list(frame.guard.settings.people),
        storage=_storage(snapshot.storage),
        entries=len(frame.guard.book.entries),
        trees=len(frame.guard.trees),
        versions=versions(),
        has_password=frame.password is not None,
    )


def _sensor(frame: Frame, seen: Mapping[str, Any]) -> dict[str, Any]:
    sensor = frame.guard.settings.sensors[seen["sensor"]]
    rest = frame.guard.book.sensor_at_rest(seen["sensor"], frame.guard.label_s())
    trees = [tree.name for tree in frame.guard.book.trees_at(seen["sensor"])]
    zone = frame.guard.settings.site.zone
    return {
        "sensor": seen["sensor"],
        "says": facts.sensor_line(frame, seen, "").partition(": ")[2],
        "topic": sensor.topic,
        "trees": words.listed(trees),
        "rest": words.when(rest.until_s, zone, frame.guard.label_s()) if rest else "",
    }


def _way(way: Mapping[str, Any]) -> dict[str, str]:
    waiting = f"{words.counted(way['pending'], 'notice')} waiting" if way["pending"] else "nothing waiting"
    return {"notifier": way["notifier"], "says": waiting, "trouble": way["last_error"] or ""}


def _helpers(frame: Frame) -> list[dict[str, str]]:
    """Duties that stand or come, each with its link."""
    found = []
    now_s, zone = frame.guard.label_s(), frame.guard.settings.site.zone
    for entry in frame.guard.book.entries:
        if entry["kind"] == "duty" and entry["id"] not in frame.guard.book.voided:
            until_s = parse_rfc3339(entry["until"])
            if until_s > now_s:
                until = words.when(until_s, zone, now_s)
                who = words.capital(entry["person"])
                found.append(
                    {"who": who, "until": until, "entry": entry["id"], "link": frame.duty_link(entry["id"])}
                )
    return found


def _storage(sizes: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What is kept, and how much room is left; what is nothing is left out."""
    found = []
    for key, name in KEPT.items():
        value = sizes.get(key)
        if value:
            found.append((name, _size(value) if key.endswith("_bytes") else str(value)))
    return found


def _size(count: float) -> str:
    return f"{count / 1e9:.1f} GB" if count >= 1e9 else f"{count / 1e6:.1f} MB"


def drill(visit: Visit) -> Response:
    """A test notice through one way."""
    notifier = visit.form.get("notifier")
    if notifier not in visit.frame.guard.settings.notifiers:
        return visit.to("/workings", "There is no such way to reach you.", is_problem=True)
    result = visit.frame.drills.run(notifier)
    if result is None:
        said = f"The drill through {notifier} is still under way. Look whether it arrives."
        return visit.to("/workings", said)
    took = words.span(result.took_s)
    if result.ok:
        return visit.to("/workings", f"The drill through {notifier} went out in {took}: see that it arrived.")
    return visit.to("/workings", f"The drill through {notifier} failed: {result.detail}", is_problem=True)


def rest(visit: Visit) -> Response:
    """A sensor out of service for some hours, or back: hours 0."""
    hours = int(visit.form.get("hours")) if visit.form.get("hours").isdigit() else 0
    hours = hours if hours in REST_HOURS else 0
    until_s = visit.frame.guard.label_s() + hours * HOUR_S
    entry = {"kind": "rest", "sensor": visit.form.get("sensor"), "until": rfc3339(ceil(until_s))}
    return hand_in(visit, [entry], visit.form.get("once"), "/workings")


def me(visit: Visit) -> Response:
    """Who sits at this device: what is written down carries the name."""
    who = visit.form.get("who")
    if who and who not in visit.frame.guard.settings.people:
        return visit.to("/workings", "There is nobody of that name in the configuration.", is_problem=True)
    said = (
        f"You are {words.capital(who)} from now on, on this device."
        if who
        else "You are nobody in particular."
    )
    response = visit.to("/workings", said)
    leave_cookie(visit, response, replace(visit.visitor, who=who))
    return response
