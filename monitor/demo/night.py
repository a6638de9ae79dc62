"""The invented night: what it is outdoors, how the house follows, when the heater gives up. Pure.

A house of two bodies: the air follows within minutes, pots and benches within hours. The numbers are made
up for a single-glazed house of about nine square metres.
"""

from dataclasses import dataclass
from math import cos, pi

BEGINS_H = 18.0
"""Local hour at which the night of the demo begins."""
HEATER_FAILS_H = 26.0
"""Two in the morning."""
HEATER_BACK_H = 27.25
"""A quarter past three: somebody has changed the bottle."""
SETPOINT_C = 4.0
HEATER_KW = 2.0
LOSS_KW_PER_K = 0.12
COUPLING_KW_PER_K = 0.32
AIR_KJ_PER_K = 60.0
MASS_KJ_PER_K = 1500.0
STEP_S = 10.0


@dataclass(frozen=True, slots=True)
class Moment:
    """One instant of the night."""

    outdoor_c: float
    air_c: float
    mass_c: float
    heating: bool


def outdoor_c(hour: float) -> float:
    """The air outside at a local hour that runs on past midnight (25 is one o'clock)."""
    return -1.5 + 4.0 * cos((hour - 15.0) / 24.0 * 2 * pi) - 0.2 * max(0.0, hour - 18.0)


def relative_humidity_pct(air_c: float, heating: bool) -> float:
    """A made-up humidity: damp when cold and still, drier while the heater blows."""
    return min(96.0, max(60.0, 88.0 - 1.5 * (air_c - 4.0) - (8.0 if heating else 0.0)))


def begin() -> Moment:
    """The house at the beginning of the night."""
    return Moment(outdoor_c(BEGINS_H), 6.0, 7.0, False)


def after(moment: Moment, hour: float, for_s: float) -> Moment:
    """The house `for_s` later; the thermostat switches half a degree around its setpoint."""
    air_c, mass_c, heating = moment.air_c, moment.mass_c, moment.heating
    outside_c = outdoor_c(hour)
    works = not HEATER_FAILS_H <= hour < HEATER_BACK_H
    for _ in range(max(1, round(for_s / STEP_S))):
        heating = works and (air_c < SETPOINT_C - 0.3 or (heating and air_c < SETPOINT_C + 0.3))
        gain_kw = HEATER_KW if heating else 0.0
        to_mass_kw = COUPLING_KW_PER_K * (air_c - mass_c)
        air_c += (gain_kw - LOSS_KW_PER_K * (air_c - outside_c) - to_mass_kw) * STEP_S / AIR_KJ_PER_K
        mass_c += to_mass_kw * STEP_S / MASS_KJ_PER_K
    return Moment(outside_c, air_c, mass_c, heating)
