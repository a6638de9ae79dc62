"""The night house by house, and the trees as rows, in words; pure."""

from collections.abc import Sequence

from monitor.report.facts import HouseNight, Margin, MorningFacts, SensorNight, TreeNight, WorkLine, WrapLine
from monitor.report.times import Times, day, lasted
from monitor.report.value import HouseNightPart, Mark, SensorRow, TreeRow
from monitor.report.wording import (
    UNSEEN_COUNTS_S,
    apart,
    counted,
    limit_words,
    lowered,
    mark_of,
    seen_degrees,
)
from monitor.trees.moment import FollowUpNow

SENSORS_SHOWN = 6
ROWS_SHOWN = 12
"""Trees on the page itself; half a minute is enough for so many."""
_ORDER = (Mark.COLD, Mark.WARM, Mark.CLOSE, Mark.BLIND, Mark.PARTLY, Mark.CLEAR, Mark.EASY)


def house_parts(facts: MorningFacts, times: Times) -> tuple[HouseNightPart, ...]:
    """Each house's night."""
    return tuple(_house(house, facts, times) for house in facts.houses)


def _house(house: HouseNight, facts: MorningFacts, times: Times) -> HouseNightPart:
    inside = [sensor for sensor in house.sensors if sensor.place != "outdoor"]
    outside = [sensor for sensor in house.sensors if sensor.place == "outdoor"]
    inside.sort(key=lambda s: (s.low_c is None, s.low_c if s.low_c is not None else 0.0, s.sensor))
    shown = inside if len(inside) <= SENSORS_SHOWN else inside[: SENSORS_SHOWN - 1]
    said = [*_left_out(inside[len(shown) :], facts), *_under(house, facts)]
    rows = tuple(_sensor(sensor, facts, times) for sensor in [*shown, *outside])
    return HouseNightPart(house.house, house.name, rows, tuple(said), house.picture)


def _sensor(sensor: SensorNight, facts: MorningFacts, times: Times) -> SensorRow:
    where = {"outdoor": "outdoors", "pot": "in a pot", "bench": ""}.get(sensor.place, "")
    if sensor.low_c is None or sensor.low_at_s is None:
        return SensorRow(sensor.sensor, where, "not known", "", "")
    return SensorRow(
        sensor.sensor,
        where,
        seen_degrees(sensor, sensor.low_c, facts.speech),
        times.time(sensor.low_at_s),
        seen_degrees(sensor, sensor.high_c, facts.speech),
    )


def _left_out(sensors: Sequence[SensorNight], facts: MorningFacts) -> list[str]:
    if not sensors:
        return []
    lows = [sensor.low_c for sensor in sensors if sensor.low_c is not None]
    if not lows:
        return [f"{counted(len(sensors), 'more sensor')}: not known"]
    lowest, highest = facts.speech.temperature(min(lows)), facts.speech.temperature(max(lows))
    blind = len(sensors) - len(lows)
    unheard = f"; {blind} of them not known" if blind else ""
    return [f"{counted(len(sensors), 'more sensor')}: lowest between {lowest} and {highest}{unheard}"]


def _under(house: HouseNight, facts: MorningFacts) -> list[str]:
    """What the night was for the tenderest tree of the house."""
    if not house.tenderest or house.low_harm_c is None or house.under_s is None:
        return []
    limit = facts.speech.limit(house.low_harm_c)
    about = f"{house.tenderest}, the tenderest there: damage likely below {limit}"
    unseen_s = next((tree.unseen_s for tree in facts.trees if tree.name == house.tenderest), 0.0)
    seen = f", and {lasted(unseen_s)} were not seen" if unseen_s >= UNSEEN_COUNTS_S else ""
    if house.under_s <= 0:
        return [f"{about}; it was never seen so cold{seen}"]
    return [f"{about}; it was so cold for {lasted(house.under_s)}{seen}"]


# ---- trees ---------------------------------------------------------------------------------------------


def tree_rows(facts: MorningFacts, times: Times) -> tuple[tuple[TreeRow, ...], tuple[TreeRow, ...]]:
    """Rows in order of need: those for the page, and the rest for its end."""
    soonest = _soonest(facts.follow_ups)
    trees = sorted(facts.trees, key=_need)
    rows = [_row(tree, soonest.get(tree.tree), facts, times) for tree in trees]
    shown = len(rows) if len(rows) <= ROWS_SHOWN else _shown(rows)
    return tuple(rows[:shown]), tuple(rows[shown:])


def _shown(rows: Sequence[TreeRow]) -> int:
    """At least those in trouble, if they are not very many, and a dozen in all."""
    troubled = sum(row.mark in (Mark.COLD, Mark.WARM) for row in rows)
    return min(max(ROWS_SHOWN, troubled), 2 * ROWS_SHOWN)


def _need(tree: TreeNight) -> tuple[int, float, str]:
    by_harm = mark_of(tree) in (Mark.COLD, Mark.WARM, Mark.CLOSE)
    margin = tree.nearest("harm") if by_harm else tree.nearest_that_counts
    return (
        _ORDER.index(mark_of(tree)),
        margin.margin_k if margin is not None else float("inf"),
        tree.name,
    )


def more_said(more: Sequence[TreeRow]) -> str:
    """What the page says of the trees that stand at its end."""
    if not more:
        return ""
    count = {mark: sum(row.mark is mark for row in more) for mark in _ORDER}
    said = ", ".join(f"{number} {mark.word}" for mark, number in count.items() if number)
    return f"{counted(len(more), 'more tree')} at the end of this page: {said}"


def _soonest(follow_ups: Sequence[FollowUpNow]) -> dict[str, FollowUpNow]:
    found: dict[str, FollowUpNow] = {}
    for each in sorted(follow_ups, key=lambda one: (one.due_on, one.label)):
        if each.status != "done":
            found.setdefault(each.tree, each)
    return found


def _row(tree: TreeNight, first: FollowUpNow | None, facts: MorningFacts, times: Times) -> TreeRow:
    return TreeRow(
        mark_of(tree),
        tree.name,
        _capital("; ".join(map(_work, tree.works))),
        _margin(tree, facts, times),
        "; ".join(_wrap(wrap, times) for wrap in tree.wraps),
        _next(first),
    )


def _next(first: FollowUpNow | None) -> str:
    if first is None:
        return ""
    when = {"late": "late", "due": "today"}.get(first.status, day(first.due_on))
    return f"{lowered(first.label)}, {when}"


def _work(work: WorkLine) -> str:
    """A stage whose days are over waits for warmth."""
    until = f"of {work.days:g}" if work.day < work.days else "waits for warmth"
    day_of = f"day {work.day}{' ' if work.day < work.days else ', '}{until}"
    return f"{lowered(work.label)}, {work.stage}, {day_of}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _wrap(wrap: WrapLine, times: Times) -> str:
    said = f"{wrap.wrap}, day {wrap.day}"
    if wrap.estimate:
        return f"{said}, {wrap.estimate}"
    if wrap.felt and wrap.felt_at_s is not None:
        return f"{said}, felt {wrap.felt} on {day(times.day_of(wrap.felt_at_s))}"
    return said + (", keep damp" if wrap.keep == "damp" else "")


def _margin(tree: TreeNight, facts: MorningFacts, times: Times) -> str:
    mark, harm, nearest = mark_of(tree), tree.nearest("harm"), tree.nearest_that_counts
    if mark is Mark.BLIND:
        return _not_known(tree, facts)
    text = ""
    if mark in (Mark.COLD, Mark.WARM) and harm is not None:
        text = _past(harm, mark, facts, times)
    elif mark is Mark.CLOSE and nearest is not None:
        text = _close(harm, nearest, facts)
    elif nearest is not None:
        text = f"{apart(facts.speech, nearest.margin_k)} to spare ({limit_words(nearest, facts.speech)})"
    elif tree.low_c is not None:
        text = f"lowest {facts.speech.temperature(tree.low_c)}"
    return f"{text}; {lasted(tree.unseen_s)} not seen" if mark is Mark.PARTLY else text


def _not_known(tree: TreeNight, facts: MorningFacts) -> str:
    if tree.watched and tree.low_c is not None:
        lowest = facts.speech.temperature(tree.low_c)
        return f"how cold it was is not known for {lasted(tree.unseen_s)}; lowest seen {lowest}"
    if tree.watched:
        return "how cold it was is not known"
    return f"no sensor where it stands ({tree.place})" if tree.place else "no sensor is set for it"


def _past(harm: Margin, mark: Mark, facts: MorningFacts, times: Times) -> str:
    way = "cold" if mark is Mark.COLD else "warm"
    amount = f"up to {apart(facts.speech, harm.margin_k)} too {way}" if harm.margin_k < 0 else "at its limit"
    return f"{amount}, {lasted(harm.beyond_s)} in all ({limit_words(harm, facts.speech)})"


def _close(harm: Margin | None, warn: Margin, facts: MorningFacts) -> str:
    passed = f"{limit_words(warn, facts.speech)} for {lasted(warn.beyond_s)}"
    if harm is None:
        return passed
    return f"{apart(facts.speech, harm.margin_k)} from damage at {facts.speech.limit(harm.limit_c)}; {passed}"
