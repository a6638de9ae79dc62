"""What one event makes, gathered until it is handed out as one `Effects`."""

from dataclasses import dataclass, field, fields

from monitor.model import HourRow, Notice, OutboxChange, Reply, Report, Transition


@dataclass(slots=True)
class Gathered:
    """One list for each stream that the engine itself fills."""

    transitions: list[Transition] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    outbox: list[OutboxChange] = field(default_factory=list)
    hours: list[HourRow] = field(default_factory=list)
    reports: list[Report] = field(default_factory=list)
    replies: list[Reply] = field(default_factory=list)

    def clear(self) -> None:
        """Empty again, for the next event."""
        for each in fields(self):
            getattr(self, each.name).clear()
