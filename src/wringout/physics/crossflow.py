"""Crossflow with neither stream mixed: exact effectiveness, the explicit approximation, and sizing.

The exact series has a reading that makes it short. With N_a and N_b independent Poisson counts of mean a =
NTU and b = Cr NTU, ``effectiveness = E[min(N_a, N_b)] / b``. So it is summed to where the counts can no
longer be, and for many transfer units the counts are normal.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError, NotConverged
from wringout.physics._limits import Array, within
from wringout.physics.saturation import blockwise

__all__ = [
    "crossflow_both_unmixed",
    "crossflow_both_unmixed_kays_london",
    "ntu_from_effectiveness_crossflow",
]

_SERIES_UP_TO = 150.0  # mean count; beyond it the normal limit is within 2e-5
_MOST_UNITS = 1000.0


def crossflow_both_unmixed(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Array:
    """Effectiveness in crossflow, neither stream mixed: most finned coils.

    Parameters
    ----------
    ntu : array_like, any shape, in [-]
        Number of transfer units, conductance over the smaller capacity rate; 0 to infinity.
    capacity_ratio : array_like, broadcasts with `ntu`, in [-]
        Smaller over larger capacity rate, 0 to 1.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Effectiveness; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A number of transfer units below 0, a capacity ratio outside 0 to 1.

    Notes
    -----
    ``eps = 1/b sum_k P(N_a > k) P(N_b > k)``, a = NTU, b = Cr NTU; exact to 1e-7 up to b = 150, to
    2e-5 beyond. Not slower than the explicit formula by so much that one would want that.

    References
    ----------
    J. L. Mason, Proc. 2nd U.S. National Congress of Applied Mechanics (1955) 801 (the series).
    R. K. Shah, D. P. Sekulic, Fundamentals of Heat Exchanger Design (2003), table 3.6.
    """
    n, c = units(ntu, capacity_ratio)
    return blockwise(_effectiveness, n, c, block=4096)


def crossflow_both_unmixed_kays_london(ntu: ArrayLike, capacity_ratio: ArrayLike) -> Array:
    """Effectiveness in crossflow, neither stream mixed, by the explicit formula of the textbooks.

    Parameters
    ----------
    ntu : array_like, any shape, in [-]
        Number of transfer units.
    capacity_ratio : array_like, broadcasts with `ntu`, in [-]
        Smaller over larger capacity rate.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Effectiveness; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A number of transfer units below 0, a capacity ratio outside 0 to 1.

    Notes
    -----
    ``eps = 1 - exp((NTU^0.22/Cr) (exp(-Cr NTU^0.78) - 1))``. For comparison with published results that
    used it; it is up to 0.020 off `crossflow_both_unmixed` below 10 transfer units.

    References
    ----------
    W. M. Kays, A. L. London, Compact Heat Exchangers, 3rd ed. (1984), after E. R. G. Eckert and R. M.
    Drake; also F. P. Incropera et al., Fundamentals of Heat and Mass Transfer, table 11.3.
    """
    n, c = units(ntu, capacity_ratio)
    c = np.maximum(c, 1e-12)
    unending = np.isposinf(n)
    n = np.where(unending, 1.0, n)
    result = -np.expm1(n**0.22 / c * np.expm1(-c * n**0.78))
    return np.where(unending & ~np.isnan(c), 1.0, result)[()]


def ntu_from_effectiveness_crossflow(effectiveness: ArrayLike, capacity_ratio: ArrayLike) -> Array:
    """Number of transfer units that gives an effectiveness in crossflow, neither stream mixed.

    Parameters
    ----------
    effectiveness : array_like, any shape, in [-]
        Effectiveness, 0 to below 1.
    capacity_ratio : array_like, broadcasts with `effectiveness`, in [-]
        Smaller over larger capacity rate, 0 to 1.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Number of transfer units, relative error below 1e-7; NaN where an argument is NaN.

    Raises
    ------
    InputError
        An effectiveness that takes more than 1000 transfer units, a capacity ratio outside 0 to 1.
    NotConverged
        The number did not settle.

    Notes
    -----
    Newton's method on ``-ln(1 - eps)``, which is concave in NTU and at most NTU: from there it rises to the
    answer and cannot pass it.

    References
    ----------
    As `crossflow_both_unmixed`.
    """
    e = below_one(effectiveness)
    c = within("capacity ratio", capacity_ratio, "", 0.0, 1.0)
    e, c = np.broadcast_arrays(e, c)
    wanted = -np.log1p(-e)
    n = wanted
    for _ in range(60):
        near = np.maximum(n, 1e-9)
        here = -np.log1p(-crossflow_both_unmixed(near, c))
        there = -np.log1p(-crossflow_both_unmixed(near * 1.001, c))
        step = (wanted - here) * (near * 0.001) / (there - here)
        n = np.where(e == 0.0, 0.0, near + step)
        if np.any(n > _MOST_UNITS):
            raise InputError(
                f"effectiveness {np.max(e[n > _MOST_UNITS]):.6g} takes over {_MOST_UNITS:g} transfer units "
                "in crossflow; check the rating: flows, temperatures and which stream is which"
            )
        if not np.any(np.abs(step) > 1e-8 * near + 2e-9):
            return n[()]
    raise NotConverged("transfer units in crossflow did not settle", state={"effectiveness": e, "ntu": n})


def units(ntu: ArrayLike, capacity_ratio: ArrayLike) -> tuple[Array, Array]:
    """Give both as floats, or refuse them."""
    return (
        within("number of transfer units", ntu, "", 0.0),
        within("capacity ratio", capacity_ratio, "", 0.0, 1.0, check="it is the smaller over the larger"),
    )


def below_one(effectiveness: ArrayLike) -> Array:
    """Give the effectiveness as floats, or refuse it."""
    e = within("effectiveness", effectiveness, "", 0.0, 1.0)
    if np.any(e == 1.0):
        raise InputError("effectiveness is 1: that takes an endless exchanger; it must lie below 1")
    return e


def _effectiveness(n: Array, c: Array) -> Array:
    a = np.minimum(n, 1e6)  # past that nothing changes, and infinity would spoil the products
    b = np.asarray(a * c)
    many = b > _SERIES_UP_TO
    if not many.any():
        return _series(a, b)
    return np.where(many, _normal(n, c), _series(np.where(many, 1.0, a), np.where(many, 1.0, b)))


def _series(a: Array, b: Array) -> Array:
    mean = float(np.fmax.reduce(b, axis=None, initial=0.0))
    terms = 4 + int(mean + 4.5 * np.sqrt(mean))  # what is left out is below 1e-7
    means = np.stack(np.broadcast_arrays(a, b))  # both counts side by side: half the calls
    chance = np.exp(-means)  # of a count of k
    more = -np.expm1(-means)  # chance of a count above k
    chance[0] *= means[0]
    # the second of each pair is over b, which the result is over as well: then b = 0 is no special case
    more[1] = np.divide(more[1], means[1], out=np.ones_like(more[1]), where=means[1] != 0.0)
    total = np.asarray(more[0] * more[1])
    growth, product = np.empty_like(means), np.empty_like(total)
    for k in range(1, terms + 1):
        more -= chance
        total += np.multiply(more[0], more[1], out=product)
        chance *= np.multiply(means, 1.0 / (k + 1), out=growth)
    return total


def _normal(n: Array, c: Array) -> Array:
    """``E[min]/b`` of two normal counts, written so that an endless exchanger gives 1."""
    n = np.minimum(n, 1e15)
    b = np.maximum(n * c, 1e-300)
    spread = np.sqrt(n + b)
    apart = (n - b) / spread
    density = np.exp(-0.5 * apart * apart) / np.sqrt(2.0 * np.pi)
    # b Phi(z) + a Phi(-z) - s phi(z), over b
    return np.asarray(1.0 + (apart * _normal_tail(apart) - density) * spread / b)


def _normal_tail(z: Array) -> Array:
    """1 - Phi(z) for z >= 0; Abramowitz and Stegun, Handbook of Mathematical Functions, 26.2.17, 7.5e-8."""
    t = 1.0 / (1.0 + 0.2316419 * z)
    powers = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    return np.asarray(np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi) * powers)
