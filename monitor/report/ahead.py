"""Tonight, how good the last forecasts were, and the week on Sundays, in words; pure."""

from collections.abc import Iterable

from monitor.notices.night_words import chance_text
from monitor.report.facts import MorningFacts, Outlook, Skill, TreeWeek
from monitor.report.wording import apart, counted

NO_OUTLOOK = (
    "an outlook is made this evening and told if it is dangerous; look at a weather forecast before dusk"
)
WORTH_SAYING = 0.05
TREES_SHOWN = 3
PLACES_SHOWN = 3
WEEK_TREES_SHOWN = 7


def tonight(facts: MorningFacts) -> tuple[str, ...]:
    """What the coming night may bring; that nothing is known of it is said."""
    return tuple(_outlook(each, facts) for each in facts.outlook[:PLACES_SHOWN]) or (NO_OUTLOOK,)


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
        off = apart(facts.speech, skill.off_by_k)
        yield (
            f"{skill.place}: of the last {counted(skill.nights, 'night')} {skill.within} kept within what "
            f"was said (8 in 10 should); on average the low was {off} off"
        )
    if skills and not known:
        nights = max(skill.nights for skill in skills)
        yield f"too few nights to tell yet ({nights} so far)"


def week_lines(facts: MorningFacts) -> tuple[str, ...]:
    """The section on Sundays; nothing on other days."""
    if facts.week is None:
        return ()
    week = facts.week
    worth = f", {week.worth} of them for something that mattered" if week.rang else ""
    trees = sorted(week.trees, key=lambda tree: (-tree.below_zero_h, tree.name))
    lines = [_tree_week(tree, facts) for tree in trees[:WEEK_TREES_SHOWN]]
    if len(trees) > WEEK_TREES_SHOWN:
        lines.append(f"{counted(len(trees) - WEEK_TREES_SHOWN, 'more tree')} had less frost than these")
    return (f"it rang {counted(week.rang, 'time')}{worth}", *lines, *_skills(week.skill, facts))


def _tree_week(tree: TreeWeek, facts: MorningFacts) -> str:
    cold = f"coldest {facts.speech.temperature(tree.coldest_c)}"
    frost = f"{tree.below_zero_h:.0f} h of frost" if tree.below_zero_h >= 0.5 else "no frost"
    return f"{tree.name}: {cold}, {frost}, {tree.warmth_k_d:.0f} degree-days of warmth"
