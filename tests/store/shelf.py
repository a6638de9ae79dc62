"""What the tests keep: one busy night in an invented cold house, as the engine would hand it over."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from monitor.model import (
    AlarmState,
    Effects,
    Flag,
    HourRow,
    Notice,
    NoticeKind,
    OutboxChange,
    Priority,
    Quantity,
    Reading,
    Report,
    Row,
    Saved,
    Transition,
    Use,
)
from monitor.store.queries import EXPORTS, Reader

AT_S = 1_796_007_600.0
"""2026-11-30T03:00:00Z, on the hour."""


def reading(
    minute: float = 0.0,
    value: float = 1.25,
    sensor: str = "bench-a",
    quantity: Quantity = Quantity.TEMPERATURE_C,
    flag: Flag = Flag.GOOD,
    use: Use = Use.PRESENT,
) -> Reading:
    """A reading some minutes after AT_S that took 0.4 s to arrive."""
    at_s = AT_S + minute * 60
    return Reading(sensor, quantity, value, at_s, round(at_s + 0.4, 3), flag, use)


def transition(seq: int = 1, at_s: float = AT_S, occurrence: str = "low-temperature/larch-3@1") -> Transition:
    """Larch 3 comes too near to harm."""
    return Transition(
        at_s=at_s,
        alarm="low-temperature/larch-3",
        kind="low-temperature",
        subject="larch-3",
        occurrence=occurrence,
        seq=seq,
        from_state=AlarmState.NORMAL,
        to_state=AlarmState.UNACKNOWLEDGED,
        priority=Priority.HIGH,
        value=-1.23456,
        limit=-1.0,
        quality="good",
        respond_within_s=1800.0,
        cause="The heater of the cold house is out.",
        consequence="Fresh bends of Larch 3 – “die back” below −1 °C.",
        action="Light the heater. No burner or charcoal in a shut house; do not stay inside.",
        because="value",
    )


def notice(name: str = "n1", notifier: str = "mail", at_s: float = AT_S, text: str = "Larch 3") -> Notice:
    """A call for Ann about Larch 3."""
    return Notice(
        at_s=at_s,
        notice=name,
        kind=NoticeKind.ACTIVATION,
        priority=Priority.HIGH,
        notifier=notifier,
        subject="Larch 3 is too cold",
        text=text,
        alarms=("low-temperature/larch-3",),
        occurrences=("low-temperature/larch-3@1",),
        html="<p>Larch 3</p>",
        details=({"alarm": "low-temperature/larch-3", "value": -1.2},),
    )


def change(status: str, at_s: float = AT_S + 5, detail: str = "", name: str = "n1") -> OutboxChange:
    """What became of a notice to `mail`."""
    return OutboxChange(at_s, name, "mail", status, detail)


def hour(at_s: float = AT_S, sensor: str = "bench-a", mean_c: float | None = 1.5) -> HourRow:
    """An hour without humidity."""
    return HourRow(sensor, at_s, 3540.0, mean_c, 1.0, 2.25, None, None, None, None, 0.0, 0.125, None)


def report(date: str = "2026-11-30") -> Report:
    """A morning report."""
    return Report(AT_S + 13_500, date, "Heather Bank: a cold night", "All trees came through.", "<p>All</p>")


FORECAST: Mapping[str, Any] = {
    "issued_at": AT_S,
    "night": "2026-11-29",
    "sensor": "bench-a",
    "method": "house",
    "nights_learned": 12,
    "low_c": {"p10": -2.34567, "p50": -1.0, "p90": 0.5},
    "low_at": AT_S + 7200,
    "below": [{"limit_c": -1.0, "chance": 0.48765}],
}
WRAP: Mapping[str, Any] = {
    "at": AT_S,
    "tree": "larch-3",
    "wrap": "first-branch",
    "moisture_kg_per_kg": {"p10": 0.8, "p50": 1.1, "p90": 1.4},
    "dry_in_h": {"p10": 20.0, "p50": 31.5, "p90": 60.0},
    "feel": "unknown",
    "gain": 1.0,
}
STAGE: Mapping[str, Any] = {
    "at": AT_S,
    "tree": "larch-3",
    "work": "heavy-bend",
    "stage": "mending",
    "because": "28 days and 40 degree-days",
}

NIGHT = Effects(
    readings=(
        reading(0),
        reading(0, 91.5, quantity=Quantity.RELATIVE_HUMIDITY_PCT),
        reading(1, 1.0, sensor="yard", flag=Flag.SUSPECT, use=Use.RAISES),
        reading(2, 0.1 + 0.2),
    ),
    transitions=(transition(), replace(transition(2), to_state=AlarmState.ACKNOWLEDGED)),
    notices=(notice(), notice(notifier="hook"), notice("n2", at_s=AT_S + 60, text="Yew 2")),
    forecasts=(FORECAST,),
    wraps=(WRAP,),
    stages=(STAGE,),
    hours=(hour(), hour(sensor="yard", mean_c=None)),
    rows=(
        Row("alarm", "low-temperature/larch-3", {"state": "unacknowledged", "since_s": AT_S + 0.001}),
        Row("learned", "cold", {"rate_per_h": 0.1 + 0.2, "nights": [1, 2]}),
    ),
    reports=(report(),),
)
"""Something in every stream."""


def plain(saved: Saved) -> dict[str, Any]:
    """A Saved that can be compared: arrays as lists."""
    return {
        "rows": saved.rows,
        "readings": {
            key: tuple(column.tolist() for column in columns) for key, columns in saved.readings.items()
        },
        "hours": saved.hours,
        "outbox": saved.outbox,
        "reports": saved.reports,
        "digests": saved.digests,
        "last_commit_at_s": saved.last_commit_at_s,
        "occurrences": saved.occurrences,
    }


def exported(directory: Path) -> dict[str, list[dict[str, Any]]]:
    """Every stream of a state directory as export gives it."""
    with Reader(directory) as reader:
        return {what: list(reader.export_lines(what)) for what in EXPORTS}
