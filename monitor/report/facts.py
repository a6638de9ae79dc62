"""What a morning report is made from, as frozen values; it decides nothing and draws nothing.

`monitor/morning` gathers them. Instants are guard time; `Speech` turns them into what people read. What a
room cannot give yet is None, and the report says so.
"""

from dataclasses import dataclass

from monitor.model import AlarmState, Priority
from monitor.notices.words import Speech
from monitor.report.picture_facts import HousePicture
from monitor.trees.asks import WrapAsk
from monitor.trees.moment import FollowUpNow

Span = tuple[float, float]
"""From one instant to another [s]."""


@dataclass(frozen=True, slots=True)
class SensorNight:
    """What one sensor saw in the night; `gaps` are spans without a usable reading, the last may be open."""

    sensor: str
    place: str
    low_c: float | None = None
    low_at_s: float | None = None
    high_c: float | None = None
    high_at_s: float | None = None
    gaps: tuple[Span, ...] = ()
    heard: bool = False
    """Whether anything was ever heard of it."""
    readings: int = 0
    doubtful: int = 0
    """Readings of the night that quality checks doubt or refuse."""
    whole_degrees: bool = False
    """Whether it knows nothing finer than whole degrees Celsius."""


@dataclass(frozen=True, slots=True)
class HouseNight:
    """One house: its sensors, and how long the air was at or under the damage limit of its tenderest tree."""

    house: str
    name: str
    sensors: tuple[SensorNight, ...] = ()
    tenderest: str = ""
    low_harm_c: float | None = None
    under_s: float | None = None
    picture: HousePicture | None = None


@dataclass(frozen=True, slots=True)
class Margin:
    """How near one limit of a tree came: `side` is `low` or `high`, `grade` is `warn` or `harm`.

    `reached_c` is the nearest value since the last report, `beyond_s` how long it was at or beyond the limit;
    `of` is `air`, or `pot` for the limits of roots.
    """

    side: str
    grade: str
    limit_c: float
    reached_c: float
    at_s: float
    beyond_s: float = 0.0
    of: str = "air"

    @property
    def margin_k(self) -> float:
        """How far inside the limit it stayed [K]; at or below 0 it was reached."""
        spare_k = self.reached_c - self.limit_c if self.side == "low" else self.limit_c - self.reached_c
        return round(spare_k, 2)


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One work that still asks for care; `days` is how long its stage lasts at least, from the work on."""

    label: str
    stage: str
    day: int
    days: float


@dataclass(frozen=True, slots=True)
class WrapLine:
    """One wrap that is on; `felt` is what somebody felt last, `estimate` what is thought of it now."""

    wrap: str
    day: int
    keep: str = "any"
    felt: str = ""
    felt_at_s: float | None = None
    estimate: str = ""


@dataclass(frozen=True, slots=True)
class TreeNight:
    """One tree and what the night meant for it.

    `unseen_s` is how long its place was not watched since the last report; `now_c` is None where that is not
    known now; `is_frozen` says that it has most likely not thawed yet.
    """

    tree: str
    name: str
    works: tuple[WorkLine, ...] = ()
    wraps: tuple[WrapLine, ...] = ()
    margins: tuple[Margin, ...] = ()
    sensor: str = ""
    place: str = ""
    low_c: float | None = None
    now_c: float | None = None
    is_frozen: bool = False
    unseen_s: float = 0.0
    night_s: float = 0.0
    """How long the night was, as far as anybody could have watched it."""

    @property
    def is_mostly_unseen(self) -> bool:
        """Whether less than half of the night was watched."""
        return self.unseen_s > 0.5 * self.night_s

    @property
    def watched(self) -> bool:
        """Whether a sensor is set for the place where it stands."""
        return bool(self.sensor)

    @property
    def nearest_that_counts(self) -> Margin | None:
        """The margin to the nearest limit; cool roots mean nothing to a tree that is not tender."""
        among = [m for m in self.margins if self.works or m.of == "air" or m.grade == "harm"]
        return min(among, key=lambda margin: margin.margin_k, default=None)

    def nearest(self, grade: str = "") -> Margin | None:
        """The margin to the nearest limit, or to the nearest of a grade."""
        among = [margin for margin in self.margins if grade in ("", margin.grade)]
        return min(among, key=lambda margin: margin.margin_k, default=None)


@dataclass(frozen=True, slots=True)
class AlarmLine:
    """One occurrence since the last report and what was answered; `house` is empty for the site."""

    kind: str
    subject: str
    priority: Priority
    since_s: float
    ended_s: float | None
    seen_by: str
    seen_at_s: float | None
    state: AlarmState
    active: bool
    house: str = ""
    lowest_c: float | None = None
    part: str = ""
    """Of an alarm about a wrap: which."""
    cause: str = ""
    action: str = ""
    """Of one that stands: what it says of itself now."""
    is_usual: bool = False
    """Whether it rang nobody since it came up like this in each of the nights before."""
    consequence: str = ""
    """Of one that stands: what it means."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """What is expected of the coming night at one place; `trees` are name, damage limit and chance (0-1)."""

    place: str
    low: str
    """The expected low in words: between what, most likely what, when."""
    trees: tuple[tuple[str, float, float], ...] = ()
    heater: str = ""
    """What was assumed of the heater, in words."""


@dataclass(frozen=True, slots=True)
class Skill:
    """How good the last forecasts of the night's low were at one place; `is_enough` to say anything."""

    place: str
    nights: int
    within: int
    """Nights whose low came between the two ends of what was said."""
    off_by_k: float
    """By how much the middle was off, on average."""
    is_enough: bool = True
    rival_off_by_k: float | None = None
    """The same for the evening's temperature less the usual fall, over the same nights."""


@dataclass(frozen=True, slots=True)
class LastLows:
    """What nobody has to foresee: the last nights' lows at one place, the latest first [°C].

    `service_c` is what a weather service said today of the coming night outside.
    """

    house: str
    place: str
    lows_c: tuple[float, ...] = ()
    service_c: float | None = None


@dataclass(frozen=True, slots=True)
class Death:
    """A finding of dieback or death lately, and the worst hours on end before it."""

    tree: str
    tree_name: str
    found: str
    part: str
    from_s: float
    to_s: float
    low_c: float | None
    high_c: float | None


@dataclass(frozen=True, slots=True)
class TreeWeek:
    """What one tree went through in a week."""

    name: str
    coldest_c: float | None
    harm_h: float
    """Beyond a damage limit that was in force then [h]."""
    cold_h: float
    """Colder than where it is tender [h]."""
    warm_h: float
    """Warmer than where it is tender [h]."""
    unseen_h: float
    warmth_k_d: float


@dataclass(frozen=True, slots=True)
class Week:
    """The week, told on Sundays.

    `rang` counts what woke or called somebody and is over, `worth` and `not_worth` what people said of it;
    `skill` is of this week's nights alone.
    """

    trees: tuple[TreeWeek, ...]
    rang: int
    worth: int
    not_worth: int = 0
    skill: tuple[Skill, ...] = ()
    watched_s: float = 7 * 86_400.0


@dataclass(frozen=True, slots=True)
class MorningFacts:
    """Everything a report is made from.

    `from_s` is when the night began, `since_s` when the last report was due, `due_s` when this one is;
    `is_sent` says that it goes out now by the calendar, not because somebody asked for it.
    """

    date: str
    at_s: float
    from_s: float
    since_s: float
    due_s: float
    missed_from: str
    """Local time from which the absence of a report means something."""
    site: str
    speech: Speech
    is_sent: bool = True
    first_seen_s: float = 0.0
    houses: tuple[HouseNight, ...] = ()
    trees: tuple[TreeNight, ...] = ()
    alarms: tuple[AlarmLine, ...] = ()
    follow_ups: tuple[FollowUpNow, ...] = ()
    """What is late, due or coming, on all trees."""
    wrap_asks: tuple[WrapAsk, ...] | None = None
    """What is to be seen to at wraps, in order; None: only what their alarms say."""
    off: tuple[Span, ...] = ()
    """Spans in which the program did not run."""
    clock_steps: tuple[tuple[float, float], ...] = ()
    """When the clock on the wall was set, and by how much it was moved forward [s]."""
    link_down_at_s: float | None = None
    late_readings: int = 0
    future_readings: int = 0
    unknown: tuple[str, ...] = ()
    """Whatever else is not known, a sentence each."""
    has_liveness: bool = True
    leaving: tuple[str, ...] = ()
    """Names of trees that are ready to leave the house for good."""
    deaths: tuple[Death, ...] = ()
    last_lows: tuple[LastLows, ...] = ()
    """For as long as tonight is not foreseen."""
    outlook: tuple[Outlook, ...] = ()
    skill: tuple[Skill, ...] = ()
    week: Week | None = None

    @property
    def watch_from_s(self) -> float:
        """From when on somebody could have watched the night."""
        return min(max(self.from_s, self.first_seen_s), self.at_s)

    @property
    def sensors(self) -> tuple[SensorNight, ...]:
        """The sensors of all houses."""
        return tuple(sensor for house in self.houses for sensor in house.sensors)
