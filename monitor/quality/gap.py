"""Quality of a series: is a stretch of time without any reading? (QARTOD gap test)

A reading after a gap is not bad for it, so this stands beside the checks and is none of them: what the gap
takes away is what came before, and `rate` and `spike` say NOT_EVALUATED there.
"""

from typing import Any

import numpy as np

from monitor.model import Flag
from monitor.quality.roll_up import Flags


def gap_flags(at_s: Any, longest_s: float) -> Flags:
    """A series of instants: FAIL for a reading that follows a gap longer than `longest_s` [s].

    The first is NOT_EVALUATED: nobody knows what was before it.
    """
    at_s = np.asarray(at_s, float)
    flags = np.full(at_s.shape, Flag.NOT_EVALUATED, np.uint8)
    flags[1:] = np.where(np.diff(at_s) > longest_s, Flag.FAIL, Flag.GOOD)
    return flags


def gaps(at_s: Any, from_s: float, to_s: float, longest_s: float) -> list[tuple[float, float]]:
    """The stretches of a span without a reading for longer than `longest_s`, as (begin, end) [s since 1970].

    The begin of the span counts as if a reading stood there, and so does its end.
    """
    at_s = np.asarray(at_s, float)
    edges = np.concatenate(([from_s], at_s[(at_s > from_s) & (at_s < to_s)], [to_s]))
    return [(float(edges[i]), float(edges[i + 1])) for i in np.flatnonzero(np.diff(edges) > longest_s)]
