"""Many hypotheses, each with many rows of unknowns, through the machine at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from wringout.machine.acts import ACTS
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.parameters import Array, neutral
from wringout.machine.steady import Settled, read_points, settle
from wringout.weighing.consistency import TERMS, consistency
from wringout.weighing.discrepancy import model_spread
from wringout.weighing.hypothesis import Hypothesis, Part
from wringout.weighing.likelihood import log_density
from wringout.weighing.situation import Situation
from wringout.weighing.unknowns import Layout, conditions, uniform

__all__ = ["CONDITIONED", "Residuals", "settled", "values_of", "residuals"]

Rows = NDArray[np.intp]
# a reading of these is taken as the state itself rather than as evidence about it
CONDITIONED = ("shown.stages_called", "shown.dehumidifying")
_SURROUNDINGS = tuple(f.name for f in fields(Conditions))
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
    values: dict[str, Array] = neutral(at.problem.design) | at.machines(z)
    values |= {name: np.full(1, value) for name, value in at.idle.items()}
    severity = uniform(z[:, at.first_severity :])
    # the same part with its severities in the same columns acts on all its rows at once
    places: dict[tuple[int, int], list[int]] = {}
    parts: dict[int, Part] = {}
    for h, hypothesis in enumerate(hypotheses):
        for part in hypothesis.parts:
            if part.cause not in mended:
                column = hypothesis.columns[part.cause].start
                places.setdefault((part.number, column), []).append(h)
                parts[part.number] = part
    first = np.searchsorted(owner, np.arange(len(hypotheses) + 1))
    chosen = np.zeros(len(hypotheses), dtype=bool)
    own: set[str] = set()
    for (number, column), owners in places.items():
        part = parts[number]
        rows: Rows | slice
        if len(owners) == 1:
            rows = slice(int(first[owners[0]]), int(first[owners[0] + 1]))
        else:
            chosen[:] = False
            chosen[owners] = True
            rows = np.flatnonzero(chosen[owner])

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


def residuals(
    at: Layout, hypotheses: Sequence[Hypothesis], blocks: Sequence[tuple[int, Rows, Array]]
) -> list[Residuals]:
    """Residuals of rows of unknowns in several situations, all through the machine in one call.

    Parameters
    ----------
    at : Layout
    hypotheses : sequence of Hypothesis
    blocks : sequence of (int, array of int, array)
        Situation, owners in rising order, and rows (rows, width) [-].

    Returns
    -------
    list of Residuals
        One a block.

    Notes
    -----
    The machine costs some thousand numpy calls whatever the number of rows: one call for all situations,
    not one each.
    """
    counts = [z.shape[0] for _, _, z in blocks]
    is_beyond = np.array(["beyond-design" in h.causes for h in hypotheses])
    around = [conditions(at, index, z, is_beyond[owner]) for index, owner, z in blocks]
    surroundings = Conditions(
        *(_joined([getattr(c, name) for c in around], counts) for name in _SURROUNDINGS)
    )
    values = _values_of_all(at, hypotheses, blocks)
    whole = settle(at.problem.design, values, surroundings)
    read = {o.point for index, _, _ in blocks for o in at.problem.situations[index].observations}
    points = read_points(whole, read)
    found: list[Residuals] = []
    first = 0
    for (index, _, _), count in zip(blocks, counts, strict=True):
        rows = slice(first, first + count)
        part = cast(Settled, _Rows(whole, rows))
        here = {name: value[rows] if value.shape[0] > 1 else value for name, value in points.items()}
        found.append(against(part, here, at.problem.situations[index], count))
        first += count
    return found


def _values_of_all(
    at: Layout, hypotheses: Sequence[Hypothesis], blocks: Sequence[tuple[int, Rows, Array]]
) -> dict[str, Array]:
    """Machine parameters of several blocks end to end; what is mended may differ between situations."""
    # situations of one machine that are asked for the same rows share its parameters
    made: dict[tuple[int, int, frozenset[str]], dict[str, Array]] = {}
    whole: list[dict[str, Array]] = []
    for index, owner, z in blocks:
        mended = at.problem.situations[index].mended
        key = id(owner), id(z), mended
        if key not in made:
            made[key] = values_of(at, hypotheses, owner, z, mended)
        whole.append(made[key])
    if all(part is whole[0] for part in whole):
        return {n: np.tile(v, len(blocks)) if v.shape[0] > 1 else v for n, v in whole[0].items()}
    counts = [z.shape[0] for _, _, z in blocks]
    return {
        name: _joined([part[name] for part in whole], counts)
        for name in dict.fromkeys(name for part in whole for name in part)
    }


def _joined(parts: Sequence[Array], counts: Sequence[int]) -> Array:
    """Arrays of blocks end to end; one entry stays one entry where it is the same for all blocks."""
    first = parts[0]
    if first.shape[0] == 1 and sum(counts) > 1:
        value = first.item()
        if all(
            part is first
            or (part.shape[0] == 1 and (part.item() == value or np.isnan([part.item(), value]).all()))
            for part in parts[1:]
        ):
            return first
    return np.concatenate(
        [
            part if part.shape[0] == count else np.full(count, part[0])
            for part, count in zip(parts, counts, strict=True)
        ]
    )


class _Rows:
    """Some rows of a structure of arrays, cut when asked for: of a hundred arrays few ever are."""

    def __init__(self, whole: Any, rows: slice) -> None:
        self._whole, self._rows = whole, rows

    def __getattr__(self, name: str) -> Any:
        return _cut(getattr(self._whole, name), self._rows)

    def __getitem__(self, name: str | int) -> Any:
        return _cut(self._whole[name], self._rows)


def _cut(thing: Any, rows: slice) -> Any:
    if isinstance(thing, np.ndarray):
        return thing[rows] if thing.ndim and thing.shape[0] > 1 else thing
    if isinstance(thing, (Mapping, tuple)) or (is_dataclass(thing) and not isinstance(thing, Design)):
        return _Rows(thing, rows)
    return thing


def of_settled(s: Settled, situation: Situation, count: int) -> Residuals:
    """Residuals of a settled machine against what was read in its situation."""
    return against(s, read_points(s), situation, count)


def against(s: Settled, points: Mapping[str, Array], situation: Situation, count: int) -> Residuals:
    """Residuals of a settled machine and its points against what was read."""
    terms = consistency(s, situation)
    observed = [o for o in situation.observations if o.point in points and o.point not in CONDITIONED]
    tolerance = situation.tolerance
    names = [name for name in TERMS if name in terms]
    residual = np.empty((count, len(observed) + len(names)))
    log_spread = np.zeros_like(residual)
    slip = np.empty(residual.shape[1])
    for k, o in enumerate(observed):
        predicted = points[o.point]
        missed = model_spread(o.point, predicted, s, situation.item, situation.logged is not None)
        spread = tolerance * np.hypot(o.sigma, missed)
        residual[:, k] = (o.value - predicted) / spread
        log_spread[:, k] = np.log(spread)
        slip[k] = o.slip
    for k, name in enumerate(names, start=len(observed)):
        residual[:, k] = terms[name] / tolerance
        log_spread[:, k] = np.log(tolerance)
        slip[k] = TERM_SLIP
    return Residuals(residual, log_spread, slip)
