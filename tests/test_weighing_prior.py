"""What sets of causes are worth before any reading, and which can be there together."""

from __future__ import annotations

from itertools import combinations, product
from math import exp, prod

import pytest

import units
from wringout.catalogue.causes import BEYOND_DESIGN, beyond_design_share, count_prior, prior_weights
from wringout.documents.load import unit_from_text
from wringout.machine.acts import ACTS, Variant
from wringout.weighing.hypothesis import HEALTHY, Hypothesis, Part, compatible, extended, parts_of
from wringout.weighing.prior import Prior

WEIGHTS = {"filter-loaded": 0.4, "charge-low": 0.3, "valve-leaks": 0.2, "doors-open": 0.1}
COUNTS = {0: 0.2, 1: 0.5, 2: 0.2, 3: 0.1}
PRIOR = Prior(WEIGHTS, COUNTS, 0.35)
WAYS = {"filter-loaded": 1, "charge-low": 3, "valve-leaks": 1, "doors-open": 2}
PARTS = tuple(
    Part(number, cause, Variant(label=str(way)), 1.0 / WAYS[cause])
    for number, (cause, way) in enumerate((c, w) for c in WEIGHTS for w in range(WAYS[c]))
)
BEYOND = Hypothesis((Part(99, BEYOND_DESIGN, Variant(), 1.0),))


def sets_of(count: int) -> list[Hypothesis]:
    """Every set of so many different causes in every combination of variants."""
    ways = {cause: [p for p in PARTS if p.cause == cause] for cause in WEIGHTS}
    return [
        Hypothesis(tuple(parts))
        for causes in combinations(WEIGHTS, count)
        for parts in product(*(ways[c] for c in causes))
    ]


def total(hypotheses: list[Hypothesis]) -> float:
    return sum(exp(PRIOR.log_probability(h)) for h in hypotheses)


def test_healthy_and_beyond_design_share_the_calls_without_a_fault() -> None:
    assert exp(PRIOR.log_probability(HEALTHY)) == pytest.approx(0.2 * 0.65)
    assert exp(PRIOR.log_probability(BEYOND)) == pytest.approx(0.2 * 0.35)


def test_single_causes_in_all_their_variants_sum_to_the_share_of_calls_with_one() -> None:
    assert total(sets_of(1)) == pytest.approx(0.5)


def test_a_cause_is_worth_the_same_however_many_variants_it_comes_in() -> None:
    ways = [h for h in sets_of(1) if h.causes == ("charge-low",)]
    assert len(ways) == 3
    assert total(ways) == pytest.approx(0.5 * 0.3)


@pytest.mark.parametrize("count", [2, 3])
def test_larger_sets_are_worth_what_drawing_their_causes_one_by_one_gives(count: int) -> None:
    drawn = sum(
        prod(WEIGHTS[c] for c in causes)
        for causes in product(WEIGHTS, repeat=count)
        if len(set(causes)) == count
    )
    assert total(sets_of(count)) == pytest.approx(COUNTS[count] * drawn)


def test_a_set_in_two_orders_is_one_set() -> None:
    a, b = PARTS[0], PARTS[2]
    assert extended(extended(HEALTHY, a), b) == extended(extended(HEALTHY, b), a)
    assert extended(extended(HEALTHY, b), a).numbers == (0, 2)


@pytest.mark.parametrize("name", units.UNITS)
def test_on_a_real_unit_all_sets_together_are_worth_about_one(name: str) -> None:
    unit = unit_from_text(units.UNITS[name])
    prior = Prior(prior_weights(unit), count_prior(), beyond_design_share())
    parts = parts_of(unit, [*prior.weights, BEYOND_DESIGN])
    by_cause = {cause: [p for p in parts if p.cause == cause] for cause in prior.weights}
    worth = exp(prior.log_probability(HEALTHY))
    worth += sum(exp(prior.log_probability(Hypothesis((p,)))) for p in parts)
    # every combination of variants is worth its share: one variant stands for all by its share
    for count in (2, 3):
        for causes in combinations(prior.weights, count):
            found: Hypothesis | None = HEALTHY
            share = 1.0
            for cause in causes:
                part = by_cause[cause][0]
                share *= part.share
                found = extended(found, part) if found and compatible(found, part) else None
                if found is None:
                    break
            if found is not None:
                worth += exp(prior.log_probability(found)) / share
    # missing: the same cause drawn twice, and sets that are barred
    assert 0.96 < worth < 1.0 + 1e-9


@pytest.mark.parametrize("name", units.UNITS)
def test_the_shares_of_a_causes_variants_sum_to_one(name: str) -> None:
    unit = unit_from_text(units.UNITS[name])
    parts = parts_of(unit, [*prior_weights(unit), BEYOND_DESIGN])
    assert [p.number for p in parts] == list(range(len(parts)))
    for cause in {p.cause for p in parts}:
        assert sum(p.share for p in parts if p.cause == cause) == pytest.approx(1.0)


def test_a_cause_joins_a_set_once_only() -> None:
    charge = [p for p in PARTS if p.cause == "charge-low"]
    assert compatible(HEALTHY, charge[0])
    assert not compatible(Hypothesis((charge[0],)), charge[1])


def test_opposites_and_what_hides_another_wholly_are_never_together() -> None:
    def part(number: int, cause: str) -> Part:
        return Part(number, cause, Variant(), 1.0)

    for one, other in (
        ("fan-slow", "fan-fast"),
        ("pump-weak", "pump-off"),
        ("dew-sensor-high", "dew-sensor-low"),
        ("valve-stuck", "actuator-loose"),
        ("source-starved", "reclaim-not-diverting"),
    ):
        assert not compatible(Hypothesis((part(0, one),)), part(1, other))
        assert not compatible(Hypothesis((part(0, other),)), part(1, one))
        third = Hypothesis((part(0, one), part(1, "doors-open")))
        assert not compatible(third, part(2, other))
    assert compatible(Hypothesis((part(0, "fan-slow"),)), part(1, "dew-sensor-low"))


def test_weather_beyond_design_is_a_conclusion_of_its_own() -> None:
    fault = Part(0, "doors-open", Variant(), 1.0)
    assert compatible(HEALTHY, BEYOND.parts[0])
    assert not compatible(BEYOND, fault)
    assert not compatible(Hypothesis((fault,)), BEYOND.parts[0])


def test_every_cause_says_how_many_severities_it_draws() -> None:
    whole = Hypothesis((Part(0, "charge-low", Variant(), 1.0), Part(1, "pump-off", Variant(), 1.0)))
    assert whole.severities == ACTS["charge-low"].severities + 0 == 3
    assert whole.causes == ("charge-low", "pump-off")
