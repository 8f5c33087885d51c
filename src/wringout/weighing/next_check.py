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
from wringout.weighing.information import information, told
from wringout.weighing.likelihood import SLIP_SCALE, weight
from wringout.weighing.search import Weighed
from wringout.weighing.situation import Observation, Problem, Situation
from wringout.weighing.unknowns import Layout, layout

__all__ = ["HANDLING_MINUTES", "SETTLE_MINUTES", "STATES", "Check", "next_checks"]

STATES = ("auto", "reheat.command=0 %", "reheat.command=100 %", "cooling.call=0 %", "cooling.call=100 %")
SETTLE_MINUTES = 15.0  # a forced state counts so much before its readings mean anything
HANDLING_MINUTES = 5.0  # deciding, walking there, opening up, writing down: judgement
NOT_ASKED = frozenset({"shown.dehumidifying"})
SLIP_PRONE = 0.01  # displays do not slip, and show the same again
SUSPECT_SLIP = 0.03  # a reading is taken again only where it is a slip with more than this probability
COMMON = 0.5  # of an instrument's error variance, what a second reading there shares with it: judgement


@dataclass(frozen=True)
class Check:
    """One further reading: the state to be in, the point, minutes it takes (waiting included) and bits it
    is expected to tell; ``again`` where the point was read there already and may have been a slip."""

    state: str
    point: str
    minutes: float
    gain_bits: float
    again: bool = False


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
        Most bits per minute first. Readings that were taken are among them where they may be slips.

    Notes
    -----
    The gain is the mutual information between the reading and which set of causes is at work. Two steps are
    looked at: a reading is worth its own bits per minute, or those of itself and its best companion in the
    same state together, whichever is more. So a forced state is worth its wait where two readings there
    earn it, and so is a reading that tells only beside another.
    """
    hypotheses, owner, part, rows = draw(weighed, weights, samples, rng)
    sets = sorted({h.causes for h in hypotheses})
    set_of = np.array([sets.index(h.causes) for h in hypotheses])[owner]
    found: list[tuple[float, float, Check]] = []
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
        names, values, spreads = [], [], []
        for name in _unread(points, situation, s, part):
            if name not in predicted:
                continue
            value = np.broadcast_to(predicted[name], owner.shape)
            instrument = sigma(name, float(np.mean(np.abs(value))))
            spread = np.hypot(instrument, model_spread(name, predicted[name], s, situation.item))
            names.append(name)
            values.append(value)
            spreads.append(np.broadcast_to(spread, owner.shape))
        wait = 0.0 if grown is at.problem or state == "auto" else SETTLE_MINUTES
        if names:
            gains = told(np.array(values), np.array(spreads), part, set_of, len(sets))
            cost = np.array([minutes[name] for name in names])
            found += _ranked(state, names, gains.alone, gains.both, cost, wait)
        for o in situation.observations:
            gain = _again(o, s, predicted, situation, part, set_of, len(sets))
            if gain > 0.0 and o is [other for other in situation.observations if other.point == o.point][-1]:
                rate = gain / (minutes[o.point] + HANDLING_MINUTES)
                found.append((rate, rate, Check(state, o.point, minutes[o.point], gain, True)))
    found.sort(key=lambda c: (-c[0], -c[1]))
    return [check for _, _, check in found]


def _unread(points: Sequence[str], situation: Situation, s: Settled, part: Array) -> list[str]:
    """Points that can still be read in a situation and are not held there by hand."""
    taken = {o.point for o in situation.observations} | NOT_ASKED
    if situation.item == "reheat.command":
        taken |= {"shown.reheat_command", "shown.reheat_in_hand"}
    return [
        name
        for name in points
        if name not in taken
        and (not name.startswith("stage.") or name.endswith(".current") or _runs(s, name, part))
    ]


def _runs(s: Settled, name: str, part: Array) -> bool:
    """Whether the stage of a point very probably runs: gauges tell nothing of one that stands still."""
    index = s.design.unit.stage_ids.index(name.split(".")[1])
    running = np.broadcast_to(s.cooling.running[index], part.shape)
    return float((running * part).sum()) > 0.8 * float(part.sum())


def _ranked(
    state: str, names: Sequence[str], alone: Array, both: Array, cost: Array, wait: float
) -> list[tuple[float, float, Check]]:
    """Checks of one state with what each is worth [bits/min]: looking two steps ahead, and by itself."""
    own = cost + HANDLING_MINUTES
    single = alone / (own + wait)
    # the wait is paid once for both; two that are worth no more than the better of them are not a plan
    pair = both / (own[:, None] + own[None, :] + wait)
    planned = pair > np.maximum(single[:, None], single[None, :])
    worth = np.maximum(single, np.where(planned, pair, 0.0).max(axis=1))
    return [
        (float(worth[k]), float(single[k]), Check(state, name, float(cost[k]) + wait, float(alone[k])))
        for k, name in enumerate(names)
    ]


def _again(
    o: Observation,
    s: Settled,
    predicted: Mapping[str, Array],
    situation: Situation,
    part: Array,
    set_of: Rows,
    sets: int,
) -> float:
    """Bits that a second reading of a point tells, where the first may have been a slip; else 0.

    A careful first reading is likely to be met again: the model's error and a part of the instrument's are
    the same. After a slip the second reading is as open as any. Each sample is split into the two.
    """
    if o.slip < SLIP_PRONE or o.point not in predicted:
        return 0.0
    value = np.broadcast_to(predicted[o.point], part.shape)
    model = np.broadcast_to(model_spread(o.point, predicted[o.point], s, situation.item), part.shape)
    whole = np.square(o.sigma) + np.square(model)
    off = o.value - value
    kept = weight((off / np.sqrt(whole))[:, None], np.array([o.slip]))[:, 0]
    slipped = np.clip((1.0 - kept) / (1.0 - 1.0 / SLIP_SCALE**2), 0.0, 1.0)
    if float(slipped @ part) < SUSPECT_SLIP * float(part.sum()):
        return 0.0
    common = np.square(model) + COMMON * np.square(o.sigma)
    means, spreads = [], []
    for wider in (1.0, SLIP_SCALE**2):
        share = common / (whole * wider)
        means.append(value + share * off)
        spreads.append(np.sqrt(common * (1.0 - share) + (1.0 - COMMON) * np.square(o.sigma)))
    split = np.concatenate([part * (1.0 - slipped), part * slipped])
    return float(
        information(
            np.concatenate(means)[None], np.concatenate(spreads)[None], split, np.tile(set_of, 2), sets
        )[0]
    )
