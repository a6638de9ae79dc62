"""What a notice may speak of, gathered once: the house, its trees and where their temperatures are going."""

from dataclasses import dataclass

from monitor.model import Priority


@dataclass(frozen=True, slots=True)
class TreeScene:
    """One tree as a notice sees it; `reaches_harm_at_s` is None where it is not on the way there."""

    tree: str
    name: str
    alarm: str
    temperature_c: float | None
    low_warn_c: float | None
    low_harm_c: float | None
    why: str = ""
    """The work that asks for the limit, as people say it: "heavy bend, day 3"."""
    standing: Priority | None = None
    """The priority of its own alarm, if that stands."""
    reaches_harm_at_s: float | None = None

    mark: str = ""
    """What is to be said of the reading that its alarm goes by: `suspect`, `one reading`, `retained`."""

    @property
    def margin_k(self) -> float | None:
        """How far the air is above the tree's damage limit, or its warning limit where it has no other."""
        limit_c = self.low_harm_c if self.low_harm_c is not None else self.low_warn_c
        if self.temperature_c is None or limit_c is None:
            return None
        return self.temperature_c - limit_c


@dataclass(frozen=True, slots=True)
class Scene:
    """One house at one instant; trees in order of need."""

    house: str
    name: str
    at_s: float
    trees: tuple[TreeScene, ...] = ()
    falling_k_per_h: float | None = None
    has_heater: bool = False
    fell_k: float | None = None
    """How far its air has come down in the last minutes, at the bench where most; negative where it rose."""
    fell_over_s: float | None = None

    def standing(self) -> tuple[TreeScene, ...]:
        """Trees whose own alarm stands."""
        return tuple(tree for tree in self.trees if tree.standing is not None)

    def coming(self) -> tuple[TreeScene, ...]:
        """Trees that are on the way to damage but whose alarm does not stand yet."""
        return tuple(t for t in self.trees if t.standing is None and t.reaches_harm_at_s is not None)
