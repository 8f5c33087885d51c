"""The next check: the reading, in the present or a forced state, that is expected to tell most per minute."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wringout.machine.parameters import Array
from wringout.machine.steady import Settled, read_points
from wringout.weighing.batch import Rows, settled
from wringout.weighing.curvature import Curvature
from wringout.weighing.discrepancy import model_spread
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.search import Weighed
from wringout.weighing.situation import Problem, Situation
from wringout.weighing.unknowns import Layout, layout

__all__ = ["HANDLING_MINUTES", "SETTLE_MINUTES", "STATES", "Check", "next_checks"]

STATES = ("auto", "reheat.command=0 %", "reheat.command=100 %", "cooling.call=0 %", "cooling.call=100 %")
SETTLE_MINUTES = 15.0  # a forced state counts so much before its readings mean anything
HANDLING_MINUTES = 5.0  # deciding, walking there, opening up, writing down: judgement
BINS = 24
NOT_ASKED = frozenset({"shown.dehumidifying"})


@dataclass(frozen=True)
class Check:
    """One further reading: the state to be in, the point, minutes it takes (waiting included) and bits it
    is expected to tell."""

    state: str
    point: str
    minutes: float
    gain_bits: float


def _situation(problem: Problem, state: str) -> tuple[Problem, int]:
    """The problem with a situation for a state on the machine as it now is, and that situation's index."""
    last = problem.situations[-1] if problem.situations else None
    visit = last.visit if last else 0
    epoch = last.epoch if last else 0
    for i, s in enumerate(problem.situations):
        if s.state == state and s.visit == visit and s.epoch == epoch:
            return problem, i
    item, to = None, 0.0
    if state != "auto":
        item, _, share = state.partition("=")
        to = float(share.removesuffix("%")) / 100.0
    added = Situation(state, item, to, visit, epoch, last.mended if last else frozenset(), ())
    return replace(problem, situations=(*problem.situations, added)), len(problem.situations)


def draw(
    weighed: Weighed, weights: Array, samples: int, rng: np.random.Generator
) -> tuple[list[Hypothesis], Rows, Array, Array]:
    """Draw unknowns from the hypotheses that matter.

    Parameters
    ----------
    weighed : Weighed
    weights : array, (hypotheses,), [-]
        Posterior probabilities.
    samples : int
        About how many in all.
    rng : numpy.random.Generator

    Returns
    -------
    (list of Hypothesis, array, array, array)
        Hypotheses; owner of each sample; each sample's share of its hypothesis; rows of unknowns.
    """
    order = np.argsort(-weights)
    kept = order[: max(1, int(np.searchsorted(np.cumsum(weights[order]), 0.985)) + 1)][:40]
    share = np.sqrt(weights[kept])
    counts = np.maximum(6, np.round(samples * share / share.sum())).astype(int)
    bounds = np.cumsum([0] + [len(f.hypotheses) for f in weighed.fits])
    hypotheses, owners, rows, parts = [], [], [], []
    for slot, (index, count) in enumerate(zip(kept, counts, strict=True)):
        level = int(np.searchsorted(bounds, index, side="right")) - 1
        f = weighed.fits[level]
        k = int(index) - int(bounds[level])
        noise = Curvature(f.curvature.root[[k]]).draw(int(count), rng)[0]
        rows.append(np.clip(f.z[k] + noise, -5.0, 5.0))
        hypotheses.append(f.hypotheses[k])
        owners.append(np.full(count, slot))
        parts.append(np.full(count, weights[index] / count))
    return hypotheses, np.concatenate(owners), np.concatenate(parts), np.concatenate(rows)


def _carried(old: Layout, new: Layout, rows: Array, rng: np.random.Generator) -> Array:
    """Rows of unknowns in a layout that has one more situation, whose own columns are drawn from their
    prior."""
    wide = rng.standard_normal((rows.shape[0], new.width))
    fixed = old.first_severity
    wide[:, :fixed] = rows[:, :fixed]
    wide[:, new.first_severity :] = rows[:, old.first_severity :]
    return wide


def next_checks(
    at: Layout,
    weighed: Weighed,
    weights: Array,
    points: Sequence[str],
    sigma: Callable[[str, float], float],
    minutes: Mapping[str, float],
    rng: np.random.Generator,
    samples: int = 320,
) -> list[Check]:
    """Rank every reading that could be taken next.

    Parameters
    ----------
    at : Layout
    weighed : Weighed
    weights : array, (hypotheses,), [-]
        Posterior probabilities of ``weighed.hypotheses``.
    points : sequence of str
        Test points of this unit.
    sigma : callable
        Standard deviation [SI] of a reading by point and value.
    minutes : mapping
        What a reading takes, by point.
    rng : numpy.random.Generator
    samples : int

    Returns
    -------
    list of Check
        Most bits per minute first; a forced state that was not entered yet costs its wait, shared by the
        two readings worth most there.

    Notes
    -----
    The gain is the mutual information between the reading and which set of causes is at work, by binning
    each sample's predictive distribution; within a set the samples are smoothed by Silverman's rule.
    """
    hypotheses, owner, part, rows = draw(weighed, weights, samples, rng)
    sets = sorted({h.causes for h in hypotheses})
    set_of = np.array([sets.index(h.causes) for h in hypotheses])[owner]
    found: list[tuple[float, Check]] = []
    for state in STATES:
        grown, index = _situation(at.problem, state)
        if grown is at.problem:
            here, wide = at, rows
        else:
            here = layout(grown, at.severities, at.rows)
            wide = _carried(at, here, rows, rng)
        s = settled(here, index, hypotheses, owner, wide)
        predicted = read_points(s)
        situation = grown.situations[index]
        read = {o.point for o in situation.observations}
        entered = grown is at.problem or state == "auto"
        names, values, spreads = [], [], []
        for name in points:
            if name in read or name in NOT_ASKED or name not in predicted:
                continue
            if name.startswith("stage.") and not name.endswith(".current") and not _runs(s, name, part):
                continue
            if state.startswith("reheat.command") and name in (
                "shown.reheat_command",
                "shown.reheat_in_hand",
            ):
                continue
            value = np.broadcast_to(predicted[name], owner.shape)
            instrument = sigma(name, float(np.mean(np.abs(value))))
            spread = np.hypot(instrument, model_spread(name, predicted[name], s, situation.item))
            names.append(name)
            values.append(value)
            spreads.append(np.broadcast_to(spread, owner.shape))
        if not names:
            continue
        gains = information(np.array(values), np.array(spreads), part, set_of, len(sets))
        cost = np.array([minutes[name] for name in names])
        found += _ranked(state, names, gains, cost, 0.0 if entered else SETTLE_MINUTES)
    found.sort(key=lambda c: -c[0])
    return [check for _, check in found]


def _runs(s: Settled, name: str, part: Array) -> bool:
    """Whether the stage of a point very probably runs: gauges tell nothing of one that stands still."""
    index = s.design.unit.stage_ids.index(name.split(".")[1])
    running = np.broadcast_to(s.cooling.running[index], part.shape)
    return float((running * part).sum()) > 0.8 * float(part.sum())


def _ranked(
    state: str, names: Sequence[str], gains: Array, cost: Array, wait: float
) -> list[tuple[float, Check]]:
    order = np.argsort(-gains / (cost + HANDLING_MINUTES))
    checks: list[tuple[float, Check]] = []
    for rank, k in enumerate(order):
        alone = float(gains[k]) / float(cost[k] + HANDLING_MINUTES + wait)
        value = alone
        if wait and rank + 1 < len(order) and rank == 0:
            # the wait buys more than one reading: count the second at half its worth, since it partly
            # tells the same
            other = order[1]
            together = float(gains[k] + 0.5 * gains[other]) / float(
                cost[k] + cost[other] + 2 * HANDLING_MINUTES + wait
            )
            value = max(alone, together)
        checks.append((value, Check(state, names[k], float(cost[k]) + wait, max(float(gains[k]), 0.0))))
    return checks


def information(values: Array, spreads: Array, part: Array, set_of: Array, sets: int) -> Array:
    """Mutual information between each reading and the set of causes [bits].

    Parameters
    ----------
    values : array, (points, samples), [SI]
        Predicted readings.
    spreads : array, (points, samples), [SI]
        Standard deviation of each.
    part : array, (samples,), [-]
        Probability that each sample stands for.
    set_of : array of int, (samples,)
    sets : int
        How many sets there are.

    Returns
    -------
    array, (points,), [bits]
    """
    count = values.shape[1]
    membership = np.zeros((count, sets))
    membership[np.arange(count), set_of] = part
    probability = membership.sum(axis=0)
    inside = membership / np.maximum(probability, 1e-300)
    # smooth within each set, so that few samples of a wide set do not pass for sharp knowledge
    mean = values @ inside
    square = (values**2) @ inside
    scatter = np.sqrt(np.maximum(square - mean**2, 0.0))
    effective = 1.0 / np.maximum((inside**2).sum(axis=0), 1e-300)
    smoothing = scatter * (1.06 * effective**-0.2)
    width = np.hypot(spreads, smoothing[:, set_of])
    # bin edges at quantiles of what is expected, noise included
    low = (values - 2.0 * width).min(axis=1)
    high = (values + 2.0 * width).max(axis=1)
    order = np.sort(np.concatenate([values - width, values + width], axis=1), axis=1)
    picks = np.linspace(0, order.shape[1] - 1, BINS - 1).astype(int)
    edges = order[:, picks]
    edges = np.maximum.accumulate(
        edges + np.linspace(0, 1e-9, BINS - 1) * (high - low + 1e-12)[:, None], axis=1
    )
    scaled = (edges[:, None, :] - values[:, :, None]) / width[:, :, None]
    below = 1.0 / (1.0 + np.exp(-1.5957691216 * np.clip(scaled * (1.0 + 0.044715 * scaled**2), -40.0, 40.0)))
    cells = np.diff(below, axis=2, prepend=0.0, append=1.0)
    within = np.einsum("psb,sk->pkb", cells, inside)
    overall = np.einsum("pkb,k->pb", within, probability / probability.sum())
    ratio = np.log2(np.maximum(within, 1e-12) / np.maximum(overall, 1e-12)[:, None, :])
    return np.asarray(np.einsum("pkb,pkb,k->p", within, ratio, probability / probability.sum()))
