"""Tonight, how good the last forecasts were, and the week on Sundays, in words; pure."""

from collections.abc import Iterable, Sequence

from monitor.notices import night_words
from monitor.notices.night_words import chance_text
from monitor.notices.words import listed
from monitor.report.facts import Death, LastLows, MorningFacts, Outlook, Skill, TreeWeek, Week
from monitor.report.times import Times, lasted
from monitor.report.wording import apart, counted, some

NO_OUTLOOK = (
    "an outlook is made this evening and told if it is dangerous; look at a weather forecast before dusk"
)
WORTH_SAYING = 0.05
TREES_SHOWN = 3
PLACES_SHOWN = 3
WEEK_TREES_SHOWN = 7
NAMES_SHOWN = 8
WHOLE_WEEK_S = 6.5 * 86_400.0
UNSEEN_SAID_H = 1.0
WARM_FROM_C = 15.0
"""Worst hours that never came below this were too warm, not too cold; judgement."""


def tonight(facts: MorningFacts) -> tuple[str, ...]:
    """What the coming night may bring; that nothing is known of it yet is said, with what is."""
    if facts.outlook:
        return tuple(_outlook(each, facts) for each in facts.outlook[:PLACES_SHOWN])
    known = [line for each in facts.last_lows[:PLACES_SHOWN] if (line := _last_lows(each, facts))]
    return (NO_OUTLOOK, *known)


def _last_lows(known: LastLows, facts: MorningFacts) -> str:
    """The last nights, and what a weather service says of the next one."""
    said = []
    if known.lows_c:
        lows = listed([facts.speech.temperature(low_c) for low_c in known.lows_c])
        nights = len(known.lows_c)
        when = "this night" if nights == 1 else f"in the last {nights} nights, this one first,"
        said.append(f"{known.house}: {when} {known.place} came down to {lows}")
    if known.service_c is not None:
        outside = f"a weather service says {facts.speech.temperature(known.service_c)} outside for tonight"
        said.append(outside if said else f"{known.house}: {outside}")
    return "; ".join(said)


def _outlook(outlook: Outlook, facts: MorningFacts) -> str:
    said = [f"{outlook.place}: lowest {outlook.low}"]
    chances = [tree for tree in outlook.trees if tree[2] >= WORTH_SAYING][:TREES_SHOWN]
    said += [
        f"{name} below {facts.speech.limit(limit_c)}: {chance_text(chance)}"
        for name, limit_c, chance in chances
    ]
    return "; ".join([*said, outlook.heater] if outlook.heater else said)


def skill_lines(facts: MorningFacts) -> tuple[str, ...]:
    """How far the last forecasts can be trusted; nothing where none were made."""
    return tuple(_skills(facts.skill, facts))


def _skills(skills: tuple[Skill, ...], facts: MorningFacts) -> Iterable[str]:
    known = [skill for skill in skills if skill.is_enough]
    for skill in known[:PLACES_SHOWN]:
        rival_k = skill.rival_off_by_k
        yield night_words.skill(
            skill.place,
            skill.nights,
            skill.within,
            apart(facts.speech, skill.off_by_k),
            "" if rival_k is None else apart(facts.speech, rival_k),
        )
    if skills and not known:
        nights = max(skill.nights for skill in skills)
        yield f"too few nights to tell yet ({nights} so far)"


def week_lines(facts: MorningFacts) -> tuple[str, ...]:
    """The section on Sundays: how often it rang, the forecasts, what trees went through; else nothing."""
    if facts.week is None:
        return ()
    week = facts.week
    troubled = sorted((tree for tree in week.trees if _is_troubled(tree)), key=_trouble)
    lines = [_tree_week(tree, facts) for tree in troubled[:WEEK_TREES_SHOWN]]
    if len(troubled) > WEEK_TREES_SHOWN:
        lines.append(f"{counted(len(troubled) - WEEK_TREES_SHOWN, 'more tree')} went through less than these")
    calm = [tree for tree in week.trees if not _is_troubled(tree)]
    if calm:
        lines.append(_calm(calm, bool(troubled), facts))
    watched = f"I have watched only {lasted(week.watched_s)} of it"
    return (
        *([] if week.watched_s >= WHOLE_WEEK_S else [watched]),
        _rang(week),
        *(_week_skill(skill, facts) for skill in week.skill[:PLACES_SHOWN]),
        *lines,
    )


def _rang(week: Week) -> str:
    """How often it rang, and how often that was worth it, as far as anybody said."""
    if not week.rang:
        return "it rang nobody"
    unsaid = week.rang - week.worth - week.not_worth
    said = [f"{week.worth} {_were(week.worth)} worth it"] if week.worth else []
    said += [f"{week.not_worth} {_were(week.not_worth)} not worth it"] if week.not_worth else []
    said += [f"of {unsaid} nobody has said whether it was worth it (the page asks)"] if unsaid else []
    return f"it rang {counted(week.rang, 'time')}: {', '.join(said)}"


def _were(number: int) -> str:
    return "was" if number == 1 else "were"


def _week_skill(skill: Skill, facts: MorningFacts) -> str:
    off = apart(facts.speech, skill.off_by_k)
    return (
        f"{skill.place}: {skill.within} of {counted(skill.nights, 'night')} kept within what was said; on "
        f"average the low was {off} off"
    )


def _is_troubled(tree: TreeWeek) -> bool:
    return max(tree.harm_h, tree.cold_h, tree.warm_h) > 0.0 or tree.unseen_h >= UNSEEN_SAID_H


def _trouble(tree: TreeWeek) -> tuple[float, float, float, str]:
    """What went furthest first."""
    return -tree.harm_h, -(tree.cold_h + tree.warm_h), -tree.unseen_h, tree.name


def _calm(trees: Sequence[TreeWeek], others: bool, facts: MorningFacts) -> str:
    """Trees that stayed inside their limits, together."""
    known = [tree.coldest_c for tree in trees if tree.coldest_c is not None]
    whose = f"the other {counted(len(trees), 'tree')}" if others else counted(len(trees), "tree")
    whose = trees[0].name if len(trees) == 1 else whose
    coldest = f"; the coldest was {facts.speech.temperature(min(known))}" if known else ""
    warmth = max(tree.warmth_k_d for tree in trees)
    return f"{whose} stayed inside all limits{coldest}; up to {_warmth(warmth, facts)}"


def _tree_week(tree: TreeWeek, facts: MorningFacts) -> str:
    said = [f"coldest {facts.speech.temperature(tree.coldest_c)}"]
    for hours, words in (
        (tree.harm_h, "beyond its damage limit"),
        (tree.cold_h, "colder than where it is tender"),
        (tree.warm_h, "warmer than where it is tender"),
        (tree.unseen_h if tree.unseen_h >= UNSEEN_SAID_H else 0.0, "not seen"),
    ):
        if hours > 0.0:
            said.append(f"{lasted(hours * 3600.0)} {words}")
    return f"{tree.name}: {', '.join(said)}; {_warmth(tree.warmth_k_d, facts)}"


def _warmth(degree_days_k_d: float, facts: MorningFacts) -> str:
    """Degree-days, in the degrees that the site shows."""
    amount = degree_days_k_d * (9 / 5 if facts.speech.show == "fahrenheit" else 1.0)
    return f"{amount:.0f} degree-days of warmth above {facts.speech.limit(5.0)}"


# ---- of single trees ---------------------------------------------------------------------------------------


def tree_notes(facts: MorningFacts, times: Times) -> tuple[str, ...]:
    """Which trees may leave the house, and where to look first when something died."""
    lines = [_death(death, facts, times) for death in facts.deaths]
    if facts.leaving:
        lines.append(
            f"ready to leave the house for good: {some(facts.leaving, NAMES_SHOWN)}; the works are over, the "
            "hardening off is done, and the nights outside are mild enough"
        )
    return tuple(lines)


def _death(death: Death, facts: MorningFacts, times: Times) -> str:
    part = f" of {death.part.replace('-', ' ')}" if death.part else ""
    what = f"dieback{part}" if death.found == "dieback" else f"death{part}"
    reached = f", down to {facts.speech.temperature(death.low_c)}" if death.low_c is not None else ""
    if death.high_c is not None and death.low_c is not None and death.low_c > WARM_FROM_C:
        reached = f", up to {facts.speech.temperature(death.high_c)}"
    span = times.span(death.from_s, death.to_s)
    return (
        f"{death.tree_name}, {what}: its worst hours before were {span}{reached}; "
        f'"aftercare tree show {death.tree}" has its whole record'
    )
