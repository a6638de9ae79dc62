"""A tree's limits against what its house comes to of a night: what rings every night says nothing; pure."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

NIGHTS = 14
"""So many nights are looked back on; judgement."""
NIGHTS_AT_LEAST = 5
"""Fewer known nights say nothing of what is usual; judgement."""
ASKS_FOR_WARMTH = frozenset({"work", "tree", "move", "limit"})
"""Entries after which a tree may ask for more than its house holds."""
WHAT_TO_DO = "Move the tree, heat, or accept a lower limit with your reason."


class Beyond(NamedTuple):
    """A limit that the house does not hold: `grade` is `harm` or `warn`, in `nights` of the `known` last."""

    grade: str
    limit_c: float
    nights: int
    known: int


def beyond_the_house(limits: Mapping[str, float], lows_c: Sequence[float | None]) -> Beyond | None:
    """The gravest limit that was reached in more than half of the last nights; None where all is held.

    `limits` are those in force (key -> value); `lows_c` the nights' lows, None where one is not known [°C].
    """
    known = [low for low in lows_c if low is not None]
    if len(known) < NIGHTS_AT_LEAST:
        return None
    for grade in ("harm", "warn"):
        limit_c = limits.get(f"low_{grade}_c")
        reached = sum(low <= limit_c for low in known) if limit_c is not None else 0
        if limit_c is not None and 2 * reached > len(known):
            return Beyond(grade, limit_c, reached, len(known))
    return None


def trees_of(entry: Mapping[str, Any]) -> Sequence[str]:
    """The trees that an entry names."""
    return entry.get("trees") or [entry.get("tree", "")]


def celsius(value_c: float) -> str:
    """`−1.5 °C`."""
    return f"{value_c:g} °C".replace("-", "−")


def beyond_words(
    beyond: Beyond, trees: Sequence[str], place: str, said: Callable[[float], str] = celsius
) -> str:
    """The sentence for people; what to do about it is `WHAT_TO_DO`; `said` gives a temperature in words."""
    names = ", ".join(trees)
    cold = f"{place} fell to {said(beyond.limit_c)} or below"
    often = f"in {beyond.nights} of the last {beyond.known} nights"
    if beyond.grade == "harm":
        return f"{cold} {often}, and damage to {names} is likely there."
    return f"{cold} {often}, and you would be told of {names} each time."
