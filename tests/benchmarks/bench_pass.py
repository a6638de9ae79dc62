"""One pass of the guard: what a look, the end of an hour and a message cost as trees and sensors grow."""

import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

from monitor.almanac import Almanac
from monitor.drive import Driver
from monitor.engine import Engine
from monitor.model import Message, Saved, Started
from monitor.trees.plans import load_plans
from monitor.watch import LOOKS_EVERY_S
from tests.benchmarks import winter

TREES = (6, 60, 600)
SENSORS = (4, 40)
FILLED_MIN = 380
"""So much of an evening goes by first: watches look back for six hours."""
LOOKS = 6
MILD_NIGHT = 960
"""The minute of the recording at which a night begins that comes near no limit."""


class Evening:
    """A guard in the evening of a winter's day, with what its benches said for some hours."""

    def __init__(self, folder: Path, trees: int, sensors: int, filled_min: int) -> None:
        self.engine = Engine(winter.settings(folder, sensors, outdoor=True), load_plans(None))
        self.engine.load(Saved(), winter.entries(sensors - 1, trees, wrapped=True))
        self._driver = Driver(self.engine, Almanac(self.engine.settings))
        self._driver.almanac.start(winter.BEGINS_AT_S)
        self._sensors = sensors
        self._minute = 0
        self.engine.handle(Started(winter.BEGINS_AT_S))
        for _ in range(filled_min):
            self.minute()

    def minute(self) -> float:
        """A minute of messages, and what is due in it; CPU seconds that the messages took."""
        at_s = winter.BEGINS_AT_S + 60.0 * self._minute
        for _ in self._driver.advance(at_s):
            pass
        messages = [
            Message(at_s, f"b/s{n}", winter.payload(n, MILD_NIGHT + self._minute).encode())
            for n in range(self._sensors)
        ]
        began_s = time.process_time()
        for message in messages:
            self.engine.handle(message)
        self._minute += 1
        return time.process_time() - began_s

    def look(self) -> None:
        """Time goes on to the next look, and nothing else happens."""
        for _ in self._driver.advance(self._look_at_s()):
            pass

    def until_look(self) -> list[float]:
        """The minutes before the next look; CPU seconds that the messages of each took."""
        look_at_s = self._look_at_s()
        took_s = []
        while winter.BEGINS_AT_S + 60.0 * self._minute < look_at_s:
            took_s.append(self.minute())
        return took_s

    def _look_at_s(self) -> float:
        return (self.engine.now_s // LOOKS_EVERY_S + 1) * LOOKS_EVERY_S


def main(
    trees: tuple[int, ...] = TREES, sensors: tuple[int, ...] = SENSORS, filled_min: int = FILLED_MIN
) -> list[dict[str, object]]:
    """Time and memory of a look and time of a message, each beside the smallest guard of the run."""
    rows: list[dict[str, object]] = []
    least: dict[str, float] = {}
    for benches in sensors:
        looks: list[float] = []
        for count in trees:
            found = _measured(count, benches, filled_min)
            looks.append(found["look"])
            for what, (unit, factor, stands_for) in FIGURES.items():
                least.setdefault(what, found[what])
                rows.append(
                    {
                        "name": f"pass: {what}, {count} trees on {benches} sensors",
                        "figure": round(found[what] * factor, 2),
                        "unit": unit,
                        "compared_with": f"{trees[0]} trees on {sensors[0]} sensors",
                        "ratio": found[what] / least[what],
                        "stands_for": stands_for,
                    }
                )
        slope_s = (looks[-1] - looks[0]) / max(1, trees[-1] - trees[0])
        rows.append(
            {
                "name": f"pass: a look's cost for one more tree, {benches} sensors",
                "figure": round(slope_s * 1e6, 1),
                "unit": "µs",
                "compared_with": f"a look over {trees[0]} trees, for each tree",
                "ratio": slope_s / (looks[0] / trees[0]),
                "stands_for": "whether ten times the trees cost ten times as much",
            }
        )
    return rows


FIGURES = {
    "look": ("ms", 1e3, "what the guard does every five minutes of a winter's evening"),
    "memory of a look": ("kB", 1 / 1024, "what it takes for a moment beyond what it holds"),
    "message": ("µs", 1e6, "what one message costs, however many trees stand there"),
}


def _measured(trees: int, sensors: int, filled_min: int) -> dict[str, float]:
    with tempfile.TemporaryDirectory() as name:
        evening = Evening(Path(name), trees, sensors, filled_min)
        looks, messages = [], []
        for _ in range(LOOKS):
            messages += evening.until_look()
            looks.append(_cpu_s(evening.look))
        evening.until_look()
        tracemalloc.start()
        evening.look()
        _, peak_bytes = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    return {
        "look": min(looks),
        "memory of a look": float(peak_bytes),
        "message": min(messages) / sensors,
    }


def _cpu_s(act: Callable[[], None]) -> float:
    began_s = time.process_time()
    act()
    return max(time.process_time() - began_s, sys.float_info.min)
