"""What a quality check is, and what it may look back to.

A check is a module of this folder with a `KIND`; other distributions offer theirs in the entry point group
`monitor.quality`. It judges one reading as it arrives, so it never knows the next one; the same question over
a whole series at once stands beside it as a function of arrays.
"""

from collections.abc import Callable, Mapping
from typing import Protocol

from monitor.model import Flag, Quantity
from monitor.settings import Sensor

Before = tuple[float, float]
"""An instant [s since 1970] and the value of that instant."""

NEVER: Before = (float("-inf"), float("nan"))


class Recent:
    """What came before in one quantity of one sensor.

    `at_s` and `value` are of the newest reading, whatever its flag; `usable` is the newest that did not fail,
    `good` the newest that was good.
    """

    __slots__ = ("at_s", "good", "usable", "value")

    def __init__(self) -> None:
        self.at_s, self.value = NEVER
        self.usable = self.good = NEVER

    def add(self, value: float, at_s: float, flag: Flag) -> None:
        """Take in a reading that was judged."""
        self.at_s = at_s
        self.value = value
        if flag is _FAIL:
            return
        self.usable = now = (at_s, value)
        if flag is not _SUSPECT:
            self.good = now


_SUSPECT, _FAIL = Flag.SUSPECT, Flag.FAIL

Check = Callable[[Recent, float, float], Flag]
"""What came before, the value, its instant [s since 1970] -> a flag; asked once a reading, in order."""


class QualityCheck(Protocol):
    """What a quality module must offer."""

    KIND: str

    TIMELESS: bool
    """Whether it can judge a value that arrives late, without what came before."""

    def check(self, sensor: Sensor, quantity: Quantity, beside: Mapping[Quantity, Recent]) -> Check | None:
        """A check for one quantity of one sensor, None if it has nothing to say about it.

        `beside` is what came before in all quantities of the sensor.
        """
