"""What earlier visits have told of a machine stands in place of what is known of its kind, and nothing else
changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

import units
from weighing_tools import WALK_UP, Look, Simulated, hypotheses_of, simulate, unit_of
from wringout.catalogue.points import sigma
from wringout.machine.known import KnownMachine
from wringout.machine.parameters import spreads
from wringout.weighing.answer import weigh
from wringout.weighing.batch import values_of
from wringout.weighing.hypothesis import HEALTHY
from wringout.weighing.situation import Problem, problem
from wringout.weighing.unknowns import layout

UNIT = unit_of(units.RECLAIM_MIXING)


def a_call() -> Simulated:
    return simulate(UNIT, hypotheses_of(UNIT, "strainer-plugged"), [Look(WALK_UP)], np.random.default_rng(3))


def nothing_learned(what: Problem) -> KnownMachine:
    names = tuple(row.name for row in spreads(what.design))
    return KnownMachine(names, np.zeros(len(names)), np.eye(len(names)))


def test_a_machine_of_which_nothing_was_learned_is_any_machine_of_its_kind() -> None:
    call = a_call().call
    plain = weigh(call, np.random.default_rng(0), checks=False)
    known = nothing_learned(plain.problem)
    same = weigh(call, np.random.default_rng(0), checks=False, known=known)
    for cause, chance in plain.marginals.items():
        assert abs(same.marginals[cause] - chance) < 1e-6


def test_what_was_learned_moves_and_narrows_the_machine_alone() -> None:
    what = problem(a_call().call, sigma)
    known = nothing_learned(what)
    k = known.names.index("air_ratio")
    mean, covariance = known.mean.copy(), known.covariance.copy()
    mean[k], covariance[k, k] = 1.5, 0.04
    at = layout(replace(what, known=KnownMachine(known.names, mean, covariance)), 9)
    z = np.zeros((2, at.width))
    z[1, [row.name for row in at.rows].index("air_ratio")] = 1.0
    row = next(row for row in at.rows if row.name == "air_ratio")
    values = values_of(at, [HEALTHY], np.zeros(2, dtype=np.intp), z, frozenset())
    np.testing.assert_allclose(values["air_ratio"], np.exp(row.sigma * np.array([1.5, 1.7])))
    np.testing.assert_allclose(values["outdoor_ratio"], 1.0)


def test_a_part_that_no_reading_tells_of_rests_where_earlier_visits_left_it() -> None:
    what = problem(a_call().call, sigma)  # nobody read the filter here
    known = nothing_learned(what)
    mean = known.mean.copy()
    mean[known.names.index("filter_ratio")] = 2.0
    at = layout(replace(what, known=replace(known, mean=mean)), 9)
    spread = next(row.sigma for row in spreads(what.design) if row.name == "filter_ratio")
    assert "filter_ratio" not in [row.name for row in at.rows]
    assert abs(at.idle["filter_ratio"] - np.exp(2.0 * spread)) < 1e-12


def test_spreads_that_go_together_keep_going_together_when_some_are_taken_out() -> None:
    covariance = np.array([[1.0, 0.6, 0.0], [0.6, 0.5, 0.1], [0.0, 0.1, 0.3]])
    known = KnownMachine(("a", "b", "c"), np.array([0.1, 0.2, 0.3]), covariance)
    mean, root = known.of(["c", "never told of", "a"])
    np.testing.assert_allclose(mean, [0.3, 0.0, 0.1])
    np.testing.assert_allclose(root @ root, [[0.3, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], atol=1e-12)
