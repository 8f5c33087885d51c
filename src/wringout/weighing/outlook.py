"""Outlook: what readings not yet taken would show under one hypothesis and under another.

From that follow what should be seen if a suspect is true, what a check would tell, and whether two suspects
can be told apart at all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from wringout.catalogue.points import points_of, sigma
from wringout.machine.parameters import Array
from wringout.machine.steady import Settled, read_points
from wringout.weighing.answer import Answer
from wringout.weighing.batch import settled
from wringout.weighing.discrepancy import model_spread
from wringout.weighing.evidence import best_with, covariance, fitted
from wringout.weighing.next_check import NOT_ASKED, STATES
from wringout.weighing.situation import Problem, Situation
from wringout.weighing.unknowns import Layout, layout

__all__ = ["Foretold", "Outlook", "Telling", "Tie", "distinct", "ties"]

DRAWS = 64
TIE_BITS = 0.15  # of the one bit between two suspects: a check that tells less parts nobody
LIKELY = 0.10  # probability from which a suspect is worth telling from another
NEARLY = 0.1  # bits that a forced state must tell more to be worth its wait
GRID = 65


@dataclass(frozen=True)
class Foretold:
    """What a point would read [SI], with one standard deviation of reading and computation together."""

    mean: float
    spread: float


@dataclass(frozen=True)
class Telling:
    """A reading that would tell one hypothesis from another: what it would show with ``suspect`` and with
    ``rival``, and how many of the one bit between the two it is expected to tell."""

    state: str
    point: str
    suspect: Foretold
    rival: Foretold
    bits: float


@dataclass(frozen=True)
class Tie:
    """Two suspects that no available check tells apart: their ids (empty for the healthy machine), the best
    such check (None where none is left), and the reading that would tell once the first is mended."""

    first: str
    second: str
    best: Telling | None
    after: Telling | None


@dataclass(frozen=True)
class _Scene:
    """A situation to look into: a layout that holds it, and what it adds to every row of unknowns."""

    at: Layout
    index: int
    state: str
    added: bool


def _last(answer: Answer) -> Situation | None:
    return answer.problem.situations[-1] if answer.problem.situations else None


def _scene(answer: Answer, state: str, mended: str | None = None) -> _Scene:
    """The present machine in a state; with ``mended``, the machine after that cause was dealt with."""
    problem, last = answer.problem, _last(answer)
    visit, epoch = (last.visit, last.epoch) if last else (0, 0)
    dealt = last.mended if last else frozenset()
    if mended is None:
        for i, s in enumerate(problem.situations):
            if (s.state, s.visit, s.epoch) == (state, visit, epoch):
                return _Scene(answer.at, i, state, False)
    else:
        epoch, dealt = epoch + 1, dealt | {mended}
    item, _, share = state.partition("=")
    held = item if share else None
    to = float(share.removesuffix("%")) / 100.0 if share else 0.0
    new = Situation(state, held, to, visit, epoch, dealt, ())
    grown: Problem = replace(problem, situations=(*problem.situations, new))
    at = layout(grown, answer.at.severities, answer.at.rows)
    return _Scene(at, len(problem.situations), state, True)


def _draws(answer: Answer, index: int, noise: Array) -> Array:
    """Draws of a hypothesis's unknowns about its best fit, made of given standard normal noise.

    The symmetric root turns like noise into like draws under two hypotheses, so that what differs between
    them is the hypotheses and not their luck.
    """
    f, k = fitted(answer, index)
    size, axes = np.linalg.eigh(covariance(f, k))
    root = (axes * np.sqrt(np.maximum(size, 0.0))) @ axes.T
    return np.asarray(np.clip(f.z[k] + noise @ root, -5.0, 5.0))


def _noise(width: int, rng: np.random.Generator) -> Array:
    """Standard normal rows, each with its opposite, so that their mean is 0."""
    half = rng.standard_normal((DRAWS // 2, width))
    return np.concatenate([half, -half])


class Outlook:
    """What every point would read in every state under some hypotheses, from draws of each.

    Parameters
    ----------
    answer : Answer
    indices : sequence of int
        Hypotheses to look at, indices into ``answer.weighed.hypotheses``.
    rng : numpy.random.Generator
    """

    def __init__(self, answer: Answer, indices: Sequence[int], rng: np.random.Generator) -> None:
        self.answer = answer
        self.indices = tuple(dict.fromkeys(indices))
        self._rng = rng
        noise = _noise(answer.at.width, rng)
        self._rows = np.concatenate([_draws(answer, index, noise) for index in self.indices])
        self._seen: dict[tuple[str, str | None], dict[str, tuple[Array, Array]]] = {}

    def tellings(self, mine: int, rival: int, mended: str | None = None) -> tuple[Telling, ...]:
        """Give the readings not yet taken that would tell one hypothesis from another.

        Parameters
        ----------
        mine, rival : int
            Two of the hypotheses looked at.
        mended : str, optional
            A cause that is dealt with before the reading, as the unit runs: under a hypothesis that holds
            it the machine is then mended, under another nothing has changed.

        Returns
        -------
        tuple of Telling
            Most telling first.

        Notes
        -----
        Each reading's distribution under a hypothesis is taken as normal; the bits are the Jensen-Shannon
        divergence of the two, 1 where they do not overlap.
        """
        pair = [self.indices.index(mine), self.indices.index(rival)]
        found = []
        for state in STATES if mended is None else ("auto",):
            for point, (mean, spread) in self._scene(state, mended).items():
                with_it, without = (Foretold(float(mean[k]), float(spread[k])) for k in pair)
                bits = information(mean[pair], spread[pair])
                found.append(Telling(state, point, with_it, without, bits))
        return tuple(sorted(found, key=lambda t: -t.bits))

    def foretold(self, state: str, point: str) -> tuple[Foretold, ...]:
        """Say what a reading would show under each of the hypotheses looked at.

        Parameters
        ----------
        state, point : str

        Returns
        -------
        tuple of Foretold
            In the order of ``indices``; empty where there is nothing to read or it was read already.
        """
        seen = self._scene(state, None).get(point)
        if seen is None:
            return ()
        return tuple(Foretold(float(m), float(s)) for m, s in zip(*seen, strict=True))

    def _scene(self, state: str, mended: str | None) -> dict[str, tuple[Array, Array]]:
        key = (state, mended)
        if key not in self._seen:
            self._seen[key] = self._look(_scene(self.answer, state, mended))
        return self._seen[key]

    def _look(self, scene: _Scene) -> dict[str, tuple[Array, Array]]:
        """Mean and standard deviation [SI] of every reading that can be taken, one a hypothesis."""
        at, old, rows = scene.at, self.answer.at, self._rows
        if scene.added:
            wide = np.tile(_noise(at.width, self._rng), (len(self.indices), 1))
            wide[:, : old.first_severity] = rows[:, : old.first_severity]
            wide[:, at.first_severity :] = rows[:, old.first_severity :]
            rows = wide
        hypotheses = [self.answer.weighed.hypotheses[i] for i in self.indices]
        owner = np.repeat(np.arange(len(hypotheses)), DRAWS)
        s = settled(at, scene.index, hypotheses, owner, rows)
        held = at.problem.situations[scene.index].item
        points = read_points(s)
        found: dict[str, tuple[Array, Array]] = {}
        for name in _unread(self.answer, scene):
            if name not in points or not _runs(s, name):
                continue
            value = np.broadcast_to(points[name], owner.shape).reshape(-1, DRAWS)
            model = np.broadcast_to(model_spread(name, points[name], s, held), owner.shape)
            mean = value.mean(axis=1)
            instrument = np.array([sigma(name, float(m)) for m in mean])
            model_square = np.square(model).reshape(-1, DRAWS).mean(axis=1)
            found[name] = mean, np.sqrt(value.var(axis=1) + model_square + np.square(instrument))
        return found


def _runs(s: Settled, name: str) -> bool:
    """Whether there is something to read: a stage that stands still has no superheat."""
    if not name.startswith("stage.") or name.endswith(".current"):
        return True
    stage = s.design.unit.stage_ids.index(name.split(".")[1])
    return float(np.mean(s.cooling.running[stage])) > 0.8


@cache
def _normal_grid() -> tuple[Array, Array]:
    x = np.linspace(-6.0, 6.0, GRID)
    weight = np.exp(-0.5 * x * x)
    return x, weight / weight.sum()


def information(mean: Array, spread: Array) -> float:
    """Bits that a reading is expected to tell of which of two normal distributions it is from [0..1]."""
    if not np.all(spread > 0.0):
        return 1.0 if mean[0] != mean[1] else 0.0
    x, weight = _normal_grid()
    told = 0.0
    for k in (0, 1):
        y = mean[k] + spread[k] * x
        own = -0.5 * np.square((y - mean[k]) / spread[k]) - np.log(spread[k])
        other = -0.5 * np.square((y - mean[1 - k]) / spread[1 - k]) - np.log(spread[1 - k])
        told += 0.5 * float(weight @ (1.0 - np.logaddexp2(0.0, (other - own) / np.log(2.0))))
    return min(max(told, 0.0), 1.0)


def _unread(answer: Answer, scene: _Scene) -> list[str]:
    situation = scene.at.problem.situations[scene.index]
    taken = {o.point for o in situation.observations}
    held = ("shown.reheat_command", "shown.reheat_in_hand") if situation.item == "reheat.command" else ()
    called = ("shown.stages_called",) if situation.item == "cooling.call" else ()
    names = points_of(answer.problem.design.unit)
    return [n for n in names if n not in taken and n not in NOT_ASKED and n not in held and n not in called]


def distinct(told: Sequence[Telling], most: int = 3) -> tuple[Telling, ...]:
    """Keep the most telling readings, each point once.

    Parameters
    ----------
    told : sequence of Telling
        Most telling first.
    most : int
        How many to keep.

    Returns
    -------
    tuple of Telling
        Those under TIE_BITS are left out. A point is read as the unit runs where that tells nearly as much:
        holding something by hand costs a quarter of an hour.
    """
    best: dict[str, Telling] = {}
    for t in told:
        first = best.setdefault(t.point, t)
        if first.state != "auto" and t.state == "auto" and t.bits > first.bits - NEARLY:
            best[t.point] = t
    ranked = sorted(best.values(), key=lambda t: -t.bits)
    return tuple(t for t in ranked if t.bits >= TIE_BITS)[:most]


def ties(answer: Answer, rng: np.random.Generator, least: float = LIKELY, most: int = 3) -> tuple[Tie, ...]:
    """Give the pairs of suspects that no available check tells apart, the healthy machine among them.

    Parameters
    ----------
    answer : Answer
    rng : numpy.random.Generator
    least : float
        Probability from which a cause takes part.
    most : int
        How many causes are compared at most.

    Returns
    -------
    tuple of Tie
    """
    chances = {"": answer.healthy, **answer.marginals}
    likely = [c for c in sorted(chances, key=lambda c: -chances[c])[:most] if chances[c] >= least]
    pairs = {}
    for i, first in enumerate(likely):
        for second in likely[i + 1 :]:
            mine, rival = best_with(answer, first, second), best_with(answer, second, first)
            if mine is not None and rival is not None:
                pairs[first, second] = mine, rival
    if not pairs:
        return ()
    outlook = Outlook(answer, [index for pair in pairs.values() for index in pair], rng)
    found = []
    for (first, second), (mine, rival) in pairs.items():
        told = outlook.tellings(mine, rival)
        if not told or told[0].bits < TIE_BITS:
            # a healthy machine cannot be mended to see what changes
            after = outlook.tellings(mine, rival, first) if first and second else ()
            telling = after[0] if after and after[0].bits >= TIE_BITS else None
            found.append(Tie(first, second, told[0] if told else None, telling))
    return tuple(found)
