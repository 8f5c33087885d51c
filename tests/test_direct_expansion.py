"""Direct expansion: coil and compressors agree, limits, directions, arrays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import brentq

from wringout.physics.cooling_coil import air_after_surface
from wringout.physics.direct_expansion import (
    CAPACITY_PER_CONDENSING,
    CAPACITY_PER_EVAPORATING,
    coil_compressor_balance,
)
from wringout.physics.moist_air import saturated_humidity_ratio

Array = NDArray[np.float64]
PRESSURE = 98_000.0
EVAPORATING = 7.0


def states(samples: int, seed: int) -> tuple[Array, ...]:
    """Entering air, its flow, bypass, capacity and condensing temperature of coils from idle to oversized."""
    g = np.random.default_rng(seed)
    t = g.uniform(9.0, 34.0, samples)
    w = g.uniform(0.2, 0.98, samples) * saturated_humidity_ratio(t, PRESSURE)
    flow = g.uniform(0.5, 6.0, samples)
    capacity = flow * g.uniform(0.0, 26_000.0, samples)
    return t, w, flow, g.uniform(0.02, 0.35, samples), capacity, g.uniform(-20.0, 25.0, samples)


def balance(
    t: Array, w: Array, flow: Array, bypass: Array, capacity: Array, over: Array
) -> tuple[Array, ...]:
    resistance = 4.0 / np.maximum(flow * 20_000.0, 1.0)
    return coil_compressor_balance(t, w, flow, bypass, capacity, over, EVAPORATING, resistance, PRESSURE)


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 2**31))
def test_the_compressors_take_what_the_coil_gives(seed: int) -> None:
    t, w, flow, bypass, capacity, over = states(30, seed)
    surface, evaporating, taken = balance(t, w, flow, bypass, capacity, over)
    air = air_after_surface(t, w, flow, bypass, surface, PRESSURE)
    limited = surface <= -24.999
    scale = np.maximum(capacity, 1.0)
    assert np.all(np.abs(air.total - taken)[~limited] < 1e-5 * scale[~limited])
    # and the compressor's own equation, written out
    curve = (1.0 + CAPACITY_PER_EVAPORATING * (evaporating - EVAPORATING)) * np.maximum(
        1.0 + CAPACITY_PER_CONDENSING * over, 0.1
    )
    assert taken == pytest.approx(capacity * curve, rel=1e-9, abs=1e-6)
    assert np.all(surface <= t)
    assert np.all(evaporating <= surface + 1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_a_root_finder_comes_to_the_same_surface(seed: int) -> None:
    t, w, flow, bypass, capacity, over = states(8, seed)
    capacity = np.maximum(capacity, 500.0)
    surface = balance(t, w, flow, bypass, capacity, over)[0]
    for i in range(8):

        def surplus(s: float, i: int = i) -> float:
            one = slice(i, i + 1)
            air = air_after_surface(t[one], w[one], flow[one], bypass[one], np.array([s]), PRESSURE)
            q = air.total[0]
            refrigerant = s - 4.0 / (flow[i] * 20_000.0) * q
            curve = 1.0 + CAPACITY_PER_EVAPORATING * (refrigerant - EVAPORATING)
            return float(q - capacity[i] * (1.0 + CAPACITY_PER_CONDENSING * over[i]) * curve)

        assert surface[i] == pytest.approx(brentq(surplus, -25.0, t[i]), abs=1e-3)


def test_with_no_stage_running_the_surface_is_as_warm_as_the_air() -> None:
    t, w, flow, bypass, _, over = states(50, 1)
    surface, evaporating, taken = balance(t, w, flow, bypass, np.zeros(50), over)
    np.testing.assert_allclose(surface, t, atol=1e-9)
    np.testing.assert_allclose(evaporating, t, atol=1e-9)
    np.testing.assert_array_equal(taken, 0.0)


def test_more_stages_make_a_colder_surface_and_more_cooling() -> None:
    one = np.ones(6)
    surface, _, taken = balance(
        25.0 * one, 0.011 * one, 3.0 * one, 0.1 * one, np.linspace(0.0, 70_000.0, 6), 0.0 * one
    )
    assert np.all(np.diff(surface) < 0.0)
    assert np.all(np.diff(taken) > 0.0)


def test_a_warm_condenser_and_a_trickle_of_air_take_capacity() -> None:
    one = np.ones(5)
    by_condensing = balance(
        25.0 * one, 0.011 * one, 3.0 * one, 0.1 * one, 60_000.0 * one, np.linspace(-10.0, 30.0, 5)
    )[2]
    by_air = balance(25.0 * one, 0.011 * one, np.linspace(4.0, 1.0, 5), 0.1 * one, 60_000.0 * one, 0.0 * one)
    assert np.all(np.diff(by_condensing) < 0.0)
    assert np.all(np.diff(by_air[2]) < 0.0)
    assert np.all(np.diff(by_air[0]) < 0.0)


def test_dry_air_is_cooled_further_than_wet_air_by_the_same_compressors() -> None:
    one = np.ones(2)
    dry, wet = balance(25.0 * one, np.array([0.004, 0.014]), 3.0 * one, 0.1 * one, 60_000.0 * one, 0.0 * one)[
        0
    ]
    assert dry < wet


def test_single_states_and_arrays_and_broadcasting_agree() -> None:
    parts = states(6, 9)
    together = balance(*parts)
    for i in range(6):
        one = balance(*(part[i : i + 1] for part in parts))
        for mine, theirs in zip(one, together, strict=True):
            assert mine[0] == pytest.approx(theirs[i], rel=1e-14)
    t, w, flow, bypass, capacity, _ = parts
    spread = balance(t, w, flow, bypass, capacity, np.zeros(1))
    spelt_out = balance(t, w, flow, bypass, capacity, np.zeros(6))
    np.testing.assert_array_equal(spread[0], spelt_out[0])


@pytest.mark.parametrize("column", range(6))
def test_not_known_in_gives_not_known_out(column: int) -> None:
    parts = [part.copy() for part in states(3, 2)]
    parts[column][1] = np.nan
    surface, evaporating, taken = balance(*parts)
    for part in (surface, evaporating, taken):
        np.testing.assert_array_equal(np.isnan(part), [False, True, False])
