"""One cheap range check for the physics files: refuse what a formula was not made for, let NaN through."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wringout.errors import InputError

__all__ = ["Array", "floats", "within"]

Array = NDArray[np.float64]


def floats(values: ArrayLike) -> Array:
    """Give `values` as an array of float64, without a copy where it is one."""
    return np.asarray(values, dtype=np.float64)


def within(
    name: str,
    values: ArrayLike,
    unit: str,
    low: float = -np.inf,
    high: float = np.inf,
    *,
    above_low: bool = False,
    check: str = "",
) -> Array:
    """Give `values` as floats, or refuse them when one lies outside its limits.

    Parameters
    ----------
    name : str
        What it is, in words, for the message.
    values : array_like, any shape, in [unit]
        The values.
    unit : str
        Unit for the message; empty for a pure number.
    low, high : float, in [unit]
        Limits; both belong to the range.
    above_low : bool
        True if `low` itself is refused as well.
    check : str
        What to look at next, for the message.

    Returns
    -------
    ndarray, shape of `values`, in [unit]
        The values; NaN stays NaN.

    Raises
    ------
    InputError
        A value is outside; the message names it, the unit and the limits.
    """
    array = floats(values)
    # fmin and fmax pass over NaN, so that one missing reading does not hide another one's error
    least = float(np.fmin.reduce(array, axis=None, initial=np.nan))
    most = float(np.fmax.reduce(array, axis=None, initial=np.nan))
    too_low = least <= low if above_low else least < low
    if too_low or most > high:
        found = least if too_low else most
        opening = "above" if above_low else "from"
        upper = f" to {high:g}" if np.isfinite(high) else " upwards"
        tail = f"; {check}" if check else ""
        after = f" {unit}" if unit else ""
        raise InputError(f"{name} is {found:.6g}{after}: it must lie {opening} {low:g}{upper}{after}{tail}")
    return array
