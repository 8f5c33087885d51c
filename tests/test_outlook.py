"""What is still to be read: what a further reading would tell, and suspects that none can part.

The calls are made by our own machine with a known cause acting, so they test that the outlook says what the
machine says; they say nothing about other machines.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from evidence_cases import weighed
from wringout.catalogue.causes import causes
from wringout.weighing import outlook as outlook_module
from wringout.weighing.answer import Answer
from wringout.weighing.evidence import (
    best_with,
)
from wringout.weighing.evidence_words import (
    SAME_ACT,
    tie_words,
)
from wringout.weighing.outlook import Foretold, Outlook, Telling, Tie, distinct, information, ties


def test_information_is_nothing_for_one_and_a_whole_bit_for_two_that_never_meet() -> None:
    one = np.ones(2)
    assert information(np.array([3.0, 3.0]), one) == pytest.approx(0.0, abs=1e-9)
    assert information(np.array([0.0, 60.0]), one) == pytest.approx(1.0)
    assert information(np.array([0.0, 1.0]), np.zeros(2)) == 1.0
    assert information(np.array([1.0, 1.0]), np.zeros(2)) == 0.0


@pytest.mark.parametrize(("apart", "ratio"), [(0.5, 1.0), (1.0, 1.0), (2.0, 1.0), (0.0, 3.0), (1.5, 2.0)])
def test_information_agrees_with_counting_on_a_fine_grid(apart: float, ratio: float) -> None:
    """Jensen-Shannon divergence of two normal distributions by the definition, on a grid of its own."""
    x = np.linspace(-30.0, 30.0, 60_001)
    p = np.exp(-0.5 * x**2)
    q = np.exp(-0.5 * ((x - apart) / ratio) ** 2)
    p, q = p / p.sum(), q / q.sum()
    m = 0.5 * (p + q)
    tiny = 1e-300
    expected = 0.5 * float(
        (p * np.log2((p + tiny) / (m + tiny))).sum() + (q * np.log2((q + tiny) / (m + tiny))).sum()
    )
    assert information(np.array([0.0, apart]), np.array([1.0, ratio])) == pytest.approx(expected, abs=2e-3)


@cache
def before_the_strainer_is_read() -> tuple[Answer, Outlook, int, int]:
    answer = weighed("ice_hall", "strainer-plugged", (0.3,), ("reheat.water_out", "loop.flow"))
    mine, rival = best_with(answer, "strainer-plugged"), best_with(answer, "pump-weak", "strainer-plugged")
    assert mine is not None
    assert rival is not None
    return answer, Outlook(answer, (mine, rival), np.random.default_rng(3)), mine, rival


def test_the_drop_across_the_strainer_would_tell_a_plugged_one_from_a_weak_pump() -> None:
    _, outlook, mine, rival = before_the_strainer_is_read()
    told = outlook.tellings(mine, rival)
    assert [t.bits for t in told] == sorted((t.bits for t in told), reverse=True)
    best = distinct(told)
    assert {"strainer.drop", "pump.head"} <= {t.point for t in best}
    drop = next(t for t in best if t.point == "strainer.drop")
    assert drop.state == "auto"
    assert drop.suspect.mean > 3.0 * drop.rival.mean
    assert drop.bits > 0.9


def test_what_was_read_is_not_foretold_and_what_is_held_is_not_read() -> None:
    answer, outlook, mine, rival = before_the_strainer_is_read()
    told = {(t.state, t.point) for t in outlook.tellings(mine, rival)}
    read = {("auto", o.point) for o in answer.problem.situations[0].observations}
    assert not told & read
    assert ("reheat.command=0 %", "shown.reheat_command") not in told
    assert ("reheat.command=0 %", "supply.t") in told
    assert outlook.foretold("auto", "supply.t") == ()
    assert len(outlook.foretold("auto", "strainer.drop")) == 2


def test_each_point_is_asked_once_and_in_the_state_that_costs_no_wait() -> None:
    here, there = Foretold(1.0, 0.1), Foretold(2.0, 0.1)
    told = [
        Telling("reheat.command=0 %", "supply.t", here, there, 0.95),
        Telling("auto", "supply.t", here, there, 0.90),
        Telling("reheat.command=0 %", "loop.flow", here, there, 0.80),
        Telling("auto", "loop.flow", here, there, 0.30),
        Telling("auto", "filter.drop", here, there, 0.01),
    ]
    assert [(t.state, t.point) for t in distinct(told, 9)] == [
        ("auto", "supply.t"),
        ("reheat.command=0 %", "loop.flow"),
    ]


def test_two_suspects_are_a_tie_only_where_no_check_parts_them(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = weighed("ice_hall", "valve-stuck", (0.95,), ())
    likely = [c for c, p in answer.marginals.items() if p >= 0.02]
    assert len(likely) >= 2
    assert ties(answer, np.random.default_rng(1), least=0.02) == ()
    # were a check only worth something above all that any can tell, each pair would be a tie
    monkeypatch.setattr(outlook_module, "TIE_BITS", 1.01)
    found = ties(answer, np.random.default_rng(1), least=0.02)
    assert found
    assert all(tie.best is not None and tie.best.bits <= 1.0 for tie in found)


def test_after_a_repair_the_readings_tell_whether_it_was_that() -> None:
    _, outlook, mine, rival = before_the_strainer_is_read()
    after = outlook.tellings(mine, rival, "strainer-plugged")
    flow = next(t for t in after if t.point == "loop.flow")
    assert flow.state == "auto"
    assert flow.suspect.mean > 1.5 * flow.rival.mean, "mended, or as weak as before"


def test_a_tie_is_said_with_what_would_tell() -> None:
    telling = Telling("auto", "supply.t", Foretold(20.0, 0.5), Foretold(12.0, 0.5), 0.98)
    weak = Telling("auto", "loop.flow", Foretold(1e-3, 1e-4), Foretold(1e-3, 1e-4), 0.02)
    words = tie_words(Tie("source-starved", "reclaim-not-diverting", weak, telling), "si")
    assert words[0].startswith("No reading that is left tells Plant has too little heat to give from ")
    assert words[0].endswith("(the best, flow in the loop's main after the pump, tells 0.02 of 1 bit).")
    assert words[1].startswith("One visit to the plant")
    assert "20.0 +-0.5 degC if it was that, 12.0 +-0.5 degC if it was the other" in words[2]
    bare = tie_words(Tie("doors-open", "fan-fast", None, None), "si")
    assert len(bare) == 2
    assert "mend the likelier one" in bare[1]


def test_a_swing_in_time_is_no_matter_for_one_reading_more() -> None:
    """Control that hunts moves no settled reading, so nothing that is left to read tells it from health."""
    answer = weighed("film_vault", "", (), ("reheat.signal", "reheat.stem", "shown.reheat_in_hand"))
    mine, rival = best_with(answer, "control-hunting"), best_with(answer, "", "control-hunting")
    assert mine is not None
    assert rival is not None
    outlook = Outlook(answer, (mine, rival), np.random.default_rng(1))
    told = outlook.tellings(mine, rival)
    assert told[0].bits < outlook_module.TIE_BITS
    words = tie_words(Tie("", "control-hunting", told[0], None), "ip")
    assert words[0].startswith(
        "No reading that is left tells Nothing wrong from Reheat control hunts (the best, "
    )
    assert words[1].startswith("Watch or log the reheat command")
    assert ties(answer, np.random.default_rng(1), least=0.9) == ()


def test_health_and_a_hidden_cause_are_parted_by_time() -> None:
    words = tie_words(Tie("", "doors-open", None, None), "si")
    assert words == (
        "No reading that is left tells Nothing wrong from Building leaks outdoor air.",
        "What tells is time: read again in the weather and at the hour of the complaint.",
    )


def test_groups_that_one_act_serves_hold_causes_of_the_catalogue() -> None:
    for group, words in SAME_ACT:
        assert group <= causes().keys()
        assert len(group) >= 2
        assert words.endswith(".")
