"""The facts of a tree's picture: its hours as plain numbers, limits that move with its stages; pure.

Drawn by the same child process as the pictures of the report.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from monitor.clock import local
from monitor.notices.words import Speech
from monitor.trees.exposure import HOUR_S, ExposedHour, Exposure, Spell

DAY_H = 24
FEW_DAYS_H = 4 * DAY_H
"""Up to here the axis tells hours, beyond it days."""
MARKS_AT_MOST = 12
LIMITS: Mapping[str, str] = {
    "low_harm_c": "damage likely below",
    "low_warn_c": "tender below",
    "high_warn_c": "tender above",
    "high_harm_c": "damage likely above",
}


def record_picture(
    record: Exposure, speech: Speech, marks: Iterable[tuple[float, str]] = (), spell: Spell | None = None
) -> dict[str, Any]:
    """What the picture of a tree's record shows, in steps of one hour from its beginning.

    Parameters
    ----------
    record
        with one hour at least
    speech
        degrees, zone
    marks
        instants [s] and a word each: works, findings
    spell
        hours that are marked as the worst
    """
    hours = record.hours
    from_s = hours[0].at_s
    to_s = hours[-1].at_s + HOUR_S
    inside = [(_step(at_s, from_s), text) for at_s, text in marks if from_s <= at_s <= to_s]
    return {
        "record": record.tree,
        "title": record.name,
        "unit": "°F" if speech.show == "fahrenheit" else "°C",
        "steps": len(hours),
        "low": [_degrees(hour.low_c, speech) for hour in hours],
        "high": [_degrees(hour.high_c, speech) for hour in hours],
        "pot": [_degrees(hour.pot_c, speech) for hour in hours],
        "drying_kpa": [None if hour.vpd_kpa is None else round(hour.vpd_kpa, 3) for hour in hours],
        "wet": _runs([(hour.wet_h or 0.0) >= 0.5 for hour in hours]),
        "limits": [
            {"label": label, "degrees": [_degrees(hour.limits.get(key), speech) for hour in hours]}
            for key, label in LIMITS.items()
            if any(key in hour.limits for hour in hours)
        ],
        "blind": _runs([hour.seen_h < 0.5 for hour in hours]),
        "worst": None if spell is None else [_step(spell.from_s, from_s), _step(spell.to_s, from_s)],
        "marks": inside[-MARKS_AT_MOST:],
        "ticks": _ticks(hours, speech),
    }


def _step(at_s: float, from_s: float) -> float:
    return round((at_s - from_s) / HOUR_S, 2)


def _degrees(value_c: float | None, speech: Speech) -> float | None:
    if value_c is None:
        return None
    return round(value_c * 9 / 5 + 32 if speech.show == "fahrenheit" else value_c, 2)


def _runs(is_so: Sequence[bool]) -> list[tuple[int, int]]:
    """Hours on end of which something is so: from the first to before the last step."""
    found: list[tuple[int, int]] = []
    for step, so in enumerate(is_so):
        if so and found and found[-1][1] == step:
            found[-1] = (found[-1][0], step + 1)
        elif so:
            found.append((step, step + 1))
    return found


def _ticks(hours: Sequence[ExposedHour], speech: Speech) -> list[tuple[float, str]]:
    """Every sixth local hour, or midnights: a dozen labels at most."""
    few = len(hours) <= FEW_DAYS_H
    apart = 1 if few else max(1, -(-len(hours) // (12 * DAY_H)))
    found, days = [], 0
    for step, hour in enumerate(hours):
        at: datetime = local(hour.at_s + speech.offset_s, speech.zone)
        if few and at.hour % (3 if len(hours) <= 36 else 6 if len(hours) <= 60 else 12) == 0:
            found.append((float(step), f"{at:%H:%M}" if at.hour else f"{at.day} {at:%b}"))
        elif not few and at.hour == 0:
            if days % apart == 0:
                found.append((float(step), f"{at.day} {at:%b}"))
            days += 1
    return found
