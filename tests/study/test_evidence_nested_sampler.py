"""Evidence of single causes against a general-purpose nested sampler, on calls of different kinds.

SOURCE: dynesty (Speagle, MNRAS 493 (2020) 3132; version as installed), computed here. Its own standard
deviation, printed beside each figure, is 0.1 to 0.3 nat.

What is integrated: all unknowns that a reading of the call feels, the severities of the cause among them (a
standard deviation moves the likelihood by more than UNFELT somewhere around the fit); the rest integrate to
one. The sampler is given the same likelihood and prior as weighing, written in another measure: its unit cube
is a normal distribution around weighing's fit, WIDE times as wide as the fit says where readings narrow the
prior and as wide as the prior elsewhere, and what that differs from the prior by is part of its likelihood.
One call is done in a cube twice as wide too. Walks must be long enough to forget where they began: with 30
steps the sampler missed half a nat of a place beside the fit on one call, and from the prior itself, in some
thirty unknowns, it found 1.8 nat too much on another, with 120 steps 0.6.
"""

from __future__ import annotations

import itertools
import threading
import time
import warnings
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest

import units
from weighing_tools import OPEN, SHUT, WALK_UP, Look, hypotheses_of, simulate, unit_of, usual
from wringout.machine.parameters import Array
from wringout.weighing.answer import Answer, prior_of, refined_posterior, weigh
from wringout.weighing.curvature import Curvature
from wringout.weighing.fit import Fit, log_posterior
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.unknowns import Layout

dynesty = pytest.importorskip("dynesty", reason="make study installs it")
pytestmark = pytest.mark.study

WITHIN = 0.3  # nat
WIDE = 1.5
LIVE, LAST = 400, 0.02  # live points, and what may be left in them [nat]
WALK = 100  # steps from one live point to the next
STOPPED, TRIES = 0.2, 5  # error of a run that stopped early [nat]; runs made at the most
AT_ONCE = 128  # walks that the sampler is given together
UNFELT = 2e-3  # nat that a standard deviation of an unknown may move the likelihood and still be left out
CALLS = (
    (units.RECLAIM_UPSTREAM, "strainer-plugged", OPEN),
    (units.RECLAIM_UPSTREAM, "upstream-takes-heat", OPEN),
    (units.RECLAIM_MIXING, "charge-low", "cooling.call=100 %"),
    (units.RECLAIM_MIXING, "bypass-shut", SHUT),
    (units.CHILLED_TWO_WAY, "coil-dirty", "cooling.call=100 %"),
    (units.CHILLED_TWO_WAY, "dew-sensor-high", OPEN),
    (units.CHILLED_TWO_WAY, "boiler-low", OPEN),
    (units.BOILER_DIVERTING, "valve-leaks", SHUT),
    (units.BOILER_DIVERTING, "outdoor-damper-open", OPEN),
    (units.BOILER_DIVERTING, "pump-weak", OPEN),
    (units.HOT_GAS, "filter-loaded", OPEN),
    (units.HOT_GAS, "actuator-loose", SHUT),
)
MORE = ("coil_leaving.t", "filter.drop", "reheat.stem", "reheat.water_in", "loop.flow", "fan.current")


@dataclass(frozen=True)
class Weighed:
    """A call as weighing sees it: its answer, one hypothesis, and that hypothesis's fit and evidence."""

    answer: Answer
    hypothesis: Hypothesis
    z: Array
    root: Array
    log_evidence: float
    seconds: float


@cache
def weighed(text: str, cause: str, state: str) -> Weighed:
    unit = unit_of(text)
    looks = [Look((*WALK_UP, *usual(unit, MORE))), Look(usual(unit, ("supply.t", "coil_leaving.t")), state)]
    call = simulate(unit, hypotheses_of(unit, cause), looks, np.random.default_rng(12), severe=True).call
    weigh(call, np.random.default_rng(0), checks=False)
    start = time.process_time()
    answer = weigh(call, np.random.default_rng(0), checks=False)
    seconds = (time.process_time() - start) / len(answer.weighed.hypotheses)
    refined = refined_posterior(answer.at, answer.weighed, np.random.default_rng(1))
    singles = [k for k, h in enumerate(answer.weighed.hypotheses) if h.causes == (cause,)]
    best = max(singles, key=lambda k: refined[k])
    level, place = _place(answer.weighed.fits, best)
    hypothesis = answer.weighed.hypotheses[best]
    return Weighed(
        answer,
        hypothesis,
        level.z[place],
        level.curvature.root[place],
        float(refined[best]) - prior_of(call).log_probability(hypothesis),
        seconds,
    )


def _place(fits: tuple[Fit, ...], index: int) -> tuple[Fit, int]:
    for fit in fits:
        if index < len(fit.hypotheses):
            return fit, index
        index -= len(fit.hypotheses)
    raise IndexError(index)


def felt_columns(what: Weighed) -> np.ndarray:
    """Columns that move the likelihood around the fit; the others integrate to one."""
    at, hypothesis = what.answer.at, what.hypothesis
    rng = np.random.default_rng(5)
    felt = np.zeros(at.width, dtype=bool)
    around = Curvature(what.root[None]).draw(12, rng)[0]
    for base in what.z + around:
        for way in (-1.0, 1.0):
            rows = np.repeat(base[None], at.width + 1, axis=0)
            rows[np.arange(1, at.width + 1), np.arange(at.width)] += way
            value = likelihood(at, hypothesis, rows)
            felt |= np.abs(value[1:] - value[0]) > UNFELT
    return np.flatnonzero(felt)


def likelihood(at: Layout, hypothesis: Hypothesis, rows: Array) -> Array:
    """Log likelihood of rows of unknowns."""
    owner = np.zeros(len(rows), dtype=np.intp)
    return np.asarray(log_posterior(at, [hypothesis], owner, rows) + 0.5 * np.square(rows).sum(axis=1))


class Together:
    """Runs the sampler's walks in threads and their likelihoods in one call of the machine.

    It has the one method of a pool that the sampler uses. A thread that asks waits until all that still run
    have asked.
    """

    size = AT_ONCE

    def __init__(self, rows: Callable[[Array], Array]) -> None:
        self.rows = rows
        self.turn = threading.Condition()
        self.asked: list[tuple[Array, list[float]]] = []
        self.running = 0
        self.evaluations = 0

    def __call__(self, point: Array) -> float:
        answer: list[float] = []
        with self.turn:
            if self.running == 0:  # not within map: the sampler's own single question
                self.evaluations += 1
                return float(self.rows(point[None])[0])
            self.asked.append((point.copy(), answer))
            if len(self.asked) == self.running:
                self._settle()
            while not answer:
                self.turn.wait()
        return answer[0]

    def _settle(self) -> None:
        if not self.asked:
            return
        found = self.rows(np.array([point for point, _ in self.asked]))
        self.evaluations += len(found)
        for (_, answer), value in zip(self.asked, found, strict=True):
            answer.append(float(value))
        self.asked.clear()
        self.turn.notify_all()

    def map(self, work: Callable[[Any], Any], items: Iterable[Any]) -> list[Any]:
        items = list(items)
        results: list[Any] = [None] * len(items)

        def run(place: int) -> None:
            try:
                results[place] = work(items[place])
            finally:
                with self.turn:
                    self.running -= 1
                    if self.running and len(self.asked) == self.running:
                        self._settle()

        threads = [threading.Thread(target=run, args=(k,)) for k in range(len(items))]
        with self.turn:
            self.running = len(threads)
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        return results


@dataclass(frozen=True)
class Sampled:
    """What the nested sampler finds: log evidence, its standard deviation, and what it took."""

    log_evidence: float
    error: float
    seconds: float
    evaluations: int
    unknowns: int


def nested(what: Weighed, wide: float, seed: int, walk: int = WALK) -> Sampled:
    """Log evidence by dynesty, from a cube so many times as wide as the fit."""
    from scipy.special import ndtri

    at, hypothesis = what.answer.at, what.hypothesis
    columns = felt_columns(what)
    size = columns.size
    root = what.root[:, columns]
    # as wide as the prior where the readings say little, else so many times as wide as the fit
    values, vectors = np.linalg.eigh(root.T @ root)
    widths = np.minimum(wide / np.sqrt(1.0 + np.maximum(values, 0.0)), 1.0)
    centre, spread = what.z[columns], vectors * widths

    log_size = float(np.linalg.slogdet(spread)[1])

    def rows_of(u: Array) -> Array:
        """Log likelihood times prior over the measure of the cube, at rows of standard normal numbers."""
        rows = np.zeros((len(u), at.width))
        rows[:, columns] = centre + u @ spread.T
        value = likelihood(at, hypothesis, rows)
        return np.asarray(
            value - 0.5 * np.square(rows[:, columns]).sum(axis=1) + 0.5 * np.square(u).sum(axis=1) + log_size
        )

    pool = Together(rows_of)
    start = time.process_time()
    sampler = dynesty.NestedSampler(
        pool,
        ndtri,
        size,
        nlive=LIVE,
        bound="single",
        sample="rwalk",
        walks=walk,
        pool=pool,
        queue_size=AT_ONCE,
        rstate=np.random.default_rng(seed),
    )
    with warnings.catch_warnings():
        # walks that all end where they began make a plateau: the sampler stops, and its error says how far
        warnings.filterwarnings("ignore", message="We have reached the plateau")
        sampler.run_nested(dlogz=LAST, print_progress=False)
    found = sampler.results
    return Sampled(
        float(found.logz[-1]),
        float(found.logzerr[-1]),
        time.process_time() - start,
        pool.evaluations,
        size,
    )


def twice(what: Weighed) -> Sampled:
    """Two runs of the sampler together. Where walks all end where they began it stops early, and its error
    says so: such a run is made again. Two runs differ by more than their errors say, so that counts too."""
    runs = (nested(what, WIDE, seed) for seed in range(3, 3 + TRIES))
    first, second = list(itertools.islice((run for run in runs if run.error < STOPPED), 2))
    apart = first.log_evidence - second.log_evidence
    return Sampled(
        0.5 * (first.log_evidence + second.log_evidence),
        max(0.5 * float(np.hypot(first.error, second.error)), 0.5 * abs(apart)),
        0.5 * (first.seconds + second.seconds),
        first.evaluations + second.evaluations,
        first.unknowns,
    )


@pytest.mark.parametrize("call", CALLS, ids=[cause for _, cause, _ in CALLS])
def test_the_evidence_of_a_single_cause_agrees_with_nested_sampling(
    call: tuple[str, str, str], record_property: Callable[[str, object], None]
) -> None:
    ours = weighed(*call)
    theirs = twice(ours)
    off = ours.log_evidence - theirs.log_evidence
    ratio = theirs.seconds / ours.seconds
    print(  # noqa: T201 - the study's table
        f"\n{call[1]:22} {theirs.unknowns:2} unknowns, {ours.answer.problem.count} readings: "
        f"ours {ours.log_evidence:8.2f}, nested {theirs.log_evidence:8.2f} +- {theirs.error:.2f} "
        f"({off:+.2f}); {ours.seconds * 1e3:.1f} ms against {theirs.seconds:.1f} s, {ratio:,.0f} times"
    )
    record_property("off [nat]", round(off, 3))
    record_property("times as fast", round(ratio))
    assert theirs.error < 0.25
    assert abs(off) < WITHIN + theirs.error
    assert ratio > 100.0


def test_a_wider_measure_changes_nothing(record_property: Callable[[str, object], None]) -> None:
    ours = weighed(*CALLS[10])
    near, wide = nested(ours, WIDE, 3), nested(ours, 2.0 * WIDE, 4, 2 * WALK)
    off = near.log_evidence - wide.log_evidence
    print(  # noqa: T201
        f"\nwide {wide.log_evidence:.2f} +- {wide.error:.2f}, near the fit "
        f"{near.log_evidence:.2f} +- {near.error:.2f}; {wide.evaluations} rows"
    )
    record_property("off [nat]", round(off, 3))
    assert abs(off) < 3.0 * float(np.hypot(near.error, wide.error))


def test_the_samplers_measure_is_that_of_weighings_fit() -> None:
    ours = weighed(*CALLS[0])
    root = ours.root[None]
    assert Curvature(root).log_determinant()[0] == pytest.approx(
        np.linalg.slogdet(root[0].T @ root[0] + np.eye(root.shape[2]))[1], abs=1e-6
    )
