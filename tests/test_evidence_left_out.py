"""Bits of evidence against leaving each reading out and fitting both sides anew.

What is shown is the difference of the two best fits, reading by reading. What a reading did to the odds is
what they lose when it is left out and everything else may move; the two should tell the same story.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from test_evidence import case
from wringout.weighing.answer import Answer
from wringout.weighing.evidence import CONDITIONED, Evidence, polished, suspect
from wringout.weighing.fit import fit
from wringout.weighing.likelihood import weight

CAUSES = ("strainer-plugged", "fan-slow", "dew-sensor-low")
WORTH = 2.0  # bits from which a reading is said to have moved a suspect
ABSOLUTE, SHARE = 2.0, 0.25  # by how much the two may differ: bits, or a quarter


def left_out(answer: Answer, mine: int, other: int) -> dict[str, float]:
    """Bits that the odds of one hypothesis against another lose without each reading."""
    pair = polished(answer, (mine, other))
    hypotheses = [f.hypotheses[k] for f, k in pair]
    start = np.array([f.z[k] for f, k in pair])

    def odds(name: str = "") -> float:
        situation = answer.problem.situations[0]
        kept = tuple(o for o in situation.observations if o.point != name)
        at = replace(
            answer.at, problem=replace(answer.problem, situations=(replace(situation, observations=kept),))
        )
        evidence = fit(at, hypotheses, start, 8, weight).log_evidence
        return float(evidence[0] - evidence[1]) / float(np.log(2.0))

    whole = odds()
    names = [o.point for o in answer.problem.situations[0].observations if o.point not in CONDITIONED]
    return {name: whole - odds(name) for name in names}


@cache
def both(cause: str) -> list[tuple[tuple[Evidence, ...], dict[str, float]]]:
    """Evidence against the same set without the cause, and against the rival, each beside leaving out."""
    answer = case(cause)
    one = suspect(answer, cause)
    assert one is not None
    pairs = [(one.explains, one.bare)]
    if one.rival != one.bare:
        pairs.append((one.evidence, one.rival))
    return [
        (tuple(e for e in taken if e.observation is not None), left_out(answer, one.mine, other))
        for taken, other in pairs
    ]


@pytest.mark.parametrize("cause", CAUSES)
def test_the_reading_that_is_named_first_is_the_one_whose_loss_costs_most(cause: str) -> None:
    for taken, lost in both(cause):
        assert taken[0].name == max(lost, key=lambda name: lost[name])
        assert lost[taken[0].name] > WORTH


@pytest.mark.parametrize("cause", CAUSES)
def test_bits_are_what_the_odds_lose_without_the_reading(cause: str) -> None:
    moved = 0
    for taken, lost in both(cause):
        for e in taken:
            assert e.bits == pytest.approx(lost[e.name], abs=max(ABSOLUTE, SHARE * abs(lost[e.name]))), e.name
            moved += abs(e.bits) > WORTH
    assert moved >= 2
