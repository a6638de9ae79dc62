"""What rang since the last report, and what came of it."""

from typing import TYPE_CHECKING

from monitor.alarms.lifecycle import AlarmRow
from monitor.model import Priority
from monitor.morning.series import Night
from monitor.report.facts import AlarmLine

if TYPE_CHECKING:
    from monitor.engine import Engine

BEFORE_S = 900.0
"""An alarm comes up a little after the value that it is about."""


def alarm_lines(engine: "Engine", night: Night) -> tuple[AlarmLine, ...]:
    """Occurrences that stood at any time since the last report, in the order they came."""
    rows = [
        _current(engine, row)
        for row in engine.occurrences.lately.values()
        if row.ended_at_s is None or row.ended_at_s >= night.since_s
    ]
    rows.sort(key=lambda row: (row.since_at_s or 0.0, row.alarm))
    return tuple(_line(engine, row, night) for row in rows)


def _current(engine: "Engine", row: AlarmRow) -> AlarmRow:
    """The row as it stands on the board, if it is still the same occurrence."""
    held = engine.board.by_name(row.alarm)
    return held if held is not None and held.occurrence == row.occurrence else row


def _line(engine: "Engine", row: AlarmRow, night: Night) -> AlarmLine:
    since_s = row.since_at_s if row.since_at_s is not None else engine.now_s
    reason = engine.scenes.reason(row) if row.active else None
    return AlarmLine(
        row.kind,
        engine.scenes.subject_name(row.kind, row.subject),
        Priority(row.priority),
        since_s,
        row.ended_at_s,
        row.seen_by,
        row.seen_at_s,
        row.state,
        row.active,
        engine.scenes.house_of(row.kind, row.subject),
        _lowest_c(engine, row, since_s, night),
        row.subject.partition("/")[2],
        reason.cause if reason is not None else "",
        reason.action if reason is not None else "",
        engine.desk.usual.was_unrung(row),
        reason.consequence if reason is not None else "",
    )


def _lowest_c(engine: "Engine", row: AlarmRow, since_s: float, night: Night) -> float | None:
    """The lowest temperature at a tree's place while its alarm stood; None where nobody knows."""
    guarded = engine.guarding.trees.get(row.subject)
    sensor = guarded.tree.sensor if guarded is not None else None
    if sensor is None or sensor not in engine.settings.sensors:
        return None
    until_s = engine.now_s if row.ended_at_s is None else row.ended_at_s
    values = night.series(sensor).part(since_s - BEFORE_S, until_s).values
    return round(float(values.min()), 2) if len(values) else None
