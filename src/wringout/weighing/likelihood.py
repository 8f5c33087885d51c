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
FARTHEST = 1e12  # square of a residual beyond which nothing changes
_ROOT_TAU = float(np.sqrt(2.0 * np.pi))

Slips = NDArray[np.float64]


def _parts(residual: Array, slip: Slips) -> tuple[Array, Array, Array]:
    """Densities of a careful reading, a slip and a blunder, each with its share. The last never vanishes: no
    logarithm of their sum needs care."""
    square = np.minimum(residual * residual, FARTHEST)
    careful = (1.0 - slip) / _ROOT_TAU * np.exp(-0.5 * square)
    slipped = slip * (1.0 - BLUNDER) / (_ROOT_TAU * SLIP_SCALE) * np.exp((-0.5 / SLIP_SCALE**2) * square)
    blundered = slip * BLUNDER * _cauchy(square)
    return careful, slipped, blundered


def _cauchy(square: Array) -> Array:
    return np.asarray(1.0 / (np.pi * BLUNDER_SCALE) / (1.0 + square / BLUNDER_SCALE**2))


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
    return np.asarray(np.log(careful + slipped + blundered))


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
    far = 2.0 / (BLUNDER_SCALE**2 + np.minimum(residual * residual, FARTHEST))
    whole = careful + slipped + blundered
    return np.asarray((careful + slipped / SLIP_SCALE**2 + blundered * far) / whole)


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
    square = np.minimum(residual * residual, FARTHEST)
    usual = (1.0 - slip) / (slip * (1.0 - BLUNDER)) * SLIP_SCALE
    doubt = 1.0 / (1.0 + usual * np.exp((0.5 / SLIP_SCALE**2 - 0.5) * square))
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
    careful, slipped, blundered = _parts(residual, slip)
    anywhere = _cauchy(np.minimum(residual * residual, FARTHEST))
    return np.asarray(np.log((1.0 - astray) * (careful + slipped + blundered) + astray * anywhere))
