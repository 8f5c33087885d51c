"""Heat exchangers: limits, order, conservation, round trips, arrays, and what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wringout.errors import InputError
from wringout.physics.exchanger import (
    counterflow,
    crossflow_both_unmixed,
    crossflow_both_unmixed_kays_london,
    crossflow_maximum_mixed,
    crossflow_minimum_mixed,
    heat_transferred,
    log_mean_difference,
    ntu_from_effectiveness_counterflow,
    ntu_from_effectiveness_crossflow,
    parallel_flow,
    scaled_conductance,
    shell_and_tube_one_pass,
    transfer_units,
)

ARRANGEMENTS = [
    counterflow,
    parallel_flow,
    crossflow_both_unmixed,
    crossflow_both_unmixed_kays_london,
    crossflow_minimum_mixed,
    crossflow_maximum_mixed,
    shell_and_tube_one_pass,
]
EXACT = [one for one in ARRANGEMENTS if one is not crossflow_both_unmixed_kays_london]
arrangements = pytest.mark.parametrize("arrangement", ARRANGEMENTS, ids=lambda one: one.__name__)
exact = pytest.mark.parametrize("arrangement", EXACT, ids=lambda one: one.__name__)
units = st.floats(0.0, 50.0)
ratios = st.floats(0.0, 1.0)
flows = st.one_of(st.just(0.0), st.floats(1e-6, 1e4))  # W/K


# --- limits
# ---------------------------------------------------------------------------------------------------


@arrangements
def test_no_exchanger_transfers_nothing(arrangement) -> None:  # type: ignore[no-untyped-def]
    assert np.array_equal(arrangement(0.0, np.array([0.0, 0.5, 1.0])), [0.0, 0.0, 0.0])


@arrangements
def test_beside_an_endless_stream_it_is_a_single_exponential(arrangement) -> None:  # type: ignore[no-untyped-def]
    ntu = np.array([1e-3, 0.5, 3.0, 20.0])
    for nothing in (0.0, 1e-15, 1e-9):
        assert np.allclose(arrangement(ntu, nothing), -np.expm1(-ntu), rtol=1e-6, atol=0.0)


@exact
def test_a_small_exchanger_feels_the_whole_difference(arrangement) -> None:  # type: ignore[no-untyped-def]
    assert arrangement(1e-6, 0.7) == pytest.approx(1e-6, rel=2e-6)


@pytest.mark.parametrize(
    ("arrangement", "uneven", "even"),
    [
        (counterflow, 1.0, 1.0),
        (crossflow_both_unmixed, 1.0, 1.0),
        (parallel_flow, 1.0 / 1.5, 0.5),
        (crossflow_minimum_mixed, -math.expm1(-2.0), -math.expm1(-1.0)),
        (crossflow_maximum_mixed, -2.0 * math.expm1(-0.5), -math.expm1(-1.0)),
        (shell_and_tube_one_pass, 2.0 / (1.5 + math.sqrt(1.25)), 2.0 / (2.0 + math.sqrt(2.0))),
    ],
    ids=lambda one: getattr(one, "__name__", ""),
)
def test_an_endless_exchanger_does_what_its_arrangement_can(arrangement, uneven, even) -> None:  # type: ignore[no-untyped-def]
    assert np.allclose(arrangement(np.inf, np.array([0.0, 0.5, 1.0])), [1.0, uneven, even], atol=1e-7)


def test_counterflow_is_continuous_where_the_streams_are_even() -> None:
    near = counterflow(3.0, 1.0 - np.array([0.0, 1e-15, 1e-12, 1e-9, 1e-6]))
    assert near == pytest.approx(0.75, abs=1e-6)
    assert np.all(np.diff(near) > -1e-12)


def test_crossflow_hands_over_to_its_limit_without_a_step() -> None:
    # at 150 counts the series gives way to normal counts
    for ratio in (1.0, 0.98, 0.9):
        around = crossflow_both_unmixed(150.0 / ratio * np.array([0.9999, 1.0001]), ratio)
        assert around[1] == pytest.approx(around[0], abs=3e-5)
    assert crossflow_both_unmixed(1e4, 1.0) == pytest.approx(1.0 - 1.0 / math.sqrt(math.pi * 1e4), abs=1e-6)


# --- order and conservation
# -------------------------------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(ntu=units, ratio=ratios)
def test_counterflow_is_best_and_parallel_flow_worst(ntu: float, ratio: float) -> None:
    best, worst = counterflow(ntu, ratio), parallel_flow(ntu, ratio)
    for arrangement in EXACT[2:]:
        assert worst - 1e-9 <= arrangement(ntu, ratio) <= best + 1e-7
    mixed = max(crossflow_minimum_mixed(ntu, ratio), crossflow_maximum_mixed(ntu, ratio))
    assert crossflow_both_unmixed(ntu, ratio) >= mixed - 1e-7
    assert best <= 1.0


@exact
@settings(max_examples=100, deadline=None)
@given(ntu=units, more=st.floats(1.0, 3.0), ratio=ratios, less=st.floats(0.0, 1.0))
def test_more_surface_helps_and_a_more_even_stream_hurts(arrangement, ntu, more, ratio, less) -> None:  # type: ignore[no-untyped-def]
    here = arrangement(ntu, ratio)
    assert arrangement(ntu * more, ratio) >= here - 1e-7
    assert arrangement(ntu, ratio * less) >= here - 1e-7


@settings(max_examples=100, deadline=None)
@given(
    conductance=st.floats(0.0, 1e4),
    hot=flows,
    cold=flows,
    hot_in=st.floats(-20.0, 90.0),
    cold_in=st.floats(-20.0, 90.0),
)
def test_neither_stream_leaves_beyond_the_inlet_of_the_other(
    conductance: float, hot: float, cold: float, hot_in: float, cold_in: float
) -> None:
    ntu, ratio = transfer_units(conductance, hot, cold)
    heat = heat_transferred(crossflow_both_unmixed(ntu, ratio), hot, cold, hot_in, cold_in)
    low, high = min(hot_in, cold_in) - 1e-6, max(hot_in, cold_in) + 1e-6
    if hot > 0.0:
        assert low <= hot_in - heat / hot <= high
    if cold > 0.0:
        assert low <= cold_in + heat / cold <= high
    if hot == 0.0 or cold == 0.0 or conductance == 0.0:
        assert heat == 0.0


def test_a_stream_that_stands_still_gives_no_heat_and_no_error() -> None:
    ntu, ratio = transfer_units(500.0, np.array([0.0, 100.0, 0.0]), np.array([100.0, 0.0, 0.0]))
    assert np.all(np.isposinf(ntu))
    assert np.array_equal(ratio, [0.0, 0.0, 0.0])
    heat = heat_transferred(counterflow(ntu, ratio), [0.0, 100.0, 0.0], [100.0, 0.0, 0.0], 60.0, 20.0)
    assert np.array_equal(heat, [0.0, 0.0, 0.0])


def test_heat_flows_back_when_the_hot_stream_is_the_colder_one() -> None:
    assert heat_transferred(0.5, 100.0, 200.0, 10.0, 30.0) == pytest.approx(-1000.0)


def test_effectiveness_and_mean_difference_tell_the_same_heat() -> None:
    conductance, hot, cold = 800.0, 500.0, 900.0
    ntu, ratio = transfer_units(conductance, hot, cold)
    for arrangement in (counterflow, parallel_flow):
        heat = heat_transferred(arrangement(ntu, ratio), hot, cold, 70.0, 20.0)
        hot_out, cold_out = 70.0 - heat / hot, 20.0 + heat / cold
        ends = (70.0 - cold_out, hot_out - 20.0) if arrangement is counterflow else (50.0, hot_out - cold_out)
        assert conductance * log_mean_difference(*ends) == pytest.approx(float(heat), rel=1e-12)


# --- sizing
# -----------------------------------------------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(ntu=st.floats(1e-4, 12.0), ratio=ratios)
def test_sizing_in_counterflow_is_the_inverse(ntu: float, ratio: float) -> None:
    effectiveness = counterflow(ntu, ratio)
    assert ntu_from_effectiveness_counterflow(effectiveness, ratio) == pytest.approx(ntu, rel=1e-8)


@settings(max_examples=100, deadline=None)
@given(ntu=st.floats(1e-3, 12.0), ratio=ratios)
def test_sizing_in_crossflow_is_the_inverse(ntu: float, ratio: float) -> None:
    effectiveness = crossflow_both_unmixed(ntu, ratio)
    assert ntu_from_effectiveness_crossflow(effectiveness, ratio) == pytest.approx(ntu, rel=1e-4)
    assert crossflow_both_unmixed(
        ntu_from_effectiveness_crossflow(effectiveness, ratio), ratio
    ) == pytest.approx(float(effectiveness), abs=1e-8)


def test_sizing_works_on_arrays_with_gaps() -> None:
    wanted = np.array([0.0, 0.3, np.nan, 0.8])
    cross = ntu_from_effectiveness_crossflow(wanted, 0.6)
    counter = ntu_from_effectiveness_counterflow(wanted, 0.6)
    assert cross[0] == counter[0] == 0.0
    assert np.isnan(cross[2])
    assert np.isnan(counter[2])
    assert np.all(cross[[1, 3]] > counter[[1, 3]])


# --- mean difference and conductance
# ------------------------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(a=st.floats(1e-3, 200.0), b=st.floats(1e-3, 200.0))
def test_the_logarithmic_mean_lies_between_the_geometric_and_the_arithmetic(a: float, b: float) -> None:
    mean = log_mean_difference(a, b)
    assert math.sqrt(a * b) * (1 - 1e-12) <= mean <= 0.5 * (a + b) * (1 + 1e-12)
    assert mean == pytest.approx(float(log_mean_difference(b, a)), rel=1e-12)


def test_the_logarithmic_mean_has_its_limits() -> None:
    assert log_mean_difference(10.0, 10.0) == 10.0
    assert log_mean_difference(10.0, 10.0 + 1e-9) == pytest.approx(10.0, abs=1e-8)
    assert log_mean_difference(10.0, 0.0) == 0.0
    assert log_mean_difference(0.0, 0.0) == 0.0
    assert np.isnan(log_mean_difference(np.nan, 5.0))


def test_conductance_is_the_rated_one_at_rated_flow_and_nothing_without_flow() -> None:
    assert scaled_conductance(4748.0, 1.0, 1.0) == pytest.approx(4748.0)
    still = scaled_conductance(4748.0, [0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.5, 0.5, 1.0])
    assert np.array_equal(still, [0.0, 0.0, 0.0])
    assert np.isnan(scaled_conductance(4748.0, np.nan, 1.0))


@settings(max_examples=100, deadline=None)
@given(air=st.floats(0.05, 2.0), water=st.floats(0.05, 2.0), share=st.floats(0.0, 1.0))
def test_the_side_with_the_resistance_rules(air: float, water: float, share: float) -> None:
    value = scaled_conductance(1.0, air, water, share, 0.8, 0.85)
    sides = sorted((air**0.8, water**0.85))
    assert sides[0] * (1 - 1e-12) <= value <= sides[1] * (1 + 1e-12)
    assert scaled_conductance(1.0, air, water, 1.0) == pytest.approx(air**0.8)
    assert scaled_conductance(1.0, air, water, 0.0) == pytest.approx(water**0.85)


# --- arrays and refusals
# ---------------------------------------------------------------------------------------


@arrangements
def test_one_value_many_and_tables_agree_and_gaps_stay(arrangement) -> None:  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(3)
    ntu, ratio = rng.uniform(0.0, 8.0, 10_001), rng.uniform(0.0, 1.0, 10_001)
    many = arrangement(ntu, ratio)
    for i in (0, 4095, 4096, 10_000):
        one = arrangement(float(ntu[i]), float(ratio[i]))
        assert np.shape(one) == ()
        assert one == pytest.approx(float(many[i]), abs=1e-7)
    table = arrangement(ntu[:3, None], ratio[:4])
    assert table.shape == (3, 4)
    assert table[2, 1] == pytest.approx(float(arrangement(ntu[2], ratio[1])), abs=1e-7)
    assert np.array_equal(np.isnan(arrangement([1.0, np.nan, 1.0], [0.5, 0.5, np.nan])), [False, True, True])
    assert arrangement(np.array([1.0, np.nan]), 0.5)[0] == pytest.approx(
        float(arrangement(1.0, 0.5)), abs=1e-9
    )
    assert arrangement(np.empty(0), np.empty(0)).shape == (0,)


@arrangements
def test_impossible_exchangers_are_refused(arrangement) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match="number of transfer units is -1"):
        arrangement(np.array([1.0, -1.0]), 0.5)
    with pytest.raises(InputError, match=r"capacity ratio is 1\.2: it must lie from 0 to 1; .* smaller over"):
        arrangement(1.0, np.array([1.2, np.nan]))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: transfer_units(-1.0, 1.0, 1.0), "conductance is -1 W/K"),
        (lambda: transfer_units(1.0, 1.0, -2.0), "capacity rate of the cold stream is -2 W/K"),
        (lambda: heat_transferred(1.2, 1.0, 1.0, 60.0, 20.0), "effectiveness is 1.2"),
        (lambda: heat_transferred(0.5, -1.0, 1.0, 60.0, 20.0), "capacity rate of the hot stream is -1 W/K"),
        (lambda: ntu_from_effectiveness_counterflow(1.0, 0.5), "endless exchanger"),
        (lambda: ntu_from_effectiveness_crossflow(1.1, 0.5), "effectiveness is 1.1"),
        (lambda: ntu_from_effectiveness_crossflow(0.99, 1.0), "over 1000 transfer units"),
        (lambda: log_mean_difference(-3.0, 5.0), "temperature difference at one end is -3 K.*cross"),
        (lambda: scaled_conductance(-1.0, 1.0, 1.0), "rated conductance is -1 W/K"),
        (lambda: scaled_conductance(1.0, -1.0, 1.0), "air flow over rated is -1"),
        (lambda: scaled_conductance(1.0, 1.0, 1.0, 1.5), "share of the resistance is 1.5"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call, message: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match=message):
        call()
