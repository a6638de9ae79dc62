"""Quiet hours: local times between which only what cannot wait may ring."""

from datetime import datetime, time, timedelta, tzinfo

from monitor.clock import local
from monitor.settings import QuietHours


def _clock_time(text: str) -> time:
    hour, minute = text.split(":")
    return time(int(hour), int(minute))


def _at(day: datetime, moment: time, zone: tzinfo) -> float:
    return datetime.combine(day.date(), moment, tzinfo=zone).timestamp()


def same_day_s(at_s: float, moment: str, zone: tzinfo) -> float:
    """The instant at which clocks show that time of day on the local date of an instant [s]."""
    return _at(local(at_s, zone), _clock_time(moment), zone)


def ends_at_s(quiet: QuietHours | None, at_s: float, zone: tzinfo) -> float | None:
    """When the quiet hours that hold at an instant end [s]; None outside them.

    A local time that daylight saving skips counts as the instant an hour on; one that comes twice, as its
    first.
    """
    if quiet is None:
        return None
    begin, finish = _clock_time(quiet.from_), _clock_time(quiet.to)
    today = local(at_s, zone)
    for days_back in (1, 0):
        day = today - timedelta(days=days_back)
        start_s = _at(day, begin, zone)
        end_s = _at(day if finish > begin else day + timedelta(days=1), finish, zone)
        if start_s <= at_s < end_s:
            return end_s
    return None
