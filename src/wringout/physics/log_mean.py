"""The log-mean temperature difference read backwards: the far end's difference from the mean and the near
end's."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wringout.physics._limits import Array, within

__all__ = ["difference_from_log_mean"]

STEPS = 3  # of Newton's method; leave 1e-7 of the difference up to ratios of e**8
EVEN = 1e-4  # |ln ratio| under which both ends count as nearly alike and series take over
LOW = 0.35  # mean over near end, under which the far end all but vanishes


def difference_from_log_mean(log_mean: ArrayLike, one_end: ArrayLike) -> Array:
    """Difference at the other end of an exchanger whose log-mean difference is known.

    Parameters
    ----------
    log_mean : array_like, any shape, in [K]
        Heat over conductance, 0 or more; 0 means that the other end pinches to nothing.
    one_end : array_like, broadcasts, in [K]
        Difference at one end, above 0.

    Returns
    -------
    ndarray, broadcast shape, in [K]
        Difference at the other end; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A mean below 0, an end's difference not above 0.

    Notes
    -----
    With ``y = ln(other/one)`` the mean over one end is ``m = (e^y - 1)/y``, which rises steadily from 0.
    Newton's method in y, from Underwood's approximation ``cbrt(m) = (1 + cbrt(e^y))/2``, or for a small m
    from ``y = -(1 - e^y)/m``.

    References
    ----------
    A. J. V. Underwood, Industrial & Engineering Chemistry 62 (1970) 54, on the log-mean difference (from
    memory).
    """
    mean = within("log-mean difference", log_mean, "K", 0.0)
    near = within("difference at one end", one_end, "K", 0.0, above_low=True)
    m = mean / near
    inverse = 1.0 / np.maximum(m, 1e-3)
    vanishing = -inverse * (1.0 - np.exp(-inverse))
    vanishing = -inverse * -np.expm1(vanishing)
    y = np.where(m > LOW, 3.0 * np.log(np.maximum(2.0 * np.cbrt(m) - 1.0, 1e-3)), vanishing)
    for _ in range(STEPS):
        e = np.exp(y)
        uneven = np.abs(y) > EVEN
        safe = np.where(uneven, y, 1.0)
        value = np.where(uneven, (e - 1.0) / safe, 1.0 + y * (0.5 + y / 6.0))
        slope = np.where(uneven, (e - value) / safe, 0.5 + y / 3.0)
        y = y + (m - value) / slope
    return np.asarray(np.exp(y) * near)[()]
