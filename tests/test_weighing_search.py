"""Search finds what is there to be found: no fit stops short of what a start from the truth reaches."""

from __future__ import annotations

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
from wringout.weighing.fit import fit

SHORT = 1.0  # nat that a fit may lie under the better one
FORCED = ("coil_leaving.t", "filter.drop", "reheat.stem", "reheat.water_in", "loop.flow", "fan.current")


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


@pytest.mark.parametrize(("cause", "state"), [("valve-leaks", SHUT), ("pump-weak", OPEN)])
def test_a_stage_that_dropped_out_in_a_forced_state_is_found(cause: str, state: str) -> None:
    unit = unit_of(units.BOILER_DIVERTING)
    looks = [
        Look((*WALK_UP, *usual(unit, FORCED))),
        Look(("supply.t", "coil_leaving.t"), state),
    ]
    made = simulate(unit, hypotheses_of(unit, cause), looks, np.random.default_rng(12), severe=True)
    short, found = short_by(made)
    assert short < SHORT
    assert found.sets[0].causes == (cause,)
