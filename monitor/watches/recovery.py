"""The watches over what a tree recovers by: its wraps, its root-ball, what is asked of people for it."""

from monitor.watch import Ground, Watch
from monitor.watches.asked import AskedWatch
from monitor.watches.pots import PotWatch
from monitor.watches.wraps import WrapWatch


def recovery_watches(ground: Ground) -> tuple[Watch, ...]:
    """All of them, on the same ground; what is asked follows from the wraps."""
    wraps = WrapWatch(ground)
    return (wraps, PotWatch(ground), AskedWatch(ground, wraps))
