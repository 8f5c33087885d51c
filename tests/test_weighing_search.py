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
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.batch import settled
from wringout.weighing.fit import fit

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
