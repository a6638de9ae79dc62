"""What a person is asked to do today, the most urgent first, and what the coming week brings; pure.

Nothing here asks anybody to handle, bend or carry a frozen branch: what is still frozen is named first and
waits. How many are shown is the page's business.
"""

from collections.abc import Iterable, Mapping
from datetime import date, timedelta

from monitor.model import AlarmState, Priority
from monitor.report.facts import Margin, MorningFacts, TreeNight
from monitor.report.times import Times, day
from monitor.report.value import Ask
from monitor.report.wording import FORESEEN, NEVER_RING, counted, limit_words, lowered, reached_words, some
from monitor.trees.asks import MOULD, TOUCH, WATER, without_touched
from monitor.trees.moment import LATE_AFTER_DAYS, FollowUpNow

WEEK_DAYS = 7
LEFT_ALONE_DAYS = 14
"""What nobody has done for so long is hardly what matters today; judgement."""
NAMES_A_DAY = 6
HARMED_ONE_BY_ONE = 3
NAMES_TOGETHER = 8
SAID_ELSEWHERE = FORESEEN | {"low-temperature", "sensor-silent", "broker-lost", "unwatched"}
WRAPS_WAIT: Mapping[str, str] = {
    "wrap-drying": "it can wait until noon, not longer",
    "wrap-unknown": "it can wait until this evening",
    "wet-too-long": "it can wait for some days",
}
"""In order of urgency, and how long each can wait; judgement."""
_WRAP_NEEDS_WAIT = dict(zip((WATER, TOUCH, MOULD), WRAPS_WAIT.values(), strict=True))
NOT_FROZEN = "not before it has thawed: "
SEE_FIRST = "see first that it is not frozen; "
STAY_OUT = "No burner or charcoal in a shut house; do not stay inside."


def asks(facts: MorningFacts, times: Times) -> list[Ask]:
    """Everything that is asked today, the most urgent first."""
    return [
        *_standing(facts, times),
        *_harmed(facts, times),
        *_unwatched(facts, times),
        *_silent(facts, times),
        *_to_begin(facts),
        *_wraps(facts, urgent=True),
        *_follow_ups(facts),
        *_wraps(facts, urgent=False),
        *_unseen_alarms(facts),
    ]


def _standing(facts: MorningFacts, times: Times) -> Iterable[Ask]:
    """What stands now and nobody has seen; trees that are in frost together are one thing to do."""
    standing = [
        alarm
        for alarm in facts.alarms
        if alarm.active and alarm.priority is not Priority.LOW and alarm.state is AlarmState.UNACKNOWLEDGED
    ]
    frost = [alarm for alarm in standing if alarm.kind == "low-temperature"]
    if frost:
        names = [alarm.subject for alarm in frost]
        since = times.time(min(alarm.since_s for alarm in frost))
        what = "see whether the heater runs, shut vents and door; do not touch frozen branches. " + STAY_OUT
        yield Ask(some(names), what, f"frost since {since}, and it is not over", "it cannot wait")
    for alarm in standing:
        if alarm.kind not in SAID_ELSEWHERE:
            about = facts.site if alarm.subject == "site" else alarm.subject
            why = f"{alarm.cause}, since {times.time(alarm.since_s)}; nobody has seen it"
            yield Ask(about, lowered(alarm.action), why, "it cannot wait")


def _harmed(facts: MorningFacts, times: Times) -> Iterable[Ask]:
    harmed = [
        (tree, margin)
        for tree in facts.trees
        if (margin := tree.nearest("harm")) is not None and margin.margin_k <= 0
    ]
    harmed.sort(key=lambda pair: pair[1].margin_k)
    if len(harmed) > HARMED_ONE_BY_ONE:
        yield _together(harmed, facts, times)
        return
    for tree, margin in harmed:
        yield Ask(tree.name, _look(tree, margin), _reached(margin, facts, times), _until_when(tree))


def _together(harmed: list[tuple[TreeNight, Margin]], facts: MorningFacts, times: Times) -> Ask:
    """Many trees past their limits: one walk, the worst first."""
    worst = harmed[0][1]
    frozen = any(tree.is_frozen for tree, _margin in harmed)
    tree = next((tree for tree, _margin in harmed if tree.is_frozen), harmed[0][0])
    why = f"{harmed[0][0].name} had {reached_words(worst, facts.speech)} {times.at(worst.at_s)}"
    until = "it can wait until they have thawed, not beyond today" if frozen else "it can wait until noon"
    names = some([tree.name for tree, _margin in harmed], NAMES_TOGETHER)
    return Ask(names, _look(tree, worst), f"{why}; all went past their damage limits", until)


def _look(tree: TreeNight, margin: Margin) -> str:
    if margin.side == "high":
        return (
            "look at leaves, buds and pot, and write down what you find. Shade it; do not bend or prune it."
        )
    if margin.of == "pot":
        return (
            "let the pot thaw slowly where it stands, in the shade; do not water what is frozen. Do not feed "
            "it or cut its roots before you know how they came through."
        )
    first = "let it thaw untouched where it stands; then look" if tree.is_frozen else "look"
    return (
        f"{first} at bark, buds and bends, and write down what you find. Do not bend or prune it before you "
        "know."
    )


def _until_when(tree: TreeNight) -> str:
    return "it can wait until it has thawed, not beyond today" if tree.is_frozen else "it can wait until noon"


def _reached(margin: Margin, facts: MorningFacts, times: Times) -> str:
    reached = f"it had {reached_words(margin, facts.speech)} {times.at(margin.at_s)}"
    return f"{reached}, {limit_words(margin, facts.speech)}"


def _unwatched(facts: MorningFacts, times: Times) -> Iterable[Ask]:
    trees = [tree for tree in facts.trees if not tree.watched]
    if trees:
        places = some(sorted({tree.place for tree in trees if tree.place}))
        why = f"no sensor is set where {'it stands' if len(trees) == 1 else 'they stand'}"
        yield Ask(
            some([tree.name for tree in trees]),
            "bring it back to a watched place, or write down where it stands now.",
            f"{why} ({places})" if places else why,
            "it can wait until dusk",
        )


def _silent(facts: MorningFacts, times: Times) -> Iterable[Ask]:
    """Sensors that are silent now; the message post stands for all of them."""
    if facts.link_down_at_s is not None:
        since = times.time(facts.link_down_at_s)
        what = "look at a thermometer in the house; then see whether the message post and the network run."
        yield Ask(facts.site, what, f"no connection to the message post since {since}", "it cannot wait")
        return
    names = {tree.sensor for tree in facts.trees}
    for sensor in facts.sensors if any(sensor.heard for sensor in facts.sensors) else ():
        is_open = bool(sensor.gaps) and sensor.gaps[-1][1] >= facts.at_s - 1.0
        if sensor.sensor in names and (is_open or not sensor.heard):
            watched = some([tree.name for tree in facts.trees if tree.sensor == sensor.sensor])
            said = f"silent since {times.time(sensor.gaps[-1][0])}" if sensor.heard else "never heard"
            what = "look at its battery and its receiver, and at a thermometer in the house."
            yield Ask(
                f"Sensor {sensor.sensor}", what, f"{said}; it watches {watched}", "it can wait until dusk"
            )


def _to_begin(facts: MorningFacts) -> Iterable[Ask]:
    """What is still to be set up before anything can be guarded."""
    if not any(sensor.heard for sensor in facts.sensors):
        what = 'see whether the sensors are on; "aftercare listen" shows what reaches the message post.'
        yield Ask("Sensors", what, "no sensor has been heard yet", "it can wait until dusk")
    if not facts.trees:
        what = 'write down which trees stand in the house and what was done to them ("aftercare book add").'
        yield Ask("Trees", what, "no tree is written down, so no tree is guarded", "it can wait until dusk")


def _wraps(facts: MorningFacts, *, urgent: bool) -> Iterable[Ask]:
    """Wraps to wet, to feel, to look at for mould; what is not urgent comes after everything that is due."""
    if facts.wrap_asks is None:
        yield from _wrap_alarms(facts) if urgent else ()
        return
    first = {tree.tree: _first(tree) for tree in facts.trees}
    for ask in facts.wrap_asks:
        if ask.urgent is urgent:
            what = f"{first.get(ask.tree, '')}{lowered(ask.text)}"
            about = f"{ask.tree_name}, wrap {ask.wrap}"
            yield Ask(about, what, ask.because, _WRAP_NEEDS_WAIT[ask.need])


def _wrap_alarms(facts: MorningFacts) -> Iterable[Ask]:
    """What the alarms of wraps ask for: water first, then a touch, then a look for mould."""
    first = {tree.name: _first(tree) for tree in facts.trees}
    standing = [alarm for alarm in facts.alarms if alarm.active and alarm.kind in NEVER_RING]
    for alarm in sorted(standing, key=lambda one: (list(WRAPS_WAIT).index(one.kind), one.subject, one.part)):
        what = f"{first.get(alarm.subject, '')}{lowered(alarm.action)}"
        yield Ask(f"{alarm.subject}, wrap {alarm.part}", what, alarm.cause, WRAPS_WAIT[alarm.kind])


def _follow_ups(facts: MorningFacts) -> Iterable[Ask]:
    first = {tree.tree: _first(tree) for tree in facts.trees}
    touched = {alarm.subject for alarm in facts.alarms if alarm.active and alarm.kind == "wrap-unknown"}
    now = [
        each
        for each in without_touched(facts.follow_ups, facts.wrap_asks or ())
        if each.status in ("late", "due") and not (each.name.endswith("-touch") and each.tree_name in touched)
    ]
    today = date.fromisoformat(facts.date)
    for each in sorted(now, key=lambda one: _urgency(one, today)):
        about = f" ({each.part})" if each.part else ""
        text = f"{first.get(each.tree, '')}{lowered(each.text)}"
        why = each.because or each.label.lower()
        yield Ask(f"{each.tree_name}, {lowered(each.label)}{about}", text, why, _wait(each, today))


def _first(tree: TreeNight) -> str:
    """What comes before anything is done on a tree that is frozen, or may be."""
    if tree.is_frozen:
        return NOT_FROZEN
    return "" if tree.now_c is not None else SEE_FIRST


def _urgency(each: FollowUpNow, today: date) -> tuple[bool, bool, bool, date, str, str]:
    """What bites or rots comes first, then what is late, the oldest first; what was long left alone, last."""
    pressing = "was found" in each.because
    left_alone = (today - each.due_on).days > LEFT_ALONE_DAYS
    return (not pressing, left_alone, each.status != "late", each.due_on, each.tree_name, each.name)


def _wait(each: FollowUpNow, today: date) -> str:
    last = each.due_on + timedelta(days=LATE_AFTER_DAYS)
    if each.status == "late":
        return f"it was due on {day(each.due_on)}"
    return "it should not wait longer than today" if last <= today else f"it can wait until {day(last)}"


def _unseen_alarms(facts: MorningFacts) -> Iterable[Ask]:
    unseen = [
        alarm for alarm in facts.alarms if alarm.state is AlarmState.RETURNED and alarm.kind not in NEVER_RING
    ]
    if unseen:
        over = counted(len(unseen), "alarm is over", "alarms are over")
        what = 'say that you have seen them (page, or "aftercare ack --all").'
        yield Ask(facts.site, what, f"{over} and nobody has said so", "it can wait until it suits you")


# ---- the coming week -----------------------------------------------------------------------------------


def coming_week(facts: MorningFacts) -> tuple[tuple[str, str], ...]:
    """Day by day what will be due: a day and its tasks, each with its trees."""
    today = date.fromisoformat(facts.date)
    days: dict[date, dict[str, list[str]]] = {}
    for each in sorted(facts.follow_ups, key=lambda one: (one.due_on, one.label, one.tree_name)):
        if each.status == "coming" and today < each.due_on <= today + timedelta(days=WEEK_DAYS):
            days.setdefault(each.due_on, {}).setdefault(each.label, []).append(each.tree_name)
    return tuple(
        (day(on), "; ".join(f"{label} ({some(names, NAMES_A_DAY)})" for label, names in tasks.items()))
        for on, tasks in days.items()
    )
