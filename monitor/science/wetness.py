"""How long foliage and wraps have been wet, and how much that favours mould: hours weighted by temperature.

Grey mould and needle blights need wet surfaces for hours, and warmth; wet and cold is slow, wet and hot is
none. The sum is an index of our own, not a disease forecast. Knows nothing of trees, alarms or time of day:
one row an hour.
"""

import math
from typing import Any, Final, NamedTuple

import numpy as np

from monitor.science.psychrometrics import dew_point_from_relative_humidity
from monitor.science.values import FloatArray, Value, evaluate, where

#: Air this damp, or this near to its dew point, leaves surfaces wet. [%] [K] Common practice, no source.
WET_FROM_PCT: Final = 90.0
WET_WITHIN_K: Final = 2.0

#: Air below this dries surfaces; between the two they stay as they are. [%] Common practice, no source.
DRY_BELOW_PCT: Final = 85.0

#: So long in dry air and the sum begins anew. [h] Judgement.
DRY_RESET_H: Final = 4.0

#: Weight of a wet hour by temperature [°C] [-], straight lines between: judgement, drawn through what is
#: published. None of the infections below 10 °C in 24 h, a sharp rise from 8 to 24 h at 15 °C and from 4 to
#: 12 h at 21 to 25 °C (Sirjusingh and Sutton 1996, Plant Disease 80:160, grey mould of geranium); none above
#: 32 °C.
WEIGHT_AT_C: Final = (2.0, 5.0, 8.0, 12.0, 15.0, 24.0, 32.0)
WEIGHTS: Final = (0.0, 0.1, 0.25, 0.6, 1.0, 1.0, 0.0)

#: Sums that are worth a line, a warning, an act. [weighted h] Judgement.
NOTICE_H: Final = 8.0
WARN_H: Final = 12.0
ACT_H: Final = 24.0

#: Wet without a break for so long calls for air, however cold it is. [h] Judgement.
VENTILATE_H: Final = 48.0


class Wetness(NamedTuple):
    """A wet spell so far."""

    #: Weighted wet hours since surfaces were last dry for long enough. [h]
    index_h: float = 0.0
    #: Hours since surfaces were last seen dry, as far as they were wet. [h]
    wet_h: float = 0.0
    #: Hours of dry air up to now without a break. [h]
    dry_h: float = 0.0
    #: Hours of the spell in which nothing was known. [h]
    unknown_h: float = 0.0


def is_wet(temperature_c: Value, relative_humidity_pct: Value) -> Value:
    """Whether air leaves surfaces wet: 1 wet, 0 not, NaN unknown.

    Parameters
    ----------
    temperature_c
        air temperature [°C], −100..58; NaN outside
    relative_humidity_pct
        relative humidity over water [%], above 0 and up to 100; NaN outside

    Notes
    -----
    From 90 % relative humidity, or within 2 K of the dew point; common practice, no source.
    """
    dew_point_c = dew_point_from_relative_humidity(temperature_c, relative_humidity_pct)
    return evaluate(_is_wet, temperature_c, relative_humidity_pct, dew_point_c)


def wetness_weight(temperature_c: Value) -> Value:
    """How much an hour of wetness counts at a temperature, 0..1. [-]

    Parameters
    ----------
    temperature_c
        temperature of the wet surface, as a rule the air's [°C]; NaN in, NaN out
    """
    weight = np.interp(temperature_c, WEIGHT_AT_C, WEIGHTS)
    if isinstance(temperature_c, np.ndarray):
        return np.where(np.isnan(temperature_c), np.nan, weight)
    return math.nan if math.isnan(temperature_c) else float(weight)


def wetness_step(
    before: Wetness,
    temperature_c: float,
    relative_humidity_pct: float,
    *,
    sprayed: bool = False,
    hours: float = 1.0,
) -> Wetness:
    """The spell after one more hour.

    Parameters
    ----------
    before
        the spell so far
    temperature_c, relative_humidity_pct
        means of the hour [°C] [%]; NaN is unknown
    sprayed
        foliage or wraps were wetted or stayed wet by hand in this hour
    hours
        length of the step [h]

    Notes
    -----
    An hour that is unknown neither adds nor dries: it is counted as unknown. Air between 85 % and wet keeps
    what there is.
    """
    wet = 1.0 if sprayed else is_wet(temperature_c, relative_humidity_pct)
    return _advance(before, wet, wetness_weight(temperature_c), relative_humidity_pct, hours)


def wetness_index(
    temperature_c: FloatArray, relative_humidity_pct: FloatArray, sprayed: FloatArray | None = None
) -> FloatArray:
    """Weighted wet hours after each of many hours, as `wetness_step` gives them one by one. [h]

    Parameters
    ----------
    temperature_c, relative_humidity_pct
        hourly means, shape (n,) [°C] [%]; NaN is unknown
    sprayed
        shape (n,), not 0 where wetted by hand; left out: never
    """
    wet = is_wet(temperature_c, relative_humidity_pct)
    if sprayed is not None:
        wet = np.where(sprayed != 0.0, 1.0, wet)
    columns = (wet.tolist(), wetness_weight(temperature_c).tolist(), relative_humidity_pct.tolist())
    spell, sums = Wetness(), []
    for each_wet, weight, humidity_pct in zip(*columns, strict=True):
        spell = _advance(spell, each_wet, weight, humidity_pct, 1.0)
        sums.append(spell.index_h)
    return np.array(sums)


def _advance(before: Wetness, wet: float, weight: float, humidity_pct: float, hours: float) -> Wetness:
    if math.isnan(wet) or math.isnan(weight):
        return before._replace(unknown_h=before.unknown_h + hours)
    if wet:
        return Wetness(before.index_h + weight * hours, before.wet_h + hours, 0.0, before.unknown_h)
    if humidity_pct >= DRY_BELOW_PCT:
        return before._replace(dry_h=0.0)
    dry_h = before.dry_h + hours
    if dry_h >= DRY_RESET_H:
        return Wetness(dry_h=dry_h)
    return before._replace(dry_h=dry_h, wet_h=0.0)


def _is_wet(lib: Any, temperature_c: Any, relative_humidity_pct: Any, dew_point_c: Any) -> Any:
    damp = (relative_humidity_pct >= WET_FROM_PCT) | (temperature_c - dew_point_c <= WET_WITHIN_K)
    return where(lib, dew_point_c == dew_point_c, where(lib, damp, 1.0, 0.0), math.nan)
