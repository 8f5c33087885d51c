"""How probable a reading is: normal for a careful one, with a wide share for slips."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wringout.machine.parameters import Array

__all__ = ["SLIP_SCALE", "log_density", "weight"]

SLIP_SCALE = (
    4.3  # a slip of the instrument or the hand is some 3 to 5 standard deviations out (common practice)
)
_HALF_LOG_TAU = 0.5 * float(np.log(2.0 * np.pi))

Slips = NDArray[np.float64]


def _parts(residual: Array, slip: Slips) -> tuple[Array, Array]:
    square = np.minimum(residual * residual, 1e6)
    careful = np.log1p(-slip) - 0.5 * square
    slipped = np.log(slip / SLIP_SCALE) - 0.5 * square / SLIP_SCALE**2
    return careful, slipped


def log_density(residual: Array, slip: Slips) -> Array:
    """Logarithm of the density of standardised residuals.

    Parameters
    ----------
    residual : array, (samples, readings), [-]
        In standard deviations.
    slip : array, (readings,), [-]
        Probability that a reading of its kind is a slip.

    Returns
    -------
    array, (samples, readings)
        NaN where the residual is NaN.

    References
    ----------
    The two-component normal mixture of Box and Tiao, Biometrika 55 (1968) 119 (from memory).
    """
    careful, slipped = _parts(residual, slip)
    return np.asarray(np.logaddexp(careful, slipped) - _HALF_LOG_TAU)


def weight(residual: Array, slip: Slips) -> Array:
    """How much of a reading's full pull it keeps: 1 for a careful one, about 1/18 for a slip.

    Parameters
    ----------
    residual : array, (samples, readings), [-]
    slip : array, (readings,), [-]

    Returns
    -------
    array, (samples, readings), 0..1 [-]
    """
    careful, slipped = _parts(residual, slip)
    doubt = 1.0 / (1.0 + np.exp(np.clip(careful - slipped, -700.0, 700.0)))
    return np.asarray(1.0 - doubt * (1.0 - 1.0 / SLIP_SCALE**2))
