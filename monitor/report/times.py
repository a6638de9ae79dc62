"""Times of day as a morning report says them: local, and with their zone where the clocks changed; pure."""

from dataclasses import dataclass
from datetime import date, timedelta

from monitor.clock import local
from monitor.notices.words import Speech

EVENING_H = 12
"""From noon on a time without its day means the evening before."""


@dataclass(frozen=True, slots=True)
class Times:
    """How the report of one date speaks of instants between `from_s` and `to_s`."""

    speech: Speech
    for_date: date
    from_s: float
    to_s: float

    @property
    def zones(self) -> tuple[str, ...]:
        """The names of the zone's times in this span: two where the clocks changed."""
        names = (f"{local(at_s + self.speech.offset_s, self.speech.zone):%Z}" for at_s in self._hours())
        return tuple(dict.fromkeys(names))

    def _hours(self) -> list[float]:
        hours = int(min((self.to_s - self.from_s) // 3600.0, 240))
        return [self.from_s + hour * 3600.0 for hour in range(hours + 1)] + [self.to_s]

    def time(self, at_s: float) -> str:
        """`03:30`; with its zone after a change of the clocks, and its day where that is not plain."""
        at = local(at_s + self.speech.offset_s, self.speech.zone)
        said = f"{at:%H:%M}" + (f" {at:%Z}" if len(self.zones) > 1 else "")
        eve = at.date() == self.for_date - timedelta(days=1)
        told_by_noon = local(self.to_s + self.speech.offset_s, self.speech.zone).hour < EVENING_H
        if at.date() == self.for_date or (eve and at.hour >= EVENING_H and told_by_noon):
            return said
        if eve:
            return f"yesterday {said}"
        return f"{at:%a} {at.day} {at:%b} {said}"

    def at(self, at_s: float) -> str:
        """`at 03:30`, `yesterday at 09:00`."""
        said = self.time(at_s)
        day, _, of_day = said.partition("yesterday ")
        return f"yesterday at {of_day}" if not day and of_day else f"at {said}"

    def span(self, from_s: float, to_s: float) -> str:
        """`01:10–05:20`, `yesterday 09:00–10:00`."""
        begin, end = self.time(from_s), self.time(to_s)
        if begin.startswith("yesterday "):
            end = end.removeprefix("yesterday ")
        return f"{begin}–{end}"

    def full(self, at_s: float) -> str:
        """`Sunday 17 January 2027, 06:45 GMT`."""
        at = local(at_s + self.speech.offset_s, self.speech.zone)
        return f"{at:%A} {at.day} {at:%B %Y}, {at:%H:%M %Z}"

    def day_of(self, at_s: float) -> date:
        """The local date of an instant."""
        return local(at_s + self.speech.offset_s, self.speech.zone).date()


def day(on: date) -> str:
    """`Tue 19 Jan`."""
    return f"{on:%a} {on.day} {on:%b}"


def lasted(seconds: float) -> str:
    """`52 min`, `1 h 32 min`, `14 h`, `3 days`."""
    minutes = max(1, round(seconds / 60))
    if minutes < 60:
        return f"{minutes} min"
    if minutes < 600:
        return f"{minutes // 60} h" + (f" {minutes % 60} min" if minutes % 60 else "")
    if minutes < 48 * 60:
        return f"{round(minutes / 60)} h"
    return f"{round(minutes / 1440)} days"
