"""What a tree went through, hour by hour, against the limits that were in force then; pure.

Hourly rows, which are kept for ever, and the book as it is now: whatever is corrected later corrects this
record too. It knows no files and no clock; `table` gives it as rows for CSV and Parquet.
"""

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from monitor.clock import rfc3339
from monitor.model import HourRow
from monitor.trees.in_force import LimitInForce, Raised, limits_in_force, with_raised
from monitor.trees.kinds import LIMIT_KEYS
from monitor.trees.plans import Plans
from monitor.trees.stages import DAY_S, SEVERAL_WORKS, stages_of
from monitor.trees.tree import Tree

HOUR_S = 3600.0
HARM_WEIGHT = 3.0
"""A kelvin beyond harm counts as three beyond a warning, where worst hours are looked for; judgement."""
DIED = ("dieback", "dead")
"""Findings that ask what happened to the tree."""

DegreeDays = Callable[[float, float], float | None]
"""Degree-days above 5 °C where the tree stood between two instants [K d]."""


class Beyond(NamedTuple):
    """How long and how far beyond a limit: hours [h], degree-hours [K·h]; of drying air kilopascal-hours."""

    hours: float = 0.0
    degree_hours: float = 0.0


@dataclass(frozen=True, slots=True)
class ExposedHour:
    """One hour of one tree; None is not known.

    `seen_h` how much of it was seen [h]; `beyond` only those limits that were passed; `limits` all in force.
    """

    at_s: float
    sensor: str | None = None
    seen_h: float = 0.0
    low_c: float | None = None
    mean_c: float | None = None
    high_c: float | None = None
    humidity_pct: float | None = None
    vpd_kpa: float | None = None
    wet_h: float | None = None
    pot_c: float | None = None
    limits: Mapping[str, float] = field(default_factory=dict)
    beyond: Mapping[str, Beyond] = field(default_factory=dict)

    @property
    def severity(self) -> float:
        """How bad it was: degree-hours beyond its limits, harm counted more."""
        return sum(
            passed.degree_hours * (HARM_WEIGHT if "_harm_" in key else 1.0)
            for key, passed in self.beyond.items()
        )


class MetAlarm(NamedTuple):
    """One occurrence about the tree or its place, and whether it was answered; `to_s` None: it stands."""

    kind: str
    subject: str
    priority: str
    from_s: float
    to_s: float | None
    seen_at_s: float | None


class Spell(NamedTuple):
    """Hours on end: from, to [s], and the lowest and highest temperature in it [°C]."""

    from_s: float
    to_s: float
    low_c: float | None
    high_c: float | None


@dataclass(frozen=True, slots=True)
class Exposure:
    """The record of one tree over a span of time, hours ascending."""

    tree: str
    name: str
    from_s: float
    to_s: float
    hours: tuple[ExposedHour, ...] = ()
    alarms: tuple[MetAlarm, ...] = ()

    @property
    def lowest(self) -> ExposedHour | None:
        """The hour of the lowest temperature."""
        known = [hour for hour in self.hours if hour.low_c is not None]
        return min(known, key=lambda hour: hour.low_c or 0.0, default=None)

    @property
    def highest(self) -> ExposedHour | None:
        """The hour of the highest temperature."""
        known = [hour for hour in self.hours if hour.high_c is not None]
        return max(known, key=lambda hour: hour.high_c or 0.0, default=None)

    @property
    def beyond(self) -> dict[str, Beyond]:
        """Hours and degree-hours beyond each limit then in force; only those that were passed."""
        sums: dict[str, Beyond] = {}
        for hour in self.hours:
            for key, passed in hour.beyond.items():
                before = sums.get(key, Beyond())
                sums[key] = Beyond(before.hours + passed.hours, before.degree_hours + passed.degree_hours)
        return {key: sums[key] for key in LIMIT_KEYS if key in sums}

    @property
    def unseen_h(self) -> float:
        """Hours in which nobody saw what it stood in [h]."""
        return sum(1.0 - hour.seen_h for hour in self.hours)

    @property
    def wet_h(self) -> float:
        """Hours in air that leaves surfaces wet [h]."""
        return sum(hour.wet_h or 0.0 for hour in self.hours)

    @property
    def dry_air_kpa_h(self) -> float:
        """Drying power times time [kPa·h]."""
        return sum((hour.vpd_kpa or 0.0) * hour.seen_h for hour in self.hours)

    def worst(self, before_s: float = math.inf) -> Spell | None:
        """The worst hours on end before an instant: around the gravest one; None where nothing was passed.

        Where no limit was passed, but something is known, the coldest hour.
        """
        among = [hour for hour in self.hours if hour.at_s < before_s]
        gravest = max(among, key=lambda hour: hour.severity, default=None)
        if gravest is None:
            return None
        if gravest.severity == 0.0:
            known = [hour for hour in among if hour.low_c is not None]
            gravest = min(known, key=lambda hour: hour.low_c or 0.0, default=None)
            return None if gravest is None else _spell([gravest])
        return _spell(list(_around(among, among.index(gravest))))


def _around(hours: Sequence[ExposedHour], place: int) -> Iterator[ExposedHour]:
    """The hours on end about one in which something was passed."""
    first = last = place
    while first > 0 and hours[first - 1].severity > 0.0:
        first -= 1
    while last + 1 < len(hours) and hours[last + 1].severity > 0.0:
        last += 1
    yield from hours[first : last + 1]


def _spell(hours: Sequence[ExposedHour]) -> Spell:
    lows = [hour.low_c for hour in hours if hour.low_c is not None]
    highs = [hour.high_c for hour in hours if hour.high_c is not None]
    return Spell(hours[0].at_s, hours[-1].at_s + HOUR_S, min(lows, default=None), max(highs, default=None))


# ---- from hourly rows --------------------------------------------------------------------------------------


def exposure(
    tree: Tree,
    rows: Iterable[HourRow],
    plans: Plans,
    degree_days: DegreeDays,
    from_s: float,
    to_s: float,
    alarms: Iterable[MetAlarm] = (),
    pot_c: Mapping[float, float] | None = None,
    raised: Mapping[float, Raised] | None = None,
) -> Exposure:
    """The record of a tree.

    Parameters
    ----------
    tree
        as the book has it now
    rows
        hourly rows of all sensors that it ever stood at, and of the probe in its pot, in any order
    plans, degree_days
        what the limits of each hour follow from
    from_s, to_s
        the span [s since 1970]; nothing is said of the time before the tree was known or after it left
    alarms
        what rang about it
    pot_c
        the root-ball's temperature in each hour, by the instant it begins, where no probe says it [°C]
    raised
        how far frost limits counted higher, by the instant an hour begins; nothing for the hours left out
    """
    known = {(row.sensor, row.hour_at_s): row for row in rows}
    begun_s = max(from_s, _known_from_s(tree, from_s))
    ends_s = to_s if tree.left_at_s is None else min(to_s, tree.left_at_s)
    limits = _Limits(tree, plans, degree_days, raised or {})
    reckoned = pot_c or {}
    hours = []
    at_s = math.floor(begun_s / HOUR_S) * HOUR_S
    while at_s + HOUR_S <= ends_s:
        placement = tree.placement_at(at_s + HOUR_S / 2)
        sensor = placement.sensor if placement is not None else None
        pot = known.get((tree.pot_sensor or "", at_s)) or _reckoned(at_s, reckoned.get(at_s))
        hours.append(_hour(at_s, sensor, known.get((sensor or "", at_s)), pot, limits.at(at_s)))
        at_s += HOUR_S
    return Exposure(tree.id, tree.name, begun_s, ends_s, tuple(hours), tuple(alarms))


def _reckoned(at_s: float, value_c: float | None) -> HourRow | None:
    """An hour of a pot without a probe."""
    if value_c is None:
        return None
    return HourRow("", at_s, HOUR_S, value_c, value_c, value_c, *[None] * 7)


def _known_from_s(tree: Tree, from_s: float) -> float:
    begun = [placement.at_s for placement in tree.placements[:1]] + [work.at_s for work in tree.works[:1]]
    return min(begun, default=from_s)


class _Limits:
    """The limits then in force: worked out at every entry that may change them, and once a day for stages."""

    def __init__(
        self, tree: Tree, plans: Plans, degree_days: DegreeDays, raised: Mapping[float, Raised]
    ) -> None:
        self._raised = raised
        self._tree, self._plans, self._degree_days = tree, plans, degree_days
        instants = [work.at_s for work in tree.works]
        instants += [work.released_at_s for work in tree.works if work.released_at_s is not None]
        instants += [limit.at_s for limit in tree.own_limits]
        instants += [limit.until_s for limit in tree.own_limits if limit.until_s is not None]
        instants += [finding.at_s for finding in tree.findings]
        instants += [
            work.at_s + stage.days * times * DAY_S
            for work in tree.works
            for stage in (plans.works[work.work].stages if work.work in plans.works else ())
            for times in (1.0, SEVERAL_WORKS)
        ]
        self._turns = sorted(instants)
        self._key: tuple[float, int, Raised | None] | None = None
        self._found: Mapping[str, float] = {}

    def at(self, at_s: float) -> Mapping[str, float]:
        """Key -> value."""
        middle_s = at_s + HOUR_S / 2
        raised = self._raised.get(at_s)
        key = (at_s // DAY_S, bisect_right(self._turns, middle_s), raised)
        if key != self._key:
            self._key = key
            held = with_raised(self._held(middle_s), raised)
            self._found = {name: limit.value for name, limit in held.items()}
        return self._found

    def _held(self, at_s: float) -> Mapping[str, LimitInForce]:
        stages = stages_of(self._tree, self._plans, at_s, lambda since_s: self._degree_days(since_s, at_s))
        return limits_in_force(self._tree, stages, self._plans, at_s)


def _hour(
    at_s: float, sensor: str | None, row: HourRow | None, pot: HourRow | None, limits: Mapping[str, float]
) -> ExposedHour:
    pot_c = pot.temperature_mean_c if pot is not None else None
    if row is None:
        beyond = _all_beyond(None, pot, limits)
        return ExposedHour(at_s, sensor, pot_c=pot_c, limits=limits, beyond=beyond)
    return ExposedHour(
        at_s,
        sensor,
        min(1.0, row.covered_s / HOUR_S),
        row.temperature_min_c,
        row.temperature_mean_c,
        row.temperature_max_c,
        row.relative_humidity_mean_pct,
        row.vpd_mean_kpa,
        None if row.wet_s is None else row.wet_s / HOUR_S,
        pot_c,
        limits,
        _all_beyond(row, pot, limits),
    )


def _all_beyond(row: HourRow | None, pot: HourRow | None, limits: Mapping[str, float]) -> dict[str, Beyond]:
    found = {}
    for key, limit in limits.items():
        seen = pot if key.startswith("root_") else row
        if seen is None:
            continue
        passed = _vpd_beyond(seen, limit) if key == "vpd_warn_kpa" else _beyond(seen, limit, key)
        if passed.hours > 0.0:
            found[key] = passed
    return found


def _beyond(row: HourRow, limit: float, key: str) -> Beyond:
    """By lowest, mean and highest of the hour.

    It is taken to run evenly from the lowest to the mean and from the mean to the highest, as long in each
    part as makes up the mean.
    """
    low, mean, high = row.temperature_min_c, row.temperature_mean_c, row.temperature_max_c
    if low is None or mean is None or high is None:
        return Beyond()
    if key.startswith("high_"):
        low, mean, high, limit = -high, -mean, -low, -limit
    seen_h = min(1.0, row.covered_s / HOUR_S)
    if high <= limit:
        return Beyond(seen_h, seen_h * (limit - mean))
    if low >= limit:
        return Beyond(seen_h if low == limit else 0.0)
    below = min(max((high - mean) / (high - low), 0.0), 1.0)
    if limit <= mean:
        share = below * (limit - low) / max(mean - low, 1e-9)
        return Beyond(share * seen_h, share * seen_h * (limit - low) / 2)
    more = (1.0 - below) * (limit - mean) / max(high - mean, 1e-9)
    kelvins = below * (limit - (low + mean) / 2) + more * (limit - mean) / 2
    return Beyond((below + more) * seen_h, kelvins * seen_h)


def _vpd_beyond(row: HourRow, limit: float) -> Beyond:
    if row.vpd_mean_kpa is None or row.vpd_mean_kpa < limit:
        return Beyond()
    seen_h = min(1.0, row.covered_s / HOUR_S)
    return Beyond(seen_h, seen_h * (row.vpd_mean_kpa - limit))


def _amount_column(key: str) -> str:
    return f"beyond_{key}_{'kpa_h' if key == 'vpd_warn_kpa' else 'k_h'}"


TABLE_TEXTS = ("at", "tree", "sensor")
"""Columns of `table` that are words; all others are numbers."""
TABLE_COLUMNS = (
    *TABLE_TEXTS,
    "seen_h",
    "temperature_min_c",
    "temperature_mean_c",
    "temperature_max_c",
    "relative_humidity_mean_pct",
    "vpd_mean_kpa",
    "wet_h",
    "pot_mean_c",
    *(column for key in LIMIT_KEYS for column in (key, f"beyond_{key}_h", _amount_column(key))),
)


def table(record: Exposure, label_offset_s: float = 0.0) -> Iterator[dict[str, Any]]:
    """One flat row an hour, the same columns in every row, for CSV and Parquet; null is not known."""
    for hour in record.hours:
        row: dict[str, Any] = {
            "at": rfc3339(hour.at_s + label_offset_s),
            "tree": record.tree,
            "sensor": hour.sensor,
            "seen_h": hour.seen_h,
            "temperature_min_c": hour.low_c,
            "temperature_mean_c": hour.mean_c,
            "temperature_max_c": hour.high_c,
            "relative_humidity_mean_pct": hour.humidity_pct,
            "vpd_mean_kpa": hour.vpd_kpa,
            "wet_h": hour.wet_h,
            "pot_mean_c": hour.pot_c,
        }
        for key in LIMIT_KEYS:
            passed = hour.beyond.get(key, Beyond())
            known = hour.mean_c is not None or (key.startswith("root_") and hour.pot_c is not None)
            row[key] = hour.limits.get(key)
            row[f"beyond_{key}_h"] = passed.hours if known else None
            row[_amount_column(key)] = passed.degree_hours if known else None
        yield row
