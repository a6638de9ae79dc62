"""Small words that several parts of the report share; pure."""

import re
from collections.abc import Mapping, Sequence

from monitor.notices.words import Speech, happened, listed
from monitor.report.facts import Margin, MorningFacts, SensorNight, TreeNight
from monitor.report.value import Mark

UNSEEN_COUNTS_S = 1800.0
"""A place that was not watched for so long in all was not watched all night; judgement."""
LOOKED_BACK: Mapping[str, str] = {
    "cooling-fast": "fast cooling at {}",
    "frost-tonight": "a dangerous night was expected in {}",
    "vents-open": "vents or door open before the night in {}",
    "heater-not-holding": "the heater did not hold in {}",
    "wrap-freezing": "a damp wrap froze at {}",
    "frozen-root-ball": "the root-ball was too cold at {}",
    "winter-desiccation": "water lost over a frozen pot at {}",
    "dry-air": "too dry an air at {}",
    "sun-ahead": "too much sun was expected in {}",
    "warm-spell": "warm days cost hardiness at {}",
    "wrap-drying": "a wrap was drying at {}",
    "wrap-unknown": "nobody knew how wet a wrap was at {}",
    "wet-too-long": "a wrap stayed wet too long at {}",
    "sensor-doubtful": "doubtful values from {}",
    "battery-low": "the battery was low at {}",
    "storage-failing": "what happened could not be kept",
    "delivery-failing": "notices did not get through",
    "clock-doubtful": "the clock could not be right",
    "restarting": "I was started again and again",
}
"""What rang, as the morning looks back on it, where `notices.words` has no words of its own for that."""
NEVER_RING = frozenset({"wrap-drying", "wrap-unknown", "wet-too-long"})
"""Alarms that live in what is asked, and ring nobody (design of the alarms)."""
FORESEEN = frozenset({"frost-tonight", "sun-ahead", "warm-spell"})
"""Alarms about what was to come: in the morning they ask for nothing any more."""
_HELD = re.compile(r"(?<=[a-z]) (?=\d)|(?<=\d) (?=(?:°|min\b|h\b|degrees?\b|[A-Z][a-z]{2}\b))")
GUARDS = ("bench", "other", "pot")


def sentence(text: str) -> str:
    """The text with a capital at its beginning and a full stop at its end."""
    text = text.strip()
    if not text:
        return text
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?…" else ".")


def held(text: str) -> str:
    """The text with unbreakable blanks between a number, its unit, and the word before it."""
    return _HELD.sub("\u00a0", text)


def lowered(label: str) -> str:
    """A label inside a sentence."""
    return label[:1].lower() + label[1:]


def apart(speech: Speech, value_k: float) -> str:
    """How far two temperatures are apart: `1.8 degrees`, `1 degree`, never an idle `0 degrees`."""
    fahrenheit = speech.show == "fahrenheit"
    amount = abs(value_k) * (9 / 5 if fahrenheit else 1.0)
    text = f"{amount:.0f}" if fahrenheit else f"{amount:.1f}"
    if float(text) == 0.0:
        return f"less than {'1 degree' if fahrenheit else '0.1 degrees'}"
    return f"{text} degree" if text == "1" else f"{text} degrees"


def some(names: Sequence[str], at_most: int = 3) -> str:
    """`Larch 3, Yew 2 and Pine 1`; beyond `at_most`: `Larch 3, Yew 2 and 5 more`."""
    if len(names) <= at_most:
        return listed(names)
    return f"{', '.join(names[: at_most - 1])} and {len(names) - at_most + 1} more"


def counted(number: int, what: str, plural: str = "") -> str:
    """`1 tree`, `3 trees`."""
    return f"{number} {what if number == 1 else plural or what + 's'}"


def looked_back(
    kind: str, subjects: Sequence[str], lowest_c: float | None, facts: MorningFacts, at_most: int = 5
) -> str:
    """What rang, as the morning looks back on it; several subjects of one kind together."""
    whose = some(subjects, at_most)
    if kind == "sensor-silent" and len(subjects) > 1:
        return f"the sensors {whose} were silent"
    if kind in LOOKED_BACK:
        return LOOKED_BACK[kind].format(whose)
    return happened(facts.speech, kind, whose, lowest_c)


def limit_words(margin: Margin, speech: Speech) -> str:
    """A limit as people say it: `damage likely below 0 °C`, `tender above 24 °C`."""
    if margin.of == "pot":
        word = "roots damaged" if margin.grade == "harm" else "roots tender"
        return f"{word} below {speech.limit(margin.limit_c)}"
    side = "below" if margin.side == "low" else "above"
    word = "damage likely" if margin.grade == "harm" else "tender"
    return f"{word} {side} {speech.limit(margin.limit_c)}"


def mark_of(tree: TreeNight) -> Mark:
    """How the tree came through, the worst that is known first; what was not seen is never called clear."""
    harm, nearest = tree.nearest("harm"), tree.nearest_that_counts
    if harm is not None and harm.margin_k <= 0:
        return Mark.COLD if harm.side == "low" else Mark.WARM
    if nearest is not None and nearest.margin_k <= 0:
        return Mark.CLOSE
    if not tree.watched or tree.low_c is None or tree.is_mostly_unseen:
        return Mark.BLIND
    if tree.unseen_s >= UNSEEN_COUNTS_S:
        return Mark.PARTLY
    held = tree.works or any(margin.of == "air" for margin in tree.margins)
    return Mark.CLEAR if held else Mark.EASY


def reached_words(margin: Margin, speech: Speech) -> str:
    """How far it went: `−1.2 °C`, `pot −1.2 °C`."""
    return f"{'pot ' if margin.of == 'pot' else ''}{speech.temperature(margin.reached_c)}"


def guards(sensor: SensorNight, facts: MorningFacts) -> bool:
    """Whether trees depend on a sensor; before any tree is written down each sensor in a house counts."""
    if facts.trees:
        return any(tree.sensor == sensor.sensor for tree in facts.trees)
    return sensor.place in GUARDS


def seen_degrees(sensor: SensorNight, value_c: float | None, speech: Speech) -> str:
    """What a sensor saw, no finer than it knows: `4 °C` of one that knows whole degrees only."""
    if value_c is not None and sensor.whole_degrees and speech.show != "fahrenheit":
        return speech.limit(round(value_c))
    return speech.temperature(value_c)


def unseen_s(sensor: SensorNight) -> float:
    """How long a sensor gave nothing in the night [s]."""
    return sum(to_s - from_s for from_s, to_s in sensor.gaps)
