"""Many hypotheses, each with many rows of unknowns, through the machine at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.machine.acts import ACTS
from wringout.machine.parameters import Array, healthy_values, neutral
from wringout.machine.steady import Settled, read_points, settle
from wringout.weighing.consistency import TERMS, consistency
from wringout.weighing.discrepancy import model_spread
from wringout.weighing.hypothesis import Hypothesis, Part
from wringout.weighing.likelihood import log_density
from wringout.weighing.situation import Situation
from wringout.weighing.unknowns import Layout, conditions, uniform

__all__ = ["Residuals", "settled", "values_of", "residuals"]

Rows = NDArray[np.intp]
TERM_SLIP = 0.02  # a control or a room that is between two states: treated like a slip


@dataclass(frozen=True)
class Residuals:
    """Standardised residuals of every reading and consistency term, and what they make of the likelihood.

    ``residual`` (rows, terms) [-]; ``log_spread`` (rows, terms) logarithm of each term's standard
    deviation; ``slip`` (terms,).
    """

    residual: Array
    log_spread: Array
    slip: Array

    @property
    def log_likelihood(self) -> Array:
        """(rows,) sum over terms."""
        return np.asarray((log_density(self.residual, self.slip) - self.log_spread).sum(axis=1))


def values_of(
    at: Layout, hypotheses: Sequence[Hypothesis], owner: Rows, z: Array, mended: frozenset[str]
) -> dict[str, Array]:
    """Machine parameters of rows of unknowns, with each row's causes acting.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    owner : array of int, (rows,)
        Which hypothesis a row belongs to, in rising order.
    z : array, (rows, width), [-]
    mended : frozenset of str
        Causes that are dealt with by now and act no more.

    Returns
    -------
    dict of array
    """
    count = z.shape[0]
    values: dict[str, Array] = neutral(at.problem.design) | healthy_values(at.rows, z)
    values |= {name: np.full(1, value) for name, value in at.idle.items()}
    severity = uniform(z[:, at.first_severity :])
    # the same part with its severities in the same columns acts on all its rows at once
    places: dict[tuple[int, int], list[int]] = {}
    parts: dict[int, Part] = {}
    for h, hypothesis in enumerate(hypotheses):
        column = 0
        for part in hypothesis.parts:
            if part.cause not in mended:
                places.setdefault((part.number, column), []).append(h)
                parts[part.number] = part
            column += part.severities
    first = np.searchsorted(owner, np.arange(len(hypotheses) + 1))
    own: set[str] = set()
    for (number, column), owners in places.items():
        part = parts[number]
        rows: Rows | slice = (
            slice(int(first[owners[0]]), int(first[owners[0] + 1]))
            if len(owners) == 1
            else np.concatenate([np.arange(first[h], first[h + 1]) for h in owners])
        )

        def read(name: str, rows: Rows | slice = rows) -> Array:
            field = values[name]
            return np.asarray(field[rows]) if field.shape[0] > 1 else field

        drawn = [severity[rows, column + k] for k in range(part.severities)]
        for name, moved in ACTS[part.cause].move(read, part.variant, drawn).items():
            if name not in own:
                field = values[name]
                values[name] = np.full(count, field[0]) if field.shape[0] == 1 else field.copy()
                own.add(name)
            values[name][rows] = moved
    return values


def settled(at: Layout, index: int, hypotheses: Sequence[Hypothesis], owner: Rows, z: Array) -> Settled:
    """Let the machine settle in one situation for every row.

    Parameters
    ----------
    at : Layout
    index : int
        Which situation.
    hypotheses : sequence of Hypothesis
    owner : array of int, (rows,)
        In rising order.
    z : array, (rows, width), [-]

    Returns
    -------
    Settled
    """
    beyond = np.array(["beyond-design" in h.causes for h in hypotheses])[owner]
    values = values_of(at, hypotheses, owner, z, at.problem.situations[index].mended)
    return settle(at.problem.design, values, conditions(at, index, z, beyond))


def residuals(at: Layout, index: int, hypotheses: Sequence[Hypothesis], owner: Rows, z: Array) -> Residuals:
    """Residuals of one situation for every row.

    Parameters
    ----------
    at : Layout
    index : int
    hypotheses : sequence of Hypothesis
    owner : array of int, (rows,)
    z : array, (rows, width), [-]

    Returns
    -------
    Residuals
    """
    s = settled(at, index, hypotheses, owner, z)
    return of_settled(s, at.problem.situations[index], z.shape[0], at.tolerance)


def of_settled(s: Settled, situation: Situation, count: int, tolerance: float) -> Residuals:
    """Residuals of a settled machine against what was read in its situation."""
    points = read_points(s)
    terms = consistency(s, situation)
    observed = [
        o for o in situation.observations if o.point in points and not _conditioned(o.point, situation)
    ]
    names = [name for name in TERMS if name in terms]
    residual = np.empty((count, len(observed) + len(names)))
    log_spread = np.zeros_like(residual)
    slip = np.empty(residual.shape[1])
    for k, o in enumerate(observed):
        predicted = points[o.point]
        spread = tolerance * np.hypot(o.sigma, model_spread(o.point, predicted, s, situation.item))
        residual[:, k] = (o.value - predicted) / spread
        log_spread[:, k] = np.log(spread)
        slip[k] = o.slip
    for k, name in enumerate(names, start=len(observed)):
        residual[:, k] = terms[name] / tolerance
        log_spread[:, k] = np.log(tolerance)
        slip[k] = TERM_SLIP
    return Residuals(residual, log_spread, slip)


def _conditioned(point: str, situation: Situation) -> bool:
    """Whether a reading is taken as the state itself rather than as evidence about it."""
    return point in ("shown.stages_called", "shown.dehumidifying")
