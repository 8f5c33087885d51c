"""The fit behind a hypothesis of an answer: where it stands, at its very best, and how sure it is there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wringout.machine.parameters import Array
from wringout.weighing.answer import Answer
from wringout.weighing.fit import Fit, fit
from wringout.weighing.likelihood import weight

__all__ = ["covariance", "fitted", "polished"]

POLISH = 10  # steps
FAR = 6.0  # standard deviations from which a reading may have held a fit in its pull


def fitted(answer: Answer, index: int) -> tuple[Fit, int]:
    """Give the fit that holds a hypothesis, and its row there.

    Parameters
    ----------
    answer : Answer
    index : int
        Into ``answer.weighed.hypotheses``.

    Returns
    -------
    (Fit, int)

    Raises
    ------
    IndexError
        When there is no such hypothesis.
    """
    left = index
    for f in answer.weighed.fits:
        if left < len(f.hypotheses):
            return f, left
        left -= len(f.hypotheses)
    raise IndexError(f"hypothesis {index} of {len(answer.weighed.hypotheses)}")


def polished(answer: Answer, indices: Sequence[int]) -> list[tuple[Fit, int]]:
    """Give the fits that hold some hypotheses, each at its very best.

    Parameters
    ----------
    answer : Answer
    indices : sequence of int
        Into ``answer.weighed.hypotheses``.

    Returns
    -------
    list of (Fit, int)
        Fit and row of each.

    Notes
    -----
    Search lets a far reading go on pulling, and may leave a hypothesis that explains it badly short of its
    best; its other readings would then seem to speak against it too. Where a reading is far off, a few steps
    are made that let it go.
    """
    found = [fitted(answer, index) for index in indices]
    held = [n for n, (f, k) in enumerate(found) if np.abs(f.residual[k]).max(initial=0.0) > FAR]
    if held:
        those = [found[n] for n in held]
        start = np.array([f.z[k] for f, k in those])
        let_go = fit(answer.at, [f.hypotheses[k] for f, k in those], start, POLISH, weight)
        for row, n in enumerate(held):
            found[n] = let_go, row
    return found


def covariance(f: Fit, k: int) -> Array:
    """Covariance of a hypothesis's unknowns about its best fit.

    Parameters
    ----------
    f : Fit
    k : int
        Its row in the fit.

    Returns
    -------
    array, (width, width), [-]

    Notes
    -----
    Laplace: the inverse of the Gauss-Newton curvature of readings and standard normal prior.
    """
    slopes = f.jacobian[k] * np.sqrt(f.weights[k])[:, None]
    return np.asarray(np.linalg.inv(slopes.T @ slopes + np.eye(slopes.shape[1])))
