"""What `tree show` says of a record: how cold, how long beyond which limit, what rang, the worst hours.

Values in, text out. Degrees are shown as the site asks; how far beyond goes in degree-hours.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from monitor.notices.words import Speech, happened
from monitor.report.wording import LOOKED_BACK
from monitor.trees.exposure import DIED, HOUR_S, Beyond, ExposedHour, Exposure, MetAlarm, Spell
from monitor.trees.tree import Finding, Tree

BEYOND_WORDS = {
    "low_warn_c": "colder than it is tender below",
    "low_harm_c": "colder than damage is likely below",
    "high_warn_c": "warmer than it is tender above",
    "high_harm_c": "warmer than damage is likely above",
    "vpd_warn_kpa": "air too drying for it",
    "root_warn_c": "roots colder than they are tender below",
    "root_harm_c": "roots colder than they are damaged below",
}
ALARMS_SHOWN = 20
WORST_SHOWN = 36
"""More hours on end than these are told by the table."""


@dataclass(frozen=True, slots=True)
class Death:
    """A finding of dieback or death, and the worst hours on end before it; None where nothing is known."""

    finding: Finding
    worst: Spell | None


def deaths(tree: Tree, record: Exposure) -> tuple[Death, ...]:
    """Every such finding, the latest first."""
    found = [finding for finding in tree.findings if finding.found in DIED]
    return tuple(Death(each, record.worst(each.at_s)) for each in reversed(found))


def record_lines(record: Exposure, died: Iterable[Death], speech: Speech) -> list[str]:
    """The record as text: what a finding of death asks for first, then the sums, then what rang."""
    lines: list[str] = []
    for death in died:
        lines += _death(death, record, speech)
    if not record.hours:
        return [*lines, "", "What it went through", "  - nothing was seen of it yet"]
    span = f"{_when(record.from_s, speech)} – {_when(record.to_s, speech)}"
    lines += ["", f"What it went through, {span}"]
    lines += [f"  - {line}" for line in _sums(record, speech)]
    lines += ["", "What rang about it", *(f"  - {line}" for line in _alarms(record, speech))]
    return lines


def _death(death: Death, record: Exposure, speech: Speech) -> list[str]:
    finding, worst = death.finding, death.worst
    part = f" of {finding.part.replace('-', ' ')}" if finding.part else ""
    found = "Dieback" if finding.found == "dieback" else "Dead"
    on = Speech(speech.zone).day_time(finding.at_s)
    title = f"{found}{part}, found {on}: its worst hours before that"
    if worst is None:
        return ["", title, "  - not known: nothing was seen of it"]
    hours = [hour for hour in record.hours if worst.from_s <= hour.at_s < worst.to_s]
    shown = hours[:WORST_SHOWN]
    lines = [f"  - {_hour(hour, speech)}" for hour in shown]
    if len(hours) > len(shown):
        lines.append(f"  - and {len(hours) - len(shown)} h more: --out DIR writes them all")
    if not any(hour.beyond for hour in hours):
        lines.append("  - no limit was passed as far as was seen: this was its coldest hour")
    return ["", title, *lines]


def _hour(hour: ExposedHour, speech: Speech) -> str:
    seen = "not seen"
    if hour.low_c is not None and hour.high_c is not None:
        seen = f"{speech.temperature(hour.low_c)} to {speech.temperature(hour.high_c)}"
    if hour.pot_c is not None:
        seen += f", pot {speech.temperature(hour.pot_c)}"
    passed = [_passed(key, hour.limits[key], speech) for key in hour.beyond if not _is_outdone(key, hour)]
    return f"{_when(hour.at_s, speech)}: {seen}" + (f"; {', '.join(passed)}" if passed else "")


def _is_outdone(key: str, hour: ExposedHour) -> bool:
    """Whether the limit of damage was passed, too: then the warning needs no words."""
    return "_warn_" in key and key.replace("_warn_", "_harm_") in hour.beyond


def _passed(key: str, limit: float, speech: Speech) -> str:
    value = f"{limit:g} kPa" if key == "vpd_warn_kpa" else speech.limit(limit)
    return f"{BEYOND_WORDS[key]} {'from ' if key == 'vpd_warn_kpa' else ''}{value}"


def _sums(record: Exposure, speech: Speech) -> Iterable[str]:
    coldest, warmest = record.lowest, record.highest
    if coldest is not None:
        yield f"coldest {speech.temperature(coldest.low_c)}, {_where(coldest, speech)}"
    if warmest is not None:
        yield f"warmest {speech.temperature(warmest.high_c)}, {_where(warmest, speech)}"
    beyond = record.beyond
    for key, passed in beyond.items():
        yield f"{BEYOND_WORDS[key]}: {_amount(key, passed, speech)}"
    if not beyond:
        yield "no limit that was in force was passed, as far as was seen"
    known = [hour for hour in record.hours if hour.vpd_kpa is not None]
    if known:
        driest = max(known, key=lambda hour: hour.vpd_kpa or 0.0)
        seen_h = sum(hour.seen_h for hour in known)
        mean_kpa = record.dry_air_kpa_h / seen_h if seen_h else 0.0
        yield (
            f"drying air: {mean_kpa:.2f} kPa on average, most {driest.vpd_kpa:.2f} kPa, "
            f"{_when(driest.at_s, speech)}"
        )
    if any(hour.wet_h is not None for hour in record.hours):
        yield f"in air that leaves surfaces wet: {_hours(record.wet_h)}"
    yield f"not seen: {_hours(record.unseen_h)} of {_hours(len(record.hours))}"


def _where(hour: ExposedHour, speech: Speech) -> str:
    return f"{_when(hour.at_s, speech)}, at {hour.sensor}"


def _amount(key: str, passed: Beyond, speech: Speech) -> str:
    if key == "vpd_warn_kpa":
        return f"{_hours(passed.hours)}, by {passed.degree_hours / passed.hours:.2f} kPa on average"
    times = 9 / 5 if speech.show == "fahrenheit" else 1.0
    return f"{_hours(passed.hours)}, {passed.degree_hours * times:.1f} degree-hours"


def _hours(hours: float) -> str:
    if 0.0 < hours < 0.95:
        return f"{max(1, round(hours * 60))} min"
    return f"{hours:.0f} h" if hours == 0.0 or hours >= 9.95 else f"{hours:.1f} h"


def _alarms(record: Exposure, speech: Speech) -> list[str]:
    if not record.alarms:
        return ["nothing"]
    shown = [_alarm(met, record, speech) for met in record.alarms[-ALARMS_SHOWN:]]
    left = len(record.alarms) - len(shown)
    return [f"{left} earlier ones are not shown", *shown] if left else shown


def _alarm(met: MetAlarm, record: Exposure, speech: Speech) -> str:
    """Alarms are kept by their labels: their instants are wall time already."""
    wall = Speech(speech.zone, speech.show)
    until = f"–{wall.time(met.to_s)}" if met.to_s is not None else ", it still stands"
    if met.to_s is not None and met.to_s - met.from_s >= 20 * HOUR_S:
        until = f" – {wall.day_time(met.to_s)}"
    name = record.name if met.subject.split("/")[0] == record.tree else met.subject
    if "/" in met.subject:
        name += f", wrap {met.subject.partition('/')[2].replace('-', ' ')}"
    seen = "nobody said that they had seen it"
    if met.seen_at_s is not None:
        seen = f"seen {wall.time(met.seen_at_s)}"
    if met.priority == "low":
        seen = "low, it rang nobody" if met.seen_at_s is None else seen
    what = _looked_back(met, name, record, speech)
    return f"{wall.day_time(met.from_s)}{until}: {what} ({met.priority}); {seen}"


def _looked_back(met: MetAlarm, name: str, record: Exposure, speech: Speech) -> str:
    """What rang, as one looks back on it, with how cold it was."""
    if met.kind in LOOKED_BACK:
        return LOOKED_BACK[met.kind].format(name)
    from_s, to_s = met.from_s - speech.offset_s, (met.to_s or math.inf) - speech.offset_s
    lows = [h.low_c for h in record.hours if h.low_c is not None and from_s - HOUR_S < h.at_s < to_s]
    return happened(speech, met.kind, name, min(lows, default=None))


def _when(at_s: float, speech: Speech) -> str:
    return speech.day_time(at_s if math.isfinite(at_s) else 0.0)
