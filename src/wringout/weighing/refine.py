"""Evidence by sampling: what the parabola of a fit misses, put right by importance sampling around it.

Valves that stand at their stops, limits that begin to bind and slips make posteriors lopsided. Samples
drawn from each fit's parabola, weighed by what the machine says at them, give the evidence itself and
posterior samples besides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array
from wringout.weighing.curvature import Curvature
from wringout.weighing.fit import log_posterior
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.unknowns import Layout

__all__ = ["Refined", "refine"]


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
    Antithetic pairs of a normal proposal a little wider than the fit's own curvature says. Weights beyond
    the square root of the count times their mean are cut to it (Ionides, J. Comp. Graph. Stat. 17 (2008)
    295, from memory), which trades a little bias for much variance.
    """
    size, width = modes.shape
    curvature = Curvature(roots * WIDER)
    half = curvature.draw(count // 2, rng)
    offset = np.concatenate([half, -half], axis=1)
    rows = modes[:, None, :] + offset
    owner = np.repeat(np.arange(size), offset.shape[1])
    target = log_posterior(at, hypotheses, owner, rows.reshape(-1, width)).reshape(size, -1)
    proposal = -0.5 * curvature.square(offset) + 0.5 * curvature.log_determinant()[:, None]
    ratio = target - proposal
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


WIDER = 0.9
