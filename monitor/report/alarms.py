"""What rang since the last report and what was answered, a line an episode; pure."""

from monitor.model import AlarmState, Priority
from monitor.report.facts import AlarmLine, MorningFacts
from monitor.report.times import Times
from monitor.report.wording import FORESEEN, NEVER_RING, looked_back

COLD_NIGHT = (
    "low-temperature",
    "cooling-fast",
    "heater-not-holding",
    "wrap-freezing",
    "frozen-root-ball",
    "winter-desiccation",
)
"""Kinds that share one cause in one house, the one that leads first."""
SAYS_WHAT_IT_MEANS = frozenset({"warm-spell"})
"""Kinds of which a reader must know what changed."""
NEAR_S = 1800.0
"""What came so soon after the rest of an episode belongs to it; judgement."""


def alarm_lines(facts: MorningFacts, times: Times) -> tuple[str, ...]:
    """A line for each episode, in order; what never rings is told among what is asked."""
    held: dict[tuple[str, str], list[list[AlarmLine]]] = {}
    rang = [alarm for alarm in facts.alarms if alarm.kind not in NEVER_RING]
    for alarm in sorted(rang, key=lambda one: one.since_s):
        family = "cold night" if alarm.kind in COLD_NIGHT else alarm.kind
        groups = held.setdefault((family, alarm.house), [])
        if groups and alarm.since_s <= _last_s(groups[-1], facts.at_s) + NEAR_S:
            groups[-1].append(alarm)
        else:
            groups.append([alarm])
    every = [group for groups in held.values() for group in groups]
    return tuple(_line(group, facts, times) for group in sorted(every, key=lambda each: each[0].since_s))


def _last_s(group: list[AlarmLine], now_s: float) -> float:
    return max(now_s if alarm.ended_s is None else alarm.ended_s for alarm in group)


def _line(group: list[AlarmLine], facts: MorningFacts, times: Times) -> str:
    kinds = sorted({alarm.kind for alarm in group}, key=_rank)
    leading = [alarm for alarm in group if alarm.kind == kinds[0]]
    since_s = min(alarm.since_s for alarm in leading)
    span = times.span(since_s, _last_s(leading, facts.at_s))
    if any(alarm.active for alarm in leading):
        span = times.time(since_s) + ("" if kinds[0] in FORESEEN else ", still so")
    said = [
        _said([alarm for alarm in group if alarm.kind == kind], facts, 5 if kind == kinds[0] else 3)
        for kind in kinds
    ]
    also = f"; with it {', '.join(said[1:])}" if said[1:] else ""
    return f"{span}: {said[0]}{also}; {_answered(group, times)}"


def _rank(kind: str) -> tuple[int, str]:
    return (COLD_NIGHT.index(kind) if kind in COLD_NIGHT else len(COLD_NIGHT), kind)


def _said(group: list[AlarmLine], facts: MorningFacts, at_most: int) -> str:
    lows = [alarm.lowest_c for alarm in group if alarm.lowest_c is not None]
    names = list(dict.fromkeys(alarm.subject for alarm in group))
    said = looked_back(group[0].kind, names, min(lows, default=None), facts, at_most)
    meant = group[-1].consequence if group[0].kind in SAYS_WHAT_IT_MEANS else ""
    return f"{said}: {meant}" if meant else said


def _answered(group: list[AlarmLine], times: Times) -> str:
    seen = [alarm for alarm in group if alarm.seen_at_s is not None]
    if not seen:
        if all(alarm.is_usual for alarm in group):
            return "as in the nights before, so it rang nobody"
        low = all(alarm.priority is Priority.LOW for alarm in group)
        return "low, it rang nobody" if low else "nobody has seen it"
    first = min(seen, key=lambda alarm: alarm.seen_at_s or 0.0)
    by = f" by {first.seen_by.capitalize()}" if first.seen_by else ""
    again = any(alarm.state in (AlarmState.RETURNED, AlarmState.UNACKNOWLEDGED) for alarm in seen)
    worse = ", not again after it grew worse" if again else ""
    return f"seen {times.at(first.seen_at_s or 0.0)}{by}{worse}"
