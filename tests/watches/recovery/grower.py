"""A grower with wraps in three houses, who does each morning what the program asks; the truth beside it.

The program sees the hourly means and what a hand says, nothing else.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from monitor.alarms.board import Board
from monitor.alarms.lifecycle import Delays
from monitor.guarding import GuardedTree
from monitor.trees.plans import load_plans
from monitor.trees.tree import Placement, Touch, Tree, Wrap
from monitor.watches.wrap_events import wrap_events
from monitor.watches.wrap_fold import Fold, beginning, fold_on
from monitor.watches.wrap_views import WrapView, beliefs, wrap_views
from monitor.watches.wraps import assessments
from tests.watches.recovery.simulator import Floats, Wraps, house_air

PLANS = load_plans(None)
COVERS = ["none", "none", "tape-spiral", "tape-spiral", "tape-overlapped", "tape-overlapped"]
MORNING = 8
HOUR_S = 3600.0


@dataclass
class Watched:
    """One wrap's hours: the truth, what was said of it, whether an alarm stood."""

    truth: list[float] = field(default_factory=list)
    dry: list[bool] = field(default_factory=list)
    feel: list[str] = field(default_factory=list)
    alarm: list[bool] = field(default_factory=list)
    within: list[bool] = field(default_factory=list)
    """Since its second touch that could be believed."""
    touches: int = 0
    believed: int = 0
    wettings: int = 0


class Grower:
    """Three houses of different warmth, a tree in each, six wraps on each tree."""

    def __init__(self, seed: int, days: int, means_c: tuple[float, ...] = (2.0, 6.0, 12.0)) -> None:
        rng = np.random.default_rng(seed)
        self.days = days
        self.rng = rng
        self.air = {f"house-{index}": house_air(days, rng, mean) for index, mean in enumerate(means_c)}
        self.truth = {house: Wraps(list(COVERS), rng) for house in self.air}
        self.trees = {house: self._tree(house) for house in self.air}
        self.watched = {(house, wrap.wrap): Watched() for house, t in self.trees.items() for wrap in t.wraps}
        self.board = Board()

    def _tree(self, house: str) -> Tree:
        wraps = tuple(
            Wrap(f"{house}-{index}", f"wrap-{index}", 0.0, "raffia", cover, keep="damp")
            for index, cover in enumerate(COVERS)
        )
        return Tree(house, house, placements=(Placement(0.0, house),), wraps=wraps)

    def hourly(self, house: str | None, hour_at_s: float) -> tuple[float, float]:
        """What the program is told of one hour."""
        first = int(hour_at_s // HOUR_S) * 2
        temperature_c, humidity_pct = self.air[house or ""]
        if not 0 <= first < len(temperature_c):
            return float("nan"), float("nan")
        return float(temperature_c[first : first + 2].mean()), float(humidity_pct[first : first + 2].mean())

    def live(self) -> Mapping[tuple[str, str], Watched]:
        """All the days, hour by hour."""
        events = wrap_events(self.trees.values())
        fold = beginning(events)
        assert fold is not None
        for hour in range(1, self.days * 24 + 1):
            for house, (temperature_c, humidity_pct) in self.air.items():
                for half in (2 * hour - 2, 2 * hour - 1):
                    self.truth[house].half_hour(temperature_c[half], humidity_pct[half])
            if hour % 24 == MORNING:
                self._walk(hour)
                events = wrap_events(self.trees.values())
            fold = fold_on(fold, events, hour * HOUR_S, self.hourly)
            self._hear(fold, hour)
        return self.watched

    def _hear(self, fold: Fold, hour: int) -> None:
        trees = {name: GuardedTree(tree, (), {}) for name, tree in self.trees.items()}
        outlook = {house: _mean_of_day(air, hour) for house, air in self.air.items()}
        for view in wrap_views(
            beliefs(fold, trees, lambda house: outlook[house or ""]), trees, PLANS, hour * HOUR_S
        ):
            for found in assessments(view, hour * HOUR_S):
                self.board.assess(found, Delays())
            self._note(view)

    def _note(self, view: WrapView) -> None:
        house, index = view.key[0], int(view.wrap.removeprefix("wrap-"))
        noted, truth = self.watched[(house, view.wrap)], float(self.truth[house].moisture[index])
        noted.truth.append(truth)
        noted.dry.append(self.truth[house].is_dry(index))
        noted.feel.append(view.feel)
        noted.alarm.append(
            self._stands("wrap-drying", view.subject) or self._stands("wrap-unknown", view.subject)
        )
        if noted.believed >= 2:
            band = view.estimate.moisture_kg_per_kg
            noted.within.append(band.p10 <= truth <= band.p90)

    def _stands(self, kind: str, subject: str) -> bool:
        row = self.board.by_name(f"{kind}/{subject}")
        return row is not None and row.active

    def _walk(self, hour: int) -> None:
        """Touch on the first three mornings, then where asked; wet what dries or felt dry."""
        for house, tree in self.trees.items():
            self.trees[house] = replace(
                tree,
                wraps=tuple(self._tend(house, index, wrap, hour) for index, wrap in enumerate(tree.wraps)),
            )

    def _tend(self, house: str, index: int, wrap: Wrap, hour: int) -> Wrap:
        noted, at_s, truth = self.watched[(house, wrap.wrap)], hour * HOUR_S - 60.0, self.truth[house]
        wants_water = self._stands("wrap-drying", f"{house}/{wrap.wrap}")
        if hour // 24 in (1, 2, 3) or self._stands("wrap-unknown", f"{house}/{wrap.wrap}"):
            feel = truth.feel(index)
            noted.touches += 1
            noted.believed += feel != "frozen" and self.hourly(house, at_s // HOUR_S * HOUR_S)[0] >= 1.0
            how = "touch" if wrap.cover == "none" else "lifted-edge"
            wrap = replace(wrap, touches=(*wrap.touches, Touch(f"touch-{hour}", at_s, feel, how)))
            wants_water |= feel == "dry"
        if wants_water and truth.ice_k_h[index] == 0:
            noted.wettings += 1
            truth.wet(index)
            wrap = replace(wrap, rewets=(*wrap.rewets, at_s + 1.0))
        return wrap


def _mean_of_day(air: tuple[Floats, Floats], hour: int) -> tuple[float, float]:
    day = slice(max(0, 2 * hour - 48), 2 * hour)
    return float(air[0][day].mean()), float(air[1][day].mean())


def longest_silence_h(watched: Watched) -> int:
    """The longest run of hours in which it was dry, called wet or damp, and no alarm stood."""
    longest = run = 0
    for dry, feel, alarm in zip(watched.dry, watched.feel, watched.alarm, strict=True):
        run = run + 1 if dry and feel in ("wet", "damp") and not alarm else 0
        longest = max(longest, run)
    return longest
