"""Quality check: is the value one of those that a sensor sends when it could not measure?

85.0 and −127 are what one-wire thermometers say at power-on and off the wire. A combined sensor that was not
read says zero to both; zero degrees alone is the most important temperature there is.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from monitor.model import Flag, Quantity
from monitor.quality.check import Check, Recent
from monitor.quality.roll_up import Flags
from monitor.quality.thresholds import SENTINELS_C
from monitor.settings import Sensor

KIND = "sentinel"
TIMELESS = True

_GOOD, _FAIL = Flag.GOOD, Flag.FAIL


def check(sensor: Sensor, quantity: Quantity, beside: Mapping[Quantity, Recent]) -> Check | None:
    """Fail for what no measurement says; a sensor's own offset is on the value already."""
    zero_c = 0.0 + sensor.temperature_offset_k
    zero_pct = 0.0 + sensor.humidity_offset_pct
    together_s = sensor.silent_after_s
    humidity = beside[Quantity.RELATIVE_HUMIDITY_PCT]
    words_c = tuple(word + sensor.temperature_offset_k for word in SENTINELS_C)

    def temperature(recent: Recent, value: float, at_s: float) -> Flag:
        if value in words_c:
            return _FAIL
        if value == zero_c and humidity.value == zero_pct and abs(at_s - humidity.at_s) <= together_s:
            return _FAIL
        return _GOOD

    def dry_to_nothing(recent: Recent, value: float, at_s: float) -> Flag:
        return _FAIL if value == zero_pct else _GOOD

    if quantity is Quantity.TEMPERATURE_C:
        return temperature
    return dry_to_nothing if quantity is Quantity.RELATIVE_HUMIDITY_PCT else None


def sentinel_flags(temperature_c: Any, relative_humidity_pct: Any) -> Flags:
    """The flags of temperatures beside the humidities of the same instants; NaN is MISSING."""
    temperature_c = np.asarray(temperature_c, float)
    both_zero = (temperature_c == 0) & (np.asarray(relative_humidity_pct, float) == 0)
    flags = np.where(np.isin(temperature_c, SENTINELS_C) | both_zero, Flag.FAIL, Flag.GOOD).astype(np.uint8)
    flags[np.isnan(temperature_c)] = Flag.MISSING
    return flags
