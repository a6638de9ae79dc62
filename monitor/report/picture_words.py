"""The words of a picture: its finding, for whoever does not see it, and the labels of its lines; pure."""

from collections.abc import Mapping
from datetime import date
from typing import Protocol

from monitor.notices.words import Speech, listed
from monitor.report.facts import HouseNight, MorningFacts
from monitor.report.times import Times, lasted
from monitor.report.wording import seen_degrees, unseen_s


class Named(Protocol):
    """Something with a name."""

    @property
    def name(self) -> str:
        """As people call it."""


class Tender(Protocol):
    """A tree's limits."""

    @property
    def tree(self) -> "Named":
        """Which tree."""

    @property
    def limits(self) -> Mapping[str, float]:
        """Key -> value."""


def limit_labels(tender: Tender | None, speech: Speech) -> tuple[tuple[str, float], ...]:
    """The lines of the tenderest tree: damage, and from where on it is tender [°C]."""
    if tender is None:
        return ()
    found: list[tuple[str, float]] = []
    for key, word in (("low_harm_c", "damage likely below"), ("low_warn_c", "tender below")):
        value_c = tender.limits.get(key)
        if value_c is not None:
            label = f"{word} {speech.limit(value_c)}"
            found.append((label if found else f"{tender.tree.name}: {label}", value_c))
    return tuple(found)


def alt_text(house: HouseNight, facts: MorningFacts) -> str:
    """What the picture shows, as a sentence: the coldest moment, the limit, outdoors, what was not seen."""
    times = Times(facts.speech, date.fromisoformat(facts.date), facts.from_s, facts.at_s)
    said = [f"{house.name}, {times.span(facts.watch_from_s, facts.at_s)}"]
    inside = [s for s in house.sensors if s.place != "outdoor" and s.low_c is not None]
    if inside:
        coldest = min(inside, key=lambda sensor: sensor.low_c or 0.0)
        at = times.time(coldest.low_at_s or 0.0)
        low = seen_degrees(coldest, coldest.low_c, facts.speech)
        said.append(f"coldest {low} at {at} ({coldest.sensor})")
    if house.tenderest and house.low_harm_c is not None and house.under_s is not None:
        limit = facts.speech.limit(house.low_harm_c)
        under = f"for {lasted(house.under_s)}" if house.under_s > 0 else "never, as far as was seen"
        said.append(f"at or below {house.tenderest}'s damage limit of {limit} {under}")
    outside = [s for s in house.sensors if s.place == "outdoor" and s.low_c is not None]
    if outside:
        lowest = min(s.low_c for s in outside if s.low_c is not None)
        said.append(f"outdoors down to {facts.speech.temperature(lowest)}")
    blind = [s.sensor for s in house.sensors if s.heard and unseen_s(s) >= 900.0]
    if blind:
        said.append(f"nothing known for a time from {listed(blind)}")
    return "; ".join(said) + "."
