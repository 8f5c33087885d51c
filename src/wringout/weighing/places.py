"""Where a posterior has mass that the parabola at its fit knows nothing of.

Two things part or bend a posterior: a stage that may run or not, which no slope tells, and an unknown whose
ridge is no straight line (a modulating valve near its end, a command near its stop, a severity). Both are
looked for by moving one unknown, letting the others follow, and asking what the machine says there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array
from wringout.weighing.batch import Rows
from wringout.weighing.curvature import Curvature
from wringout.weighing.fit import LENGTHS, LONGEST, REACH, everywhere, linearise, log_posterior
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.likelihood import weight
from wringout.weighing.unknowns import Layout, Mask, stage_steps

__all__ = ["Places", "fits_alone", "places"]

# judgement throughout, tried on calls of our own machine beside a nested sampler
SHARES = (0.6, 1.0)  # of what makes one stage more; which of them is likelier depends on how many ran
FAR = (2.0, 4.0)  # standard deviations along a ridge
BENT = 0.45  # of what the parabola falls by: a ridge that falls by less is bent
HOPELESS = 13.0  # nat under the fit, from where two steps with new slopes do not come back
LEAST = 0.03  # share of the mass about the fit from which a place is worth sampling
RIDGES = 3  # the most of them to a hypothesis
ROUNDS = 2  # steps with new slopes after a stage
ROUNDING = 1e-9


@dataclass(frozen=True)
class Places:
    """Centres to sample about, the fits first in their order: ``owner`` (places,), ``centre`` (places,
    width), ``root`` (places, terms, width) of the curvature there, and ``worth`` (places,), the mass that a
    parabola has there, as a share of that about the owner's fit."""

    owner: Rows
    centre: Array
    root: Array
    worth: Array


@dataclass(frozen=True)
class _Moves:
    """Moves of one unknown away from each fit: ``column`` (moves,), ``by`` (hypotheses, moves), the
    ``ridge`` (hypotheses, moves, width) on which the others follow a move by one, the ``level``
    (hypotheses, moves) by which the parabola falls, and whether they are of a ``stage`` (moves,)."""

    column: Rows
    by: Array
    ridge: Array
    level: Array
    stage: Mask


def fits_alone(modes: Array, roots: Array) -> Places:
    """The fits as the only places.

    Parameters
    ----------
    modes : array, (hypotheses, width), [-]
    roots : array, (hypotheses, terms, width)
        Of their curvatures.

    Returns
    -------
    Places
    """
    return Places(np.arange(len(modes)), modes, roots, np.ones(len(modes)))


def places(at: Layout, hypotheses: Sequence[Hypothesis], modes: Array, roots: Array) -> Places:
    """Find where else than about its fit a hypothesis has mass.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    modes : array, (hypotheses, width), [-]
        The fits.
    roots : array, (hypotheses, terms, width)
        Of their curvatures.

    Returns
    -------
    Places

    Notes
    -----
    An unknown is moved, the others are brought after it by the fit's own slopes, and the posterior there is
    held against what the parabola says of that place. Where it stands out, slopes are worked out anew.
    """
    size = modes.shape[0]
    each, curvature = np.arange(size), Curvature(roots)
    whole = roots.copy()
    # where a stage begins to run a slope may show; beyond it there is none, so that none is followed
    whole[:, :, [column for column, _ in stage_steps(at)]] = 0.0
    moves = _moves(at, hypotheses, Curvature(whole))
    if moves.column.size == 0:
        return fits_alone(modes, roots)
    top = everywhere(at, hypotheses, each, modes).log_likelihood
    centre, fell = _followed(at, hypotheses, modes, top, Curvature(whole), moves)
    nearer = fell[:, ::2] <= fell[:, 1::2]  # of two places of a stage the better
    stage = moves.stage & (fell < HOPELESS) & np.stack([nearer, ~nearer], axis=2).reshape(size, -1)
    bent = ~moves.stage & (fell < BENT * moves.level)
    rank = np.argsort(np.argsort(np.where(bent, fell, np.inf), axis=1), axis=1)
    owner, which = np.nonzero(stage | (bent & (rank < RIDGES)))
    if owner.size == 0:
        return fits_alone(modes, roots)
    whose, z = [hypotheses[int(i)] for i in owner], centre[owner, which]
    new = np.flatnonzero(moves.stage[which])
    for _ in range(ROUNDS if new.size else 0):
        z[new] = _stepped(at, [whose[int(k)] for k in new], z[new], moves.column[which[new]])
    linear = linearise(at, whose, z)
    root = linear.jacobian * np.sqrt(weight(linear.at.residual, linear.at.slip))[:, :, None]
    height = linear.at.log_likelihood - 0.5 * np.square(z).sum(axis=1)
    height -= (top - 0.5 * np.square(modes).sum(axis=1))[owner]
    narrower = Curvature(root).log_determinant() - curvature.log_determinant()[owner]
    worth = np.exp(np.clip(height - 0.5 * np.maximum(narrower, 0.0), -50.0, 50.0))
    kept = worth > LEAST
    return Places(
        np.concatenate([each, owner[kept]]),
        np.concatenate([modes, z[kept]]),
        np.concatenate([roots, root[kept]]),
        np.concatenate([np.ones(size), worth[kept]]),
    )


def _moves(at: Layout, hypotheses: Sequence[Hypothesis], curvature: Curvature) -> _Moves:
    """Every move that is worth a look: one stage more and less, and both ways along the ridge of each
    unknown of weather, room, controls and severity. What differs from machine to machine bends little."""
    size, _, width = curvature.root.shape
    steps = stage_steps(at)
    last = at.first_severity + max((h.severities for h in hypotheses), default=0)
    felt = np.any(at.relevant, axis=0) | (np.arange(width) >= at.first_severity)
    staged = [column for column, _ in steps]
    bending = [j for j in range(len(at.rows), last) if felt[j] and j not in staged]
    columns = np.array(staged + bending, dtype=np.intp)
    axes = np.zeros((size, width, columns.size))
    axes[:, columns, np.arange(columns.size)] = 1.0
    covariance = curvature.solve(axes).transpose(0, 2, 1)
    variance = covariance[:, np.arange(columns.size), columns]
    place = np.repeat(np.arange(columns.size), 2 * len(FAR))  # both ways, and as many shares of a stage
    stage = place < len(staged)
    more_or_less = np.outer([step for _, step in steps], np.outer([1.0, -1.0], SHARES)).reshape(-1)
    far = np.outer(np.ones(len(bending)), np.outer([1.0, -1.0], FAR)).reshape(-1)
    out = np.concatenate([more_or_less, far])
    by = out * np.where(stage, 1.0, np.sqrt(variance)[:, place])
    return _Moves(
        columns[place],
        by,
        covariance[:, place] / variance[:, place, None],
        np.broadcast_to(0.5 * np.square(out), by.shape),
        stage,
    )


def _followed(
    at: Layout,
    hypotheses: Sequence[Hypothesis],
    modes: Array,
    top: Array,
    curvature: Curvature,
    moves: _Moves,
) -> tuple[Array, Array]:
    """Centres after each move, (hypotheses, moves, width), and how far the posterior fell from the fit,
    (hypotheses, moves), whose log likelihood is ``top`` (hypotheses,); it fell without end where a stage was
    moved and none is more or less."""
    size, width = modes.shape
    count = moves.column.size
    owner = np.repeat(np.arange(size), count)
    centre = modes[:, None, :] + moves.by[:, :, None] * moves.ridge
    there = everywhere(at, hypotheses, owner, centre.reshape(-1, width))
    pulled = np.sqrt(weight(there.residual, there.slip)) * there.residual
    slope = np.matmul(pulled.reshape(size, count, -1), curvature.root) + centre
    step = _held(-curvature.solve(slope.transpose(0, 2, 1)).transpose(0, 2, 1), moves.column, moves.ridge)
    onward = centre + step
    before = there.log_likelihood.reshape(size, count) - 0.5 * np.square(centre).sum(axis=2)
    after = log_posterior(at, hypotheses, owner, onward.reshape(-1, width)).reshape(size, count)
    # slopes of the fit lead astray where another number of stages runs
    better = (after > before) & ~moves.stage
    fell = (top - 0.5 * np.square(modes).sum(axis=1))[:, None] - np.where(better, after, before)
    alike = np.abs(there.log_likelihood.reshape(size, count) - top[:, None]) < ROUNDING
    return np.where(better[:, :, None], onward, centre), np.where(moves.stage & alike, np.inf, fell)


def _held(step: Array, column: Rows, ridge: Array) -> Array:
    """Steps (..., width) that leave one column each where it is, and are no longer than a step may be."""
    own = np.take_along_axis(step, np.broadcast_to(column[:, None], (*step.shape[:-1], 1)), axis=-1)
    still = step - own * ridge
    longest = np.maximum(np.abs(still).max(axis=-1, keepdims=True), ROUNDING)
    return np.asarray(still * np.minimum(1.0, LONGEST / longest))


def _stepped(at: Layout, hypotheses: Sequence[Hypothesis], z: Array, column: Rows) -> Array:
    """One step with slopes of the place itself, a column held, as far as it leads up."""
    linear = linearise(at, hypotheses, z)
    weights = weight(linear.at.residual, linear.at.slip)
    each = np.arange(len(z))
    root = linear.jacobian * np.sqrt(weights)[:, :, None]
    root[each, :, column] = 0.0
    pulled = np.matmul((weights * linear.at.residual)[:, None, :], linear.jacobian)[:, 0]
    step = Curvature(root).solve(-pulled - linear.spread_slope - z)
    step[each, column] = 0.0
    # there are two steps to find the way, so none is cut short: the lengths tried see to it
    trial = np.clip(z[:, None, :] + LENGTHS[None, :, None] * step[:, None, :], -REACH, REACH)
    tried = log_posterior(at, hypotheses, np.repeat(each, LENGTHS.size), trial.reshape(-1, z.shape[1]))
    worth = tried.reshape(len(z), -1)
    best = np.argmax(worth, axis=1)
    now = linear.at.log_likelihood - 0.5 * np.square(z).sum(axis=1)
    return np.where((worth[each, best] > now)[:, None], trial[each, best], z)
