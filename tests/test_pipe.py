"""Pipes: balances along the way, limits, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wringout.errors import InputError
from wringout.physics import pipe

TEMPERATURE = st.floats(-20.0, 150.0)
DIAMETER = st.floats(0.015, 0.3)


@pytest.mark.parametrize("size", ["2", "2 in", 0.0508, 0.05])
def test_a_size_is_found_by_its_name_and_by_its_nominal_metres(size: str | float) -> None:
    assert pipe.steel_pipe(size).name == "2"


def test_every_size_is_found_again() -> None:
    assert [pipe.steel_pipe(each.name) for each in pipe.STEEL_PIPES] == list(pipe.STEEL_PIPES)
    assert all(each.inside_diameter < each.outside_diameter for each in pipe.STEEL_PIPES)


@settings(deadline=None)
@given(st.floats(1.0, 1000.0), DIAMETER, st.floats(1e-5, 1e-1))
def test_transit_is_length_over_velocity(length: float, diameter: float, flow: float) -> None:
    assert pipe.transit_time(length, diameter, flow) == pytest.approx(length / pipe.velocity(flow, diameter))
    assert np.isposinf(pipe.transit_time(length, diameter, 0.0))


@settings(deadline=None)
@given(TEMPERATURE, TEMPERATURE, DIAMETER, st.floats(0.0, 0.1))
def test_heat_flows_from_warm_to_cold(t: float, air: float, diameter: float, insulation: float) -> None:
    assert pipe.heat_loss(t, air, diameter, insulation) * np.sign(t - air) >= 0.0
    assert pipe.loss_conductance(t, air, diameter, insulation) > 0.0


@settings(deadline=None)
@given(st.floats(40.0, 120.0), DIAMETER, st.floats(0.013, 0.1))
def test_insulation_saves_heat_and_never_more_than_its_own_resistance_allows(
    t: float, diameter: float, insulation: float
) -> None:
    air, conductivity = 20.0, 0.039
    insulated = pipe.heat_loss(t, air, diameter, insulation, conductivity)
    assert insulated < 0.8 * pipe.heat_loss(t, air, diameter)
    shell_alone = 2.0 * np.pi * conductivity * (t - air) / np.log1p(2.0 * insulation / diameter)
    assert 0.3 * shell_alone < insulated < shell_alone


def test_surface_of_an_insulated_pipe_takes_and_gives_the_same_heat() -> None:
    # solved backwards: surface temperature from the shell, then the loss of a bare pipe of that size and
    # temperature
    t, air, diameter, insulation, conductivity = 70.0, 20.0, 0.0603, 0.025, 0.039
    loss = pipe.heat_loss(t, air, diameter, insulation, conductivity)
    outer = diameter + 2.0 * insulation
    surface = t - loss * np.log(outer / diameter) / (2.0 * np.pi * conductivity)
    assert pipe.heat_loss(surface, air, outer) == pytest.approx(loss, rel=1e-9)


def test_conductance_of_a_pipe_as_warm_as_the_air_is_the_limit() -> None:
    at, near = pipe.loss_conductance([20.0, 20.1], 20.0, 0.0603, 0.025)
    assert at == pytest.approx(near, rel=1e-9)
    assert pipe.heat_loss(20.0, 20.0, 0.0603, 0.025) == 0.0


@settings(deadline=None)
@given(TEMPERATURE, TEMPERATURE, st.floats(0.05, 5.0), st.floats(1.0, 300.0), st.floats(10.0, 1e5))
def test_what_the_water_loses_the_air_gains(
    entering: float, air: float, conductance: float, length: float, rate: float
) -> None:
    # summed over many short pieces, each losing by its own mean temperature
    leaving = pipe.leaving_temperature(entering, air, conductance, length, rate)
    along = pipe.leaving_temperature(entering, air, conductance, np.linspace(0.0, length, 2001), rate)
    middle = 0.5 * (along[1:] + along[:-1])
    given_off = float(np.sum(conductance * (length / 2000.0) * (middle - air)))
    assert rate * (entering - leaving) == pytest.approx(given_off, rel=1e-3, abs=1e-6)


def test_water_that_stands_ends_as_warm_as_the_air() -> None:
    found = pipe.leaving_temperature(60.0, 20.0, [0.3, 0.0, 0.3, 0.0], 100.0, [0.0, 0.0, 1e9, 1.0])
    np.testing.assert_allclose(found, [20.0, 60.0, 60.0, 60.0], atol=1e-5)


def test_friction_is_continuous_where_flow_turns_turbulent() -> None:
    reynolds = np.linspace(1900.0, 4100.0, 2201)
    for roughness in (0.0, 1e-3, 1e-2):
        assert np.max(np.abs(np.diff(pipe.friction_factor(reynolds, roughness)))) < 3e-5


@settings(deadline=None)
@given(st.floats(1e-6, 1e-2), DIAMETER, st.floats(1.01, 2.0))
def test_more_flow_costs_more_pressure(flow: float, diameter: float, more: float) -> None:
    assert pipe.pressure_drop(flow * more, 10.0, diameter, 990.0, 5e-4) > pipe.pressure_drop(
        flow, 10.0, diameter, 990.0, 5e-4
    )


def test_laminar_drop_is_hagen_and_poiseuille() -> None:
    flow, length, diameter, mu = 1e-6, 10.0, 0.02, 1e-3
    expected = 128.0 * mu * length * flow / (np.pi * diameter**4)
    assert pipe.pressure_drop(flow, length, diameter, 1000.0, mu) == pytest.approx(expected)
    assert pipe.pressure_drop(0.0, length, diameter, 1000.0, mu) == 0.0


def test_one_and_many_give_the_same_and_nan_stays_nan() -> None:
    t = np.array([[60.0], [np.nan], [5.0]])
    insulation = np.array([0.0, 0.025])
    many = pipe.heat_loss(t, 20.0, 0.0603, insulation)
    assert many.shape == (3, 2)
    for i in range(3):
        for j in range(2):
            one = pipe.heat_loss(t[i, 0], 20.0, 0.0603, insulation[j])
            np.testing.assert_allclose(one, many[i, j], rtol=1e-8)
    assert np.isnan(many[1]).all()
    assert np.isnan(pipe.leaving_temperature([60.0, np.nan], 20.0, 0.3, 10.0, [np.nan, 1e3])).all()
    assert np.isnan(pipe.pressure_drop(np.nan, 1.0, 0.05, 990.0, 5e-4))
    assert np.isnan(pipe.friction_factor(np.nan))


def test_impossible_input_is_refused() -> None:
    with pytest.raises(InputError, match=r"pipe size 1\.1 in .* none of schedule 40: 1/2, 3/4"):
        pipe.steel_pipe(1.1 * 0.0254)
    with pytest.raises(InputError, match="pipe size DN50 is none"):
        pipe.steel_pipe("DN50")
    with pytest.raises(InputError, match="pipe temperature is 400 degC"):
        pipe.heat_loss(400.0, 20.0, 0.06)
    with pytest.raises(InputError, match=r"insulation thickness is -0\.01 m"):
        pipe.heat_loss(60.0, 20.0, 0.06, -0.01)
    with pytest.raises(InputError, match="emissivity is 2"):
        pipe.heat_loss(60.0, 20.0, 0.06, emissivity=2.0)
    with pytest.raises(InputError, match="capacity rate is -1 W/K"):
        pipe.leaving_temperature(60.0, 20.0, 0.3, 10.0, -1.0)
    with pytest.raises(InputError, match="Reynolds number is 0"):
        pipe.friction_factor(0.0)
    with pytest.raises(InputError, match="inside diameter is 0 m"):
        pipe.volume(1.0, 0.0)
