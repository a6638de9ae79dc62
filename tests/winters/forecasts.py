"""How the forecasts of a made winter did against the noise-free truth, beside the usual fall.

A night runs from two hours after sunset to an hour after sunrise; its low is the lowest true air in between.
The *usual fall* is counted here: the true air of this evening less the mean fall of all nights before it.
Counted from the night on which ten are known.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from tests.winters.guarded import Heard
from tests.winters.house import MadeWinter, made_nights
from tests.winters.weather import Series

KNOWN_FROM = 10
TWO_O_CLOCK_MIN = 2 * 60
UTC_TO_LOCAL_MIN = -5 * 60


@dataclass(frozen=True)
class Errors:
    """What was forecast less what came [K], night by night, whether the eighty per cent band held it, and
    the chance of damage."""

    evening_k: Series
    at_two_k: Series
    usual_k: Series
    held: Series
    chance: Series
    """Said in the evening of coming to the damage limit."""
    came: Series
    """Whether it came."""

    def joined(self, other: "Errors") -> "Errors":
        """Both winters' nights."""
        return Errors(
            *(
                np.concatenate([getattr(self, name), getattr(other, name)])
                for name in ("evening_k", "at_two_k", "usual_k", "held", "chance", "came")
            )
        )

    @property
    def gain(self) -> float:
        """Share of the usual fall's mean error that the evening's forecast does away with."""
        return 1 - mean_error_k(self.evening_k) / mean_error_k(self.usual_k)

    @property
    def at_two_share(self) -> float:
        """Mean error at two in the morning, in the usual fall's."""
        return mean_error_k(self.at_two_k) / mean_error_k(self.usual_k)

    @property
    def held_share(self) -> float:
        """Share of nights within the eighty per cent band."""
        return float(self.held.mean())


def mean_error_k(errors_k: Series) -> float:
    """Mean distance, whatever its sign."""
    return float(np.abs(errors_k).mean())


def errors(heard: Heard, sensor: str = "bench-a") -> Errors:
    """Every forecast night of one sensor."""
    winter = heard.winter
    air_c = winter.air_c if sensor == "bench-a" else winter.weather.air_c
    lines = [(_minute(winter, line), line) for line in heard.forecasts if line["sensor"] == sensor]
    falls: list[float] = []
    rows = []
    for night in made_nights(winter, air_c):
        inside = [(at, line) for at, line in lines if night.evening - 30 <= at <= night.ends]
        if inside and len(falls) >= KNOWN_FROM and inside[0][0] <= night.evening + 30:
            usual_c = night.evening_c - float(np.mean(falls))
            two = night.evening + (TWO_O_CLOCK_MIN - UTC_TO_LOCAL_MIN - night.evening) % 1440
            first, late = inside[0][1], [line for at, line in inside if at <= two][-1]
            low_c = first["low_c"]
            rows.append(
                (
                    low_c["p50"] - night.low_c,
                    late["low_c"]["p50"] - night.low_c,
                    usual_c - night.low_c,
                    float(low_c["p10"] <= night.low_c <= low_c["p90"]),
                    _chance(first, heard.harm_c),
                    float(night.low_c <= heard.harm_c),
                )
            )
        falls.append(night.evening_c - night.low_c)
    return Errors(*np.array(rows, dtype=np.float64).reshape(-1, 6).T)


def _chance(line: Any, limit_c: float) -> float:
    """The chance that a line gives a limit; NaN for the air outside, where no tree has one."""
    return next((float(b["chance"]) for b in line["below"] if abs(b["limit_c"] - limit_c) < 1e-6), np.nan)


def _minute(winter: MadeWinter, line: Any) -> int:
    """The minute of the winter in which a line was issued."""
    issued_s = datetime.fromisoformat(line["issued_at"]).timestamp()
    return round((issued_s - float(winter.at_s[0])) / 60)
