"""Control valves: inherent characteristic, authority, installed characteristic, flow coefficients, leakage.

A valve's inherent characteristic says what fraction of its full-open flow coefficient it has at a position;
what flow comes of that depends on its authority, the share of the circuit's pressure drop that falls across
the open valve.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from wringout.physics._limits import Array, floats, within

__all__ = [
    "REFERENCE_DENSITY",
    "linear",
    "equal_percentage",
    "leaking",
    "authority",
    "installed",
    "valve_resistance",
    "resistance_from_flow",
    "resistance_from_kv",
    "kv_from_resistance",
    "kv_from_cv",
    "cv_from_kv",
]

REFERENCE_DENSITY = 999.1
"""Density of water at 15 degC in kg/m3, to which flow coefficients refer (IEC 60534-1)."""

_KV_FROM_CV = (3.785411784e-3 * 60.0) * math.sqrt(1e5 / 6894.757293168361)
_ROUNDING = 1e-9  # a position of 1 + 1e-16 is rounding, not an error
_SHUT_OFF_TRAVEL = 0.05


def linear(position: ArrayLike, rangeability: ArrayLike = np.inf) -> Array:
    """Give the fraction of the full-open flow coefficient of a valve with linear characteristic.

    Parameters
    ----------
    position : array_like, any shape, in [-]
        Opening, 0 shut to 1 open.
    rangeability : array_like, broadcastable, in [-]
        Full-open coefficient over the smallest controllable one; infinite for a valve that shuts tight.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Fraction of the full-open flow coefficient; NaN where an input is NaN.

    Raises
    ------
    InputError
        `position` outside 0 to 1 or `rangeability` not above 1.

    Notes
    -----
    ``phi = 1/R + (1 - 1/R) x``. With finite rangeability the formula passes ``1/R`` when shut; real seats
    shut tighter.

    References
    ----------
    IEC 60534-2-4 and ISA-75.11.01, inherent linear characteristic (form from memory).
    """
    x = within("valve position", position, "", -_ROUNDING, 1.0 + _ROUNDING)
    least = 1.0 / within("valve rangeability", rangeability, "", 1.0, above_low=True)
    return least + (1.0 - least) * x


def equal_percentage(
    position: ArrayLike, rangeability: ArrayLike = 50.0, shut_off_travel: float = _SHUT_OFF_TRAVEL
) -> Array:
    """Give the fraction of the full-open flow coefficient of a valve with equal-percentage characteristic.

    Parameters
    ----------
    position : array_like, any shape, in [-]
        Opening, 0 shut to 1 open.
    rangeability : array_like, broadcastable, in [-]
        Full-open coefficient over that of the exponential carried on to position 0.
    shut_off_travel : float, in [-]
        Opening under which the plug leaves the exponential and closes in a straight line to zero.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Fraction of the full-open flow coefficient; NaN where an input is NaN.

    Raises
    ------
    InputError
        `position` outside 0 to 1, `rangeability` not above 1 or `shut_off_travel` outside 0 to 0.5.

    Notes
    -----
    ``phi = R**(x - 1)`` from `shut_off_travel` upwards, a straight line from 0 there below it, because a
    seat that shuts is not the ``1/R`` of the exponential. The 5 % of travel is common practice, not a
    figure of the standard. For a seat that does not shut see `leaking`.

    References
    ----------
    IEC 60534-2-4 and ISA-75.11.01, inherent equal-percentage characteristic (form from memory).
    """
    x = within("valve position", position, "", -_ROUNDING, 1.0 + _ROUNDING)
    log_range = np.log(within("valve rangeability", rangeability, "", 1.0, above_low=True))
    corner = float(within("shut-off travel", shut_off_travel, "", 0.0, 0.5))
    phi: Array = np.exp(log_range * (np.maximum(x, corner) - 1.0))
    if corner > 0.0:
        phi = phi * (np.minimum(x, corner) / corner)
    return np.maximum(phi, 0.0)


def leaking(fraction: ArrayLike, leakage: ArrayLike) -> Array:
    """Give the fraction of the full-open flow coefficient of a valve whose seat leaks.

    Parameters
    ----------
    fraction : array_like, any shape, in [-]
        What the sound valve has, from `linear` or `equal_percentage`.
    leakage : array_like, broadcastable, in [-]
        What the shut valve has, as a fraction of the full-open coefficient.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        ``leakage + (1 - leakage) fraction``: the leak when shut, unchanged when open; NaN where an input is
        NaN.

    Raises
    ------
    InputError
        An input outside 0 to 1.

    Notes
    -----
    The leak is a second opening beside the plug, so coefficients add; it fades out as the plug lifts, since
    the whole body passes no more than its full-open coefficient. An assumption, not a published law.
    """
    phi = within("valve flow fraction", fraction, "", 0.0, 1.0 + _ROUNDING)
    leak = within("valve leakage", leakage, "", 0.0, 1.0)
    return leak + (1.0 - leak) * phi


def authority(valve_drop: ArrayLike, rest_drop: ArrayLike) -> Array:
    """Give the authority of a valve: its share of the circuit's drop when it is open at design flow.

    Parameters
    ----------
    valve_drop : array_like, any shape, in [Pa]
        Drop across the open valve at design flow.
    rest_drop : array_like, broadcastable, in [Pa]
        Drop across the rest of the circuit whose flow the valve varies, at design flow.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Authority, above 0 to 1; NaN where an input is NaN.

    Raises
    ------
    InputError
        `valve_drop` not above 0 or `rest_drop` below 0.

    References
    ----------
    IEC 60534-2-4 (installed characteristic); aim for 0.5 and not under 0.25 is common practice.
    """
    valve = within("valve pressure drop", valve_drop, "Pa", 0.0, above_low=True)
    rest = within("pressure drop of the rest of the circuit", rest_drop, "Pa", 0.0)
    return valve / (valve + rest)


def installed(fraction: ArrayLike, authority: ArrayLike) -> Array:
    """Give a circuit's flow as a fraction of its design flow, from a valve's inherent fraction and authority.

    Parameters
    ----------
    fraction : array_like, any shape, in [-]
        Fraction of the full-open flow coefficient.
    authority : array_like, broadcastable, in [-]
        From `authority`.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Fraction of the flow with open valve; NaN where an input is NaN.

    Raises
    ------
    InputError
        `fraction` outside 0 to 1 or `authority` outside above 0 to 1.

    Notes
    -----
    ``1 / sqrt(1 - N + N / phi**2)``, for a constant pressure across valve and rest together and drops that
    go with the square of the flow; written so that a shut valve gives 0 without dividing by it.
    """
    phi = within("valve flow fraction", fraction, "", 0.0, 1.0 + _ROUNDING)
    n = within("valve authority", authority, "", 0.0, 1.0, above_low=True)
    return phi / np.sqrt(phi * phi * (1.0 - n) + n)


def valve_resistance(open_resistance: ArrayLike, fraction: ArrayLike) -> Array:
    """Give the quadratic resistance of a partly open valve; infinite where it is shut.

    Parameters
    ----------
    open_resistance : array_like, any shape, in [Pa/(m3/s)2]
        Resistance of the open valve.
    fraction : array_like, broadcastable, in [-]
        Fraction of the full-open flow coefficient.

    Returns
    -------
    ndarray, broadcast shape, in [Pa/(m3/s)2]
        ``open_resistance / fraction**2``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `open_resistance` not above 0 or `fraction` outside 0 to 1.
    """
    resistance = within("resistance of the open valve", open_resistance, "Pa/(m3/s)2", 0.0, above_low=True)
    phi = within("valve flow fraction", fraction, "", 0.0, 1.0 + _ROUNDING)
    with np.errstate(divide="ignore", over="ignore"):
        return resistance / (phi * phi)


def resistance_from_flow(drop: ArrayLike, flow: ArrayLike) -> Array:
    """Give the quadratic resistance that has a known drop at a known flow.

    Parameters
    ----------
    drop : array_like, any shape, in [Pa]
        Pressure drop.
    flow : array_like, broadcastable, in [m3/s]
        Flow at that drop.

    Returns
    -------
    ndarray, broadcast shape, in [Pa/(m3/s)2]
        ``drop / flow**2``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `drop` below 0 or `flow` not above 0.
    """
    q = within("flow", flow, "m3/s", 0.0, above_low=True)
    return within("pressure drop", drop, "Pa", 0.0) / (q * q)


def resistance_from_kv(kv: ArrayLike, density: ArrayLike = REFERENCE_DENSITY) -> Array:
    """Give the quadratic resistance of a valve with a flow coefficient Kv.

    Parameters
    ----------
    kv : array_like, any shape, in [m3/h at 1 bar]
        Flow coefficient; 0 is shut and gives an infinite resistance.
    density : array_like, broadcastable, in [kg/m3]
        Density of the liquid.

    Returns
    -------
    ndarray, broadcast shape, in [Pa/(m3/s)2]
        Resistance; NaN where an input is NaN.

    Raises
    ------
    InputError
        `kv` below 0 or `density` not above 0.

    Notes
    -----
    ``Q = Kv sqrt(dp / (rho / rho_15))`` with Q in m3/h and dp in bar: turbulent, not cavitating.

    References
    ----------
    IEC 60534-2-1, sizing equation for non-choked turbulent flow of liquids.
    """
    coefficient = within("flow coefficient Kv", kv, "m3/h at 1 bar", 0.0) / 3600.0
    specific_gravity = within("density", density, "kg/m3", 0.0, above_low=True) / REFERENCE_DENSITY
    with np.errstate(divide="ignore"):
        return 1e5 * specific_gravity / (coefficient * coefficient)


def kv_from_resistance(resistance: ArrayLike, density: ArrayLike = REFERENCE_DENSITY) -> Array:
    """Give the flow coefficient Kv of a quadratic resistance.

    Parameters
    ----------
    resistance : array_like, any shape, in [Pa/(m3/s)2]
        Resistance; infinite gives 0.
    density : array_like, broadcastable, in [kg/m3]
        Density of the liquid.

    Returns
    -------
    ndarray, broadcast shape, in [m3/h at 1 bar]
        Flow coefficient; NaN where an input is NaN.

    Raises
    ------
    InputError
        An input not above 0.
    """
    r = within("resistance", resistance, "Pa/(m3/s)2", 0.0, above_low=True)
    rho = within("density", density, "kg/m3", 0.0, above_low=True)
    return 3600.0 * np.sqrt(1e5 * (rho / REFERENCE_DENSITY) / r)


def kv_from_cv(cv: ArrayLike) -> Array:
    """Turn a flow coefficient Cv into Kv.

    Parameters
    ----------
    cv : array_like, any shape, in [US gpm at 1 psi]
        Flow coefficient.

    Returns
    -------
    ndarray, shape of `cv`, in [m3/h at 1 bar]
        Kv; NaN where `cv` is NaN.
    """
    return floats(cv) * _KV_FROM_CV


def cv_from_kv(kv: ArrayLike) -> Array:
    """Turn a flow coefficient Kv into Cv.

    Parameters
    ----------
    kv : array_like, any shape, in [m3/h at 1 bar]
        Flow coefficient.

    Returns
    -------
    ndarray, shape of `kv`, in [US gpm at 1 psi]
        Cv; NaN where `kv` is NaN.
    """
    return floats(kv) / _KV_FROM_CV
