"""What a weather service says of the coming night: a bare number on a house's `forecast_topic`.

A retained message is of unknown age and says nothing. It knows no sensors and no alarms.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from monitor.model import Message
from monitor.settings import House

PLAUSIBLE_C = (-60.0, 45.0)


@dataclass(slots=True)
class ServiceLows:
    """The last low outside that was said for each house: when [s] and how much [°C]."""

    houses: Mapping[str, House]
    lows: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def topics(self) -> tuple[str, ...]:
        """Topics to subscribe to."""
        named = (house.forecast_topic for house in self.houses.values())
        return tuple(dict.fromkeys(topic for topic in named if topic))

    def take(self, message: Message) -> bool:
        """Whether the message was a low that counts."""
        houses = [name for name, house in self.houses.items() if house.forecast_topic == message.topic]
        if not houses or message.retain:
            return False
        try:
            low_c = float(message.payload.decode("ascii").strip())
        except ValueError:
            return False
        if not PLAUSIBLE_C[0] <= low_c <= PLAUSIBLE_C[1]:
            return False
        for house in houses:
            self.lows[house] = (message.at_s, low_c)
        return True

    def low_c(self, house: str, since_s: float) -> float:
        """What was last said for a house since an instant; NaN for nothing."""
        at_s, low_c = self.lows.get(house, (-math.inf, math.nan))
        return low_c if at_s >= since_s else math.nan
