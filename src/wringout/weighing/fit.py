"""The most probable unknowns of many hypotheses at once, and the evidence of each by its curvature there.

Damped Gauss-Newton on the logarithm of likelihood times prior, robust against slips by re-weighting; the
Jacobian by differences through the machine, every hypothesis and column in one call. The evidence is
Laplace's.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array
from wringout.weighing.batch import Residuals, Rows, residuals
from wringout.weighing.curvature import Curvature
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.likelihood import pull, weight
from wringout.weighing.unknowns import Layout

__all__ = ["LENGTHS", "LONGEST", "REACH", "STEP", "Fit", "everywhere", "fit", "linearise", "log_posterior"]

STEP = 0.02  # of a prior standard deviation, for the differences
LENGTHS = np.array([1.0, 0.45, 0.15])
LONGEST = 2.5  # no step moves an unknown further than this many prior standard deviations
REACH = 5.0
FRESH = 2  # steps on one set of slopes


@dataclass(frozen=True)
class Fit:
    """Each hypothesis at its best.

    ``z`` (hypotheses, width) the most probable unknowns; ``log_evidence`` (hypotheses,);
    ``log_likelihood`` (hypotheses,); ``curvature`` of the posterior there and its ``log_determinant``
    (hypotheses,); ``jacobian`` (hypotheses, terms, width) of the standardised residuals; ``residual``
    (hypotheses, terms); ``weights`` the same shape; ``log_spread`` the same shape; ``slip`` (terms,).
    """

    hypotheses: tuple[Hypothesis, ...]
    z: Array
    log_evidence: Array
    log_likelihood: Array
    curvature: Curvature
    log_determinant: Array
    jacobian: Array
    residual: Array
    weights: Array
    log_spread: Array
    slip: Array

    def replaced(self, places: Rows, other: Fit, rows: Rows) -> Fit:
        """Give this fit with some hypotheses' results taken from another.

        Parameters
        ----------
        places : array of int
            Which of this fit's hypotheses.
        other : Fit
        rows : array of int
            Where theirs stand in it.

        Returns
        -------
        Fit
        """

        def merged(mine: Array, theirs: Array) -> Array:
            whole = mine.copy()
            whole[places] = theirs[rows]
            return whole

        return Fit(
            self.hypotheses,
            merged(self.z, other.z),
            merged(self.log_evidence, other.log_evidence),
            merged(self.log_likelihood, other.log_likelihood),
            Curvature(merged(self.curvature.root, other.curvature.root)),
            merged(self.log_determinant, other.log_determinant),
            merged(self.jacobian, other.jacobian),
            merged(self.residual, other.residual),
            merged(self.weights, other.weights),
            merged(self.log_spread, other.log_spread),
            self.slip,
        )


@dataclass(frozen=True)
class Linear:
    """Residuals and their derivatives at one row of unknowns a hypothesis."""

    at: Residuals
    jacobian: Array
    spread_slope: Array


def linearise(at: Layout, hypotheses: Sequence[Hypothesis], z: Array, step: float = STEP) -> Linear:
    """Residuals of every situation and their slopes against every column that is felt there.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    z : array, (hypotheses, width), [-]
    step : float
        Of the differences [-]; under 0 for slopes to the other side, which differ where something stands at
        its stop.

    Returns
    -------
    Linear
    """
    count, width = z.shape
    used = np.arange(width) < at.first_severity + max((h.severities for h in hypotheses), default=0)
    columns = [np.flatnonzero(relevant & used) for relevant in at.relevant]
    blocks: list[tuple[int, Rows, Array]] = []
    for i, these in enumerate(columns):
        rows = np.repeat(z[:, None, :], these.size + 1, axis=1)
        rows[:, np.arange(1, these.size + 1), these] += step
        blocks.append((i, np.repeat(np.arange(count), these.size + 1), rows.reshape(-1, width)))
    found: list[tuple[Array, Array, Array, Array, Array]] = []
    for these, r in zip(columns, residuals(at, hypotheses, blocks), strict=True):
        shaped = r.residual.reshape(count, these.size + 1, -1)
        logs = r.log_spread.reshape(count, these.size + 1, -1)
        jacobian = np.zeros((count, shaped.shape[2], width))
        slope = np.zeros((count, width))
        jacobian[:, :, these] = ((shaped[:, 1:] - shaped[:, :1]) / step).transpose(0, 2, 1)
        slope[:, these] = ((logs[:, 1:] - logs[:, :1]) / step).sum(axis=2)
        found.append((shaped[:, 0], logs[:, 0], r.slip, jacobian, slope))
    return Linear(
        Residuals(
            np.concatenate([b[0] for b in found], axis=1),
            np.concatenate([b[1] for b in found], axis=1),
            np.concatenate([b[2] for b in found]),
        ),
        np.concatenate([b[3] for b in found], axis=1),
        np.sum([b[4] for b in found], axis=0),
    )


def everywhere(at: Layout, hypotheses: Sequence[Hypothesis], owner: Rows, z: Array) -> Residuals:
    """Residuals of rows over all situations.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    owner : array of int, (rows,)
        Which hypothesis a row belongs to, in rising order.
    z : array, (rows, width), [-]

    Returns
    -------
    Residuals
        (rows, terms of all situations).
    """
    found = residuals(at, hypotheses, [(i, owner, z) for i in range(len(at.problem.situations))])
    return Residuals(
        np.concatenate([r.residual for r in found], axis=1),
        np.concatenate([r.log_spread for r in found], axis=1),
        np.concatenate([r.slip for r in found]),
    )


def log_posterior(at: Layout, hypotheses: Sequence[Hypothesis], owner: Rows, z: Array) -> Array:
    """Logarithm of likelihood times prior, with the prior's constant left out.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    owner : array of int, (rows,)
        Which hypothesis a row belongs to, in rising order.
    z : array, (rows, width), [-]

    Returns
    -------
    array, (rows,)
    """
    return np.asarray(everywhere(at, hypotheses, owner, z).log_likelihood - 0.5 * np.square(z).sum(axis=1))


def fit(
    at: Layout,
    hypotheses: Sequence[Hypothesis],
    start: Array,
    rounds: int = 5,
    strength: Callable[[Array, Array], Array] = pull,
) -> Fit:
    """Fit every hypothesis.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    start : array, (hypotheses, width), [-]
    rounds : int
        Gauss-Newton steps.
    strength : callable
        How strongly a step goes after each reading, by residual and share of slips.

    Returns
    -------
    Fit

    Notes
    -----
    The slopes cost fifty times what the residuals cost, and change slowly: they are worked out anew every
    other step.
    """
    count, width = start.shape
    z = start.copy()
    each = np.arange(count)
    damping = np.full(count, 1e-3)
    owner = np.repeat(each, LENGTHS.size)
    linear = linearise(at, hypotheses, z)
    now = linear.at
    value = now.log_likelihood - 0.5 * np.square(z).sum(axis=1)
    for turn in range(rounds):
        if turn and turn % FRESH == 0:
            linear = linearise(at, hypotheses, z)
            now = linear.at
        weights = strength(now.residual, now.slip)
        gradient = (
            -np.matmul((weights * now.residual)[:, None, :], linear.jacobian)[:, 0] - linear.spread_slope - z
        )
        step = Curvature(linear.jacobian * np.sqrt(weights)[:, :, None]).solve(gradient, damping)
        step *= np.minimum(1.0, LONGEST / np.maximum(np.abs(step).max(axis=1), 1e-9))[:, None]
        trial = np.clip(z[:, None, :] + LENGTHS[None, :, None] * step[:, None, :], -REACH, REACH)
        tried = everywhere(at, hypotheses, owner, trial.reshape(-1, width))
        worth = (tried.log_likelihood - 0.5 * np.square(trial).sum(axis=2).reshape(-1)).reshape(count, -1)
        best = np.argmax(worth, axis=1)
        gained = worth[each, best] - value
        better = gained > 0.0
        taken = each * LENGTHS.size + best
        z = np.where(better[:, None], trial[each, best], z)
        now = Residuals(
            np.where(better[:, None], tried.residual[taken], now.residual),
            np.where(better[:, None], tried.log_spread[taken], now.log_spread),
            now.slip,
        )
        value = np.where(better, worth[each, best], value)
        damping = np.where(better, np.maximum(damping * 0.3, 1e-4), np.minimum(damping * 20.0, 1e3))
        if float(np.max(np.where(better, gained, 0.0))) < 0.02:
            break
    linear = linearise(at, hypotheses, z)
    now = linear.at
    weights = weight(now.residual, now.slip)
    curvature = Curvature(linear.jacobian * np.sqrt(weights)[:, :, None])
    likelihood, log_determinant = now.log_likelihood, curvature.log_determinant()
    return Fit(
        tuple(hypotheses),
        z,
        likelihood - 0.5 * np.square(z).sum(axis=1) - 0.5 * log_determinant,
        likelihood,
        curvature,
        log_determinant,
        linear.jacobian,
        now.residual,
        weights,
        now.log_spread,
        now.slip,
    )
