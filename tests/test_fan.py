"""Fans: operating point, added resistance, power, current, heat; against a root finder; refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from wringout.errors import InputError
from wringout.physics import fan

AIRFLOW = st.floats(0.1, 50.0)
PRESSURE = st.floats(50.0, 2000.0)
RATIO = st.floats(1.0, 2.5)


@settings(deadline=None)
@given(AIRFLOW, PRESSURE, RATIO)
def test_the_fan_runs_at_its_design_point_in_its_design_system(q: float, p: float, ratio: float) -> None:
    shutoff, resistance = fan.fan_curve(q, p, ratio)
    assert fan.fan_airflow(shutoff, resistance, fan.system_resistance(p, q)) == pytest.approx(q)


@settings(deadline=None)
@given(AIRFLOW, PRESSURE, RATIO, st.floats(0.2, 1.3), st.floats(0.0, 3.0))
def test_a_root_finder_comes_to_the_same_airflow(
    q: float, p: float, ratio: float, speed: float, added: float
) -> None:
    shutoff, resistance = fan.fan_curve(q, p, ratio)
    system = fan.system_resistance(p, q) * (1.0 + added)

    def surplus(x: float) -> float:
        return float(shutoff * speed**2 - resistance * x * x - system * x * x)

    root = brentq(surplus, 0.0, 100.0 * q, xtol=1e-13, rtol=1e-14)
    assert fan.fan_airflow(shutoff, resistance, system, speed) == pytest.approx(root, rel=1e-9)
    if speed == 1.0:
        assert fan.airflow_ratio_with_added_resistance(added, ratio) == pytest.approx(root / q, rel=1e-9)


@settings(deadline=None)
@given(st.floats(0.05, 1.0), RATIO)
def test_added_resistance_and_airflow_go_into_each_other(airflow_ratio: float, ratio: float) -> None:
    added = fan.added_resistance_for_airflow_ratio(airflow_ratio, ratio)
    assert fan.airflow_ratio_with_added_resistance(added, ratio) == pytest.approx(airflow_ratio)


def test_a_steep_fan_gives_way_less_than_a_flat_one() -> None:
    found = fan.airflow_ratio_with_added_resistance(0.5, [1.0, 1.4, 2.5])
    assert np.all(np.diff(found) > 0.0)
    assert fan.airflow_ratio_with_added_resistance(0.0) == 1.0


@settings(deadline=None)
@given(AIRFLOW, PRESSURE, st.floats(0.1, 1.5))
def test_power_at_another_speed_is_power_of_the_airflow_and_pressure_there(
    q: float, p: float, speed: float
) -> None:
    there = fan.fan_power(fan.airflow_at_speed(q, speed), fan.pressure_at_speed(p, speed), 0.6)
    assert fan.power_at_speed(fan.fan_power(q, p, 0.6), speed) == pytest.approx(there)


@settings(deadline=None)
@given(AIRFLOW, PRESSURE, st.floats(0.2, 1.0))
def test_all_the_shaft_power_warms_the_air(q: float, p: float, efficiency: float) -> None:
    rise = fan.heat_rise(p, efficiency, 1.2, 1006.0)
    assert q * 1.2 * 1006.0 * rise == pytest.approx(fan.fan_power(q, p, efficiency))


@settings(deadline=None)
@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_motor_current_lies_between_idle_and_full_and_never_under_its_load(load: float, idle: float) -> None:
    current = fan.motor_current(load, 10.0, idle)
    assert 10.0 * max(load, idle) - 1e-9 <= current <= 10.0 + 1e-9
    assert fan.motor_current(1.0, 10.0, idle) == pytest.approx(10.0)
    assert fan.motor_current(0.0, 10.0, idle) == pytest.approx(10.0 * idle)
    assert fan.motor_current(load, 10.0, 0.0) == pytest.approx(10.0 * load)


@settings(deadline=None)
@given(AIRFLOW, st.floats(1.0, 2.0))
def test_filter_drop_goes_with_a_power_of_airflow(q: float, exponent: float) -> None:
    assert fan.filter_drop(q, 100.0, q, exponent) == pytest.approx(100.0)
    assert fan.filter_drop(2.0 * q, 100.0, q, exponent) == pytest.approx(100.0 * 2.0**exponent)
    assert fan.filter_drop(0.0, 100.0, q, exponent) == 0.0


def test_stopped_fans_and_shut_systems_move_nothing() -> None:
    assert fan.fan_airflow(500.0, 10.0, 30.0, 0.0) == 0.0
    assert fan.fan_airflow(500.0, 10.0, np.inf) == 0.0
    assert fan.fan_airflow(0.0, 10.0, 30.0) == 0.0


def test_one_and_many_give_the_same_and_nan_stays_nan() -> None:
    system = np.array([10.0, np.nan, 40.0])
    many = fan.fan_airflow(500.0, 10.0, system[:, None], [0.5, 1.0])
    assert many.shape == (3, 2)
    for i in range(3):
        np.testing.assert_array_equal(fan.fan_airflow(500.0, 10.0, system[i], [0.5, 1.0]), many[i])
    assert np.isnan(many[1]).all()
    assert np.isnan(fan.heat_rise(np.nan, 0.6))
    assert np.isnan(fan.motor_current(np.nan, 10.0))
    assert np.isnan(fan.filter_drop(1.0, np.nan, 1.0))


def test_impossible_input_is_refused() -> None:
    with pytest.raises(InputError, match="fan efficiency is 60"):
        fan.fan_power(5.0, 700.0, 60.0)
    with pytest.raises(InputError, match=r"airflow ratio is 1\.2"):
        fan.added_resistance_for_airflow_ratio(1.2)
    with pytest.raises(InputError, match="filter exponent is 3"):
        fan.filter_drop(1.0, 100.0, 1.0, 3.0)
    with pytest.raises(InputError, match="resistance of the system is 0"):
        fan.fan_airflow(500.0, 10.0, 0.0)
    with pytest.raises(InputError, match="speed ratio is -1"):
        fan.airflow_at_speed(1.0, -1.0)
    with pytest.raises(InputError, match="airflow is 0 m3/s"):
        fan.system_resistance(100.0, 0.0)
