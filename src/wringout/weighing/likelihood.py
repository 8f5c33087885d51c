"""How probable a reading is: normal for a careful one, a wide share for slips, a few anywhere."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wringout.machine.parameters import Array

__all__ = ["SLIP_SCALE", "log_density", "log_density_astray", "pull", "weight"]

SLIP_SCALE = (
    4.3  # a slip of the instrument or the hand is some 3 to 5 standard deviations out (common practice)
)
# of slips, that are blunders: the wrong range, point, unit or line of the note, which no deviation is too
# far for (judgement)
BLUNDER, BLUNDER_SCALE = 0.1, 10.0
_HALF_LOG_TAU = 0.5 * float(np.log(2.0 * np.pi))
_CAUCHY = _HALF_LOG_TAU - float(np.log(np.pi * BLUNDER_SCALE))

Slips = NDArray[np.float64]


def _parts(residual: Array, slip: Slips) -> tuple[Array, Array, Array]:
    square = np.minimum(residual * residual, 1e12)
    careful = np.log1p(-slip) - 0.5 * square
    slipped = np.log(slip * (1.0 - BLUNDER) / SLIP_SCALE) - 0.5 * square / SLIP_SCALE**2
    blundered = np.log(slip * BLUNDER) + _CAUCHY - np.log1p(square / BLUNDER_SCALE**2)
    return careful, slipped, blundered


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

    Notes
    -----
    Two normal densities and a Cauchy one. Without the last, a reading fifty deviations off would cost any
    hypothesis hundreds of nats, and whatever cause comes a little nearer to it would be all but certain.

    References
    ----------
    The two-component normal mixture of Box and Tiao, Biometrika 55 (1968) 119 (from memory).
    """
    careful, slipped, blundered = _parts(residual, slip)
    return np.asarray(np.logaddexp(np.logaddexp(careful, slipped), blundered) - _HALF_LOG_TAU)


def weight(residual: Array, slip: Slips) -> Array:
    """How much of its full pull a reading keeps: all if careful, an eighteenth if a slip, none if a blunder.

    Parameters
    ----------
    residual : array, (samples, readings), [-]
    slip : array, (readings,), [-]

    Returns
    -------
    array, (samples, readings), 0..1 [-]
        The derivative of the negative logarithm of the density by half the square of the residual.
    """
    careful, slipped, blundered = _parts(residual, slip)
    whole = np.logaddexp(np.logaddexp(careful, slipped), blundered)
    far = 2.0 / (BLUNDER_SCALE**2 + np.minimum(residual * residual, 1e12))
    return np.asarray(
        np.exp(careful - whole) + np.exp(slipped - whole) / SLIP_SCALE**2 + np.exp(blundered - whole) * far
    )


def pull(residual: Array, slip: Slips) -> Array:
    """How strongly a fit on its way goes after a reading.

    Parameters
    ----------
    residual : array, (samples, readings), [-]
    slip : array, (readings,), [-]

    Returns
    -------
    array, (samples, readings), 0..1 [-]
        As :func:`weight`, but a far reading keeps a slip's weight: on the way it is more often the fit that
        is far off than the reading.
    """
    careful, slipped, _ = _parts(residual, slip)
    doubt = 1.0 / (1.0 + np.exp(np.clip(careful - slipped, -700.0, 700.0)))
    return np.asarray(1.0 - doubt * (1.0 - 1.0 / SLIP_SCALE**2))


def log_density_astray(residual: Array, slip: Slips, astray: float) -> Array:
    """Logarithm of the density where something else is at work that may send any reading anywhere.

    Parameters
    ----------
    residual : array, (samples, readings), [-]
    slip : array, (readings,), [-]
    astray : float, 0..1 [-]
        Share of the readings that it sends astray.

    Returns
    -------
    array, (samples, readings)
    """
    usual = np.log1p(-astray) + log_density(residual, slip)
    square = np.minimum(residual * residual, 1e12)
    anywhere = np.log(astray) + _CAUCHY - _HALF_LOG_TAU - np.log1p(square / BLUNDER_SCALE**2)
    return np.asarray(np.logaddexp(usual, anywhere))
