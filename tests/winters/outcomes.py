"""What the guard was worth over a made winter, counted against the noise-free truth.

A *crossing* is a time at which the true air comes to or under the tree's damage limit, from at least half a
degree above it for two hours before; not one that an open door makes for some minutes. A *warning* is an
alarm about frost at that tree or in its house that came up before and still stands; its lead counts up to
fourteen hours. *Time* to warn begins when the heater first does not answer, else at sunset; a crossing with
less than a quarter of an hour of it (a heater that gave all it had goes out) is counted apart. A *quiet* day
(noon to noon) comes no nearer to damage than two degrees and has no heater out; a *quiet month* is thirty of
them. A *nuisance* is a ring about frost to come on a quiet day.
"""

from dataclasses import dataclass, field

import numpy as np

from tests.winters.guarded import Heard
from tests.winters.house import local_minute

HOUR_S = 3600.0
WARNINGS = ("frost-tonight", "cooling-fast", "heater-not-holding", "low-temperature", "wrap-freezing")
AHEAD = ("frost-tonight", "cooling-fast", "heater-not-holding")
APART_MIN = 120
CLEAR_K = 0.5
LEAST_H = 0.25
COLD_C = -1.0
BEFORE_S = 14 * HOUR_S
QUIET_K = 2.0


@dataclass
class Outcome:
    """Counts and lists over one winter."""

    crossings: int = 0
    by_door: int = 0
    no_time: int = 0
    told_late_min: list[float] = field(default_factory=list)
    """Of those without time: minutes from the crossing until an alarm stood."""
    missed: list[float] = field(default_factory=list)
    """Instants of crossings that nothing had warned of."""
    leads_h: list[float] = field(default_factory=list)
    possible_h: list[float] = field(default_factory=list)
    """Time in which a warning was possible: since the heater went out, else since sunset."""
    night_leads_h: list[float] = field(default_factory=list)
    """From the first warning that was not the evening's."""
    quiet_days: int = 0
    nuisance: list[tuple[float, str]] = field(default_factory=list)
    failures: int = 0
    found_min: list[float] = field(default_factory=list)
    """Minutes from the first call that the heater did not answer until `heater-not-holding`."""
    not_found: int = 0
    too_small: int = 0
    false_heater: list[float] = field(default_factory=list)


def crossings(heard: Heard) -> list[int]:
    """Minutes at which the true air comes to the damage limit."""
    below = heard.winter.air_c <= heard.harm_c
    clear = heard.winter.air_c > heard.harm_c + CLEAR_K
    found, clear_for = [], 0
    armed = False
    for minute, (is_below, is_clear) in enumerate(zip(below.tolist(), clear.tolist(), strict=True)):
        clear_for = clear_for + 1 if is_clear else 0
        armed = armed or clear_for >= APART_MIN
        if is_below and armed:
            found.append(minute)
            armed = False
    return found


def outcome(heard: Heard, from_day: int = 15) -> Outcome:
    """Everything counted, from the day on which the place is learnt."""
    result = Outcome()
    at_s, winter = heard.winter.at_s, heard.winter
    rises = [t for t in heard.transitions if str(t.to_state) == "unacknowledged" and t.because != "worse"]
    begun = [t for t in rises if t.because == "condition"]
    rung = [t for t in begun if str(t.priority) != "low"]
    first = from_day * 1440
    for minute in crossings(heard):
        if minute < first:
            continue
        if any(minute - back in winter.doors for back in range(15)):
            result.by_door += 1
            continue
        now_s = float(at_s[minute])
        out = [f for f in winter.failures if f.from_minute <= minute < f.to_minute]
        begins = at_s[out[0].called] if out else max(now_s - BEFORE_S, _sunset_s(heard, minute))
        possible_h = max(now_s - float(begins), 0.0) / HOUR_S
        result.crossings += 1
        if possible_h < LEAST_H:
            result.no_time += 1
            result.told_late_min.append(_told_after_min(heard, now_s))
            continue
        before = [
            Rise(t.kind, max(t.at_s, now_s - BEFORE_S)) for t in _standing(heard, now_s) if t.kind in WARNINGS
        ]
        if not before:
            result.missed.append(now_s)
            continue
        result.leads_h.append((now_s - min(t.at_s for t in before)) / HOUR_S)
        result.possible_h.append(possible_h)
        late = [t.at_s for t in before if t.kind != "frost-tonight"]
        result.night_leads_h.append((now_s - min(late)) / HOUR_S if late else 0.0)
    _nuisance(heard, rung, result, first)
    _heater(heard, begun, result, first)
    return result


def _standing(heard: Heard, now_s: float) -> list["Rise"]:
    """Warnings that came up before an instant and still stood then."""
    open_rises: dict[str, Rise] = {}
    for change in heard.transitions:
        if change.at_s > now_s:
            break
        state = str(change.to_state)
        if state == "unacknowledged" and change.alarm not in open_rises:
            open_rises[change.alarm] = Rise(change.kind, change.at_s)
        elif change.because in {"returned", "removed"}:
            open_rises.pop(change.alarm, None)
    return list(open_rises.values())


def _told_after_min(heard: Heard, now_s: float) -> float:
    """Minutes until a warning stands, 0 if it does already."""
    if any(rise.kind in WARNINGS for rise in _standing(heard, now_s)):
        return 0.0
    later = (
        change.at_s
        for change in heard.transitions
        if change.at_s > now_s and change.kind in WARNINGS and str(change.to_state) == "unacknowledged"
    )
    return (next(later, np.inf) - now_s) / 60


@dataclass(frozen=True)
class Rise:
    """One alarm that came up."""

    kind: str
    at_s: float


def _sunset_s(heard: Heard, minute: int) -> float:
    """The last minute of sun before a minute; the minute itself by day."""
    sun = heard.winter.weather.sun
    while minute > 0 and sun[minute] <= 0:
        minute -= 1
    return float(heard.winter.at_s[minute])


def _nuisance(heard: Heard, begun: list[object], result: Outcome, first: int) -> None:
    """Rings about frost in noon-to-noon days that came nowhere near harm."""
    air, at_s = heard.winter.air_c, heard.winter.at_s
    for noon in range(first + 17 * 60, len(air) - 1440, 1440):
        span = slice(noon, noon + 1440)
        failing = any(f.from_minute < noon + 1440 and f.to_minute > noon for f in heard.winter.failures)
        if failing or float(air[span].min()) <= heard.harm_c + QUIET_K:
            continue
        result.quiet_days += 1
        for t in begun:
            if t.kind in AHEAD and at_s[noon] <= t.at_s < at_s[noon] + 86400:  # type: ignore[attr-defined]
                result.nuisance.append((t.at_s, t.kind))  # type: ignore[attr-defined]


def _heater(heard: Heard, begun: list[object], result: Outcome, first: int) -> None:
    at_s = heard.winter.at_s
    alarms = [t.at_s for t in begun if t.kind == "heater-not-holding"]  # type: ignore[attr-defined]
    explained = []
    for failure in heard.winter.failures:
        if failure.called < first or not _is_cold(heard, failure.called):
            explained += [
                at for at in alarms if at_s[failure.called] <= at <= at_s[failure.to_minute] + HOUR_S
            ]
            continue
        result.failures += 1
        begins, ends = float(at_s[failure.called]), float(at_s[failure.to_minute])
        if any(rise.kind == "heater-not-holding" for rise in _standing(heard, begins)):
            result.found_min.append(0.0)
            continue
        inside = [at for at in alarms if begins <= at <= ends + HOUR_S]
        explained += inside
        if inside:
            result.found_min.append((inside[0] - begins) / 60)
        else:
            result.not_found += 1
    early = [at for at in alarms if at < float(at_s[first])]
    small = [at for at in alarms if at not in explained and _too_small(heard, at)]
    result.too_small = len(small)
    result.false_heater = [at for at in alarms if at not in [*explained, *early, *small]]


def _is_cold(heard: Heard, minute: int) -> bool:
    """Whether the three hours after are cold outside."""
    return bool(heard.winter.weather.air_c[minute : minute + 180].max() < COLD_C)


def _too_small(heard: Heard, at_s: float) -> bool:
    """Whether the heater truly gave all it has for half an hour and the air stood below its setting."""
    minute = round((at_s - float(heard.winter.at_s[0])) / 60)
    heating = heard.winter.heating[minute - 30 : minute]
    return bool(heating.mean() > 0.95 and heard.winter.air_c[minute] < heard.winter.plan.setpoint_c - 1.0)


def quiet_months(result: Outcome) -> float:
    """Nuisance rings in thirty quiet days."""
    return len(result.nuisance) / max(result.quiet_days, 1) * 30.0


def by_night(heard: Heard, result: Outcome) -> int:
    """Nuisances that woke somebody: rung between eleven and six."""
    minutes = [round((at - float(heard.winter.at_s[0])) / 60) for at, _ in result.nuisance]
    return sum(local_minute(minute) >= 23 * 60 or local_minute(minute) < 6 * 60 for minute in minutes)


def leads_where(result: Outcome, least_h: float) -> list[float]:
    """Leads of the crossings of which so long a warning was possible."""
    pairs = zip(result.leads_h, result.possible_h, strict=True)
    return [lead for lead, possible in pairs if possible >= least_h]


def share(values: list[float], level: float) -> float:
    """A quantile, NaN for nothing."""
    return float(np.quantile(values, level)) if values else float("nan")
