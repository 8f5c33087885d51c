"""What a further reading is expected to tell, and which readings are proposed at all."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy import integrate, stats

import units
from weighing_tools import WALK_UP, Look, hypotheses_of, simulate, unit_of, usual
from wringout.catalogue.points import point, points_of
from wringout.documents.call import Call
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.next_check import SETTLE_MINUTES, STATES, information


def entropy(shares: list[float]) -> float:
    return float(-sum(p * np.log2(p) for p in shares))


LOST = 0.17  # share of what a reading tells that is lost at most in two dozen bins
SCATTER = 0.5  # of the instrument's deviation: what a set's machines differ by among themselves


def told(centres: list[float], shares: list[float], sigma: float, samples: int = 300) -> float:
    """Bits by which one reading tells sets apart that put it near known places, with one error."""
    set_of = np.repeat(np.arange(len(centres)), samples)
    part = np.repeat(np.array(shares) / samples, samples)
    scatter = stats.norm.ppf((np.arange(samples) + 0.5) / samples)
    values = np.array(centres)[set_of][None, :] + SCATTER * sigma * np.tile(scatter, len(centres))
    return float(information(values, np.full_like(values, sigma), part, set_of, len(centres))[0])


def exactly(centres: list[float], shares: list[float], sigma: float) -> float:
    """The same by quadrature: entropy of the reading less that of its error and scatter."""
    sigma = float(np.hypot(sigma, SCATTER * sigma))

    def mixture(x: float) -> float:
        return sum(p * stats.norm.pdf(x, c, sigma) for p, c in zip(shares, centres, strict=True))

    whole, _ = integrate.quad(
        lambda x: -mixture(x) * np.log2(max(mixture(x), 1e-300)),
        min(centres) - 9 * sigma,
        max(centres) + 9 * sigma,
        limit=300,
        points=sorted(set(centres)),
    )
    return float(whole - 0.5 * np.log2(2 * np.pi * np.e * sigma**2))


@pytest.mark.parametrize("shares", [[0.5, 0.5], [0.7, 0.3], [0.6, 0.3, 0.1]])
def test_a_perfectly_telling_reading_is_worth_the_whole_doubt(shares: list[float]) -> None:
    centres = [10.0 * k for k in range(len(shares))]
    assert (1.0 - LOST) * entropy(shares) < told(centres, shares, 0.05) < entropy(shares) + 1e-9


@pytest.mark.parametrize("shares", [[0.5, 0.5], [0.6, 0.3, 0.1]])
def test_a_reading_that_every_set_puts_alike_tells_nothing(shares: list[float]) -> None:
    assert told([3.0] * len(shares), shares, 0.7) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("apart", [0.5, 1.0, 2.0, 3.0])
@pytest.mark.parametrize("shares", [[0.5, 0.5], [0.8, 0.2]])
def test_two_normal_readings_tell_what_quadrature_says(apart: float, shares: list[float]) -> None:
    wanted = exactly([0.0, apart], shares, 1.0)
    assert 0.0 < wanted < entropy(shares)
    assert (1.0 - LOST) * wanted - 0.004 < told([0.0, apart], shares, 1.0) < 1.01 * wanted


def test_the_unit_a_reading_is_in_does_not_matter() -> None:
    assert told([0.0, 1.5e-4], [0.5, 0.5], 1e-4) == pytest.approx(told([0.0, 1.5], [0.5, 0.5], 1.0), rel=1e-6)


def test_a_few_scattered_samples_do_not_pass_for_sharp_knowledge() -> None:
    rng = np.random.default_rng(2)
    # one wide set cut in two by chance: nothing in it tells the halves apart
    values = rng.normal(0.0, 5.0, (1, 12))
    set_of = np.repeat([0, 1], 6)
    found = information(values, np.full_like(values, 0.01), np.full(12, 1 / 12), set_of, 2)
    assert found[0] < 0.5


CALLS = {
    "three-stage unit": (units.RECLAIM_MIXING, "strainer-plugged"),
    "chilled water": (units.CHILLED_TWO_WAY, "valve-leaks"),
}


@cache
def advised(name: str) -> tuple[Call, Answer]:
    """A walk-up call with one reading more in a forced state, weighed."""
    text, cause = CALLS[name]
    unit = unit_of(text)
    looks = [Look(WALK_UP), Look(usual(unit, ("supply.t", "reheat.stem")), "reheat.command=100 %")]
    made = simulate(unit, hypotheses_of(unit, cause), looks, np.random.default_rng(4))
    return made.call, weigh(made.call, np.random.default_rng(0))


@pytest.mark.parametrize("name", CALLS)
def test_nothing_is_proposed_twice_or_that_was_read_in_that_state(name: str) -> None:
    _, answer = advised(name)
    asked = [(c.state, c.point) for c in answer.next]
    assert len(asked) == len(set(asked)) > 20
    read = {(s.state, o.point) for s in answer.problem.situations for o in s.observations}
    assert read.isdisjoint(asked)
    assert ("reheat.command=100 %", "supply.t") in read
    assert ("reheat.command=0 %", "supply.t") in asked


@pytest.mark.parametrize("name", CALLS)
def test_only_points_of_the_unit_and_states_of_the_contract_are_proposed(name: str) -> None:
    call, answer = advised(name)
    assert {c.point for c in answer.next} <= set(points_of(call.unit))
    assert {c.state for c in answer.next} <= set(STATES)
    assert "shown.reheat_in_hand" not in {
        c.point for c in answer.next if c.state.startswith("reheat.command")
    }


@pytest.mark.parametrize("name", CALLS)
def test_a_forced_state_costs_its_quarter_of_an_hour_until_it_was_entered(name: str) -> None:
    _, answer = advised(name)
    entered = {"auto", "reheat.command=100 %"}
    for check in answer.next:
        wait = 0.0 if check.state in entered else SETTLE_MINUTES
        assert check.minutes == pytest.approx(point(check.point).minutes + wait)
    assert {c.state for c in answer.next} >= entered
    assert SETTLE_MINUTES == 15.0


@pytest.mark.parametrize("name", CALLS)
def test_no_check_tells_more_than_the_doubt_there_is_and_the_first_tells_something(name: str) -> None:
    _, answer = advised(name)
    by_set = [s.probability for s in answer.sets if s.probability > 0.0]
    doubt = entropy(by_set)
    assert all(0.0 <= c.gain_bits <= doubt + 0.3 for c in answer.next)
    best = max(c.gain_bits for c in answer.next)
    assert answer.next[0].gain_bits > 0.1 * best
    assert best > 0.05


def test_no_gauges_are_put_on_a_stage_that_stands_still() -> None:
    unit = unit_of(units.HOT_GAS)
    made = simulate(
        unit, hypotheses_of(unit, "locked-out"), [Look(WALK_UP)], np.random.default_rng(3), candidates=12_000
    )
    read = made.call.events
    assert next(e.value for e in read if getattr(e, "point", "") == "shown.stages_called") == 0.0
    answer = weigh(made.call, np.random.default_rng(0))
    gauges = [c for c in answer.next if c.point.endswith((".superheat", ".condensing_over_outdoor"))]
    assert not [c for c in gauges if c.state in ("auto", "cooling.call=0 %")]
    assert [c for c in gauges if c.state == "cooling.call=100 %"]
