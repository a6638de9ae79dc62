"""The night as arrays: each sensor's usable readings since the last report, and figures from them."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from monitor.model import Flag, Quantity

if TYPE_CHECKING:
    from monitor.engine import Engine

Floats = NDArray[np.float64]
Span = tuple[float, float]
BIN_S = 300.0


@dataclass(frozen=True, slots=True)
class Series:
    """One quantity of one sensor: instants [s] ascending and values; each stands for `stands_s` at most."""

    at_s: Floats
    values: Floats
    stands_s: float
    doubtful: int = 0
    """Readings among all that came which checks doubt or refuse."""
    came: int = 0

    def part(self, from_s: float, to_s: float) -> "Series":
        """What was read from one instant up to another."""
        inside = (self.at_s >= from_s) & (self.at_s <= to_s)
        return Series(self.at_s[inside], self.values[inside], self.stands_s, self.doubtful, self.came)

    def lasts_s(self, to_s: float) -> Floats:
        """How long each value stands [s]."""
        nexts = np.append(self.at_s[1:], to_s)
        return np.clip(nexts - self.at_s, 0.0, self.stands_s)

    def gaps(self, from_s: float, to_s: float) -> tuple[Span, ...]:
        """Spans without a value that are longer than one stands."""
        edges = np.concatenate(([from_s], self.at_s[(self.at_s > from_s) & (self.at_s < to_s)], [to_s]))
        wide = np.flatnonzero(np.diff(edges) > self.stands_s)
        return tuple((float(edges[i]), float(edges[i + 1])) for i in wide)

    def binned(self, from_s: float, to_s: float, lowest: bool = False) -> Floats:
        """The mean (or the lowest) value of each five minutes, NaN where there is none."""
        count = max(1, int(np.ceil((to_s - from_s) / BIN_S)))
        place = ((self.at_s - from_s) // BIN_S).astype(int)
        inside = (place >= 0) & (place < count)
        place, values = place[inside], self.values[inside]
        if lowest:
            found = np.full(count, np.inf)
            np.minimum.at(found, place, values)
            return np.where(np.isinf(found), np.nan, found)
        sums, numbers = np.bincount(place, values, count), np.bincount(place, minlength=count)
        with np.errstate(invalid="ignore"):
            return np.asarray(sums / np.where(numbers == 0, np.nan, numbers), np.float64)


@dataclass
class Night:
    """The night of one report: it begins at `from_s`; `since_s` is when the last report was due."""

    engine: "Engine"
    from_s: float
    since_s: float
    _held: dict[tuple[str, Quantity], Series] = field(default_factory=dict)

    @property
    def to_s(self) -> float:
        """Now."""
        return self.engine.now_s

    @property
    def watch_from_s(self) -> float:
        """From when on somebody could have watched the night."""
        return min(max(self.from_s, self.engine.first_seen_s), self.to_s)

    def series(self, sensor: str, quantity: Quantity = Quantity.TEMPERATURE_C) -> Series:
        """The usable readings of a sensor since the last report."""
        key = (sensor, quantity)
        if key not in self._held:
            self._held[key] = self._read(sensor, quantity)
        return self._held[key]

    def _read(self, sensor: str, quantity: Quantity) -> Series:
        from_s = min(self.since_s, self.from_s)
        found: tuple[Floats, Floats, Any] = self.engine.readings.history.arrays(
            sensor, quantity, from_s, self.to_s + 1.0
        )
        at_s, values, flags = found
        usable = flags < Flag.FAIL
        doubted = (flags == Flag.SUSPECT) | (flags == Flag.FAIL)
        of_night = at_s >= self.from_s
        stands_s = self.engine.settings.sensors[sensor].late_after_s
        return Series(
            at_s[usable], values[usable], stands_s, int((doubted & of_night).sum()), int(of_night.sum())
        )


def held_high_c(series: Series, from_s: float, to_s: float, hold_s: float) -> float | None:
    """The highest temperature that the air held for so long, by five-minute means; None where unknown."""
    means = series.binned(from_s, to_s)
    width = max(1, round(hold_s / BIN_S))
    if len(means) < width:
        return None
    lowest = np.lib.stride_tricks.sliding_window_view(means, width).min(axis=1)
    known = lowest[~np.isnan(lowest)]
    return float(known.max()) if len(known) else None
