"""Quality of a series: do temperature and dew point agree with each other? (QARTOD multi-variate test)

Dew cannot form above the air's own temperature; that says the same as humidity beyond 100 %, which the range
check finds as readings arrive one by one. Over series that carry a dew point, it is asked here.
"""

from typing import Any

import numpy as np

from monitor.model import Flag, Quantity
from monitor.quality.gross_range import range_flags
from monitor.quality.roll_up import Flags
from monitor.quality.thresholds import THRESHOLDS
from monitor.science.saturation import saturation_vapour_pressure


def consistency_flags(temperature_c: Any, dew_point_c: Any) -> Flags:
    """SUSPECT where dew stands above the air's temperature, FAIL beyond what a drifted probe explains.

    Both in °C, of the same instants, the dew point over liquid water; NaN in either is MISSING.
    """
    air_c, dew_c = np.asarray(temperature_c, float), np.asarray(dew_point_c, float)
    humidity = 100.0 * np.asarray(saturation_vapour_pressure(dew_c) / saturation_vapour_pressure(air_c))
    bounds = THRESHOLDS[Quantity.RELATIVE_HUMIDITY_PCT]
    flags: Flags = range_flags(humidity, bounds.possible._replace(high=100.0), bounds.possible)
    flags[np.isnan(air_c) | np.isnan(dew_c)] = Flag.MISSING
    return flags
