"""Facts of a morning, made by hand for tests: a quiet night in the Cold house, to be changed."""

from dataclasses import replace
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from monitor.model import AlarmState, Priority
from monitor.notices.words import Speech
from monitor.report.build import build
from monitor.report.facts import AlarmLine, HouseNight, Margin, MorningFacts, SensorNight, TreeNight, WorkLine
from monitor.report.value import MorningReport
from monitor.trees.moment import FollowUpNow

ZONE = ZoneInfo("Europe/London")


def at(text: str) -> float:
    """`17 06:45` in January 2027 at the site, in seconds since 1970."""
    return datetime.strptime(f"2027-01-{text}", "%Y-%m-%d %H:%M").replace(tzinfo=ZONE).timestamp()


def tree(name: str = "Larch 3", low_c: float | None = 3.7, **changes: Any) -> TreeNight:
    """A larch bent hard three days ago; tender below 1.5 °C, damage likely below 0 °C."""
    margins = ()
    if low_c is not None:
        margins = tuple(
            Margin("low", grade, limit_c, low_c, at("17 03:30"), 2400.0 if low_c <= limit_c else 0.0)
            for grade, limit_c in (("warn", 1.5), ("harm", 0.0))
        )
    made = TreeNight(
        tree=name.lower().replace(" ", "-"),
        name=name,
        works=(WorkLine("Heavy bend", "fresh", 3, 14),),
        margins=margins,
        sensor="bench-a",
        low_c=low_c,
        now_c=4.0,
        night_s=53_100.0,
    )
    return replace(made, **changes)


def sensor(name: str = "bench-a", low_c: float | None = 3.7, **changes: Any) -> SensorNight:
    """A bench sensor that was heard all night."""
    made = SensorNight(
        name, "bench", low_c, at("17 03:30"), 6.2, at("16 16:00"), heard=low_c is not None, readings=885
    )
    return replace(made, **changes)


def alarm(kind: str = "low-temperature", subject: str = "Larch 3", **changes: Any) -> AlarmLine:
    """Frost at a tree from 02:06 to 03:38 that nobody has seen."""
    made = AlarmLine(
        kind, subject, Priority.HIGH, at("17 02:06"), at("17 03:38"), "", None, AlarmState.RETURNED, False,
        house="cold", lowest_c=-1.2,
    )  # fmt: skip
    return replace(made, **changes)


def follow_up(
    name: str = "crack-check", due: str = "2027-01-17", status: str = "due", **changes: Any
) -> FollowUpNow:
    """Something to do on Larch 3."""
    made = FollowUpNow(
        "larch-3", "Larch 3", name, name.replace("-", " ").capitalize(), "Look at it.", "judgement",
        date.fromisoformat(due), status, "entry", 0.0, "1 day after heavy bend",
    )  # fmt: skip
    return replace(made, **changes)


def facts(**changes: Any) -> MorningFacts:
    """A quiet night."""
    made = MorningFacts(
        date="2027-01-17",
        at_s=at("17 06:45"),
        from_s=at("16 16:00"),
        since_s=at("16 06:45"),
        due_s=at("17 06:45"),
        missed_from="07:30",
        site="Heather Bank",
        speech=Speech(ZONE),
        houses=(HouseNight("cold", "Cold house", (sensor(),), "Larch 3", 0.0, 0.0),),
        trees=(tree(),),
    )
    return replace(made, **changes)


def report(**changes: Any) -> MorningReport:
    """The report of these facts."""
    return build(facts(**changes))
