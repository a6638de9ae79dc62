"""What the book knows of one tree, as frozen values; no rules, no files, no time of its own."""

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a tree stands from `at_s` on: near a sensor, or at a place without one (`sensor` is None)."""

    at_s: float
    sensor: str | None
    place: str = ""


@dataclass(frozen=True, slots=True)
class Work:
    """One work on one tree; `entry` is the id of its line in the book, `entered_at_s` when it was written."""

    entry: str
    work: str
    at_s: float
    note: str = ""
    released_at_s: float | None = None
    released_entry: str = ""
    entered_at_s: float = 0.0


@dataclass(frozen=True, slots=True)
class OwnLimit:
    """A person's own limit; it ends at `until_s`, or when a later one of the same key is entered."""

    entry: str
    key: str
    value: float
    reason: str
    at_s: float
    until_s: float | None = None
    by: str = ""


@dataclass(frozen=True, slots=True)
class Touch:
    """What somebody felt; `how` is `touch`, `lifted-edge` or `weighed`."""

    entry: str
    at_s: float
    feel: str
    how: str = "touch"


@dataclass(frozen=True, slots=True)
class Wrap:
    """Wet fibre round a branch; `keep` is None where the person did not say.

    `branch_mm` and `thickness_mm` are filled in where they were not given: 20 mm, and the fibre's usual
    thickness (raffia 1.5, cloth 1, sphagnum 10 mm; judgement).
    """

    entry: str
    wrap: str
    at_s: float
    fibre: str
    cover: str = "none"
    branch_mm: float = 20.0
    thickness_mm: float = 1.5
    keep: str | None = None
    off_at_s: float | None = None
    touches: tuple[Touch, ...] = ()
    rewets: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Wire:
    """Wire (`kind` = `wire`) or a guy (`guy`) on a part of the tree."""

    entry: str
    kind: str
    part: str
    at_s: float
    metal: str = ""
    mm: float | None = None
    off_at_s: float | None = None
    entered_at_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Done:
    """Something that was due was done."""

    entry: str
    at_s: float
    follow_up: str
    part: str = ""
    note: str = ""
    entered_at_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that was seen."""

    entry: str
    at_s: float
    found: str
    part: str = ""
    note: str = ""
    entered_at_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Note:
    """A note about a tree (`subject` is its id), a house, or the site."""

    entry: str
    at_s: float
    subject: str
    note: str
    by: str = ""


@dataclass(frozen=True, slots=True)
class Tree:
    """One plant and everything the book says of it; tuples ascend in time."""

    id: str
    name: str
    species: str = ""
    evergreen: bool | None = None
    pot_litres: float | None = None
    pot_sensor: str | None = None
    placements: tuple[Placement, ...] = ()
    works: tuple[Work, ...] = ()
    own_limits: tuple[OwnLimit, ...] = ()
    wraps: tuple[Wrap, ...] = ()
    wires: tuple[Wire, ...] = ()
    done: tuple[Done, ...] = ()
    findings: tuple[Finding, ...] = ()
    notes: tuple[Note, ...] = ()
    left_at_s: float | None = None
    left_reason: str = ""

    @property
    def sensor(self) -> str | None:
        """The sensor it stands at now; None at a place without one."""
        return self.placements[-1].sensor if self.placements else None

    @property
    def place(self) -> str:
        """The place without a sensor where it stands now, or nothing."""
        return self.placements[-1].place if self.placements else ""

    @property
    def placed_at_s(self) -> float | None:
        """Since when it stands there."""
        return self.placements[-1].at_s if self.placements else None

    def placement_at(self, at_s: float) -> Placement | None:
        """Where it stood then; the first known place holds for the time before, too."""
        found = self.placements[0] if self.placements else None
        for placement in self.placements:
            if placement.at_s > at_s:
                break
            found = placement
        return found

    def own_limit_at(self, key: str, at_s: float) -> OwnLimit | None:
        """The person's own limit of that key in force then: the latest entered before, unless it ended."""
        latest = None
        for limit in self.own_limits:
            if limit.key == key and limit.at_s <= at_s:
                latest = limit
        if latest is not None and latest.until_s is not None and latest.until_s <= at_s:
            return None
        return latest

    @property
    def wraps_on(self) -> tuple[Wrap, ...]:
        """The wraps that are on now."""
        return tuple(wrap for wrap in self.wraps if wrap.off_at_s is None)

    @property
    def wires_on(self) -> tuple[Wire, ...]:
        """The wires and guys that are on now."""
        return tuple(wire for wire in self.wires if wire.off_at_s is None)

    def with_placement(self, placement: Placement) -> "Tree":
        """The same tree, standing somewhere else from then on; no change where it stands there already."""
        last = self.placements[-1] if self.placements else None
        if last is not None and (last.sensor, last.place) == (placement.sensor, placement.place):
            return self
        return replace(self, placements=(*self.placements, placement))
