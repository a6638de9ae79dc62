"""What the pages tell, gathered from the guard's frozen values: episodes, houses, trees in order of need."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Any, NamedTuple

from monitor.clock import local, parse_rfc3339
from monitor.guarding import GuardedTree
from monitor.model import Priority
from monitor.notices.episodes import FAMILIES, key_of, order_of
from monitor.notices.words import what_of
from monitor.trees.tree import Wrap
from monitor.web import words
from monitor.web.curves import Curve
from monitor.web.drawing import Course, Picture, picture_of

if TYPE_CHECKING:
    from monitor.web.frame import Frame

Alarm = Mapping[str, Any]
TO_BE_SEEN = frozenset({"unacknowledged", "returned-unacknowledged"})
RANK: Mapping[str, int] = {"high": 3, "medium": 2, "low": 1}
NIGHT_BEGINS = time(16, 0)
SHORTEST_NIGHT_S = 3 * 3600.0
COLUMNS = 120
DRAWN_FOR_S = 20.0
SOON_H = 8.0
RANG_AT_MOST = 3


@dataclass(frozen=True, slots=True)
class EpisodeNow:
    """The alarms of one house that share a cause, most urgent first; `alarm` stands for all of them."""

    key: str
    alarm: str
    priority: str
    cause: str
    consequence: str
    action: str
    others: Sequence[str]
    state: str
    is_to_be_seen: bool
    is_quiet: bool
    may_be_quiet: bool
    is_over: bool

    @property
    def mark(self) -> str:
        """Its name on the page."""
        return self.key.replace("/", "-")

    @property
    def is_urgent(self) -> bool:
        """Whether it stands above everything else on the page."""
        return self.priority != "low" and not self.is_quiet and not self.is_over


class RangNow(NamedTuple):
    """Something that rang and is over: was it worth `waking` (or `calling`) somebody?"""

    episode: str
    what: str
    called: str


@dataclass(frozen=True, slots=True)
class TreeNow:
    """One tree on the page of now; `margin_k` is None where it is not known or no frost limit is held."""

    tree: str
    name: str
    distance: str
    details: Sequence[str]
    margin_k: float | None
    is_tender: bool
    is_unknown: bool


# ---- alarms --------------------------------------------------------------------------------------------


def episodes_of(frame: "Frame") -> list[EpisodeNow]:
    """What stands now, the most urgent first."""
    grouped: dict[str, list[Alarm]] = {}
    for alarm in frame.guard.snapshot.alarms:
        grouped.setdefault(key_of(alarm["kind"], alarm["house"]), []).append(alarm)
    found = [_episode(frame, key, alarms) for key, alarms in grouped.items()]
    return sorted(found, key=lambda each: (not each.is_to_be_seen, -RANK[each.priority], each.key))


def alarms_beside(frame: "Frame", alarm: str) -> list[str]:
    """All alarms that stand on the page as one with this; itself where it stands no more."""
    standing = {each["alarm"]: key_of(each["kind"], each["house"]) for each in frame.guard.snapshot.alarms}
    return [each for each, key in standing.items() if key == standing.get(alarm)] or [alarm]


def _episode(frame: "Frame", key: str, alarms: list[Alarm]) -> EpisodeNow:
    alarms = sorted(alarms, key=_order)
    first = alarms[0]
    is_over = not any(each["active"] for each in alarms)
    others = [words.capital(each["cause"]) for each in _beside(alarms)]
    return EpisodeNow(
        key=key,
        alarm=first["alarm"],
        priority=first["priority"],
        cause=f"Over: {_what(frame, alarms)}" if is_over else words.capital(first["cause"]),
        consequence="" if is_over else words.capital(first["consequence"]),
        action="" if is_over else first["action"],
        others=[each for each in dict.fromkeys(others) if each != words.capital(first["cause"])],
        state=_state(frame, first),
        is_to_be_seen=any(each["state"] in TO_BE_SEEN for each in alarms),
        is_quiet=first["state"] == "shelved",
        may_be_quiet=all(each["priority"] != "high" for each in alarms) and first["state"] != "shelved",
        is_over=is_over,
    )


def _order(alarm: Alarm) -> tuple[bool, int, bool, str]:
    """What stands first, then as notices have it."""
    return (not alarm["active"], *order_of(alarm["kind"], Priority(alarm["priority"]), alarm["alarm"]))


def _beside(alarms: Sequence[Alarm]) -> Iterator[Alarm]:
    """What stands beside the first; harm that is there has said how fast it was coming."""
    harmed = {
        each["subject"] for each in alarms if each["kind"] == "low-temperature" and each["priority"] == "high"
    }
    for each in alarms[1:]:
        if each["active"] and not (each["kind"] == "cooling-fast" and each["subject"] in harmed):
            yield each


def _what(frame: "Frame", alarms: Sequence[Alarm]) -> str:
    """What is over, as the notice says it: its cause has gone, and its words with it."""
    kind = alarms[0]["kind"]
    names = dict.fromkeys(_name(frame, each["subject"]) for each in alarms)
    return what_of(FAMILIES.get(kind, kind), list(names))


def _name(frame: "Frame", subject: str) -> str:
    """A tree or house as people call it."""
    tree = frame.guard.trees.get(subject.partition("/")[0])
    house = frame.guard.settings.houses.get(subject)
    return tree.tree.name if tree is not None else (house.name if house is not None else "") or subject


def _state(frame: "Frame", alarm: Alarm) -> str:
    zone, now_s = frame.guard.settings.site.zone, frame.guard.snapshot.at_s
    since = words.when(parse_rfc3339(alarm["since"]), zone, now_s)
    said = words.STATES.get(alarm["state"], alarm["state"])
    if alarm["state"] == "shelved" and alarm["quiet_until"]:
        return f"quiet until {words.when(parse_rfc3339(alarm['quiet_until']), zone, now_s)}"
    if alarm["state"] == "acknowledged" and alarm["seen_at"]:
        seen = words.when(parse_rfc3339(alarm["seen_at"]), zone, now_s)
        said = f"seen by {alarm['seen_by'] or 'somebody'} at {seen}"
    return f"since {since}, {said}"


def rang_lately(frame: "Frame", episodes: Sequence[EpisodeNow]) -> list[RangNow]:
    """What rang, is over and seen, and waits for an answer, the latest first; a few at most."""
    zone, now_s = frame.guard.settings.site.zone, frame.guard.snapshot.at_s
    unseen = tuple(f"{each.key.replace('/', '.')}." for each in episodes if each.is_over)
    found = []
    for ring in frame.guard.snapshot.more.get("rang", ()):
        if ring["worth"] is not None or ring["episode"].startswith(unseen):
            continue
        from_s, to_s = parse_rfc3339(ring["from"]), parse_rfc3339(ring["to"])
        span = f"{words.when(from_s, zone, now_s)}–{words.clock_time(to_s, zone)}"
        place = f" ({ring['place']})" if ring["place"] else ""
        called = "waking" if ring["priority"] == "high" else "calling"
        found.append(RangNow(ring["episode"], f"{words.capital(ring['what'])}{place}, {span}", called))
    return found[:RANG_AT_MOST]


# ---- houses --------------------------------------------------------------------------------------------


def house_lines(frame: "Frame") -> list[tuple[str, list[str]]]:
    """Each house's name, and a sentence a sensor."""
    speech = frame.guard.speech
    found = []
    for house in frame.guard.snapshot.houses:
        moving = words.trend(speech, house["falling_k_per_h"])
        lines = [sensor_line(frame, sensor, moving) for sensor in house["sensors"]]
        found.append((house["name"] or house["house"], lines))
    return found


def sensor_line(frame: "Frame", sensor: Mapping[str, Any], moving: str) -> str:
    """One sensor: what it says, and how old that is."""
    where = words.PLACES.get(sensor["place"], "")
    name = f"{sensor['sensor']}{f' ({where})' if where else ''}"
    if sensor["temperature_c"] is None and sensor["relative_humidity_pct"] is None:
        return f"{name}: nothing heard yet"
    parts = (
        [] if sensor["temperature_c"] is None else [frame.guard.speech.temperature(sensor["temperature_c"])]
    )
    if moving and sensor["place"] == "bench" and sensor["quality"] in ("good", "suspect"):
        parts.append(moving)
    if sensor["relative_humidity_pct"] is not None:
        parts.append(f"humidity {sensor['relative_humidity_pct']:.0f} %")
    doubt = words.QUALITIES.get(sensor["quality"], sensor["quality"])
    # What the guard saw last it saw then: nothing came since, and meanwhile it got older.
    since_s = max(0.0, frame.guard.label_s() - frame.guard.snapshot.at_s)
    age = f"{words.span(sensor['age_s'] + since_s)} ago" if sensor["age_s"] is not None else ""
    return f"{name}: {', '.join([*parts, *([doubt] if doubt else []), *([age] if age else [])])}"


# ---- trees ---------------------------------------------------------------------------------------------


def trees_now(frame: "Frame") -> list[TreeNow]:
    """All trees in order of need: what is not known first, then by their distance."""
    trees = frame.guard.trees
    found = [
        _tree_now(frame, seen, trees[seen["tree"]])
        for seen in frame.guard.snapshot.trees
        if seen["tree"] in trees
    ]
    return sorted(found, key=_need)


def _need(tree: TreeNow) -> tuple[int, float, str]:
    if tree.is_unknown:
        return (0, 0.0, tree.name)
    return (1, tree.margin_k, tree.name) if tree.margin_k is not None else (2, 0.0, tree.name)


def _tree_now(frame: "Frame", seen: Mapping[str, Any], guarded: GuardedTree) -> TreeNow:
    margin_k = seen["margin_k"]
    has_limit = "low_harm_c" in guarded.limits
    is_watched = guarded.tree.sensor in frame.guard.settings.sensors
    is_unknown = (has_limit or guarded.is_tender) and margin_k is None and (has_limit or not is_watched)
    if margin_k is not None:
        distance = words.distance(frame.guard.speech, margin_k)
    elif not is_watched:
        distance = "not watched"
    else:
        distance = "not known" if is_unknown else "not tender"
    return TreeNow(
        guarded.tree.id,
        guarded.tree.name,
        distance,
        [
            part
            for part in (stage_words(guarded), _pace(frame, guarded, margin_k), _wraps(frame, guarded))
            if part
        ],
        margin_k,
        guarded.is_tender,
        is_unknown,
    )


def stage_words(guarded: GuardedTree) -> str:
    """`heavy bend, fresh, day 5`; several works by a semicolon."""
    tender = [stage for stage in guarded.stages if not stage.released]
    return "; ".join(f"{words.plain(s.work)}, {s.stage}, day {s.day}" for s in tender)


def _pace(frame: "Frame", guarded: GuardedTree, margin_k: float | None) -> str:
    """When the line is reached if it goes on as now."""
    sensor = frame.guard.settings.sensors.get(guarded.tree.sensor or "")
    houses = {house["house"]: house["falling_k_per_h"] for house in frame.guard.snapshot.houses}
    falling = houses.get(sensor.house) if sensor is not None else None
    if margin_k is None or falling is None or falling <= 0.2 or margin_k <= 0:
        return ""
    hours = margin_k / falling
    if hours > SOON_H:
        return ""
    at = words.clock_time(frame.guard.snapshot.at_s + hours * 3600, frame.guard.settings.site.zone)
    return f"at this pace at its line about {at}"


def _wraps(frame: "Frame", guarded: GuardedTree) -> str:
    on = guarded.tree.wraps_on
    if not on:
        return ""
    felt = [felt_words(frame, wrap) for wrap in on if wrap.touches or wrap.rewets]
    more = f"; {felt[0]}" if felt else ""
    return f"{words.counted(len(on), 'wrap')}{more}"


def felt_words(frame: "Frame", wrap: Wrap) -> str:
    """What somebody last felt or did on a wrap."""
    now_s = frame.guard.label_s()
    felt_at_s = wrap.touches[-1].at_s if wrap.touches else float("-inf")
    if wrap.rewets and wrap.rewets[-1] >= felt_at_s:
        return f"{words.plain(wrap.wrap)} wetted {words.ago(wrap.rewets[-1], now_s)}"
    if not wrap.touches:
        return f"{words.plain(wrap.wrap)} not felt yet"
    feel = words.plain(wrap.touches[-1].feel)
    felt = "could not be told" if feel == "cannot tell" else f"felt {feel}"
    return f"{words.plain(wrap.wrap)} {felt} {words.ago(felt_at_s, now_s)}"


# ---- the night -----------------------------------------------------------------------------------------


def night_from_s(now_s: float, zone: Any) -> float:
    """When the night that is drawn began: at four in the afternoon [label, s]."""
    now = local(now_s, zone)
    begin = datetime.combine(now.date(), NIGHT_BEGINS, tzinfo=zone)
    if now_s - begin.timestamp() < SHORTEST_NIGHT_S:
        begin = datetime.combine(now.date() - timedelta(days=1), NIGHT_BEGINS, tzinfo=zone)
    return begin.timestamp()


def night_picture(frame: "Frame", trees: Sequence[TreeNow]) -> Picture | None:
    """Every tree with a frost limit as a strand; None where nothing can be drawn.

    A picture stands for twenty seconds or until the book changes; while one is drawn the last one is shown.
    """
    guard, last = frame.guard, frame.night
    seen = (guard.snapshot.at_s // DRAWN_FOR_S, len(guard.book.entries))
    if last is not None and last[0] == seen:
        return last[1]
    is_mine = frame.drawing.acquire(blocking=last is None or last[0][1] != seen[1])
    if not is_mine:
        return last[1] if last is not None else None
    try:
        if frame.night is None or frame.night[0] != seen:
            frame.night = (seen, _drawn(frame, trees))
        return frame.night[1]
    finally:
        frame.drawing.release()


def _drawn(frame: "Frame", trees: Sequence[TreeNow]) -> Picture | None:
    guard = frame.guard
    zone, offset_s = guard.settings.site.zone, guard.speech.offset_s
    to_s = guard.snapshot.at_s - offset_s
    from_s = night_from_s(guard.snapshot.at_s, zone) - offset_s
    courses = [course for tree in trees if (course := _course(frame, tree, from_s, to_s)) is not None]
    picture = picture_of(courses, from_s, to_s, zone, offset_s)
    return picture if picture.strands else None


def _course(frame: "Frame", now: TreeNow, from_s: float, to_s: float) -> Course | None:
    guarded = frame.guard.trees.get(now.tree)
    harm_c = guarded.limits.get("low_harm_c") if guarded is not None else None
    if guarded is None or harm_c is None:
        return None
    curve: Curve = frame.curves.of_tree(guarded.tree, from_s, to_s, COLUMNS)
    return Course(
        now.tree, now.name, curve, harm_c, now.margin_k, gap_s(frame, guarded, from_s, to_s, COLUMNS)
    )


def gap_s(frame: "Frame", guarded: GuardedTree, from_s: float, to_s: float, columns: int) -> float:
    """How far apart two values may be and still belong to one line [s]."""
    sensor = frame.guard.settings.sensors.get(guarded.tree.sensor or "")
    late_s = sensor.late_after_s if sensor is not None else 300.0
    return max(late_s, 2.1 * (to_s - from_s) / columns)


# ---- all of it in a sentence ---------------------------------------------------------------------------


def verdict_of(frame: "Frame", episodes: Sequence[EpisodeNow], trees: Sequence[TreeNow]) -> str:
    """What somebody reads first."""
    standing = [each for each in episodes if each.is_urgent]
    if standing:
        return f"{standing[0].cause}."
    if not frame.guard.snapshot.guarding:
        return "The guard has not begun yet."
    if not trees:
        return "No tree is written down yet."
    unknown = [tree.name for tree in trees if tree.is_unknown]
    if unknown:
        more = " and others" if len(unknown) > 3 else ""
        return f"Nobody knows how it is at {words.listed(unknown[:3])}{more}."
    known = [tree for tree in trees if tree.margin_k is not None]
    unseen = " Not everything is known." if frame.guard.snapshot.unknown else ""
    if not known:
        return f"No tree is tender.{unseen}"
    first = known[0]
    apart = words.distance(frame.guard.speech, first.margin_k)
    return f"{first.name} is nearest to harm: {apart} its frost line.{unseen}"
