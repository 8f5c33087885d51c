"""First-order propagation of uncertainty: from values with a covariance to whatever is worked out of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wringout.errors import InputError

__all__ = ["Propagated", "propagate"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Propagated:
    """Results of one propagation.

    ``value`` (results,); ``covariance`` (results, results); ``part`` (inputs, results): what one standard
    deviation of each input does to each result.
    """

    value: Array
    covariance: Array
    part: Array

    @property
    def sigma(self) -> Array:
        """(results,) standard deviations."""
        return np.sqrt(np.maximum(np.diag(self.covariance), 0.0))


def propagate(function: Callable[[Array], Array], mean: ArrayLike, covariance: ArrayLike) -> Propagated:
    """Propagate means and covariance through a function, to first order.

    Parameters
    ----------
    function : callable
        Takes inputs (rows, inputs) and gives results (rows, results); called once.
    mean : array_like, (inputs,), [unit of each input]
    covariance : array_like, (inputs, inputs), [product of the units]
        Shared readings and whatever else goes together stands off its diagonal.

    Returns
    -------
    Propagated
        NaN in results that the function gives as NaN at the mean or one standard deviation beside it.

    Raises
    ------
    InputError
        When mean and covariance do not fit together, or a variance is negative.

    Notes
    -----
    Each partial derivative is taken as half the change of the result from one standard deviation under the
    input to one over it; with ``Z`` those changes and ``R`` the correlations, the covariance of the results
    is ``Z' R Z``. All results come out of the same inputs, so that a difference between two of them has its
    proper uncertainty. Curvature over one standard deviation is left out.

    References
    ----------
    JCGM 100:2008, 5.1.3 note 2 (numeric sensitivities), 5.2.2 eq. 13 (correlated inputs).
    """
    x = np.asarray(mean, dtype=np.float64)
    v = np.asarray(covariance, dtype=np.float64)
    count = x.shape[0]
    if x.ndim != 1 or v.shape != (count, count):
        raise InputError(f"{count} means need a covariance of {count} by {count}; found {v.shape}")
    variance = np.diag(v)
    if np.any(variance < 0.0):
        raise InputError(f"a variance is {variance.min():.3g}; it must be 0 or more")
    u = np.sqrt(variance)
    y = np.asarray(function(np.vstack([x, x + np.diag(u), x - np.diag(u)])))
    part = 0.5 * (y[1 : count + 1] - y[count + 1 :])
    # only inputs with an uncertainty take part
    moved = u > 0.0
    correlation = v[np.ix_(moved, moved)] / np.outer(u[moved], u[moved])
    weighed = np.einsum("ij,jk->ik", correlation, part[moved])
    return Propagated(y[0], np.einsum("ij,ik->jk", part[moved], weighed), part)
