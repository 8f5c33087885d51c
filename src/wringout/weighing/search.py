"""Which sets of causes to weigh: every single one, and larger sets grown from what smaller ones leave
unexplained."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array
from wringout.weighing.batch import residuals
from wringout.weighing.fit import Fit, fit
from wringout.weighing.hypothesis import HEALTHY, Hypothesis, Part, compatible, extended
from wringout.weighing.likelihood import log_density, weight
from wringout.weighing.prior import Prior
from wringout.weighing.unknowns import Layout

__all__ = ["Weighed", "search"]

GRID = np.array(
    [-1.4, -0.5, 0.5, 1.4]
)  # severities at which a cause is first tried, in standard normal units
PARENTS = (10, 10)  # how many sets grow by one more cause: singles to pairs, pairs to triples
KEPT = (70, 50)  # how many grown sets are fitted in full
WORTH = 9.0  # nats under the best beyond which a grown set is not fitted


@dataclass(frozen=True)
class Weighed:
    """Every set that was fitted, with its unnormalised log posterior (evidence times prior)."""

    fits: tuple[Fit, ...]
    hypotheses: tuple[Hypothesis, ...]
    log_posterior: Array
    z: Array
    tried: int


def screen(
    at: Layout, base: Fit, parents: Sequence[int], parts: Sequence[Part], prior: Prior
) -> list[tuple[float, Hypothesis, Array]]:
    """Score each parent set with one more cause without fitting it.

    Parameters
    ----------
    at : Layout
    base : Fit
        Holds the parents at their best.
    parents : sequence of int
        Indices into ``base``.
    parts : sequence of Part
    prior : Prior

    Returns
    -------
    list of (float, Hypothesis, array)
        Approximate log posterior, the grown set and the row to start its fit from.

    Notes
    -----
    The cause is let act at a few severities with all other unknowns at the parent's best; then these are
    moved by one linear step with the parent's Jacobian, so that what they can take up of the change is not
    held against the cause.
    """
    grown: list[Hypothesis] = []
    starts: list[Array] = []
    parent_of: list[int] = []
    for index in parents:
        parent = base.hypotheses[index]
        for part in parts:
            if not compatible(parent, part):
                continue
            child = extended(parent, part)
            z = base.z[index].copy()
            moved = _rearranged(at, parent, child, z)
            for row in _severity_rows(at, child, part, moved):
                grown.append(child)
                starts.append(row)
                parent_of.append(index)
    if not grown:
        return []
    rows = np.array(starts)
    owner = np.arange(len(grown))
    blocks = [residuals(at, i, grown, owner, rows) for i in range(len(at.problem.situations))]
    residual = np.concatenate([b.residual for b in blocks], axis=1)
    log_spread = np.concatenate([b.log_spread for b in blocks], axis=1)
    slip = np.concatenate([b.slip for b in blocks])
    origin = np.array(parent_of)
    jacobian = base.jacobian[origin]
    # one robust linear step of the other unknowns
    w = weight(np.clip(residual, -8.0, 8.0), slip)
    weighted = jacobian * w[:, :, None]
    width = rows.shape[1]
    curvature = np.matmul(weighted.transpose(0, 2, 1), jacobian) + np.eye(width)
    gradient = -np.einsum("hnd,hn->hd", weighted, residual) - rows
    step = np.linalg.solve(curvature, gradient[:, :, None])[:, :, 0]
    step[:, at.first_severity :] = 0.0
    step *= np.minimum(1.0, 2.0 / np.maximum(np.abs(step).max(axis=1), 1e-9))[:, None]
    best_rows = rows + step
    residual_now = residual + np.einsum("hnd,hd->hn", jacobian, step)
    value = (log_density(residual_now, slip) - log_spread).sum(axis=1) - 0.5 * np.square(best_rows).sum(
        axis=1
    )
    _, determinant = np.linalg.slogdet(curvature)
    value = value - 0.5 * determinant
    scored: dict[Hypothesis, tuple[float, Array]] = {}
    for k, child in enumerate(grown):
        total = float(value[k]) + prior.log_probability(child)
        if child not in scored or total > scored[child][0]:
            scored[child] = (total, best_rows[k])
    return sorted(((v, h, z) for h, (v, z) in scored.items()), key=lambda item: -item[0])


def _severity_columns(at: Layout, hypothesis: Hypothesis) -> dict[str, list[int]]:
    columns: dict[str, list[int]] = {}
    column = at.first_severity
    for part in hypothesis.parts:
        columns[part.cause] = list(range(column, column + part.severities))
        column += part.severities
    return columns


def _rearranged(at: Layout, parent: Hypothesis, child: Hypothesis, z: Array) -> Array:
    """Carry the parent's severities to the columns they have in the child."""
    moved = z.copy()
    moved[at.first_severity :] = 0.0
    before, after = _severity_columns(at, parent), _severity_columns(at, child)
    for cause, columns in before.items():
        for old, new in zip(columns, after[cause], strict=True):
            moved[new] = z[old]
    return moved


def _severity_rows(at: Layout, child: Hypothesis, part: Part, z: Array) -> list[Array]:
    if part.severities == 0:
        return [z]
    columns = _severity_columns(at, child)[part.cause]
    rows = []
    for value in GRID:
        row = z.copy()
        row[columns[0]] = value
        rows.append(row)
    return rows


def search(at: Layout, parts: Sequence[Part], prior: Prior, most: int = 3) -> Weighed:
    """Weigh the healthy machine, every single cause, and the larger sets worth weighing.

    Parameters
    ----------
    at : Layout
    parts : sequence of Part
    prior : Prior
    most : int
        Largest number of causes together.

    Returns
    -------
    Weighed
    """
    base = fit(at, [HEALTHY], np.zeros((1, at.width)), rounds=6)
    fits = [base]
    tried = 1
    level = base
    for size in range(1, most + 1):
        if size == 1:
            parents = [0]
        else:
            order = np.argsort(-_log_posterior(level, prior))
            parents = [int(k) for k in order[: PARENTS[size - 2]]]
        found = screen(at, level, parents, parts, prior)
        tried += len(found)
        if size > 1:
            best = max(float(_log_posterior(f, prior).max()) for f in fits)
            found = [f for f in found if f[0] > best - WORTH][: KEPT[size - 2]]
        if not found:
            break
        level = fit(at, [f[1] for f in found], np.array([f[2] for f in found]), rounds=5 if size == 1 else 4)
        fits.append(level)
    hypotheses = tuple(h for f in fits for h in f.hypotheses)
    return Weighed(
        tuple(fits),
        hypotheses,
        np.concatenate([_log_posterior(f, prior) for f in fits]),
        np.concatenate([f.z for f in fits]),
        tried,
    )


def _log_posterior(f: Fit, prior: Prior) -> Array:
    return np.asarray(f.log_evidence + np.array([prior.log_probability(h) for h in f.hypotheses]))
