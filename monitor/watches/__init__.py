"""The watches there are, each in a file of its own, asked in a fixed order."""

from monitor.watch import Ground, Watch
from monitor.watches.air import DryAirWatch
from monitor.watches.night import night_watches
from monitor.watches.recovery import recovery_watches
from monitor.watches.sensors import SensorWatch


def make_watches(ground: Ground) -> tuple[Watch, ...]:
    """Every watch on the same ground."""
    recovery = recovery_watches(ground)
    return (SensorWatch(ground), DryAirWatch(ground), *night_watches(ground, recovery), *recovery)
