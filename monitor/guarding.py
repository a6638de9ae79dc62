"""Which trees stand where, what holds for them now, and whether a reading concerns them at all.

A place keeps the band between its two nearest limit edges: inside it a reading costs two comparisons however
many trees stand there; leaving it, or a running delay, wakes those trees. It knows no notices and no people.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from monitor import plugins
from monitor.alarms.board import Board
from monitor.alarms.lifecycle import Delays
from monitor.conditions import Surroundings, ThermalSums
from monitor.model import Assessment, Flag, Judgement, Quantity, Reading, Use
from monitor.settings import Settings
from monitor.trees.book import Book
from monitor.trees.in_force import LimitInForce, Raised, limits_in_force, with_raised
from monitor.trees.limits import Conditions, LimitKind, limit_kinds
from monitor.trees.plans import Plans
from monitor.trees.stages import StageNow, stages_of
from monitor.trees.tree import Tree

INFINITE = float("inf")
EMPTY_BAND = (INFINITE, -INFINITE)
ANYWHERE = (-INFINITE, INFINITE)
WORSE_K = 2.0
"""Seen is not safe: this much colder than when it was seen rings again."""


@dataclass(frozen=True, slots=True)
class GuardedTree:
    """One tree with what holds for it now."""

    tree: Tree
    stages: tuple[StageNow, ...]
    in_force: Mapping[str, LimitInForce]
    limits: Mapping[str, float] = field(default_factory=dict)

    @property
    def is_tender(self) -> bool:
        """Whether a work still asks for care."""
        return any(stage.stage != "released" for stage in self.stages)

    @property
    def why(self) -> str:
        """The work that asks for care, as people say it: `heavy bend, day 3`."""
        tender = [stage for stage in self.stages if stage.stage != "released"]
        if not tender:
            return ""
        first = min(tender, key=lambda stage: stage.day)
        return f"{first.work.replace('-', ' ')}, day {first.day}"


def labelled(guarded: GuardedTree, tree: Tree, offset_s: float) -> GuardedTree:
    """The same with times by people's clocks; `tree` is the one that is dated so."""
    stages = tuple(
        replace(stage, days_end_at_s=stage.days_end_at_s + offset_s)
        if stage.days_end_at_s is not None
        else stage
        for stage in guarded.stages
    )
    return replace(guarded, tree=tree, stages=stages)


class Finding(NamedTuple):
    """What a limit found, and the delays that hold for its alarm."""

    assessment: Assessment
    delays: Delays


class Guarding:
    """The trees of the book at the sensors of the settings."""

    def __init__(self, settings: Settings, plans: Plans, surroundings: Surroundings, board: Board) -> None:
        self._settings = settings
        self._plans = plans
        self._surroundings = surroundings
        self._board = board
        self._kinds = _usable(limit_kinds(), plans)
        self._failing: dict[str, set[str]] = {}
        """Tree -> kinds of limits that failed when they were last asked."""
        self._deadband = {kind: self._deadband_of(limit) for kind, limit in self._kinds.items()}
        self._delays = {kind: self._delays_of(limit) for kind, limit in self._kinds.items()}
        self.thermal = ThermalSums()
        self.trees: dict[str, GuardedTree] = {}
        self.raises: Callable[[str | None, float], Raised | None] | None = None
        """(sensor, now) -> how far frost limits count higher there for some nights."""
        self._at: dict[str, tuple[GuardedTree, ...]] = {}
        self._bands: dict[tuple[str, Quantity], tuple[float, float]] = {}

    def _deadband_of(self, limit: LimitKind) -> float:
        own = self._settings.alarms.get(limit.KIND)
        usual = limit.defaults(self._plans.defaults)
        return usual.deadband if own is None or own.deadband is None else own.deadband

    def _delays_of(self, limit: LimitKind) -> Delays:
        """The kind's own delays, each replaced by what the settings say; those hold for every level."""
        own, usual = self._settings.alarms.get(limit.KIND), limit.defaults(self._plans.defaults)
        delays = Delays(usual.on_delay_s, usual.on_samples, usual.off_delay_s, usual.harm_on_delay_s)
        if own is None:
            return delays
        said = {
            name: value
            for name in ("on_delay_s", "on_samples", "off_delay_s")
            if (value := getattr(own, name)) is not None
        }
        if "on_delay_s" in said:
            said["harm_on_delay_s"] = None
        return delays._replace(**said)

    # ---- what holds now --------------------------------------------------------------------------------

    def refresh(self, book: Book, now_s: float) -> None:
        """Work out stages and limits of every tree anew; bands follow."""
        self.trees = {
            tree.id: self._guarded(tree, now_s) for tree in book.trees.values() if tree.left_at_s is None
        }
        at: dict[str, list[GuardedTree]] = {}
        for guarded in self.trees.values():
            sensor = guarded.tree.sensor
            if sensor in self._settings.sensors and sensor is not None:
                at.setdefault(sensor, []).append(guarded)
        self._at = {sensor: tuple(trees) for sensor, trees in at.items()}
        self._bands.clear()

    def _guarded(self, tree: Tree, now_s: float) -> GuardedTree:
        def degree_days_since(at_s: float) -> float:
            return self.thermal.degree_days_k_d(tree.placements, at_s, now_s)

        stages = stages_of(tree, self._plans, now_s, degree_days_since)
        in_force = limits_in_force(tree, stages, self._plans, now_s)
        if self.raises is not None:
            in_force = with_raised(in_force, self.raises(tree.sensor, now_s))
        limits = {key: limit.value for key, limit in in_force.items()}
        return GuardedTree(tree, tuple(stages), in_force, limits)

    def is_held(self, kind: str, tree: str) -> bool:
        """Whether a limit of that kind is held for a tree; any other kind of alarm asks for none."""
        limit = self._kinds.get(kind)
        guarded = self.trees.get(tree)
        return limit is None or (guarded is not None and bool(self._edges(kind, guarded.limits)))

    def at_sensor(self, sensor: str) -> tuple[GuardedTree, ...]:
        """Trees that stand near a sensor."""
        return self._at.get(sensor, ())

    def in_house(self, house: str) -> tuple[GuardedTree, ...]:
        """Trees of a house."""
        sensors = [name for name, sensor in self._settings.sensors.items() if sensor.house == house]
        return tuple(tree for sensor in sensors for tree in self.at_sensor(sensor))

    def unwatched(self) -> tuple[GuardedTree, ...]:
        """Trees whose place has no configured sensor."""
        return tuple(g for g in self.trees.values() if g.tree.sensor not in self._settings.sensors)

    # ---- readings --------------------------------------------------------------------------------------

    def concerns(self, reading: Reading) -> bool:
        """Whether a reading can change anything for a tree: two comparisons in the usual case."""
        band = self._bands.get((reading.sensor, reading.quantity), EMPTY_BAND)
        return not band[0] < reading.value < band[1]

    def judge(self, reading: Reading) -> Iterable[Finding]:
        """What every limit of every tree at the reading's sensor finds; `rest` ends it."""
        every_s = self._settings.sensors[reading.sensor].every_s
        for guarded in self.at_sensor(reading.sensor):
            conditions = Conditions(
                guarded.tree.id,
                reading.observed_at_s,
                reading.quantity,
                reading.value,
                reading.flag,
                reading.use,
                every_s,
            )
            for kind, limit in self._kinds.items():
                if limit.QUANTITY is reading.quantity:
                    yield Finding(self._assess(kind, conditions, guarded), self._delays[kind])
            if self._failing.get(guarded.tree.id) == set():
                del self._failing[guarded.tree.id]
                yield Finding(_unwatched(conditions, Judgement.NORMAL), Delays())

    def _assess(self, kind: str, conditions: Conditions, guarded: GuardedTree) -> Assessment:
        """What one limit finds; one that fails leaves its tree unwatched, and says so."""
        try:
            found = self._kinds[kind].assess(conditions, guarded.limits, self._deadband[kind])
        except Exception as error:  # noqa: BLE001 - the plug-in boundary
            plugins.note(f"limit {kind}", "fails", error)
            self._failing.setdefault(guarded.tree.id, set()).add(kind)
            return _unwatched(conditions, Judgement.BREACH)
        if self._failing:
            self._failing.get(guarded.tree.id, set()).discard(kind)
        return found

    def unjudged(self, tree: str) -> tuple[str, ...]:
        """The limits of a tree that cannot judge."""
        return tuple(sorted(self._failing.get(tree, ())))

    def _edges(self, kind: str, limits: Mapping[str, float]) -> tuple[float, ...]:
        """A limit's edges; for one that fails the whole line, so that every reading is shown to it."""
        try:
            return self._kinds[kind].edges(limits, self._deadband[kind])
        except Exception as error:  # noqa: BLE001 - the plug-in boundary
            plugins.note(f"limit {kind}", "fails", error)
            return ANYWHERE

    def rest(self, reading: Reading) -> None:
        """The findings were dealt with: from now on only a reading beyond the nearest edges matters.

        After a reading that may not clear anything the next one matters, wherever it lies.
        """
        clears = reading.use is Use.PRESENT and reading.flag <= Flag.NOT_EVALUATED
        band = self._find_band(reading) if clears else EMPTY_BAND
        self._bands[(reading.sensor, reading.quantity)] = band

    def _find_band(self, reading: Reading) -> tuple[float, float]:
        """The open interval around a value in which nothing can change; empty while a delay runs."""
        edges: list[float] = []
        for guarded in self.at_sensor(reading.sensor):
            for kind, limit in self._kinds.items():
                if limit.QUANTITY is not reading.quantity:
                    continue
                row = self._board.get(kind, guarded.tree.id)
                if row.waits:
                    return EMPTY_BAND
                found = self._edges(kind, guarded.limits)
                if found is ANYWHERE:
                    return EMPTY_BAND
                edges.extend(found)
                if row.seen_value is not None and row.active:
                    edges.append(row.seen_value + limit.WORSE * WORSE_K)
        edges.sort()
        place = bisect_left(edges, reading.value)
        low = edges[place - 1] if place > 0 else -INFINITE
        high = edges[place] if place < len(edges) else INFINITE
        return (low, high)

    def worse_k(self, kind: str, seen: float, value: float) -> float | None:
        """How much worse a value is than the one that was seen [K]; None for a kind that is no limit."""
        limit = self._kinds.get(kind)
        return None if limit is None else (value - seen) * limit.WORSE

    def forget_bands(self, sensor: str | None = None) -> None:
        """An alarm's row changed by other means than a reading: look again."""
        if sensor is None:
            self._bands.clear()
        for quantity in Quantity:
            self._bands.pop((sensor or "", quantity), None)


def _usable(kinds: Mapping[str, LimitKind], plans: Plans) -> dict[str, LimitKind]:
    """Those that offer what a limit must; of the others it is said that they do not."""
    found: dict[str, LimitKind] = {}
    for kind, limit in kinds.items():
        try:
            limit.defaults(plans.defaults)
            if limit.QUANTITY not in Quantity or limit.WORSE not in (-1, 1):
                raise ValueError("its QUANTITY or WORSE is none")
        except Exception as error:  # noqa: BLE001 - the plug-in boundary
            plugins.note(f"limit {kind}", "cannot be used", error)
            continue
        found[kind] = limit
    return found


def _unwatched(conditions: Conditions, judgement: Judgement) -> Assessment:
    """That a tree is not watched, or is again."""
    is_over = judgement is Judgement.NORMAL
    tree, at_s = conditions.tree, conditions.at_s
    return Assessment("unwatched", tree, at_s, judgement, immediate=not is_over, returned=is_over)
