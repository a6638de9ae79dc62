"""A notice as JSON for other machines (webhook, MQTT); pure."""

import json
import math
from collections.abc import Mapping
from typing import Any

from monitor.clock import rfc3339
from monitor.delivery.plain import one_line, plain
from monitor.model import Notice

LONGEST_BYTES = 20_000
"""What a message to another machine may hold; Standard Webhooks 1.0 asks for less than 20 kB."""


def notice_data(notice: Notice) -> dict[str, Any]:
    """The notice with its alarms; keys as in `notices.jsonl`, but each alarm with all that is known of it."""
    alarms = [_json_safe(alarm) for alarm in notice.details]
    return {
        "at": rfc3339(notice.at_s),
        "notice": one_line(notice.notice),
        "kind": notice.kind.value,
        "priority": notice.priority.value,
        "notifier": notice.notifier,
        "subject": one_line(notice.subject),
        "text": plain(notice.text),
        "occurrences": [_json_safe(occurrence) for occurrence in notice.occurrences],
        "alarms": alarms or [{"alarm": _json_safe(alarm)} for alarm in notice.alarms],
    }


def fitted(data: Mapping[str, Any], limit_bytes: int) -> dict[str, Any]:
    """The same data in at most `limit_bytes` of JSON; alarms left out are counted in `more`.

    Should it still be too long without any alarm, the text is cut and ends with "…".
    """
    cut = dict(data)
    while (surplus := len(encoded(cut)) - limit_bytes) > 0 and (cut["alarms"] or cut["text"]):
        if cut["alarms"]:
            cut["alarms"] = _without_last(cut["alarms"], surplus)
            cut["more"] = len(data["alarms"]) - len(cut["alarms"])
        else:
            kept = cut["text"].removesuffix("…")[: -1 - math.ceil(surplus / 4)]
            cut["text"] = kept and kept + "…"
    return cut


def encoded(value: Any) -> bytes:
    """The value as compact JSON in UTF-8."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def _without_last(alarms: list[Any], surplus: int) -> list[Any]:
    """The alarms without as many of the last ones as make up the surplus [bytes]."""
    kept = list(alarms)
    while kept and surplus > 0:
        surplus -= len(encoded(kept.pop()))
    return kept


def _json_safe(value: Any) -> Any:
    """The value with JSON's types only; a number that is none becomes null."""
    if isinstance(value, Mapping):
        return {str(key): _json_safe(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_json_safe(item) for item in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if value is None or isinstance(value, bool | int) else plain(str(value))
