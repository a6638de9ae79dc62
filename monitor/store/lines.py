"""Values as the JSON lines that replay writes and export gives; keys and their order are a public format.

Instants become RFC 3339 labels, `label_offset_s` ahead of guard time; numbers are rounded to 3 decimals,
and what is no number becomes null, since JSON has no other word for it.
"""

import json
import math
from collections.abc import Mapping
from typing import Any

from monitor.clock import parse_rfc3339, rfc3339
from monitor.model import Notice, Reading, Transition

FORECAST_KEYS = ("issued_at", "night", "sensor", "method", "nights_learned", "low_c", "low_at", "below")
WRAP_KEYS = ("at", "tree", "wrap", "moisture_kg_per_kg", "dry_in_h", "feel", "gain")
STAGE_KEYS = ("at", "tree", "work", "stage", "because")
_INSTANTS = frozenset({"at", "issued_at", "low_at"})


def dumps(line: Mapping[str, Any]) -> str:
    """One compact line of JSON, without its newline; text stays readable UTF-8."""
    return json.dumps(line, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def rounded(value: Any) -> Any:
    """Floats to 3 decimals, also inside mappings and sequences; what is not finite is None."""
    if isinstance(value, float):
        return round(value, 3) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: rounded(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(item) for item in value]
    return value


def _number(value: float | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), 3)


def transition_line(transition: Transition, label_offset_s: float = 0.0) -> dict[str, Any]:
    """One line of `alarms.jsonl`."""
    return {
        "at": rfc3339(transition.at_s + label_offset_s),
        "alarm": transition.alarm,
        "kind": transition.kind,
        "subject": transition.subject,
        "occurrence": transition.occurrence,
        "seq": transition.seq,
        "from": str(transition.from_state),
        "to": str(transition.to_state),
        "priority": str(transition.priority),
        "value": _number(transition.value),
        "limit": _number(transition.limit),
        "quality": transition.quality,
        "respond_within_s": _number(transition.respond_within_s),
        "cause": transition.cause,
        "consequence": transition.consequence,
        "action": transition.action,
        "because": transition.because,
    }


def notice_line(notice: Notice, label_offset_s: float = 0.0) -> dict[str, Any]:
    """One line of `notices.jsonl`."""
    return {
        "at": rfc3339(notice.at_s + label_offset_s),
        "notice": notice.notice,
        "kind": str(notice.kind),
        "priority": str(notice.priority),
        "notifier": notice.notifier,
        "subject": notice.subject,
        "text": notice.text,
        "alarms": list(notice.alarms),
    }


def reading_line(reading: Reading, label_offset_s: float = 0.0) -> dict[str, Any]:
    """One line of `readings.jsonl`."""
    return {
        "observed_at": rfc3339(reading.observed_at_s + label_offset_s),
        "received_at": rfc3339(reading.received_at_s + label_offset_s),
        "sensor": reading.sensor,
        "quantity": str(reading.quantity),
        "value": _number(reading.value),
        "flag": int(reading.flag),
    }


def forecast_line(forecast: Mapping[str, Any], label_offset_s: float = 0.0) -> dict[str, Any]:
    """One line of `forecasts.jsonl`."""
    return _picked(forecast, FORECAST_KEYS, label_offset_s)


def wrap_line(wrap: Mapping[str, Any], label_offset_s: float = 0.0) -> dict[str, Any]:
    """One line of `wraps.jsonl`."""
    return _picked(wrap, WRAP_KEYS, label_offset_s)


def stage_line(stage: Mapping[str, Any], label_offset_s: float = 0.0) -> dict[str, Any]:
    """One line of `stages.jsonl`."""
    return _picked(stage, STAGE_KEYS, label_offset_s)


def _picked(values: Mapping[str, Any], keys: tuple[str, ...], label_offset_s: float) -> dict[str, Any]:
    """The named keys in order, null where there is none; see `instant_s` for how instants may be given."""
    line: dict[str, Any] = {}
    for key in keys:
        at_s = instant_s(values, key) if key in _INSTANTS else None
        line[key] = rounded(values.get(key)) if at_s is None else rfc3339(at_s + label_offset_s)
    return line


def instant_s(values: Mapping[str, Any], key: str) -> float | None:
    """The instant under `key` or `key_s`, seconds or a label [s since 1970]; None when there is none."""
    value = values.get(key, values.get(f"{key}_s"))
    return parse_rfc3339(value) if isinstance(value, str) else value
