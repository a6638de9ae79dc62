"""The calendar: which job is due at which local date and time; computed with cron triggers, fired by a loop.

There is no scheduler thread, so no step of the clock can lose or double a job: each is keyed by its local
date and happens once a date. Live loop and replay ask the same questions. Instants here are wall time.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from apscheduler.triggers.cron import CronTrigger

from monitor.settings import Settings

PRUNE_AT_HOUR = 12
"""By day, when nothing is likely to be at stake."""
CHECK_AT_HOUR = 0
"""Before the coldest hours begin."""
DRILL_ON, DRILL_AT_HOUR = "sat", 11
"""When somebody is likely to be near their phone, and awake."""


@dataclass(frozen=True, slots=True)
class Job:
    """A job at its wall instant; `date` is the local date it is for."""

    at_s: float
    name: str
    date: str


class Almanac:
    """The next instants of all jobs, and which dates are done."""

    def __init__(self, settings: Settings) -> None:
        self._zone: tzinfo = settings.site.zone
        hour, minute = settings.site.report_at.split(":")
        self._triggers = {
            "report": CronTrigger(hour=int(hour), minute=int(minute), timezone=self._zone),
            "prune": CronTrigger(hour=PRUNE_AT_HOUR, minute=5, timezone=self._zone),
            "check": CronTrigger(hour=CHECK_AT_HOUR, minute=40, timezone=self._zone),
            "drill": CronTrigger(day_of_week=DRILL_ON, hour=DRILL_AT_HOUR, timezone=self._zone),
        }
        self._done: dict[str, set[str]] = {name: set() for name in self._triggers}
        self._from_s: dict[str, float] = {}
        self._next: dict[str, Job] = {}
        self._first: Job | None = None

    def done(self, name: str, dates: Iterable[str]) -> None:
        """A job was done for these local dates already."""
        self._done[name].update(dates)

    def start(self, wall_at_s: float) -> None:
        """Jobs count from this wall instant on."""
        for name in self._triggers:
            self._from_s[name] = wall_at_s
            self._find(name)

    def look_again(self, wall_at_s: float) -> None:
        """The clock was set: what lies before the next jobs on it counts again, unless its date is done."""
        for name, from_s in self._from_s.items():
            if wall_at_s < from_s:
                self._from_s[name] = wall_at_s
                self._find(name)

    def _find(self, name: str) -> None:
        """The first fire time at or after the instant looked from whose date is not done."""
        after = datetime.fromtimestamp(self._from_s[name], UTC).astimezone(self._zone)
        fire = self._triggers[name].get_next_fire_time(None, after)
        while fire.date().isoformat() in self._done[name]:
            after = datetime.fromtimestamp(fire.timestamp() + 1.0, UTC).astimezone(self._zone)
            fire = self._triggers[name].get_next_fire_time(None, after)
        self._next[name] = Job(fire.timestamp(), name, fire.date().isoformat())
        self._first = min(self._next.values(), key=lambda job: job.at_s)

    def next(self) -> Job | None:
        """The job that is due first."""
        return self._first

    def take(self, wall_at_s: float) -> Job | None:
        """The job that is due by now, marked done for its date; of several missed dates only the last."""
        job = self.next()
        if job is None or job.at_s > wall_at_s:
            return None
        following = job
        while following.at_s <= wall_at_s:
            job = following
            self._from_s[job.name] = job.at_s + 1.0
            self._find(job.name)
            following = self._next[job.name]
        self._done[job.name].add(job.date)
        self._from_s[job.name] = job.at_s + 1.0
        self._find(job.name)
        return job
