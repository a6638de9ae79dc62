"""Tonight, how good the last forecasts were, and the week on Sundays, in words; pure."""

from monitor.report.facts import MorningFacts, Outlook, Skill, TreeWeek
from monitor.report.times import Times
from monitor.report.wording import apart, counted

NO_OUTLOOK = "no outlook is made here yet: look at a weather forecast before dusk"
WORTH_SAYING = 0.02
TREES_SHOWN = 3
WEEK_TREES_SHOWN = 7


def tonight(facts: MorningFacts, times: Times) -> tuple[str, ...]:
    """What the coming night may bring; that nothing is known of it is said."""
    if facts.outlook is None:
        return (NO_OUTLOOK,)
    return tuple(_outlook(each, facts, times) for each in facts.outlook) or (NO_OUTLOOK,)


def _outlook(outlook: Outlook, facts: MorningFacts, times: Times) -> str:
    low, middle, high = (facts.speech.temperature(value) for value in outlook.low_c)
    when = f" about {times.time(outlook.low_at_s)}" if outlook.low_at_s is not None else ""
    said = f"{outlook.house}: lowest near {middle}{when}, most likely between {low} and {high}"
    chances = [tree for tree in outlook.trees if tree[2] >= WORTH_SAYING][:TREES_SHOWN]
    said += "".join(
        f"; {name} below {facts.speech.limit(limit_c)}: {odds(chance)}" for name, limit_c, chance in chances
    )
    if outlook.nights_learned < 14:
        said += f" (learnt from {counted(outlook.nights_learned, 'night')} only)"
    return f"{said}. {outlook.advice}" if outlook.advice else said


def odds(chance: float) -> str:
    """A chance [0-1] as people say it: `about 1 in 5`, `very likely`."""
    if chance >= 0.9:
        return "very likely"
    if chance >= 0.45:
        return f"about {round(chance * 10)} in 10"
    if chance < WORTH_SAYING:
        return "very unlikely"
    return f"about 1 in {max(2, round(1 / chance))}"


def skill_lines(facts: MorningFacts) -> tuple[str, ...]:
    """How far the last forecasts can be trusted; nothing where none were made."""
    return () if facts.skill is None else (_skill(facts.skill, facts),)


def _skill(skill: Skill, facts: MorningFacts) -> str:
    off = apart(facts.speech, skill.off_by_k)
    return (
        f"of the last {counted(skill.nights, 'night')} {skill.within} kept within what was said "
        f"(8 in 10 should); on average the low was {off} off"
    )


def week_lines(facts: MorningFacts) -> tuple[str, ...]:
    """The section on Sundays; nothing on other days."""
    if facts.week is None:
        return ()
    week = facts.week
    worth = f"{week.worth} of them for something that mattered" if week.rang else ""
    rang = f"it rang {counted(week.rang, 'time')}{', ' + worth if worth else ''}"
    trees = sorted(week.trees, key=lambda tree: (-tree.below_zero_h, tree.name))
    lines = [_tree_week(tree, facts) for tree in trees[:WEEK_TREES_SHOWN]]
    if len(trees) > WEEK_TREES_SHOWN:
        lines.append(f"{counted(len(trees) - WEEK_TREES_SHOWN, 'more tree')} had less frost than these")
    skill = () if week.skill is None else (_skill(week.skill, facts),)
    return (rang, *lines, *skill)


def _tree_week(tree: TreeWeek, facts: MorningFacts) -> str:
    cold = f"coldest {facts.speech.temperature(tree.coldest_c)}"
    frost = f"{tree.below_zero_h:.0f} h of frost" if tree.below_zero_h >= 0.5 else "no frost"
    return f"{tree.name}: {cold}, {frost}, {tree.warmth_k_d:.0f} degree-days of warmth"
