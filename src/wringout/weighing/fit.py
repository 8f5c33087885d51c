"""The most probable unknowns of many hypotheses at once, and the evidence of each by its curvature there.

Damped Gauss-Newton on the logarithm of likelihood times prior, robust against slips by re-weighting; the
Jacobian by differences through the machine, every hypothesis and column in one call. The evidence is
Laplace's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array
from wringout.weighing.batch import Rows, residuals
from wringout.weighing.curvature import Curvature
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.likelihood import log_density, weight
from wringout.weighing.unknowns import Layout

__all__ = ["LONGEST", "Fit", "fit", "log_posterior"]

STEP = 0.02  # of a prior standard deviation, for the differences
LENGTHS = np.array([1.0, 0.45, 0.15])
LONGEST = 2.5  # no step moves an unknown further than this many prior standard deviations
REACH = 5.0


@dataclass(frozen=True)
class Fit:
    """Each hypothesis at its best.

    ``z`` (hypotheses, width) the most probable unknowns; ``log_evidence`` (hypotheses,);
    ``log_likelihood`` (hypotheses,); ``curvature`` of the posterior there; ``jacobian`` (hypotheses,
    terms, width) of the standardised residuals; ``residual`` (hypotheses, terms); ``weights`` the same
    shape; ``log_spread`` the same shape; ``slip`` (terms,).
    """

    hypotheses: tuple[Hypothesis, ...]
    z: Array
    log_evidence: Array
    log_likelihood: Array
    curvature: Curvature
    jacobian: Array
    residual: Array
    weights: Array
    log_spread: Array
    slip: Array


@dataclass(frozen=True)
class Linear:
    """Residuals and their derivatives at one row of unknowns a hypothesis."""

    residual: Array
    log_spread: Array
    slip: Array
    jacobian: Array
    spread_slope: Array


def linearise(at: Layout, hypotheses: Sequence[Hypothesis], z: Array) -> Linear:
    """Residuals of every situation and their slopes against every column."""
    count, width = z.shape
    used = np.arange(width) < at.first_severity + max((h.severities for h in hypotheses), default=0)
    blocks: list[tuple[Array, Array, Array, Array, Array]] = []
    for i in range(len(at.problem.situations)):
        columns = np.flatnonzero(at.relevant[i] & used)
        rows = np.repeat(z[:, None, :], columns.size + 1, axis=1)
        rows[:, np.arange(1, columns.size + 1), columns] += STEP
        owner = np.repeat(np.arange(count), columns.size + 1)
        r = residuals(at, i, hypotheses, owner, rows.reshape(-1, width))
        shaped = r.residual.reshape(count, columns.size + 1, -1)
        logs = r.log_spread.reshape(count, columns.size + 1, -1)
        jacobian = np.zeros((count, shaped.shape[2], width))
        slope = np.zeros((count, width))
        jacobian[:, :, columns] = ((shaped[:, 1:] - shaped[:, :1]) / STEP).transpose(0, 2, 1)
        slope[:, columns] = ((logs[:, 1:] - logs[:, :1]) / STEP).sum(axis=2)
        blocks.append((shaped[:, 0], logs[:, 0], r.slip, jacobian, slope))
    return Linear(
        np.concatenate([b[0] for b in blocks], axis=1),
        np.concatenate([b[1] for b in blocks], axis=1),
        np.concatenate([b[2] for b in blocks]),
        np.concatenate([b[3] for b in blocks], axis=1),
        np.sum([b[4] for b in blocks], axis=0),
    )


def log_posterior(at: Layout, hypotheses: Sequence[Hypothesis], owner: Rows, z: Array) -> tuple[Array, Array]:
    """Logarithm of the likelihood, and of likelihood times prior with the prior's constant left out.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    owner : array of int, (rows,)
        Which hypothesis a row belongs to.
    z : array, (rows, width), [-]

    Returns
    -------
    (array, array)
        Both (rows,).
    """
    total = np.zeros(z.shape[0])
    for i in range(len(at.problem.situations)):
        total = total + residuals(at, i, hypotheses, owner, z).log_likelihood
    return total, total - 0.5 * np.square(z).sum(axis=1)


def fit(at: Layout, hypotheses: Sequence[Hypothesis], start: Array, rounds: int = 5) -> Fit:
    """Fit every hypothesis.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    start : array, (hypotheses, width), [-]
    rounds : int
        Gauss-Newton steps.

    Returns
    -------
    Fit
    """
    count, width = start.shape
    z = start.copy()
    damping = np.full(count, 1e-3)
    linear = linearise(at, hypotheses, z)
    value = posterior_of(linear, z)[1]
    owner = np.repeat(np.arange(count), LENGTHS.size)
    for _ in range(rounds):
        weights = weight(linear.residual, linear.slip)
        gradient = (
            -np.matmul((weights * linear.residual)[:, None, :], linear.jacobian)[:, 0]
            - linear.spread_slope
            - z
        )
        step = Curvature(linear.jacobian * np.sqrt(weights)[:, :, None]).solve(gradient, damping)
        step *= np.minimum(1.0, LONGEST / np.maximum(np.abs(step).max(axis=1), 1e-9))[:, None]
        trial = np.clip(z[:, None, :] + LENGTHS[None, :, None] * step[:, None, :], -REACH, REACH)
        tried = log_posterior(at, hypotheses, owner, trial.reshape(-1, width))[1].reshape(count, -1)
        best = np.argmax(tried, axis=1)
        gained = tried[np.arange(count), best] - value
        better = gained > 0.0
        z = np.where(better[:, None], trial[np.arange(count), best], z)
        damping = np.where(better, np.maximum(damping * 0.3, 1e-4), np.minimum(damping * 20.0, 1e3))
        linear = linearise(at, hypotheses, z)
        value = posterior_of(linear, z)[1]
        if float(np.max(np.where(better, gained, 0.0))) < 0.02:
            break
    weights = weight(linear.residual, linear.slip)
    curvature = Curvature(linear.jacobian * np.sqrt(weights)[:, :, None])
    likelihood, posterior = posterior_of(linear, z)
    return Fit(
        tuple(hypotheses),
        z,
        posterior - 0.5 * curvature.log_determinant(),
        likelihood,
        curvature,
        linear.jacobian,
        linear.residual,
        weights,
        linear.log_spread,
        linear.slip,
    )


def posterior_of(linear: Linear, z: Array) -> tuple[Array, Array]:
    """Log likelihood, and with the prior, at the rows that were linearised."""
    likelihood = (log_density(linear.residual, linear.slip) - linear.log_spread).sum(axis=1)
    return likelihood, likelihood - 0.5 * np.square(z).sum(axis=1)
