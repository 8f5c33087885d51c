"""What a control valve does to a flow: limits, monotony, round trips, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wringout.errors import InputError
from wringout.physics import valve

POSITION = st.floats(0.0, 1.0)
RANGEABILITY = st.floats(5.0, 200.0)
AUTHORITY = st.floats(0.01, 1.0)


@settings(deadline=None)
@given(POSITION, POSITION, RANGEABILITY)
def test_opening_a_valve_never_lessens_what_it_passes(a: float, b: float, rangeability: float) -> None:
    low, high = sorted((a, b))
    assert valve.equal_percentage(low, rangeability) <= valve.equal_percentage(high, rangeability) * (
        1 + 1e-12
    )
    assert valve.linear(low, rangeability) <= valve.linear(high, rangeability) * (1 + 1e-12)


@settings(deadline=None)
@given(RANGEABILITY)
def test_the_ends_of_travel(rangeability: float) -> None:
    assert valve.equal_percentage(0.0, rangeability) == 0.0
    assert valve.equal_percentage(1.0, rangeability) == 1.0
    assert valve.linear(1.0, rangeability) == pytest.approx(1.0, abs=1e-15)
    assert valve.linear(0.0, rangeability) == pytest.approx(1.0 / rangeability)
    assert valve.linear(0.0) == 0.0


def test_equal_steps_of_travel_multiply_the_flow_by_equal_factors() -> None:
    passed = valve.equal_percentage([0.2, 0.4, 0.6, 0.8, 1.0])
    np.testing.assert_allclose(passed[1:] / passed[:-1], 50.0**0.2)


def test_the_equal_percentage_valve_closes_in_a_straight_line_without_a_jump() -> None:
    corner = valve.equal_percentage(0.05)
    assert valve.equal_percentage(0.025) == pytest.approx(corner / 2.0)
    assert valve.equal_percentage(0.05 - 1e-12) == pytest.approx(corner)
    assert valve.equal_percentage(0.0, 50.0, shut_off_travel=0.0) == pytest.approx(1.0 / 50.0)


@settings(deadline=None)
@given(POSITION, AUTHORITY)
def test_a_valve_of_less_authority_passes_more_when_partly_open(fraction: float, n: float) -> None:
    assert fraction * (1 - 1e-12) <= valve.installed(fraction, n) <= 1.0 + 1e-12
    assert valve.installed(fraction, 1.0) == pytest.approx(fraction)


@settings(deadline=None)
@given(st.floats(0.01, 1.0), st.floats(1e3, 1e5), st.floats(0.0, 1e5), st.floats(1e-5, 1e-2))
def test_installed_flow_is_what_the_resistances_say(
    phi: float, valve_drop: float, rest: float, flow: float
) -> None:
    open_valve = valve.resistance_from_flow(valve_drop, flow)
    others = valve.resistance_from_flow(rest, flow)
    through = np.sqrt((valve_drop + rest) / (valve.valve_resistance(open_valve, phi) + others))
    share = valve.installed(phi, valve.authority(valve_drop, rest))
    assert through / flow == pytest.approx(share, rel=1e-9)


@settings(deadline=None)
@given(POSITION, POSITION)
def test_a_leaking_valve_passes_its_leak_shut_and_no_more_than_its_all_open(phi: float, leak: float) -> None:
    assert valve.leaking(0.0, leak) == leak
    assert valve.leaking(1.0, leak) == pytest.approx(1.0)
    assert max(phi, leak) - 1e-12 <= valve.leaking(phi, leak) <= 1.0 + 1e-12


@settings(deadline=None)
@given(st.floats(1e-3, 1e4), st.floats(800.0, 1200.0))
def test_flow_coefficient_and_resistance_are_two_ways_to_say_one_thing(kv: float, density: float) -> None:
    assert valve.kv_from_resistance(valve.resistance_from_kv(kv, density), density) == pytest.approx(kv)
    assert valve.cv_from_kv(valve.kv_from_cv(kv)) == pytest.approx(kv)


def test_a_shut_valve_resists_without_end() -> None:
    assert np.isposinf(valve.valve_resistance(1e9, 0.0))
    assert np.isposinf(valve.resistance_from_kv(0.0))
    assert valve.kv_from_resistance(np.inf) == 0.0


def test_one_and_many_give_the_same_and_nan_stays_nan() -> None:
    positions = np.array([0.0, 0.03, 0.3, np.nan, 1.0])
    many = valve.installed(valve.equal_percentage(positions), 0.4)
    for position, found in zip(positions, many, strict=True):
        np.testing.assert_array_equal(valve.installed(valve.equal_percentage(position), 0.4), found)
    assert np.isnan(many).tolist() == [False, False, False, True, False]
    assert valve.installed(positions[:, None], np.array([0.2, 0.5])).shape == (5, 2)
    assert np.isnan(valve.linear(0.5, np.nan))


@pytest.mark.parametrize("position", [-0.01, 1.01, [0.5, np.nan, 7.0]])
def test_a_position_off_the_scale_is_refused(position: float) -> None:
    for characteristic in (valve.linear, valve.equal_percentage):
        with pytest.raises(InputError, match=r"valve position is .*: it must lie from .* to 1"):
            characteristic(position)


def test_other_impossible_input_is_refused() -> None:
    with pytest.raises(InputError, match="rangeability is 1"):
        valve.equal_percentage(0.5, 1.0)
    with pytest.raises(InputError, match="authority is 0"):
        valve.installed(0.5, 0.0)
    with pytest.raises(InputError, match="leakage is 2"):
        valve.leaking(0.5, 2.0)
    with pytest.raises(InputError, match="flow is 0 m3/s"):
        valve.resistance_from_flow(1e3, 0.0)
    with pytest.raises(InputError, match="shut-off travel"):
        valve.equal_percentage(0.5, 50.0, 0.7)
    with pytest.raises(InputError, match="valve pressure drop is -1 Pa"):
        valve.authority(-1.0, 1.0)
