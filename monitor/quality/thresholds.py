"""The numbers of the quality checks, each with where it comes from.

"WMO guideline": Zahumenský 2004, Guidelines on quality control procedures for data from automatic weather
stations; its numbers are quoted from memory. "Own judgement": chosen for a small greenhouse, where sun, a
door and a heater make changes that are real.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

from monitor.model import Quantity


class Band(NamedTuple):
    """A lowest and a highest value, both of them still inside."""

    low: float
    high: float


class Pair(NamedTuple):
    """Beyond `suspect` a value is suspect, beyond `fail` it is not a measurement; None holds nothing."""

    suspect: float | None
    fail: float | None


class Thresholds(NamedTuple):
    """The numbers for one quantity, in its own unit."""

    usual: Band
    """Beyond it a value is suspect."""
    possible: Band
    """Beyond it a value fails."""
    spike: Pair | None = None
    """How far one value may stand from its neighbours."""
    rate_per_min: float | None = None
    """How fast a value may change; taken over a minute at least."""
    still_within: float | None = None
    """A value that moves no more than this over STILL_AFTER_S stands still."""


#: Rates are taken over this at least, or the last digit of a quick sensor would look like a storm. [s]
RATE_OVER_S: Final = 60.0

#: A jump is a spike only between readings this close; beyond, weather can do it. [s] Own judgement.
SPIKE_WITHIN_S: Final = 600.0

#: A value that stands still for so long is suspect, then fails where other sensors have moved. [s]
#: Own judgement after screening practice (less than 0.5 K in 12 h is flagged).
STILL_AFTER_S: Final = Pair(2 * 3600.0, 6 * 3600.0)

#: Humidity at and above this may stand still for a day: fog, and drops on the probe. [%] Screening practice.
STILL_HUMIDITY_PCT: Final = 95.0

#: Below freezing, humidity rests near balance with ice; this far below it and above is exempt. [%]
STILL_BELOW_ICE_PCT: Final = 3.0

#: A wet pot that freezes or thaws rests at 0 °C for hours to days; so near to it a probe may stand still. [K]
FREEZING_PLATEAU_K: Final = 0.5

#: What a digital thermometer that was not read says: power-on value, and no answer on the wire. [°C]
#: From the data sheets of common one-wire sensors, from memory.
SENTINELS_C: Final = (85.0, -127.0)

THRESHOLDS: Final[Mapping[Quantity, Thresholds]] = {
    Quantity.TEMPERATURE_C: Thresholds(
        usual=Band(-30.0, 55.0),  # own judgement: under glass in a cold or a forgotten shut house
        possible=Band(-40.0, 80.0),  # range of common digital sensors
        spike=Pair(3.0, 8.0),  # own judgement
        rate_per_min=1.5,  # own judgement; WMO guideline 3; largest step in a day of minutes outdoors 0.4
        still_within=0.05,  # own judgement: half the last digit of a 0.1 K sensor
    ),
    Quantity.RELATIVE_HUMIDITY_PCT: Thresholds(
        usual=Band(5.0, 100.0),  # own judgement; above 100 is drift, and dew above air temperature
        possible=Band(0.0, 105.0),  # own judgement: what a drifted polymer probe can still mean
        spike=Pair(10.0, 25.0),  # own judgement
        rate_per_min=10.0,  # WMO guideline: 10 suspect a minute
        still_within=0.5,  # own judgement; WMO guideline: at least 1 % in an hour
    ),
    Quantity.BATTERY_PCT: Thresholds(usual=Band(0.0, 100.0), possible=Band(0.0, 100.0)),
}
