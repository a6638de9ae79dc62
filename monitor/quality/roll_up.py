"""How the flags of several checks become one: the worst that was found, by QARTOD's precedence.

Knows flags only.
"""

from collections.abc import Iterable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from monitor.model import Flag

Flags = NDArray[np.uint8]

#: From what yields to what stands (QARTOD; a check that could not be made takes nothing from one that could).
PRECEDENCE: Final = (Flag.MISSING, Flag.NOT_EVALUATED, Flag.GOOD, Flag.SUSPECT, Flag.FAIL)


#: Place in the precedence, by flag.
RANK: Final = tuple(
    PRECEDENCE.index(flag) if flag in PRECEDENCE else -1 for flag in range(max(PRECEDENCE) + 1)
)


def roll_up(flags: Iterable[Flag]) -> Flag:
    """The flag of a value that several checks have judged; MISSING of none."""
    return max(flags, key=RANK.__getitem__, default=Flag.MISSING)


def roll_up_arrays(*flags: Any) -> Flags:
    """The same for equally long arrays of flags, element by element."""
    worst = np.max([np.array(RANK)[np.asarray(one, np.intp)] for one in flags], axis=0)
    found: Flags = np.array(PRECEDENCE, np.uint8)[worst]
    return found
