"""What a further reading is expected to tell, and which readings are proposed at all."""

from __future__ import annotations

from datetime import timedelta
from functools import cache

import numpy as np
import pytest
from scipy import integrate, stats

import units
from weighing_tools import WALK_UP, Look, altered, hypotheses_of, reading, simulate, unit_of, usual
from wringout.catalogue.points import point, points_of, sigma
from wringout.documents.call import Call, Reading
from wringout.machine.design import design
from wringout.machine.parameters import spreads
from wringout.weighing.answer import Answer, weigh
from wringout.weighing.hypothesis import HEALTHY
from wringout.weighing.information import information
from wringout.weighing.information import told as told_by
from wringout.weighing.next_check import HANDLING_MINUTES, SETTLE_MINUTES, STATES, _ranked


def entropy(shares: list[float]) -> float:
    return float(-sum(p * np.log2(p) for p in shares))


LOST = 0.03  # share of what a reading tells that is lost at most in two dozen bins
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


def joint(centres: list[list[float]], within: list[list[float]], shares: list[float], count: int) -> float:
    """Bits by two readings with unit errors together, from samples of sets with known places and scatter."""
    rng = np.random.default_rng(7)
    values = np.concatenate([rng.multivariate_normal(c, within, count) for c in centres]).T
    set_of = np.repeat(np.arange(len(centres)), count)
    part = np.repeat(np.array(shares) / count, count)
    both = told_by(values, np.ones_like(values), part, set_of, len(centres)).both
    assert both[0, 1] == pytest.approx(both[1, 0], abs=1e-6)
    return float(both[0, 1])


def by_drawing(centres: list[list[float]], within: list[list[float]], shares: list[float]) -> float:
    """The same by the densities themselves: the mean surprise of a hundred thousand draws a set."""
    rng = np.random.default_rng(8)
    spread = np.array(within) + np.eye(2)
    whole = 0.0
    for centre, share in zip(centres, shares, strict=True):
        drawn = rng.multivariate_normal(centre, spread, 100_000)
        each = np.array([stats.multivariate_normal.pdf(drawn, c, spread) for c in centres])
        own = each[centres.index(centre)]
        whole += share * float(np.mean(np.log2(own / (np.array(shares) @ each))))
    return whole


@pytest.mark.parametrize(
    ("centres", "within"),
    [
        ([[0.0, 0.0], [1.5, 1.5]], [[0.2, 0.0], [0.0, 0.2]]),
        ([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]], [[0.3, 0.0], [0.0, 0.3]]),
        ([[0.0, 0.0], [2.0, 0.0]], [[0.2, 0.0], [0.0, 0.2]]),
    ],
    ids=["each tells a part", "each tells of another set", "the second tells nothing"],
)
def test_two_readings_tell_together_what_drawing_them_says(
    centres: list[list[float]], within: list[list[float]]
) -> None:
    shares = [0.5, 0.5] if len(centres) == 2 else [0.6, 0.3, 0.1]
    wanted = by_drawing(centres, within, shares)
    assert wanted > 0.3
    assert joint(centres, within, shares, 200) == pytest.approx(wanted, abs=0.05)


def test_the_same_thing_read_twice_is_hardly_worth_more_than_once() -> None:
    # what both share, the machines of a set differ by far more than the instrument errs
    centres, within = [[0.0, 0.0], [6.0, 6.0]], [[36.0, 36.0], [36.0, 36.0]]
    wanted = by_drawing(centres, within, [0.5, 0.5])
    assert joint(centres, within, [0.5, 0.5], 200) == pytest.approx(wanted, abs=0.06)


def rates(alone: list[float], both: list[list[float]], minutes: list[float], wait: float) -> dict[str, float]:
    names = [f"point {k}" for k in range(len(alone))]
    ranked = _ranked("held", names, np.array(alone), np.array(both), np.array(minutes), wait)
    return {check.point: worth for worth, _, check in ranked}


def test_a_wait_is_worth_it_where_two_readings_share_it() -> None:
    both = [[0.4, 0.8, 0.41], [0.8, 0.4, 0.41], [0.41, 0.41, 0.01]]
    found = rates([0.4, 0.4, 0.01], both, [2.0, 2.0, 2.0], SETTLE_MINUTES)
    alone = 0.4 / (2.0 + HANDLING_MINUTES + SETTLE_MINUTES)
    together = 0.8 / (2 * (2.0 + HANDLING_MINUTES) + SETTLE_MINUTES)
    assert found["point 0"] == found["point 1"] == pytest.approx(together)
    assert together > 1.2 * alone
    # a third that tells nothing does not ride along
    assert found["point 2"] == pytest.approx(0.01 / (2.0 + HANDLING_MINUTES + SETTLE_MINUTES))


def test_without_a_wait_two_that_tell_the_same_are_no_plan() -> None:
    found = rates([0.4, 0.4], [[0.4, 0.45], [0.45, 0.4]], [2.0, 10.0], 0.0)
    assert found["point 0"] == pytest.approx(0.4 / (2.0 + HANDLING_MINUTES))
    assert found["point 1"] == pytest.approx(0.4 / (10.0 + HANDLING_MINUTES))


def test_a_reading_that_tells_only_beside_another_is_worth_taking() -> None:
    found = rates([0.1, 0.0], [[0.1, 0.9], [0.9, 0.0]], [2.0, 2.0], 0.0)
    assert found["point 0"] == found["point 1"] == pytest.approx(0.9 / (2 * (2.0 + HANDLING_MINUTES)))


def value_of(call: Call, name: str) -> float:
    """The first reading of a point [SI]."""
    return next(e.value for e in call.events if isinstance(e, Reading) and e.point == name)


@cache
def misread() -> tuple[Call, Answer, float]:
    """A healthy unit, but its loop's flow was read five standard deviations low; and the right reading."""
    unit = unit_of(units.RECLAIM_MIXING)
    assert unit.loop is not None
    look = Look((*WALK_UP, *usual(unit, ("loop.flow", "reheat.stem", "filter.drop", "fan.speed"))))
    machine = np.zeros(len(spreads(design(unit))))  # as its document has it
    calls = (
        simulate(unit, [HEALTHY], [look], np.random.default_rng(seed), machine=machine).call
        for seed in range(1, 40)
    )
    # at rest with the reheat shut nothing else speaks of the loop, so that its flow accuses by itself
    call = next(
        c
        for c in calls
        if value_of(c, "shown.dehumidifying") == value_of(c, "shown.reheat_command") == 0.0
        and value_of(c, "loop.flow") == pytest.approx(unit.loop.flow, rel=0.03)
    )
    right = value_of(call, "loop.flow")
    wrong = altered(call, "loop.flow", -5.0 * sigma("loop.flow", right))
    return wrong, weigh(wrong, np.random.default_rng(0)), right


def test_a_reading_that_accuses_by_itself_is_worth_taking_again() -> None:
    _, answer, _ = misread()
    assert answer.marginals["pump-weak"] > 0.3
    again = [c for c in answer.next if c.again]
    assert ("auto", "loop.flow") in {(c.state, c.point) for c in again}
    flow = next(c for c in again if c.point == "loop.flow")
    assert flow.gain_bits > 0.3
    assert flow.minutes == point("loop.flow").minutes
    assert answer.next.index(flow) < 15
    # displays do not slip, and readings that fit need no second look
    assert all(point(c.point).by != "display" for c in again)


def test_the_second_reading_clears_the_pump() -> None:
    call, before, right = misread()
    later = reading("loop.flow", right, call.events[-1].at + timedelta(minutes=20))
    after = weigh(call.model_copy(update={"events": (*call.events, later)}), np.random.default_rng(0))
    assert after.marginals["pump-weak"] < 0.3 * before.marginals["pump-weak"]
    assert after.healthy > before.healthy


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
def test_nothing_is_proposed_twice_and_what_was_read_only_to_read_it_again(name: str) -> None:
    _, answer = advised(name)
    asked = [(c.state, c.point) for c in answer.next if not c.again]
    assert len(asked) == len(set(asked)) > 20
    read = {(s.state, o.point) for s in answer.problem.situations for o in s.observations}
    assert read.isdisjoint(asked)
    assert read >= {(c.state, c.point) for c in answer.next if c.again}
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
    locked = hypotheses_of(unit, "locked-out")
    calls = (
        simulate(unit, locked, [Look(WALK_UP)], np.random.default_rng(seed), candidates=12_000).call
        for seed in range(1, 9)
    )
    # a display may call a stage that the lock holds back: taken is the first that calls none
    still = next(call for call in calls if value_of(call, "shown.stages_called") == 0.0)
    answer = weigh(still, np.random.default_rng(0))
    gauges = [c for c in answer.next if c.point.endswith((".superheat", ".condensing_over_outdoor"))]
    assert not [c for c in gauges if c.state in ("auto", "cooling.call=0 %")]
    assert [c for c in gauges if c.state == "cooling.call=100 %"]
