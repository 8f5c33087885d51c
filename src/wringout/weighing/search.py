"""Which sets of causes to weigh: every single one, and larger sets grown from what smaller ones leave
unexplained."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array
from wringout.weighing.batch import Residuals, Rows
from wringout.weighing.curvature import Curvature
from wringout.weighing.fit import LONGEST, REACH, Fit, everywhere, fit, log_posterior
from wringout.weighing.hypothesis import HEALTHY, Hypothesis, Part, compatible, extended
from wringout.weighing.likelihood import log_density
from wringout.weighing.prior import Prior
from wringout.weighing.unknowns import Layout, stage_steps

__all__ = ["Weighed", "screen", "search"]

GRID = np.array([-0.9, 0.9])  # severities at which a cause is first tried, in standard normal units
PARENTS = (14, 12)  # how many sets grow by one more cause: singles to pairs, pairs to triples
KEPT = (48, 28)  # how many grown sets are fitted in full
ALWAYS = 12  # how many are fitted whatever they seem worth, since screening can be far too low
RESTAGE_WORTH = 1.0  # nats that another number of stages must promise to be fitted
LEADING = 5  # how many sets of a size are looked at for a better place far off
JUMPS = np.array([-2.4, -1.6, -0.8, 0.8, 1.6, 2.4])  # of one unknown, in standard normal units
JUMP_WORTH = 0.5  # nats that a jump must gain by itself
JUMPED = 3  # jumps in a row
WORTH = 7.5  # nats under the best beyond which a grown set is not fitted


@dataclass(frozen=True)
class Weighed:
    """Every set that was fitted, with its unnormalised log posterior (evidence times prior).

    ``left`` are the sets that were screened and not worth a fit, ``left_log_posterior`` what the screening
    made of them: each next to nothing, together some hundredths.
    """

    fits: tuple[Fit, ...]
    hypotheses: tuple[Hypothesis, ...]
    log_posterior: Array
    z: Array
    tried: int
    left: tuple[Hypothesis, ...]
    left_log_posterior: Array


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
    joining: list[Part] = []
    parent_of: list[int] = []
    for index in parents:
        parent = base.hypotheses[index]
        for part in parts:
            if compatible(parent, part):
                grown.append(extended(parent, part))
                joining.append(part)
                parent_of.append(index)
    if not grown:
        return []
    owner, rows = _first_rows(at, base, parent_of, grown, joining)
    origin = np.array(parent_of)[owner]
    began = everywhere(at, grown, owner, rows)
    stood = _posterior(base, origin, began, began.residual, rows)
    value, stepped = _stepped(base, origin, began, rows, at.first_severity)
    standing, moving = _best_of(grown, owner, stood), _best_of(grown, owner, value)
    # a linear step is a guess: look where it led, and step once more from there; at a stop it may lead
    # nowhere good, and where the set began is better
    picked = np.array(list(moving.values()))
    children, origin = [grown[i] for i in owner[picked]], origin[picked]
    there = everywhere(at, children, np.arange(len(children)), stepped[picked])
    reached = _posterior(base, origin, there, there.residual, stepped[picked])
    hoped, further = _stepped(base, origin, there, stepped[picked], at.first_severity)
    found = []
    for k, (child, row, onward) in enumerate(zip(children, stepped[picked], further, strict=True)):
        start = standing[child.numbers]
        worth, at_best = max(
            ((float(stood[start]), 0), (float(reached[k]), 1), (float(hoped[k]), 2)), key=lambda item: item[0]
        )
        found.append((worth + prior.log_probability(child), child, (rows[start], row, onward)[at_best]))
    return sorted(found, key=lambda item: -item[0])


def _best_of(grown: Sequence[Hypothesis], owner: Rows, value: Array) -> dict[tuple[int, ...], int]:
    """By the numbers of a set its best row; one set may have grown from several parents."""
    best: dict[tuple[int, ...], int] = {}
    for k, (index, worth) in enumerate(zip(owner.tolist(), value.tolist(), strict=True)):
        numbers = grown[index].numbers
        kept = best.get(numbers)
        if kept is None or worth > value[kept]:
            best[numbers] = k
    return best


def _posterior(base: Fit, origin: Rows, at_rows: Residuals, residual: Array, rows: Array) -> Array:
    """Log evidence with a parent's curvature."""
    likelihood = (log_density(residual, at_rows.slip) - at_rows.log_spread).sum(axis=1)
    return np.asarray(likelihood - 0.5 * np.square(rows).sum(axis=1) - 0.5 * base.log_determinant[origin])


def _stepped(
    base: Fit, origin: Rows, at_rows: Residuals, rows: Array, first_severity: int
) -> tuple[Array, Array]:
    """Move rows one linear step with their parents' slopes; what is hoped for there, and where it is."""
    value = np.full(rows.shape[0], -np.inf)
    moved = rows.copy()
    groups = [(k, np.flatnonzero(origin == k)) for k in dict.fromkeys(origin.tolist())]
    # a reading that the parent had to take for a slip may be just what the new cause explains: try both ways
    for trusting in (False, True):
        onward, residual = np.empty_like(rows), np.empty_like(at_rows.residual)
        for index, of in groups:
            jacobian = base.jacobian[index]
            weights = np.ones(at_rows.slip.size) if trusting else base.weights[index]
            pull = (weights * at_rows.residual[of]) @ jacobian + rows[of]
            step = -Curvature((jacobian * np.sqrt(weights)[:, None])[None]).solve(pull.T[None])[0].T
            step[:, first_severity:] = 0.0
            step *= np.minimum(1.0, LONGEST / np.maximum(np.abs(step).max(axis=1), 1e-9))[:, None]
            onward[of] = rows[of] + step
            residual[of] = at_rows.residual[of] + step @ jacobian.T
        tried = _posterior(base, origin, at_rows, residual, onward)
        better = tried > value
        value[better], moved[better] = tried[better], onward[better]
    return value, moved


def _first_rows(
    at: Layout, base: Fit, parents: Sequence[int], grown: Sequence[Hypothesis], joining: Sequence[Part]
) -> tuple[Rows, Array]:
    """Rows to try grown sets at, and which set each belongs to.

    All unknowns are at the parent's best, its severities carried to the columns they have in the grown set;
    the joining cause stands at a few severities, and at the middle one with one stage more or less where
    their number is open.
    """
    steps = stage_steps(at)
    tried = np.array([GRID.size if part.severities else 1 for part in joining])
    owner = np.repeat(np.arange(len(grown)), tried + 2 * len(steps))
    first = np.searchsorted(owner, np.arange(len(grown)))
    moved = base.z[list(parents)]
    moved[:, at.first_severity :] = 0.0
    column = np.zeros(len(grown), dtype=np.intp)
    for k, (index, child, part) in enumerate(zip(parents, grown, joining, strict=True)):
        for cause, before in base.hypotheses[index].columns.items():
            for here, there in zip(before, child.columns[cause], strict=True):
                moved[k, at.first_severity + there] = base.z[index, at.first_severity + here]
        if part.severities:
            column[k] = at.first_severity + child.columns[part.cause].start
    severe = np.flatnonzero(column)
    moved[severe, column[severe]] = GRID[GRID.size // 2]
    rows = moved[owner]
    for k, severity in enumerate(GRID):
        rows[first[severe] + k, column[severe]] = severity
    for k, (stage, step) in enumerate(steps):
        rows[first + tried + 2 * k, stage] -= step
        rows[first + tried + 2 * k + 1, stage] += step
    return owner, rows


def _restaged(at: Layout, level: Fit) -> Fit:
    """Try one stage more and one less where their number is open, and fit again where that helps."""
    steps = stage_steps(at)
    if not steps:
        return level
    count = len(level.hypotheses)
    moves = [(column, way * step) for column, step in steps for way in (-1.0, 1.0)]
    rows = np.repeat(level.z[:, None, :], len(moves), axis=1)
    for m, (column, move) in enumerate(moves):
        rows[:, m, column] = np.clip(rows[:, m, column] + move, -REACH, REACH)
    flat = rows.reshape(-1, at.width)
    origin = np.repeat(np.arange(count), len(moves))
    there = everywhere(at, level.hypotheses, origin, flat)
    reached = _posterior(level, origin, there, there.residual, flat)
    hoped, onward = _stepped(level, origin, there, flat, at.first_severity)
    # what a linear step hopes for may put the stage back to where it was: look there before going
    beyond = everywhere(at, level.hypotheses, origin, onward)
    found = _posterior(level, origin, beyond, beyond.residual, onward)
    worth = np.maximum(np.maximum(reached, hoped), found).reshape(count, -1)
    best = np.argmax(worth, axis=1)
    each = np.arange(count)
    better = np.flatnonzero(worth[each, best] > level.log_evidence + RESTAGE_WORTH)
    if better.size == 0:
        return level
    taken = better * len(moves) + best[better]
    start = np.where((found > reached)[taken][:, None], onward[taken], flat[taken])
    again = fit(at, [level.hypotheses[k] for k in better], start, rounds=3)
    gained = again.log_evidence > level.log_evidence[better]
    return level.replaced(better[gained], again, np.flatnonzero(gained))


def _freed(at: Layout, level: Fit, prior: Prior) -> Fit:
    """Look for better places of the leading hypotheses far from where their fits came to rest.

    A fit may rest with a reading taken for a slip that a far value of one unknown would explain: slopes do
    not show that. Every unknown of a leading hypothesis jumps by itself, the best jump is taken and fitted
    from, until none gains.
    """
    leading = np.argsort(-_log_posterior(level, prior))[:LEADING]
    for _ in range(JUMPED):
        leading = np.sort(leading)
        hypotheses = [level.hypotheses[k] for k in leading]
        widths = [at.first_severity + h.severities for h in hypotheses]
        rows, owner = [], []
        for k, (index, width) in enumerate(zip(leading, widths, strict=True)):
            jumped = np.repeat(level.z[index][None], width * JUMPS.size, axis=0)
            column = np.repeat(np.arange(width), JUMPS.size)
            jumped[np.arange(column.size), column] += np.tile(JUMPS, width)
            rows.append(np.clip(jumped, -REACH, REACH))
            owner.append(np.full(column.size, k))
        stacked, of = np.concatenate(rows), np.concatenate(owner)
        worth = log_posterior(at, hypotheses, of, stacked)
        now = level.log_likelihood[leading] - 0.5 * np.square(level.z[leading]).sum(axis=1)
        starts = [np.flatnonzero(of == k)[int(np.argmax(worth[of == k]))] for k in range(len(hypotheses))]
        better = np.flatnonzero(worth[starts] > now + JUMP_WORTH)
        if better.size == 0:
            break
        chosen = [hypotheses[k] for k in better]
        again = fit(at, chosen, stacked[[starts[k] for k in better]], rounds=4)
        places = leading[better]
        gained = again.log_evidence > level.log_evidence[places]
        level = level.replaced(places[gained], again, np.flatnonzero(gained))
        leading = places[gained]
        if leading.size == 0:
            break
    return level


def _healthy_start(at: Layout) -> Array:
    """Where the healthy machine's fit begins: at its schedule, with the number of stages that fits best."""
    z = np.zeros((1, at.width))
    for column, step in stage_steps(at):
        rows = np.repeat(z, 5, axis=0)
        rows[:, column] += step * np.arange(-2.0, 3.0)
        value = log_posterior(at, [HEALTHY], np.zeros(5, dtype=np.intp), rows)
        z = rows[[int(np.argmax(value))]]
    return z


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
    base = _freed(at, fit(at, [HEALTHY], _healthy_start(at), rounds=6), prior)
    fits = [base]
    left: list[tuple[float, Hypothesis]] = []
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
            worth = [k < ALWAYS or (k < KEPT[size - 2] and f[0] > best - WORTH) for k, f in enumerate(found)]
            left += [(f[0], f[1]) for f, fitted in zip(found, worth, strict=True) if not fitted]
            found = [f for f, fitted in zip(found, worth, strict=True) if fitted]
        if not found:
            break
        rounds = 5 if size == 1 else 4
        level = fit(at, [f[1] for f in found], np.array([f[2] for f in found]), rounds=rounds)
        level = _freed(at, _restaged(at, level), prior)
        fits.append(level)
    hypotheses = tuple(h for f in fits for h in f.hypotheses)
    return Weighed(
        tuple(fits),
        hypotheses,
        np.concatenate([_log_posterior(f, prior) for f in fits]),
        np.concatenate([f.z for f in fits]),
        tried,
        tuple(h for _, h in left),
        np.array([value for value, _ in left]),
    )


def _log_posterior(f: Fit, prior: Prior) -> Array:
    return np.asarray(f.log_evidence + np.array([prior.log_probability(h) for h in f.hypotheses]))
