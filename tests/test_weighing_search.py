"""Search finds what is there to be found: no fit stops short of what a start from the truth reaches."""

from __future__ import annotations

from itertools import islice

import numpy as np
import pytest

import units
from weighing_tools import (
    OPEN,
    SHUT,
    WALK_UP,
    Look,
    Simulated,
    hypotheses_of,
    machine_made_call,
    simulate,
    unit_of,
    usual,
)
from wringout.weighing.answer import Answer, prior_of, weigh
from wringout.weighing.batch import settled
from wringout.weighing.fit import fit, log_posterior
from wringout.weighing.hypothesis import parts_of
from wringout.weighing.search import screen

SHORT = 1.0  # nat that a fit may lie under the better one
FORCED = (
    "coil_leaving.t",
    "filter.drop",
    "reheat.stem",
    "reheat.water_in",
    "loop.flow",
    "fan.current",
    "pump.head",
)


def short_by(made: Simulated) -> tuple[float, Answer]:
    """By how many nats the true set's fit lies under the fit that starts from the true unknowns."""
    found = weigh(made.call, np.random.default_rng(0), checks=False)
    known = dict(zip(made.at.names, made.z, strict=True))
    start = np.array([[known.get(name, 0.0) for name in found.at.names]])
    reached = fit(found.at, [made.truth], start, rounds=25).log_evidence[0]
    weighed = {
        h.numbers: value
        for f in found.weighed.fits
        for h, value in zip(f.hypotheses, f.log_evidence, strict=True)
    }
    return float(reached - weighed[made.truth.numbers]), found


@pytest.mark.parametrize("number", [4, 12, 14])
def test_a_fit_reaches_what_a_start_from_the_truth_reaches(number: int) -> None:
    made = machine_made_call(number, [unit_of(text) for text in units.UNITS.values()])
    assert short_by(made)[0] < SHORT


@pytest.mark.parametrize("number", [2, 82])
def test_a_humid_archive_is_fitted_as_well_as_from_the_truth(number: int) -> None:
    made = machine_made_call(number, [unit_of(text) for text in units.UNITS.values()])
    assert short_by(made)[0] < SHORT


def running(made: Simulated, index: int) -> np.ndarray:
    """How far each stage truly runs in a situation."""
    at = settled(made.at, index, [made.truth], np.zeros(1, dtype=np.intp), made.z[None])
    return np.array([float(np.max(share)) for share in at.cooling.running])


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize(("cause", "state"), [("valve-leaks", SHUT), ("pump-weak", OPEN)])
def test_a_stage_that_dropped_out_in_a_forced_state_is_found(cause: str, state: str, which: int) -> None:
    unit = unit_of(units.BOILER_DIVERTING)
    # pump head tells a weak pump from a plugged strainer; a valve that opens, a leak from a loose actuator
    looks = [
        Look((*WALK_UP, *usual(unit, FORCED))),
        Look(("supply.t", "coil_leaving.t"), state),
        *([Look(("supply.t", "reheat.stem"), OPEN)] if state == SHUT else []),
    ]
    calls = (
        simulate(unit, hypotheses_of(unit, cause), looks, np.random.default_rng(seed), severe=True)
        for seed in range(1, 40)
    )
    # most calls keep their stages: taken are those in which one ran in auto and not when forced
    dropped = (made for made in calls if np.max(running(made, 0) - running(made, 1)) > 0.8)
    short, found = short_by(next(islice(dropped, which, None)))
    assert short < SHORT
    assert found.sets[0].causes == (cause,)


@pytest.mark.parametrize("cause", ["locked-out", "valve-stuck"])
def test_a_grown_set_is_worth_no_less_than_where_its_parent_stands(cause: str) -> None:
    """A cause that does nothing there costs its prior and no more, whatever a linear step hopes for."""
    unit = unit_of(units.RECLAIM_UPSTREAM)
    points = (*WALK_UP, *usual(unit, ("coil_leaving.t", "reheat.stem", "reheat.water_in")))
    call = simulate(unit, hypotheses_of(unit, cause), [Look(points)], np.random.default_rng(4)).call
    found = weigh(call, np.random.default_rng(0), checks=False)
    prior = prior_of(call)
    singles = found.weighed.fits[1]
    parts = parts_of(unit, prior.weights)
    leading = np.argsort(-singles.log_evidence)[:4]
    looked_at = 0
    for parent in leading.tolist():
        for worth, child, _ in screen(found.at, singles, [parent], parts, prior):
            (joined,) = set(child.parts) - set(singles.hypotheses[parent].parts)
            if joined.severities:
                continue
            start = singles.z[[parent]].copy()
            start[:, found.at.first_severity :] = 0.0
            for own in singles.hypotheses[parent].parts:
                there = child.columns[own.cause]
                start[0, found.at.first_severity + np.array(there, dtype=int)] = singles.z[
                    parent, found.at.first_severity : found.at.first_severity + own.severities
                ]
            value = log_posterior(found.at, [child], np.zeros(1, dtype=np.intp), start)[0]
            least = value - 0.5 * singles.log_determinant[parent] + prior.log_probability(child)
            assert worth >= least - 1e-9
            looked_at += 1
    assert looked_at > 20
