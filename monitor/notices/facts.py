"""What whoever writes notices may ask of the engine; `monitor.scenes` answers."""

from typing import Protocol

from monitor.alarms.lifecycle import AlarmRow
from monitor.notices.scene import Scene
from monitor.notices.words import Reason


class Facts(Protocol):
    """What the desk may ask the engine."""

    def row(self, alarm: str) -> AlarmRow | None:
        """The alarm's row, if it is held."""
        ...

    def occurrence(self, name: str) -> AlarmRow | None:
        """The row of an occurrence as it stands, or as it ended; None for one of long ago."""
        ...

    def respond_within_s(self, row: AlarmRow) -> float | None:
        """The time until damage if things go on as they do [s]; None where nobody can say."""
        ...

    def scene(self, house: str) -> Scene:
        """The house now."""
        ...

    def reason(self, row: AlarmRow) -> Reason:
        """Cause, consequence and action of an alarm now."""
        ...

    def house_of(self, kind: str, subject: str) -> str:
        """The house that an alarm belongs to; empty for the site."""
        ...

    def subject_name(self, kind: str, subject: str) -> str:
        """An alarm's subject as people call it."""
        ...

    def in_danger(self, house: str, until_s: float) -> bool:
        """Whether a tree of the house is expected to reach harm before an instant."""
        ...

    def duty(self) -> tuple[str, ...]:
        """People on duty now."""
        ...

    def ways_left(self) -> tuple[str, ...]:
        """Notifiers that have not just failed."""
        ...

    def label_s(self, at_s: float) -> float:
        """The wall time of a guard instant."""
        ...
