"""The words of this program as frozen values; it imports nothing of ours.

Data runs one way: message -> reading -> history -> conditions -> limits -> alarms -> notices -> store ->
delivery. Instants are float seconds since 1970 on the guard's axis (`..._at_s`, `now_s`); differences of
temperature are kelvin; relative humidity is 0-100 and over water, also below zero.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from typing import Any, NamedTuple


class Quantity(StrEnum):
    """What a reading measures; the value's unit ends its name."""

    TEMPERATURE_C = "temperature_c"
    RELATIVE_HUMIDITY_PCT = "relative_humidity_pct"
    BATTERY_PCT = "battery_pct"


class Place(StrEnum):
    """Where a sensor hangs."""

    BENCH = "bench"
    OUTDOOR = "outdoor"
    POT = "pot"
    OTHER = "other"


class Flag(IntEnum):
    """Quality flags of QARTOD (IOOS, DOI 10.7289/V5V40SD4)."""

    GOOD = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9


class Use(IntEnum):
    """What a reading may do: the lower, the more."""

    PRESENT = 0
    """Fresh: may raise an alarm and, when its flag is good, clear it."""
    RAISES = 1
    """Retained with a sane recent time of its own: kept, may raise, never clears."""
    HISTORY = 2
    """Late: kept, never a present alarm."""
    SHOWN = 3
    """Of unknown age, or from the future: shown, never counted."""


class Priority(StrEnum):
    """How much an alarm matters, from its consequence and the time left."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"

    @property
    def rank(self) -> int:
        """3 for high, 2 for medium, 1 for low."""
        return _RANKS[self.value]


_RANKS: Mapping[str, int] = {"high": 3, "medium": 2, "low": 1}


class AlarmState(StrEnum):
    """The states of ISA-18.2 / IEC 62682."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned-unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out-of-service"


class NoticeKind(StrEnum):
    """Why a notice goes out."""

    ACTIVATION = "activation"
    RAISED = "raised"
    REPEAT = "repeat"
    ESCALATION = "escalation"
    SEEN = "seen"
    CLEARED = "cleared"
    REPORT = "report"
    DRILL = "drill"


# ---- what comes in -------------------------------------------------------------------------------------


class Sample(NamedTuple):
    """One value that a payload carried; `observed_at_s` is the device's own time, None if it has none."""

    sensor: str
    quantity: Quantity
    value: float
    observed_at_s: float | None = None


class Reading(NamedTuple):
    """One value of one quantity from one sensor at one instant, with its quality flag."""

    sensor: str
    quantity: Quantity
    value: float
    observed_at_s: float
    received_at_s: float
    flag: Flag
    use: Use = Use.PRESENT


class Message(NamedTuple):
    """One MQTT message as it arrived; `connection` and `mid` are what its acknowledgement needs."""

    at_s: float
    topic: str
    payload: bytes
    qos: int = 1
    retain: bool = False
    dup: bool = False
    connection: int = 0
    mid: int = 0


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has passed."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Entry:
    """Somebody wrote a line into the book; `values` is the checked entry."""

    at_s: float
    values: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Command:
    """Somebody asks for something that is not an entry: `ack`, `shelve`, `resume`, `drill`, ..."""

    at_s: float
    name: str
    values: Mapping[str, Any] = field(default_factory=dict)
    by: str = ""
    ticket: int = 0


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a part: `broker` (the link), `store`, or `delivery` of one notice by one notifier."""

    at_s: float
    part: str
    ok: bool
    detail: str = ""
    notice: str = ""
    notifier: str = ""
    permanent: bool = False


@dataclass(frozen=True, slots=True)
class Calendar:
    """A job of the calendar is due: `report`, `drill`, `prune`, `check`; `date` is the site's local date."""

    at_s: float
    job: str
    date: str


@dataclass(frozen=True, slots=True)
class ClockStep:
    """The wall clock stands `offset_s` ahead of guard time from now on; labels change, durations do not."""

    at_s: float
    offset_s: float


@dataclass(frozen=True, slots=True)
class Started:
    """The program starts; `last_alive_at_s` is when it last committed, None at the very first start.

    `orderly` says that the run before ended as it was told to.
    """

    at_s: float
    last_alive_at_s: float | None = None
    clock_trusted: bool = True
    orderly: bool = False


Event = Message | Tick | Entry | Command | Outcome | Calendar | ClockStep | Started


# ---- between conditions and alarms ---------------------------------------------------------------------


class Judgement(StrEnum):
    """What a limit says of the conditions it was shown."""

    NORMAL = "normal"
    BREACH = "breach"
    UNKNOWN = "unknown"


class Assessment(NamedTuple):
    """What one limit finds for one subject now.

    `returned` says that the value stands beyond the limit by its deadband; only good, present readings may
    say so. `immediate` asks for no on-delay (one reading is all there will be for a while).
    """

    kind: str
    subject: str
    at_s: float
    judgement: Judgement
    priority: Priority = Priority.MEDIUM
    value: float | None = None
    limit: float | None = None
    quality: str = "good"
    returned: bool = False
    immediate: bool = False


# ---- what goes out -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Transition:
    """One line of `alarms.jsonl`."""

    at_s: float
    alarm: str
    kind: str
    subject: str
    occurrence: str
    seq: int
    from_state: AlarmState
    to_state: AlarmState
    priority: Priority
    value: float | None
    limit: float | None
    quality: str
    respond_within_s: float | None
    cause: str
    consequence: str
    action: str
    because: str


@dataclass(frozen=True, slots=True)
class Notice:
    """One message for one notifier: a line of `notices.jsonl` and a row of the outbox.

    `notice` is the same for every notifier that carries it and over retries; `occurrences` are the alarm
    occurrences that it speaks of; `html` stands beside the text for those ways that can show it.
    """

    at_s: float
    notice: str
    kind: NoticeKind
    priority: Priority
    notifier: str
    subject: str
    text: str
    alarms: tuple[str, ...] = ()
    occurrences: tuple[str, ...] = ()
    html: str = ""
    details: tuple[Mapping[str, Any], ...] = ()
    """The alarms as data for machines (webhook, MQTT, CAP): keys as in `alarms.jsonl`."""
    calendar: str = ""
    """Of a report: what is to do on the trees, as iCalendar text; the same for all that carry it."""
    pictures: str = ""
    """Of a report: what its pictures show, as JSON; they are drawn anew whenever they are needed."""


@dataclass(frozen=True, slots=True)
class OutboxChange:
    """What became of an outbox row: `sent`, `failed` (for good), `withdrawn`, or `pending` after a try."""

    at_s: float
    notice: str
    notifier: str
    status: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class HourRow:
    """One hour of one sensor, kept for ever; None where the hour has no such value.

    Means are over time, not over samples; `covered_s` is how much of the hour good or suspect temperature
    readings stand for (no gap counts for more than three intervals).
    """

    sensor: str
    hour_at_s: float
    covered_s: float
    temperature_mean_c: float | None
    temperature_min_c: float | None
    temperature_max_c: float | None
    relative_humidity_mean_pct: float | None
    relative_humidity_min_pct: float | None
    relative_humidity_max_pct: float | None
    vpd_mean_kpa: float | None
    above_5_c_k_h: float | None
    below_0_c_k_h: float | None
    wet_s: float | None


@dataclass(frozen=True, slots=True)
class Row:
    """A changed row of the engine's memory; None deletes.

    Tables are `alarm`, `episode`, `occurrence`, `learned` and `site`.
    """

    table: str
    key: str
    value: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class Report:
    """A morning report as it is sent; `date` is the local date that it is for.

    `calendar` and `pictures` are as in `Notice`.
    """

    at_s: float
    date: str
    subject: str
    text: str
    html: str
    calendar: str = ""
    pictures: str = ""

    @property
    def notice(self) -> str:
        """What the notices that carry it are called."""
        return f"report.{self.date}"


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer to a Command or Entry, given after its commit."""

    ticket: int
    ok: bool
    value: Any = None
    message: str = ""


class Effects(NamedTuple):
    """Everything that handling one event changes: one tuple for each stream, changed rows, outbox rows."""

    readings: tuple[Reading, ...] = ()
    transitions: tuple[Transition, ...] = ()
    notices: tuple[Notice, ...] = ()
    outbox: tuple[OutboxChange, ...] = ()
    forecasts: tuple[Mapping[str, Any], ...] = ()
    wraps: tuple[Mapping[str, Any], ...] = ()
    stages: tuple[Mapping[str, Any], ...] = ()
    hours: tuple[HourRow, ...] = ()
    rows: tuple[Row, ...] = ()
    reports: tuple[Report, ...] = ()
    replies: tuple[Reply, ...] = ()

    @property
    def urgent(self) -> bool:
        """Whether this must be committed at once: a transition, a notice, an answer or a report."""
        return bool(self.transitions or self.notices or self.outbox or self.reports or self.replies)


NOTHING = Effects()


@dataclass(frozen=True, slots=True)
class Saved:
    """What the store gives back at start; `readings` are bulk arrays a (sensor, quantity).

    `rows[table][key]` are the engine's rows; `readings[(sensor, quantity)]` is a tuple of three equally long
    arrays: observed_at_s (float64), value (float64), flag (uint8), ascending in time; `hours` ascending.
    `outbox` are the notices not yet delivered, with how often each was tried; `reports` the local dates sent.
    """

    rows: Mapping[str, Mapping[str, Mapping[str, Any]]] = field(default_factory=dict)
    readings: Mapping[tuple[str, Quantity], tuple[Any, Any, Any]] = field(default_factory=dict)
    hours: tuple[HourRow, ...] = ()
    outbox: tuple[tuple[Notice, int], ...] = ()
    reports: tuple[str, ...] = ()
    digests: tuple[tuple[str, bytes], ...] = ()
    last_commit_at_s: float | None = None
    occurrences: tuple[Mapping[str, Any], ...] = ()


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What the guard sees now, frozen for the page, `status` and the report."""

    at_s: float
    site: str
    guarding: bool
    houses: tuple[Mapping[str, Any], ...] = ()
    trees: tuple[Mapping[str, Any], ...] = ()
    wraps: tuple[Mapping[str, Any], ...] = ()
    alarms: tuple[Mapping[str, Any], ...] = ()
    unknown: tuple[str, ...] = ()
    storage: Mapping[str, Any] = field(default_factory=dict)
    delivery: tuple[Mapping[str, Any], ...] = ()
    more: Mapping[str, Any] = field(default_factory=dict)
