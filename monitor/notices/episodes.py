"""An episode: the alarms of one house that share one cause and ring as one.

Pure steps on frozen values. A tree that a notice named at a priority joins without ringing; one that was
named only as next joins silently at medium and rings at high; one that was not named rings.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from monitor.model import NoticeKind, Priority, Transition

FAMILIES: Mapping[str, str] = {
    "low-temperature": "frost",
    "cooling-fast": "frost",
    "heater-not-holding": "frost",
    "wrap-freezing": "frost",
    "high-temperature": "heat",
    "dry-air": "heat",
    "sun-ahead": "heat",
    "sensor-silent": "sensors",
    "sensor-doubtful": "sensors",
    "battery-low": "sensors",
}
OF_THE_HOUSE = frozenset({"heater-not-holding"})
"""Alarms of a whole house: a notice that named its trees as urgently has said what matters."""
BACK_FROM_REST = frozenset({"shelf-ended", "resumed", "broker-back"})
"""What was quiet, or stood behind a lost link, and is still so: it is told from the beginning.

Whoever asked for quiet until five wants to hear at five that it still stands."""
ENDS = frozenset({"returned", "removed", "seen", "rest"})
"""Why an alarm that is not active any more leaves its episode."""
REPEATS_AFTER_S = (1800.0, 3600.0, 7200.0)
SAID_ONCE = frozenset({"frost-tonight"})
"""Families of what is only foretold: one notice an evening, passed on where it is high, never repeated."""


def order_of(kind: str, priority: Priority, alarm: str) -> tuple[int, bool, str]:
    """The most urgent alarm of an episode first; while harm is only coming, the one that says when."""
    harmless = kind == "low-temperature" and priority is not Priority.HIGH
    spoken_last = harmless or (kind != "low-temperature" and priority is Priority.HIGH)
    return (-priority.rank, spoken_last, alarm)


def key_of(kind: str, house: str) -> str:
    """The episode that an alarm belongs to: its house (or `site`) and the family of its cause."""
    return f"{house or 'site'}/{FAMILIES.get(kind, kind)}"


@dataclass(frozen=True, slots=True)
class Episode:
    """One cause in one house, from the first alarm until all of them are over."""

    key: str
    name: str
    started_at_s: float
    priority: Priority = Priority.LOW
    occurrences: Mapping[str, str] = field(default_factory=dict)
    """Every alarm that belongs, with its occurrence."""
    named: Mapping[str, str] = field(default_factory=dict)
    """Alarms that a notice named as standing, with the priority it named."""
    coming: tuple[str, ...] = ()
    """Alarms that a notice named only as next."""
    over: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    delivered: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    rung_at_s: float | None = None
    high_at_s: float | None = None
    repeats: int = 0
    passed_on: int = 0
    held: bool = False
    seen_at_s: float | None = None
    seen_by: str = ""

    @property
    def house(self) -> str:
        """The house's id, or `site`."""
        return self.key.split("/")[0]

    @property
    def family(self) -> str:
        """The family of its cause."""
        return self.key.split("/")[1]

    @property
    def repeats_after_s(self) -> tuple[float, ...]:
        """When it rings again for nobody having answered [s after it rang]."""
        return () if self.family in SAID_ONCE else REPEATS_AFTER_S

    @property
    def is_over(self) -> bool:
        """Whether every alarm that belongs is over."""
        return len(self.over) == len(self.occurrences)

    def as_json(self) -> dict[str, Any]:
        """Plain values; what stands at its default is left out."""
        fields: dict[str, Any] = {}
        for name, spec in self.__dataclass_fields__.items():
            value = getattr(self, name)
            if value != spec.default and value != {}:
                fields[name] = list(value) if isinstance(value, tuple) else value
        return fields

    @staticmethod
    def from_json(fields: Mapping[str, Any]) -> "Episode":
        """The episode that `as_json` wrote."""
        values: dict[str, Any] = {name: tuple(v) if isinstance(v, list) else v for name, v in fields.items()}
        values["priority"] = Priority(values.get("priority", Priority.LOW))
        return Episode(**values)


def join(episode: Episode, change: Transition) -> tuple[Episode, NoticeKind | None]:
    """An alarm came up or became more urgent: the episode with it, and the kind of ring it asks for."""
    told = _told_rank(episode, change)
    known = change.alarm in episode.occurrences
    episode = replace(
        episode,
        occurrences={**episode.occurrences, change.alarm: change.occurrence},
        over=tuple(alarm for alarm in episode.over if alarm != change.alarm),
    )
    if change.because in {"worse", "again"}:
        return episode, NoticeKind.RAISED
    if episode.seen_at_s is not None and change.because == "priority":
        return episode, NoticeKind.RAISED
    if change.because in BACK_FROM_REST:
        return replace(episode, high_at_s=None, passed_on=0), NoticeKind.ACTIVATION
    if told >= change.priority.rank:
        return episode, None
    if change.alarm in episode.coming and change.priority.rank < Priority.HIGH.rank:
        return episode, None
    rung = episode.rung_at_s is not None
    raised = change.because == "priority" or (rung and known)
    return episode, NoticeKind.RAISED if raised else NoticeKind.ACTIVATION


def _told_rank(episode: Episode, change: Transition) -> int:
    """How urgently a notice has already spoken of this alarm's tree, or of its house; 0 where none has.

    Frost at a tree, its fast cooling and a heater that does not hold are one cause: whoever was rung for one
    of them is on the way already.
    """
    ranks = [
        Priority(told).rank
        for alarm, told in episode.named.items()
        if alarm == change.alarm or alarm.split("/", 1)[1] == change.subject
    ]
    if change.kind in OF_THE_HOUSE and episode.rung_at_s is not None:
        ranks.append(episode.priority.rank)
    return max(ranks, default=0)


def leave(episode: Episode, alarm: str) -> Episode:
    """One of its alarms is over."""
    if alarm in episode.over or alarm not in episode.occurrences:
        return episode
    return replace(episode, over=(*episode.over, alarm))


def due_s(
    episode: Episode, pass_on_after_s: tuple[float, ...], quiet_ends_at_s: float | None
) -> float | None:
    """The next instant at which this episode asks for something by itself [s]; None for never."""
    if episode.held:
        return quiet_ends_at_s if quiet_ends_at_s is not None else episode.started_at_s
    if episode.seen_at_s is not None or episode.rung_at_s is None or episode.is_over:
        return None
    times = []
    if episode.repeats < len(episode.repeats_after_s):
        times.append(episode.rung_at_s + episode.repeats_after_s[episode.repeats])
    if episode.high_at_s is not None and episode.passed_on < len(pass_on_after_s):
        times.append(episode.high_at_s + pass_on_after_s[episode.passed_on])
    return min(times, default=None)
