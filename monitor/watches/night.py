"""The watches of the night, on one shared ground of what was learnt and what is coming."""

from monitor.watch import Ground, Watch
from monitor.watches.ahead import Ahead
from monitor.watches.cooling import CoolingWatch
from monitor.watches.evening import Air, Nights
from monitor.watches.heater import HeaterWatch
from monitor.watches.learnt import Learning
from monitor.watches.tonight import TonightWatch


def night_watches(ground: Ground) -> tuple[Watch, ...]:
    """In the order in which they are asked: what was learnt is loaded by the first."""
    nights, air = Nights(ground), Air(ground)
    learning = Learning(ground, nights, air)
    ahead = Ahead(ground, nights, air, learning, lambda house, from_s: float("nan"))
    return (
        TonightWatch(ground, nights, air, learning, ahead),
        HeaterWatch(ground, nights, air, learning, ahead),
        CoolingWatch(ground, nights, air, learning, ahead),
    )
