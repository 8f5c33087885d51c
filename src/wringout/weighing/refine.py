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
from wringout.weighing.batch import Rows
from wringout.weighing.curvature import Curvature
from wringout.weighing.fit import linearise, log_posterior
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.likelihood import weight
from wringout.weighing.places import fits_alone, places
from wringout.weighing.unknowns import Layout

__all__ = ["Refined", "refine"]

WIDER = 0.9  # of the curvature's root
AT_STOPS = 0.5  # share of the fit's samples that allow for stops, where there are any
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
    beside: bool = True,
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
    beside : bool
        Whether places beside the fits are looked for, which costs as much as some hundred samples.

    Returns
    -------
    Refined

    Notes
    -----
    Antithetic pairs of normal proposals a little wider than the curvature says: about the fit, about the same
    with the gentler of the slopes to both sides, which at a stop differ, and about every other place where
    the posterior has mass (see :mod:`wringout.weighing.places`). A sample counts by what all proposals
    together would have drawn there (deterministic mixture; Owen and Zhou, JASA 95 (2000) 135, from memory).
    Weights beyond the square root of the count times their mean are cut to it (Ionides, J. Comp. Graph.
    Stat. 17 (2008) 295, from memory), which trades a little bias for much variance.
    """
    size, width = modes.shape
    mixture = _mixture(at, hypotheses, modes, roots, beside)
    pairs = count // 2
    # so many pairs of each proposal as its share says, to within one
    marks = (np.arange(pairs) + rng.random((size, 1))) / pairs
    chosen = (marks[:, :, None] > np.cumsum(mixture.share, axis=1)[:, None, :-1]).sum(axis=2)
    centre, noise = mixture.drawn(chosen, rng)
    rows = np.concatenate([centre + noise, centre - noise], axis=1)
    owner = np.repeat(np.arange(size), rows.shape[1])
    target = log_posterior(at, hypotheses, owner, rows.reshape(-1, width)).reshape(size, -1)
    ratio = target - mixture.log_density(rows)
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


@dataclass(frozen=True)
class _Mixture:
    """Normal proposals: ``centre`` (proposals, width) and ``curvature``; which of them a hypothesis has,
    ``whose`` (hypotheses, most), and the ``share`` of samples of each (hypotheses, most), 0 where it has no
    more."""

    centre: Array
    curvature: Curvature
    whose: Rows
    share: Array

    def drawn(self, chosen: Rows, rng: np.random.Generator) -> tuple[Array, Array]:
        """Centres of the proposals ``chosen`` (hypotheses, draws) by hypotheses, and noise about them."""
        taken = np.take_along_axis(self.whose, chosen, axis=1)
        noise = np.empty((*taken.shape, self.centre.shape[1]))
        for proposals, count in self._by_need(taken):
            drawn = Curvature(self.curvature.root[proposals]).draw(count, rng)
            for one, its in zip(proposals, drawn, strict=True):
                here = taken == one
                noise[here] = its[: int(here.sum())]
        return self.centre[taken], noise

    def _by_need(self, taken: Rows) -> list[tuple[Rows, int]]:
        """Proposals with the most draws that one of them has, in a few groups of like number."""
        need = np.bincount(taken.reshape(-1), minlength=len(self.centre))
        order = np.argsort(-need)
        order = order[need[order] > 0]
        groups = np.array_split(order, min(4, len(order)))
        return [(group, int(need[group].max())) for group in groups]

    def log_density(self, rows: Array) -> Array:
        """Logarithm of the density of all proposals of each hypothesis together at rows (hypotheses, draws,
        width), with the normal's constant left out."""
        found = np.full(rows.shape[:2], -np.inf)
        level = 0.5 * self.curvature.log_determinant()
        with np.errstate(divide="ignore"):
            log_share = np.log(self.share)
        for k in range(self.share.shape[1]):
            its = np.flatnonzero(self.share[:, k] > 0.0)
            one = self.whose[its, k]
            square = Curvature(self.curvature.root[one]).square(rows[its] - self.centre[one, None, :])
            density = (log_share[its, k] + level[one])[:, None] - 0.5 * square
            found[its] = np.logaddexp(found[its], density)
        return found


def _mixture(
    at: Layout, hypotheses: Sequence[Hypothesis], modes: Array, roots: Array, beside: bool
) -> _Mixture:
    size = modes.shape[0]
    found = places(at, hypotheses, modes, roots) if beside else fits_alone(modes, roots)
    gentle, lopsided = _gentle(at, hypotheses, modes, roots)
    others = found.owner[size:]
    nth = np.arange(others.size) - np.searchsorted(others, others)  # owners come in rising order
    whose = np.zeros((size, 2 + (int(nth.max()) + 1 if others.size else 0)), dtype=np.intp)
    share = np.zeros(whose.shape)
    whose[:, 0], share[:, 0] = np.arange(size), 1.0 - lopsided
    whose[:, 1], share[:, 1] = len(found.owner) + np.arange(size), lopsided
    whose[others, 2 + nth], share[others, 2 + nth] = size + np.arange(others.size), found.worth[size:]
    return _Mixture(
        np.concatenate([found.centre, modes]),
        Curvature(np.concatenate([found.root, gentle]) * WIDER),
        whose,
        share / share.sum(axis=1, keepdims=True),
    )


def _gentle(at: Layout, hypotheses: Sequence[Hypothesis], modes: Array, roots: Array) -> tuple[Array, Array]:
    """Root of the curvature by the gentler slopes of both sides, and the share of the fit's samples for it:
    none where there is no stop."""
    back = linearise(at, hypotheses, modes, BEHIND)
    behind = back.jacobian * np.sqrt(weight(back.at.residual, back.at.slip))[:, :, None]
    steep = np.square(behind).sum(axis=1) < np.square(roots).sum(axis=1)
    gentle = np.where(steep[:, None, :], behind, roots)
    apart = 0.5 * (Curvature(roots).log_determinant() - Curvature(gentle).log_determinant())
    return gentle, np.where(apart > LOPSIDED, AT_STOPS, 0.0)
