"""Places beside the fit: another number of stages, and ridges that bend."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

import units
from weighing_tools import OPEN, SHUT, WALK_UP, Look, hypotheses_of, simulate, unit_of, usual
from wringout.machine.parameters import Array
from wringout.weighing.answer import weigh
from wringout.weighing.fit import linearise, log_posterior
from wringout.weighing.hypothesis import Hypothesis
from wringout.weighing.likelihood import weight
from wringout.weighing.places import Places, places
from wringout.weighing.refine import refine
from wringout.weighing.unknowns import Layout, stage_steps

MORE = ("coil_leaving.t", "filter.drop", "reheat.stem", "reheat.water_in", "loop.flow", "fan.current")
# two looks, in the second of which nobody read how many stages run
STAGED = ((units.RECLAIM_MIXING, "bypass-shut", SHUT), (units.BOILER_DIVERTING, "pump-weak", OPEN))
CHILLED = (units.CHILLED_TWO_WAY, "boiler-low", OPEN)


@cache
def fitted(text: str, cause: str, state: str) -> tuple[Layout, Hypothesis, Array, Array]:
    """The best fit of the planted cause: its row of unknowns and the root of its curvature."""
    unit = unit_of(text)
    looks = [Look((*WALK_UP, *usual(unit, MORE))), Look(usual(unit, ("supply.t", "coil_leaving.t")), state)]
    call = simulate(unit, hypotheses_of(unit, cause), looks, np.random.default_rng(12), severe=True).call
    answer = weigh(call, np.random.default_rng(0), checks=False)
    found = [
        (float(one.log_evidence[k]), one.hypotheses[k], one.z[k : k + 1], one.curvature.root[k : k + 1])
        for one in answer.weighed.fits
        for k in range(len(one.hypotheses))
        if one.hypotheses[k].causes == (cause,)
    ]
    _, hypothesis, z, root = max(found, key=lambda one: one[0])
    return answer.at, hypothesis, z, root


@cache
def found_at(call: tuple[str, str, str]) -> Places:
    at, hypothesis, z, root = fitted(*call)
    return places(at, [hypothesis], z, root)


def height(at: Layout, hypothesis: Hypothesis, z: Array) -> Array:
    return log_posterior(at, [hypothesis], np.zeros(len(z), dtype=np.intp), z)


@pytest.mark.parametrize("call", STAGED, ids=[cause for _, cause, _ in STAGED])
def test_a_stage_that_may_run_or_not_makes_a_place_of_its_own(call: tuple[str, str, str]) -> None:
    at, hypothesis, z, _ = fitted(*call)
    found = found_at(call)
    ((column, step),) = stage_steps(at)
    beside = np.flatnonzero(np.abs(found.centre[1:, column] - z[0, column]) > 0.5 * step) + 1
    assert beside.size > 0
    # as probable a place as the fit, some standard deviations off: the room took another turn with the stage
    assert height(at, hypothesis, found.centre[beside]).max() > height(at, hypothesis, z)[0] - 1.0
    others = np.delete(np.arange(at.width), column)
    assert np.abs(found.centre[beside][:, others] - z[:, others]).max() > 1.0


@pytest.mark.parametrize("call", STAGED, ids=[cause for _, cause, _ in STAGED])
def test_evidence_and_samples_are_the_same_from_whichever_place_the_fit_had_found(
    call: tuple[str, str, str],
) -> None:
    at, hypothesis, z, root = fitted(*call)
    ((column, step),) = stage_steps(at)
    other = found_at(call).centre[1:2]
    there = linearise(at, [hypothesis], other)
    beyond = there.jacobian * np.sqrt(weight(there.at.residual, there.at.slip))[:, :, None]
    evidence, more = np.array(
        [
            np.mean([once(at, hypothesis, *begin, column, z[0, column] + 0.5 * step, k) for k in range(4)], 0)
            for begin in ((z, root), (other, beyond))
        ]
    ).T
    assert evidence[1] == pytest.approx(evidence[0], abs=0.25)
    assert more[1] == pytest.approx(more[0], abs=0.15)
    assert (more > 0.03).all(), "the place that the fit did not find has a share in the posterior"
    assert (more < 0.97).all()


def once(
    at: Layout, hypothesis: Hypothesis, z: Array, root: Array, column: int, beyond: float, seed: int
) -> tuple[float, float]:
    """Log evidence, and the share of the posterior in which more of a stage runs."""
    found = refine(at, [hypothesis], z, root, 1024, np.random.default_rng(seed))
    share = np.exp(found.log_weight[0])
    return float(found.log_evidence[0]), float(share[found.samples[0, :, column] > beyond].sum())


def test_a_ridge_that_bends_is_followed() -> None:
    """What a chilled-water valve passes near its end grows slower than its command."""
    at, _, z, _ = fitted(*CHILLED)
    found = found_at(CHILLED)
    assert len(found.owner) > 1
    moved = np.abs(found.centre[1:] - z)[:, len(at.rows) : at.first_severity]
    assert moved.max() > 0.5


@pytest.mark.parametrize("call", [*STAGED, CHILLED], ids=[cause for _, cause, _ in (*STAGED, CHILLED)])
def test_a_place_stands_higher_than_the_parabola_of_the_fit_says(call: tuple[str, str, str]) -> None:
    at, hypothesis, z, root = fitted(*call)
    centre = found_at(call).centre[1:]
    away = centre - z
    parabola = 0.5 * (np.square(away @ root[0].T).sum(axis=1) + np.square(away).sum(axis=1))
    assert (height(at, hypothesis, z)[0] - height(at, hypothesis, centre) < parabola).all()


def test_places_of_several_hypotheses_are_those_of_each() -> None:
    at, hypothesis, z, root = fitted(*STAGED[0])
    alone = found_at(STAGED[0])
    both = places(at, [hypothesis] * 2, np.repeat(z, 2, axis=0), np.repeat(root, 2, axis=0))
    assert both.owner.tolist() == [0, 1, *([0] * (len(alone.owner) - 1)), *([1] * (len(alone.owner) - 1))]
    for owner in (0, 1):
        np.testing.assert_allclose(both.centre[both.owner == owner], alone.centre, atol=1e-9)
        np.testing.assert_allclose(both.worth[both.owner == owner], alone.worth, atol=1e-9)
