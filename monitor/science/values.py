"""One formula for a single number and for an array: numbers go through `math`, arrays through numpy.

Knows no physics. A formula is written once as `formula(lib, *values)` and asks `lib` for its functions.
"""

import math
from collections.abc import Callable
from typing import Any, Final, TypeVar

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

#: A single number, or an array of numbers.
Value = TypeVar("Value", float, FloatArray)

#: The library a formula is run with: `math` or `numpy`. Both know exp, log, sqrt and hypot.
Library = Any

#: Values handled at once, so that the intermediate results of a formula stay in the processor's cache.
BLOCK_COUNT: Final = 16_000


def evaluate(formula: Callable[..., Any], *values: Value) -> Value:
    """Run a formula over numbers, or over arrays that broadcast against each other.

    A number in (all of them numbers) gives a Python float; anything else gives an array.
    """
    for value in values:
        if not isinstance(value, float | int):
            return _evaluate_arrays(formula, values)
    result: Value = formula(math, *values)
    return result


def _evaluate_arrays(formula: Callable[..., Any], values: tuple[Any, ...]) -> FloatArray:
    arrays = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in values))
    flat = [array.reshape(-1) for array in arrays]
    result = np.empty(flat[0].shape)
    for start in range(0, result.size, BLOCK_COUNT):
        block = slice(start, start + BLOCK_COUNT)
        result[block] = formula(np, *(array[block] for array in flat))
    return result.reshape(arrays[0].shape)


def within(lib: Library, value: Any, low: float, high: float) -> Any:
    """The value where it lies in [low, high], NaN elsewhere."""
    if lib is math:
        return value if low <= value <= high else math.nan
    # NaN compares false, so a block that holds one takes the long way
    if value.min() >= low and value.max() <= high:
        return value
    return np.where((value >= low) & (value <= high), value, np.nan)


def largest(lib: Library, value: Any) -> float:
    """The largest absolute value, NaN left out."""
    if lib is math:
        return abs(float(value))
    return float(np.fmax.reduce(np.abs(value), initial=0.0))


def where(lib: Library, condition: Any, value: Any, otherwise: Any) -> Any:
    """The value where the condition holds, the other one elsewhere."""
    if lib is math:
        return value if condition else otherwise
    return np.where(condition, value, otherwise)


def require(value: float, low: float, high: float, what: str, unit: str) -> None:
    """Refuse a configured number outside of what the physics allows.

    Raises
    ------
    ValueError
        names the quantity, its value and its range
    """
    if not low <= value <= high:
        raise ValueError(f"{what} must be between {low:g} and {high:g} {unit}, not {value:g}")
