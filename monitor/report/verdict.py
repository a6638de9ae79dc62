"""The verdict of a morning in one sentence: the worst that is known first; unseen is never fine."""

from monitor.model import Priority
from monitor.notices.words import listed
from monitor.report.facts import Margin, MorningFacts, TreeNight
from monitor.report.times import Times, lasted
from monitor.report.value import Mark
from monitor.report.wording import (
    FORESEEN,
    UNSEEN_COUNTS_S,
    apart,
    counted,
    guards,
    limit_words,
    looked_back,
    mark_of,
    reached_words,
    some,
    unseen_s,
)

NAMES = 3


def verdict(facts: MorningFacts, times: Times) -> str:
    """One sentence without its full stop."""
    for find in (_harmed, _nothing_yet, _blind, _standing, _close, _partly_blind, _alarms_over):
        found = find(facts, times)
        if found:
            return found
    return _quiet(facts, times)


def blind_sensors(facts: MorningFacts) -> list[str]:
    """Sensors that trees depend on and that were silent for a good part of the night."""
    return [
        sensor.sensor
        for sensor in facts.sensors
        if guards(sensor, facts) and (sensor.low_c is None or unseen_s(sensor) >= UNSEEN_COUNTS_S)
    ]


def _harmed(facts: MorningFacts, times: Times) -> str:
    harmed = [(tree, margin) for tree in facts.trees if (margin := _past(tree)) is not None]
    if not harmed:
        return ""
    harmed.sort(key=lambda pair: pair[1].margin_k)
    tree, margin = harmed[0]
    names = some([tree.name for tree, _margin in harmed])
    what = "frost reached" if margin.side == "low" else "it was too hot for"
    worst = f"{reached_words(margin, facts.speech)} {times.at(margin.at_s)}"
    if len(harmed) > 1:
        worst += f" at {tree.name}"
    return f"{what} {names}: {worst}, {limit_words(margin, facts.speech)}{_and_not_all_seen(facts)}"


def _past(tree: TreeNight) -> Margin | None:
    margin = tree.nearest("harm")
    return margin if margin is not None and margin.margin_k <= 0 else None


def _and_not_all_seen(facts: MorningFacts) -> str:
    return "; and not all of the night was seen" if blind_sensors(facts) else ""


def _nothing_yet(facts: MorningFacts, times: Times) -> str:
    if any(sensor.heard for sensor in facts.sensors):
        return ""
    if not facts.trees:
        return "nothing is watched yet: no sensor has been heard, and no tree is written down"
    return "nothing is watched yet: no sensor has been heard"


def _blind(facts: MorningFacts, times: Times) -> str:
    """Most of the night nothing came from any sensor that trees depend on."""
    night_s = facts.at_s - facts.watch_from_s
    watching = [sensor for sensor in facts.sensors if guards(sensor, facts)]
    if any(sensor.low_c is not None and unseen_s(sensor) <= 0.5 * night_s for sensor in watching):
        return ""
    names = [tree.name for tree in facts.trees]
    whose = listed(names) if len(names) <= NAMES else counted(len(names), "tree")
    trees = f"how {whose} fared" if names else "how cold it was"
    gaps = [gap for sensor in watching for gap in sensor.gaps]
    from_s, to_s = max(gaps, key=lambda span: span[1] - span[0], default=(facts.watch_from_s, facts.at_s))
    is_open = to_s >= facts.at_s - 1.0
    when = f"since {times.time(from_s)}" if is_open else times.span(from_s, to_s)
    return f"a blind night: nothing was heard from the house {when}, and {trees} is not known"


def _standing(facts: MorningFacts, times: Times) -> str:
    standing = [
        alarm
        for alarm in facts.alarms
        if alarm.active and alarm.priority is not Priority.LOW and alarm.kind not in FORESEEN
    ]
    if not standing:
        return ""
    first = max(standing, key=lambda alarm: (alarm.priority.rank, -alarm.since_s))
    more = f", and {len(standing) - 1} more" if len(standing) > 1 else ""
    what = looked_back(first.kind, [first.subject], first.lowest_c, facts)
    return f"this still stands: {what}, since {times.time(first.since_s)}{more}"


def _close(facts: MorningFacts, times: Times) -> str:
    close = [tree for tree in facts.trees if mark_of(tree) is Mark.CLOSE]
    if not close:
        return ""
    nearest = min(close, key=lambda tree: _to_harm(tree, facts))
    margin = nearest.nearest("harm") or nearest.nearest()
    if margin is None:
        return ""
    where = f"{reached_words(margin, facts.speech)} {times.at(margin.at_s)}"
    spare = f", {apart(facts.speech, margin.margin_k)} from damage" if margin.grade == "harm" else ""
    others = f"; {counted(len(close) - 1, 'more tree')} came close" if len(close) > 1 else ""
    seen = _and_not_all_seen(facts) or "; no damage limit was reached"
    return f"a close night for {nearest.name}: {where}{spare}{others}{seen}"


def _to_harm(tree: TreeNight, facts: MorningFacts) -> float:
    margin = tree.nearest("harm")
    return margin.margin_k if margin is not None else float("inf")


def _partly_blind(facts: MorningFacts, times: Times) -> str:
    blind = blind_sensors(facts)
    off_s = sum(to_s - from_s for from_s, to_s in facts.off)
    if not blind and off_s < UNSEEN_COUNTS_S:
        unwatched = [tree.name for tree in facts.trees if not tree.watched]
        return f"no harm was seen, but nobody watches {some(unwatched)}" if unwatched else ""
    gaps = [gap for s in facts.sensors if s.sensor in blind for gap in s.gaps]
    if off_s >= UNSEEN_COUNTS_S:
        longest = max(facts.off, key=lambda span: span[1] - span[0])
        return f"no harm was seen, but I was off {times.span(*longest)}, and nobody watched"
    if not gaps:
        return f"no harm was seen, but nothing was heard from {some(blind)}"
    from_s, to_s = max(gaps, key=lambda span: span[1] - span[0])
    span = f"{times.span(from_s, to_s)} ({lasted(to_s - from_s)})"
    return f"no harm was seen, but not all of the night was: nothing from {some(blind)} {span}"


def _alarms_over(facts: MorningFacts, times: Times) -> str:
    rang = [
        alarm for alarm in facts.alarms if alarm.priority is not Priority.LOW and alarm.kind not in FORESEEN
    ]
    if not rang:
        return ""
    first = rang[0]
    what = looked_back(first.kind, [first.subject], first.lowest_c, facts)
    about = f" ({what})" if len(rang) == 1 else ""
    return f"{counted(len(rang), 'alarm')}{about}, over now; no tree came near its limits"


def _quiet(facts: MorningFacts, times: Times) -> str:
    tender = [(tree, margin) for tree in facts.trees if (margin := tree.nearest_that_counts) is not None]
    night = "a quiet night"
    if facts.first_seen_s > facts.from_s:
        night = f"quiet since I began to watch {times.at(facts.first_seen_s)}"
    if not tender:
        return night if facts.trees else f"{night}; no tree is written down yet"
    tree, margin = min(tender, key=lambda pair: pair[1].margin_k)
    return (
        f"{night}; {tree.name} came nearest, {apart(facts.speech, margin.margin_k)} to spare "
        f"({limit_words(margin, facts.speech)})"
    )
