"""What a quality check is, and what it may look back to.

A check is a module of this folder with a `KIND`; other distributions offer theirs in the entry point group
`monitor.quality`. It judges one reading as it arrives, so it never knows the next one; the same question over a
whole series at once stands beside it as a function of arrays.
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

    `value` is the newest reading of any flag, `usable` the newest that did not fail, `good` the newest good
    one. The rate is taken against the first reading of an earlier minute: `steady` of those that did not
    fail, `steady_good` of the good ones. Minutes are those of the clock, not counted from the start, so that a
    restart finds the same ones.
    """

    __slots__ = ("_first", "_first_good", "at_s", "good", "steady", "steady_good", "usable", "value")

    def __init__(self) -> None:
        self.at_s, self.value = NEVER
        self.usable = self.good = self.steady = self.steady_good = NEVER
        self._first = self._first_good = NEVER

    def step_to(self, at_s: float) -> None:
        """Before a reading at `at_s` is judged: let earlier minutes become what rates are taken against."""
        minute_at_s = at_s - at_s % 60.0
        if self._first[0] < minute_at_s:
            self.steady = self._first
        if self._first_good[0] < minute_at_s:
            self.steady_good = self._first_good

    def add(self, value: float, at_s: float, flag: Flag) -> None:
        """Take in a reading that was judged."""
        self.at_s = at_s
        self.value = value
        if flag is Flag.FAIL:
            return
        self.usable = now = (at_s, value)
        if self._first is self.steady:
            self._first = now
        if flag is Flag.SUSPECT:
            return
        self.good = now
        if self._first_good is self.steady_good:
            self._first_good = now


Check = Callable[[Recent, float, float], Flag]
"""What came before, the value, its instant [s since 1970] -> a flag. It may be asked a second time only later."""


class QualityCheck(Protocol):
    """What a quality module must offer."""

    KIND: str

    TIMELESS: bool
    """Whether it can judge a value that arrives late, without what came before."""

    def check(self, sensor: Sensor, quantity: Quantity, beside: Mapping[Quantity, Recent]) -> Check | None:
        """A check for one quantity of one sensor, None if it has nothing to say about it.

        `beside` is what came before in all quantities of the sensor.
        """
