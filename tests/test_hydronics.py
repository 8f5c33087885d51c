"""Loops of a pump, a main and two legs: balances, closed legs, round trips, and an independent solver."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from wringout.errors import InputError
from wringout.physics import hydronics

HEAD = st.floats(1e3, 5e5)
RESISTANCE = st.floats(1e7, 1e13)
LEG = st.one_of(RESISTANCE, st.just(float("inf")))


@settings(deadline=None)
@given(HEAD, RESISTANCE, RESISTANCE, LEG, LEG)
def test_flow_and_pressure_balance_around_the_loop(
    head: float, pump: float, main: float, coil: float, bypass: float
) -> None:
    flows = hydronics.loop_flows(head, pump, main, coil, bypass)
    assert flows.main == flows.coil + flows.bypass
    assert flows.pump_head == pytest.approx(hydronics.pump_pressure(flows.main, head, pump), abs=1e-12 * head)
    # what the pump gives is spent in the main and again in each leg that is open
    for leg, flow in ((coil, flows.coil), (bypass, flows.bypass)):
        if np.isfinite(leg):
            assert main * flows.main**2 + leg * flow**2 == pytest.approx(flows.pump_head, rel=1e-9)
        else:
            assert flow == 0.0


@settings(deadline=None)
@given(HEAD, RESISTANCE, RESISTANCE, RESISTANCE, RESISTANCE)
def test_a_root_finder_comes_to_the_same_flow(
    head: float, pump: float, main: float, coil: float, bypass: float
) -> None:
    together = 1.0 / (coil**-0.5 + bypass**-0.5) ** 2

    def surplus(flow: float) -> float:
        return head - (pump + main + together) * flow * flow

    root = brentq(surplus, 0.0, 1e3, xtol=1e-16, rtol=1e-14)
    assert hydronics.loop_flows(head, pump, main, coil, bypass).main == pytest.approx(root, rel=1e-9)


@settings(deadline=None)
@given(HEAD, RESISTANCE, RESISTANCE, RESISTANCE, RESISTANCE)
def test_shutting_the_bypass_gives_the_coil_more_and_the_main_less(
    head: float, pump: float, main: float, coil: float, bypass: float
) -> None:
    before = hydronics.loop_flows(head, pump, main, coil, bypass)
    after = hydronics.loop_flows(head, pump, main, coil, np.inf)
    assert after.coil >= before.coil * (1 - 1e-12)
    assert after.main <= before.main * (1 + 1e-12)


def test_a_dead_pump_and_shut_legs_move_nothing() -> None:
    assert hydronics.loop_flows(0.0, 1e9, 1e9, 1e9, 1e9) == (0.0, 0.0, 0.0, 0.0)
    assert hydronics.loop_flows(1e5, 1e9, 1e9, np.inf, np.inf) == (0.0, 0.0, 0.0, 1e5)
    assert hydronics.loop_flows(1e5, 1e9, np.inf, 1e9, 1e9) == (0.0, 0.0, 0.0, 1e5)
    assert hydronics.loop_flows(1e5, 1e9, np.inf, np.inf, np.inf) == (0.0, 0.0, 0.0, 1e5)
    assert hydronics.loop_flows(0.0, 0.0, np.inf, np.inf, np.inf) == (0.0, 0.0, 0.0, 0.0)


@settings(deadline=None)
@given(st.lists(RESISTANCE, min_size=1, max_size=5))
def test_resistances_side_by_side_and_in_a_row(resistances: list[float]) -> None:
    assert hydronics.series(*resistances) == pytest.approx(sum(resistances))
    together = hydronics.parallel(*resistances)
    assert together <= min(resistances) * (1 + 1e-12)
    assert together == pytest.approx(1.0 / sum(r**-0.5 for r in resistances) ** 2)
    assert hydronics.parallel(*resistances, np.inf) == together


def test_closed_and_free_legs() -> None:
    assert hydronics.parallel(4.0, 4.0) == pytest.approx(1.0)
    assert np.isposinf(hydronics.parallel(np.inf, np.inf))
    assert hydronics.parallel(0.0, 1e9) == 0.0
    assert np.isposinf(hydronics.series(1.0, np.inf))


@settings(deadline=None)
@given(st.floats(0.0, 1.0), st.lists(LEG, min_size=1, max_size=4))
def test_a_flow_is_shared_without_loss(flow: float, legs: list[float]) -> None:
    shares = hydronics.split(flow, *legs)
    open_at_all = any(np.isfinite(leg) for leg in legs)
    assert sum(shares) == pytest.approx(flow if open_at_all else 0.0)
    drops = [leg * share**2 for leg, share in zip(legs, shares, strict=True) if np.isfinite(leg)]
    np.testing.assert_allclose(drops, drops[0] if drops else [], rtol=1e-9)


@settings(deadline=None)
@given(st.floats(1e-5, 1e-1), HEAD, st.floats(1.0, 2.0))
def test_the_pump_curve_goes_through_its_design_point(flow: float, pressure: float, ratio: float) -> None:
    curve = hydronics.pump_curve(flow, pressure, ratio)
    assert hydronics.pump_pressure(flow, *curve) == pytest.approx(pressure, rel=1e-9)
    assert hydronics.pump_pressure(0.0, *curve) == pytest.approx(pressure * ratio)


@settings(deadline=None)
@given(HEAD, RESISTANCE, RESISTANCE, st.floats(0.1, 1.2))
def test_speed_moves_the_operating_point_by_the_affinity_laws(
    head: float, pump: float, system: float, ratio: float
) -> None:
    full = hydronics.loop_flows(head, pump, system, 1e8, np.inf)
    slowed = hydronics.pump_at_speed(head, pump, ratio)
    found = hydronics.loop_flows(slowed.shutoff_head, slowed.resistance, system, 1e8, np.inf)
    expected = hydronics.affinity(
        full.main, full.pump_head, hydronics.pump_power(full.main, full.pump_head), ratio
    )
    assert found.main == pytest.approx(expected.flow, rel=1e-9)
    assert found.pump_head == pytest.approx(expected.head, rel=1e-9)
    assert hydronics.pump_power(found.main, found.pump_head) == pytest.approx(expected.power, rel=1e-9)


@settings(deadline=None)
@given(st.floats(-100.0, 100.0), st.floats(900.0, 1100.0))
def test_head_and_pressure_go_into_each_other(head: float, density: float) -> None:
    assert hydronics.head_from_pressure(
        hydronics.pressure_from_head(head, density), density
    ) == pytest.approx(head)


def test_one_and_many_give_the_same_and_nan_stays_nan() -> None:
    coil = np.array([1e9, np.inf, np.nan, 3e10])
    bypass = np.array([[1e10], [np.inf]])
    many = hydronics.loop_flows(1e5, 1e9, 2e9, coil, bypass)
    assert many.main.shape == (2, 4)
    for i in range(2):
        for j in range(4):
            one = hydronics.loop_flows(1e5, 1e9, 2e9, coil[j], bypass[i, 0])
            np.testing.assert_array_equal([part[i, j] for part in many], list(one))
    assert np.isnan(many.main[:, 2]).all()
    assert np.isfinite(np.delete(many.main, 2, axis=1)).all()


@pytest.mark.parametrize("place", range(5))
def test_nan_in_any_input_comes_out(place: int) -> None:
    given = [1e5, 1e9, 1e9, 1e9, 1e9]
    given[place] = np.nan
    assert np.isnan(hydronics.loop_flows(*given)).all()


def test_impossible_input_is_refused() -> None:
    with pytest.raises(InputError, match=r"shut-off head of the pump is -1 Pa: it must lie from 0 upwards"):
        hydronics.loop_flows(-1.0, 1e9, 1e9, 1e9, 1e9)
    with pytest.raises(InputError, match=r"resistance of the coil leg is 0 .* above 0"):
        hydronics.loop_flows(1e5, 1e9, 1e9, 0.0, 1e9)
    with pytest.raises(InputError, match="resistance of the pump curve"):
        hydronics.loop_flows(1e5, np.inf, 1e9, 1e9, 1e9)
    with pytest.raises(InputError, match="needs one"):
        hydronics.series()
    with pytest.raises(InputError, match="need one"):
        hydronics.parallel()
    with pytest.raises(InputError, match="need one"):
        hydronics.split(1.0)
    with pytest.raises(InputError, match=r"shut-off ratio of the pump is 0\.9"):
        hydronics.pump_curve(1e-3, 1e5, 0.9)
    with pytest.raises(InputError, match=r"efficiency is 1\.2"):
        hydronics.pump_power(1e-3, 1e5, 1.2)
    with pytest.raises(InputError, match="density is 0"):
        hydronics.pressure_from_head(1.0, 0.0)
