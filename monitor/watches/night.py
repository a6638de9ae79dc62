"""The watches of the night, on one shared ground of what was learnt and what is coming."""

from collections.abc import Sequence

from monitor.watch import Ground, Watch
from monitor.watches.ahead import Ahead
from monitor.watches.cooling import CoolingWatch
from monitor.watches.evening import Air, Nights
from monitor.watches.heater import HeaterWatch
from monitor.watches.learnt import Learning
from monitor.watches.sun_ahead import SunAheadWatch
from monitor.watches.tonight import TonightWatch
from monitor.watches.vents import VentsWatch
from monitor.watches.warm_spell import WarmSpellWatch
from monitor.watches.wrap_freezing import WrapFreezingWatch
from monitor.watches.wraps import WrapWatch


def night_watches(ground: Ground, others: Sequence[Watch] = ()) -> tuple[Watch, ...]:
    """In the order in which they are asked: what was learnt is loaded by the first.

    Among the `others` is the one that knows how wet each wrap is.
    """
    nights, air = Nights(ground), Air(ground)
    learning = Learning(ground, nights, air)
    ahead = Ahead(ground, nights, air, learning, ground.service_lows.low_c)
    wraps = next((watch for watch in others if isinstance(watch, WrapWatch)), None)
    return (
        TonightWatch(ground, nights, air, learning, ahead),
        HeaterWatch(ground, nights, air, learning, ahead),
        CoolingWatch(ground, nights, air, learning, ahead),
        VentsWatch(ground, nights, air, learning),
        SunAheadWatch(ground, nights, air, learning),
        WarmSpellWatch(ground),
        WrapFreezingWatch(ground, air, lambda: () if wraps is None else wraps.views),
    )
