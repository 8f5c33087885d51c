"""Evidence by sampling: what the parabola of a fit misses, put right by importance sampling around it.

Valves that stand at their stops, limits that begin to bind, stages that may run or not and slips make
posteriors lopsided or part them in two. Samples drawn from a few parabolas about each fit, weighed by what
the machine says at them, give the evidence itself and posterior samples besides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array
from wringout.weighing.curvature import Curvature
from wringout.weighing.fit import LONGEST, everywhere, linearise, log_posterior
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.likelihood import weight
from wringout.weighing.unknowns import Layout, stage_steps

__all__ = ["Refined", "refine"]

WIDER = 0.9  # of the curvature's root
LEAST = 0.05  # share of the samples from which a parabola is worth sampling
AT_STOPS = 0.5  # share of the samples that allow for stops, where there are any
LOPSIDED = 0.3  # nat by which the slopes of the two sides must differ for that
BEHIND = -0.5  # how far back the slopes behind are taken: stops a little way off are felt too


@dataclass(frozen=True)
class Refined:
    """Samples of some hypotheses: ``log_evidence`` (hypotheses,), ``effective`` sample sizes
    (hypotheses,), the ``samples`` (hypotheses, count, width) and their ``log_weight`` (hypotheses, count),
    which sum to 1 a hypothesis.
    """

    log_evidence: Array
    effective: Array
    samples: Array
    log_weight: Array


def refine(
    at: Layout,
    hypotheses: Sequence[Hypothesis],
    modes: Array,
    roots: Array,
    count: int,
    rng: np.random.Generator,
) -> Refined:
    """Sample hypotheses around their fits.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    modes : array, (hypotheses, width), [-]
    roots : array, (hypotheses, terms, width)
        Of their curvatures.
    count : int
        Samples a hypothesis.
    rng : numpy.random.Generator

    Returns
    -------
    Refined

    Notes
    -----
    Antithetic pairs of normal proposals a little wider than the fit's own curvature says: about the fit,
    about the same with one stage more or less where their number is open, and each of these also with the
    gentler of the slopes to both sides, which at a stop differ. A sample counts by what all proposals
    together would have drawn there (deterministic mixture; Owen and Zhou, JASA 95 (2000) 135, from memory).
    Weights beyond the square root of the count times their mean are cut to it (Ionides, J. Comp. Graph.
    Stat. 17 (2008) 295, from memory), which trades a little bias for much variance.
    """
    size, width = modes.shape
    centres, worth = _centres(at, hypotheses, modes, roots)
    narrow, gentle, lopsided = _slopes(at, hypotheses, modes, roots)
    places = centres.shape[1]
    shares = np.concatenate([worth * (1.0 - lopsided)[:, None], worth * lopsided[:, None]], axis=1)
    pairs = count // 2
    # so many pairs of each proposal as its share says, to within one
    marks = (np.arange(pairs) + rng.random((size, 1))) / pairs
    chosen = (marks[:, :, None] > np.cumsum(shares, axis=1)[:, None, :-1]).sum(axis=2)
    noise = np.where(
        (chosen >= places)[:, :, None],
        gentle.draw(pairs, rng) if lopsided.any() else 0.0,
        narrow.draw(pairs, rng),
    )
    centre = np.take_along_axis(centres, (chosen % places)[:, :, None], axis=1)
    rows = np.concatenate([centre + noise, centre - noise], axis=1)
    owner = np.repeat(np.arange(size), rows.shape[1])
    target = log_posterior(at, hypotheses, owner, rows.reshape(-1, width)).reshape(size, -1)
    ratio = target - _log_mixture(rows, centres, shares, narrow, gentle)
    highest = ratio.max(axis=1, keepdims=True)
    raw = np.exp(ratio - highest)
    mean = raw.mean(axis=1, keepdims=True)
    cut = np.minimum(raw, mean * np.sqrt(raw.shape[1]))
    total = cut.sum(axis=1, keepdims=True)
    share = cut / total
    return Refined(
        (highest + np.log(total / raw.shape[1]))[:, 0],
        1.0 / np.square(share).sum(axis=1),
        rows,
        np.log(np.maximum(share, 1e-300)),
    )


def _log_mixture(rows: Array, centres: Array, shares: Array, narrow: Curvature, gentle: Curvature) -> Array:
    """Logarithm of the density of all proposals together, with the normal's constant left out."""
    places = centres.shape[1]
    found = np.full(rows.shape[:2], -np.inf)
    for k in range(shares.shape[1]):
        if not (shares[:, k] > 0.0).any():
            continue
        curvature = narrow if k < places else gentle
        square = curvature.square(rows - centres[:, k % places, None, :])
        with np.errstate(divide="ignore"):
            share = np.log(shares[:, k])
        found = np.logaddexp(found, (share + 0.5 * curvature.log_determinant())[:, None] - 0.5 * square)
    return found


def _centres(at: Layout, hypotheses: Sequence[Hypothesis], modes: Array, roots: Array) -> tuple[Array, Array]:
    """Where proposals stand, (hypotheses, places, width), and the share of samples each is worth.

    The first is the fit. Another number of stages is a step that no slope leads to: it is taken, and then
    one linear step with the fit's own slopes brings the other unknowns after it.
    """
    moves = [(column, way * step) for column, step in stage_steps(at) for way in (-1.0, 1.0)]
    centres = np.repeat(modes[:, None, :], len(moves) + 1, axis=1)
    if not moves:
        return centres, np.ones((modes.shape[0], 1))
    for k, (column, move) in enumerate(moves, start=1):
        centres[:, k, column] += move
    size, places, width = centres.shape
    owner = np.repeat(np.arange(size), places)
    there = everywhere(at, hypotheses, owner, centres.reshape(-1, width))
    pull = np.sqrt(weight(there.residual, there.slip)) * there.residual
    slope = np.matmul(pull.reshape(size, places, -1), roots) + centres
    step = -Curvature(roots).solve(slope.transpose(0, 2, 1)).transpose(0, 2, 1)
    step[:, 0] = 0.0
    step[:, :, at.first_severity :] = 0.0
    for column, _ in moves:
        step[:, :, column] = 0.0
    step *= np.minimum(1.0, LONGEST / np.maximum(np.abs(step).max(axis=2, keepdims=True), 1e-9))
    onward = centres + step
    before = there.log_likelihood.reshape(size, places) - 0.5 * np.square(centres).sum(axis=2)
    after = log_posterior(at, hypotheses, owner, onward.reshape(-1, width)).reshape(size, places)
    better = after > before
    centres = np.where(better[:, :, None], onward, centres)
    value = np.where(better, after, before)
    worth = np.exp(value - value.max(axis=1, keepdims=True))
    worth /= worth.sum(axis=1, keepdims=True)
    worth = np.where(worth < LEAST, 0.0, worth)
    worth[:, 0] = np.maximum(worth[:, 0], LEAST)
    return centres, worth / worth.sum(axis=1, keepdims=True)


def _slopes(
    at: Layout, hypotheses: Sequence[Hypothesis], modes: Array, roots: Array
) -> tuple[Curvature, Curvature, Array]:
    """Curvature by the fit's slopes, that by the gentler slopes of both sides, and the share of samples for
    the second: none where there is no stop."""
    back = linearise(at, hypotheses, modes, BEHIND)
    weights = weight(back.at.residual, back.at.slip)
    behind = back.jacobian * np.sqrt(weights)[:, :, None]
    steep = np.square(behind).sum(axis=1) < np.square(roots).sum(axis=1)
    narrow = Curvature(roots * WIDER)
    gentle = Curvature(np.where(steep[:, None, :], behind, roots) * WIDER)
    apart = 0.5 * (narrow.log_determinant() - gentle.log_determinant())
    return narrow, gentle, np.where(apart > LOPSIDED, AT_STOPS, 0.0)
