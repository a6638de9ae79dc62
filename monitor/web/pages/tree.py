"""A tree's own page: stage and why, limits and their sources, wraps, what is due, history, record."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from starlette.responses import Response

from monitor.clock import local, parse_rfc3339
from monitor.guarding import GuardedTree
from monitor.notices.words import STANDS
from monitor.trees.follow_ups import FollowUpNow
from monitor.trees.stages import wrap_keep
from monitor.trees.tree import Tree, Wrap
from monitor.web import drawing, facts, saying, words
from monitor.web.drawing import Mark
from monitor.web.frame import Frame
from monitor.web.visit import Visit

DAY_S = 86400.0
SPANS: Mapping[str, str] = {"24h": "24 hours", "7d": "7 days", "work": "since the work"}
COLUMNS = 160
RECORD_AT_MOST = 40
LONGEST_S = 400 * DAY_S
HEIGHT = 200
FINE_S = 900.0


@dataclass(frozen=True, slots=True)
class WrapNow:
    """One wrap that is on."""

    wrap: str
    name: str
    made_of: str
    keep: str
    felt: str
    estimate: str
    asked: str = ""
    """What is to be done about it, and why; empty for nothing."""


@dataclass(frozen=True, slots=True)
class RecordLine:
    """One line of what was done."""

    entry: str
    when: str
    text: str
    by: str
    is_last: bool


@dataclass(frozen=True, slots=True)
class History:
    """The picture of a tree's temperatures, around its own lines."""

    path: str
    band: str
    line: float | None
    warn: float | None
    line_text: str
    warn_text: str
    hours: Sequence[Mark]
    heights: Sequence[Mark]
    lowest: str
    height: int = HEIGHT


def tree(visit: Visit) -> Response:
    """Everything about one tree."""
    frame, name = visit.frame, visit.part("tree")
    found = frame.guard.book.trees.get(name)
    if found is None:
        return frame.stopped(visit, 404, f"There is no tree {name} in the book.")
    guarded = frame.guard.trees.get(name)
    span = visit.asked("span", "24h")
    now = next((each for each in facts.trees_now(frame) if each.tree == name), None)
    return frame.page(
        visit,
        "tree.html",
        found.name,
        tree=found,
        now=now,
        stages=_stages(guarded),
        promise=saying.wake_promise(frame, guarded) if guarded else "",
        limits=_limits(frame, guarded),
        wraps=[wrap_now(frame, guarded, wrap) for wrap in found.wraps_on] if guarded else [],
        more=_more(frame, name),
        wires=[_wire(wire) for wire in found.wires_on],
        due=due_lines(frame, guarded),
        spans=SPANS,
        span=span if span in SPANS else "24h",
        history=_history(frame, found, guarded, span),
        record=record_lines(frame, frame.guard.book.mentions(name), with_tree=False)[:RECORD_AT_MOST],
        stands=_stands(frame, found),
    )


def _more(frame: Frame, name: str) -> list[str]:
    """Its pot, and whether it may leave the house, where anybody knows."""
    more, speech = frame.guard.snapshot.more, frame.guard.speech
    said = []
    for pot in more.get("pots", ()):
        if pot["tree"] == name and pot["temperature_c"] is not None:
            by = "" if pot["by"] == "probe" else ", reckoned from the air"
            ice = f", {pot['frozen_part']:.0%} of its water frozen" if pot["frozen_part"] >= 0.05 else ""
            said.append(f"Its pot is at {speech.temperature(pot['temperature_c'])}{ice}{by}")
    said += [_worst(frame, each) for each in more.get("worst_hours", ()) if each["tree"] == name]
    said += [f"Leaving the house: {each['said']}" for each in more.get("leaving", ()) if each["tree"] == name]
    return said


def _worst(frame: Frame, each: Mapping[str, Any]) -> str:
    """Where to look first after something died: the worst hours before it."""
    zone, now_s = frame.guard.settings.site.zone, frame.guard.label_s()
    part = f" of {words.plain(each['part'])}" if each["part"] else ""
    from_, to = (words.when(each[key], zone, now_s) for key in ("from_s", "to_s"))
    low = f", down to {frame.guard.speech.temperature(each['low_c'])}" if each["low_c"] is not None else ""
    what = "dieback" if each["found"] == "dieback" else "death"
    return f"Its worst hours before the {what}{part}: {from_} to {to}{low}"


def _stages(guarded: GuardedTree | None) -> list[tuple[str, str]]:
    if guarded is None:
        return []
    return [
        (f"{words.plain(s.work)}: {'over' if s.released else s.stage}", s.because) for s in guarded.stages
    ]


def _stands(frame: Frame, found: Tree) -> str:
    if found.sensor in frame.guard.settings.sensors and found.sensor is not None:
        house = frame.guard.settings.houses.get(frame.guard.settings.sensors[found.sensor].house)
        return f"at {found.sensor}{f', {house.name}' if house and house.name else ''}"
    return STANDS.get(found.place, "where no sensor is") + ": not watched there"


def _limits(frame: Frame, guarded: GuardedTree | None) -> list[tuple[str, str, str]]:
    if guarded is None:
        return []
    speech = frame.guard.speech
    found, before = [], ""
    for key, limit in guarded.in_force.items():
        source = "as above" if limit.source == before else limit.source
        found.append((words.capital(words.LIMITS[key]), words.limit_value(speech, key, limit.value), source))
        before = limit.source
    return found


def wrap_now(frame: Frame, guarded: GuardedTree, wrap: Wrap) -> WrapNow:
    """A wrap as it is told, with what is thought of it."""
    days = int((frame.guard.label_s() - wrap.at_s) // DAY_S)
    cover = "" if wrap.cover == "none" else f" under {words.plain(wrap.cover)}"
    asked = _asked(frame, guarded.tree.id, wrap.wrap)
    felt = facts.felt_words(frame, wrap).removeprefix(words.plain(wrap.wrap)).strip()
    return WrapNow(
        wrap.wrap,
        words.capital(words.plain(wrap.wrap)),
        f"{wrap.fibre}{cover}, day {days}",
        "must stay damp" if wrap_keep(wrap, guarded.stages) == "damp" else "may dry",
        felt,
        "" if asked else saying.estimate_of(frame, guarded.tree.id, wrap.wrap),
        asked,
    )


def _asked(frame: Frame, tree: str, wrap: str) -> str:
    for ask in frame.guard.snapshot.more.get("wrap_asks", ()):
        if (ask["tree"], ask["wrap"]) == (tree, wrap) and not ask["can_wait"]:
            return f"{words.capital(ask['text'].rstrip('.'))}. {words.capital(ask['because'])}"
    return ""


def _wire(wire: Any) -> str:
    about = " ".join(str(each) for each in (wire.metal, f"{wire.mm:g} mm" if wire.mm else "") if each)
    kind = "Guy" if wire.kind == "guy" else "Wire"
    return f"{kind} on {words.plain(wire.part)}{f', {about}' if about else ''}"


# ---- what is due ---------------------------------------------------------------------------------------


def due_lines(frame: Frame, guarded: GuardedTree | None) -> list[tuple[FollowUpNow, str]]:
    """What is due, late or coming, with when in words."""
    if guarded is None:
        return []
    today = local(frame.guard.label_s(), frame.guard.settings.site.zone).date()
    found = []
    for each in frame.warmth.follow_ups(frame.guard, guarded):
        days = (each.due_on - today).days
        on = words.day(each.due_on)
        when = "today" if days == 0 else f"late: it was due {on}" if each.status == "late" else f"from {on}"
        found.append((each, when))
    return found


# ---- history -------------------------------------------------------------------------------------------


def _history(frame: Frame, found: Tree, guarded: GuardedTree | None, span: str) -> History | None:
    guard = frame.guard
    offset_s = guard.speech.offset_s
    to_s = guard.label_s() - offset_s
    from_s = to_s - _span_s(frame, found, span)
    curve = frame.curves.of_tree(found, from_s, to_s, COLUMNS)
    if curve.is_empty:
        return None
    limits = guarded.limits if guarded is not None else {}
    harm_c, warn_c = limits.get("low_harm_c"), limits.get("low_warn_c")
    bottom, top = _range(curve.low_c, curve.high_c, harm_c, warn_c)
    # The scale counts upwards from its line: here the line is the lowest temperature that is drawn.
    scale = drawing.Scale(top - bottom, HEIGHT - drawing.SPACE, HEIGHT)
    gap_s = facts.gap_s(frame, guarded, from_s, to_s, COLUMNS) if guarded else 3600.0
    low, high = curve.low_c - bottom, curve.high_c - bottom
    lowest = int(np.nanargmin(curve.low_c))
    at = _when_lowest(frame, float(curve.at_s[lowest]) + offset_s, (to_s - from_s) / COLUMNS)
    speech = guard.speech
    return History(
        path=drawing.path_of(curve.at_s, low, scale, from_s, to_s, gap_s),
        band=drawing.band_of(curve, low, high, scale, from_s, to_s),
        line=None if harm_c is None else round(scale.y(harm_c - bottom), 1),
        warn=None if warn_c is None else round(scale.y(warn_c - bottom), 1),
        line_text="" if harm_c is None else speech.limit(harm_c),
        warn_text="" if warn_c is None else speech.limit(warn_c),
        hours=drawing.hour_marks(from_s + offset_s, to_s + offset_s, guard.settings.site.zone),
        heights=_heights(frame, scale, bottom, top, (harm_c, warn_c)),
        lowest=f"lowest {speech.temperature(float(curve.low_c[lowest]))} {at}",
    )


def _when_lowest(frame: Frame, label_s: float, width_s: float) -> str:
    """As exactly as the picture's columns know it."""
    zone = frame.guard.settings.site.zone
    if width_s > FINE_S:
        return f"on {words.day_of(label_s, zone)}"
    return f"at {words.when(label_s, zone, frame.guard.label_s())}"


def _span_s(frame: Frame, found: Tree, span: str) -> float:
    if span == "7d":
        return 7 * DAY_S
    if span == "work" and found.works:
        return min(LONGEST_S, max(DAY_S, frame.guard.label_s() - found.works[-1].at_s))
    return DAY_S


def _range(low_c: Any, high_c: Any, *limits: float | None) -> tuple[float, float]:
    """From a degree under everything that is drawn to a degree over it."""
    held = [limit for limit in limits if limit is not None]
    bottom = min([float(np.nanmin(low_c)), *held]) - 1.0
    return bottom, max([float(np.nanmax(high_c)), *held]) + 1.0


def _heights(
    frame: Frame, scale: drawing.Scale, bottom: float, top: float, limits: Sequence[float | None]
) -> list[Mark]:
    lines = [scale.y(limit - bottom) for limit in limits if limit is not None]
    step = next((step for step in (1, 2, 5, 10) if (top - bottom) / step <= 6), 20)
    first = int(np.ceil(bottom / step)) * step
    fahrenheit = frame.guard.settings.site.show == "fahrenheit"
    return [
        Mark(
            round(scale.y(c - bottom), 1),
            (f"{c * 9 / 5 + 32:.0f}°" if fahrenheit else f"{c}°").replace("-", "−"),
        )
        for c in range(first, int(top) + 1, step)
        if all(abs(scale.y(c - bottom) - line) > 9 for line in lines)
    ]


# ---- the record ----------------------------------------------------------------------------------------


def record_lines(
    frame: Frame, entries: Sequence[Mapping[str, Any]], with_tree: bool = True
) -> list[RecordLine]:
    """Entries that count as lines, the latest first; the last one that was written can be taken back."""
    book, zone, now_s = frame.guard.book, frame.guard.settings.site.zone, frame.guard.label_s()
    last = last_entry(frame)
    counted = [each for each in entries if each["id"] not in book.voided and each["kind"] != "void"]
    return [
        RecordLine(
            each["id"],
            words.when(parse_rfc3339(each["at"]), zone, now_s),
            saying.line_of(frame, each, with_tree),
            each.get("by", ""),
            each["id"] == last,
        )
        for each in sorted(counted, key=lambda each: parse_rfc3339(each["at"]), reverse=True)
    ]


def last_entry(frame: Frame) -> str:
    """The entry that was written last and still counts; empty where there is none."""
    book = frame.guard.book
    for each in reversed(book.entries):
        if each["kind"] != "void" and each["id"] not in book.voided:
            return str(each["id"])
    return ""
