"""Values to database rows and back; the numbers that stand for words here are on disk and never change."""

import json
import math
from collections.abc import Mapping
from typing import Any

from monitor.model import (
    AlarmState,
    Flag,
    HourRow,
    Notice,
    NoticeKind,
    Priority,
    Quantity,
    Reading,
    Transition,
    Use,
)

QUANTITY_IDS: Mapping[Quantity, int] = {
    Quantity.TEMPERATURE_C: 0,
    Quantity.RELATIVE_HUMIDITY_PCT: 1,
    Quantity.BATTERY_PCT: 2,
}
QUANTITIES: Mapping[int, Quantity] = {number: quantity for quantity, number in QUANTITY_IDS.items()}

EVER_S = 253_402_300_799.0
"""The end of the year 9999: after any instant."""

READING_COLUMNS = "observed_at_ms, sensor, quantity, received_after_ms, value, flag, use"
HOUR_COLUMNS = (
    "hour_at_ms, sensor, covered_s, temperature_mean_c, temperature_min_c, temperature_max_c, "
    "relative_humidity_mean_pct, relative_humidity_min_pct, relative_humidity_max_pct, "
    "vpd_mean_kpa, above_5_c_k_h, below_0_c_k_h, wet_s"
)
TRANSITION_COLUMNS = (
    "at_ms, alarm, kind, subject, occurrence, seq, from_state, to_state, priority, value, limit_value, "
    "quality, respond_within_s, cause, consequence, action, because"
)
NOTICE_COLUMNS = "at_ms, notice, notifier, kind, priority, subject, text, html, alarms, occurrences, details"


def to_ms(at_s: float) -> int:
    """Whole milliseconds since 1970; any instant is moved into the years 1970 to 9999."""
    return round(min(max(at_s, 0.0), EVER_S) * 1000)


def to_json(value: Any) -> str:
    """Compact JSON that keeps every float exactly; any mapping counts as an object."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), default=_plain)


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"{type(value).__name__} cannot be saved as JSON")


def reading_row(reading: Reading, sensor_ids: Mapping[str, int]) -> tuple[Any, ...]:
    """One row of `readings`; a value that is not a number becomes NULL."""
    observed_ms = round(reading.observed_at_s * 1000)
    return (
        observed_ms,
        sensor_ids[reading.sensor],
        QUANTITY_IDS[reading.quantity],
        round(reading.received_at_s * 1000) - observed_ms,
        reading.value,
        int(reading.flag),
        int(reading.use),
    )


def reading_of(row: tuple[Any, ...], sensors: Mapping[int, str]) -> Reading:
    """A reading from a row of READING_COLUMNS."""
    observed_ms, sensor, quantity, after_ms, value, flag, use = row
    return Reading(
        sensors[sensor],
        QUANTITIES[quantity],
        math.nan if value is None else value,
        observed_ms / 1000,
        (observed_ms + after_ms) / 1000,
        Flag(flag),
        Use(use),
    )


def transition_row(transition: Transition) -> tuple[Any, ...]:
    """One row of TRANSITION_COLUMNS."""
    t = transition
    return (
        to_ms(t.at_s), t.alarm, t.kind, t.subject, t.occurrence, t.seq, str(t.from_state), str(t.to_state),
        str(t.priority), t.value, t.limit, t.quality, t.respond_within_s, t.cause, t.consequence, t.action,
        t.because,
    )  # fmt: skip


def transition_of(row: tuple[Any, ...]) -> Transition:
    """A transition from a row of TRANSITION_COLUMNS."""
    at_ms, alarm, kind, subject, occurrence, seq, before, after, priority, *rest = row
    return Transition(
        at_ms / 1000, alarm, kind, subject, occurrence, seq, AlarmState(before), AlarmState(after),
        Priority(priority), *rest,
    )  # fmt: skip


def notice_row(notice: Notice) -> tuple[Any, ...]:
    """One row of NOTICE_COLUMNS."""
    n = notice
    return (
        to_ms(n.at_s), n.notice, n.notifier, str(n.kind), str(n.priority), n.subject, n.text, n.html,
        to_json(n.alarms), to_json(n.occurrences), to_json(n.details),
    )  # fmt: skip


def notice_of(row: tuple[Any, ...]) -> Notice:
    """A notice from a row of NOTICE_COLUMNS."""
    at_ms, notice, notifier, kind, priority, subject, text, html, alarms, occurrences, details = row
    return Notice(
        at_ms / 1000, notice, NoticeKind(kind), Priority(priority), notifier, subject, text,
        tuple(json.loads(alarms)), tuple(json.loads(occurrences)), html, tuple(json.loads(details)),
    )  # fmt: skip


def hour_row(hour: HourRow, sensor_ids: Mapping[str, int]) -> tuple[Any, ...]:
    """One row of HOUR_COLUMNS."""
    h = hour
    return (
        to_ms(h.hour_at_s), sensor_ids[h.sensor], h.covered_s, h.temperature_mean_c, h.temperature_min_c,
        h.temperature_max_c, h.relative_humidity_mean_pct, h.relative_humidity_min_pct,
        h.relative_humidity_max_pct, h.vpd_mean_kpa, h.above_5_c_k_h, h.below_0_c_k_h, h.wet_s,
    )  # fmt: skip


def hour_of(row: tuple[Any, ...], sensors: Mapping[int, str]) -> HourRow:
    """An hour from a row of HOUR_COLUMNS."""
    return HourRow(sensors[row[1]], row[0] / 1000, *row[2:])
