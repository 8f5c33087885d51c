"""Suspects that no reading tells apart are said to be so, with the act that would tell; others are not."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from evidence_cases import weighed
from wringout.cli.next_check import ties_document
from wringout.weighing.answer import Answer
from wringout.weighing.evidence_words import tie_words
from wringout.weighing.outlook import TIE_BITS, ties


@cache
def healthy_archive() -> Answer:
    return weighed("film_vault", "", (), ("reheat.signal", "reheat.stem", "shown.reheat_in_hand"))


@cache
def starved_of_flow() -> Answer:
    return weighed("ice_hall", "strainer-plugged", (0.3,), ("reheat.water_out", "loop.flow"))


def between(answer: Answer, first: str, second: str) -> Answer:
    """The same answer with only two suspects left, as likely as each other."""
    chances = {cause: 0.5 * (cause in (first, second)) for cause in answer.marginals}
    return replace(answer, marginals=chances, healthy=0.5 * ("" in (first, second)))


def test_a_swing_that_no_settled_reading_shows_is_a_tie_with_health_and_time_tells() -> None:
    answer = between(healthy_archive(), "", "control-hunting")
    (tie,) = ties(answer, np.random.default_rng(1))
    assert {tie.first, tie.second} == {"", "control-hunting"}
    assert tie.best is not None
    assert tie.best.bits < TIE_BITS
    assert tie.after is None, "a healthy unit cannot be mended to see what changes"
    words = tie_words(tie, "si")
    assert words[0].startswith("No reading that is left tells ")
    assert "Watch or log the reheat command" in words[1]


@pytest.mark.parametrize(
    ("first", "second"), [("strainer-plugged", "pump-weak"), ("strainer-plugged", "coil-leg-restricted")]
)
def test_two_that_a_reading_would_tell_apart_are_no_tie(first: str, second: str) -> None:
    assert ties(between(starved_of_flow(), first, second), np.random.default_rng(1)) == ()


def test_a_tie_is_in_the_document_of_the_next_checks_with_its_words() -> None:
    answer = between(healthy_archive(), "", "control-hunting")
    (one,) = json.loads(json.dumps(ties_document(answer, "ip")))
    assert sorted(one["suspects"]) == ["", "control-hunting"]
    assert one["best_bits"] < TIE_BITS
    assert one["said"][0].startswith("No reading that is left tells ")
    assert ties_document(between(starved_of_flow(), "strainer-plugged", "pump-weak"), "ip") == []
