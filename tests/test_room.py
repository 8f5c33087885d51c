"""The room's balance: directions, linearity, arrays."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wringout.physics.room import heat_gain, moisture_gain, moisture_removed, sensible_removed

FLOW = st.floats(0.0, 20.0)
RATIO = st.floats(0.0, 0.03)


@settings(deadline=None)
@given(st.floats(0.0, 0.05), FLOW, FLOW, RATIO, RATIO)
def test_a_room_settles_where_gain_is_what_the_supply_air_removes(
    released: float, infiltration: float, supply: float, outdoor: float, supply_ratio: float
) -> None:
    """Solved by hand: w = (released + infiltration w_o + supply w_s) / (infiltration + supply)."""
    supply += 0.1
    space = (released + infiltration * outdoor + supply * supply_ratio) / (infiltration + supply)
    gain = moisture_gain(
        np.array([released]), np.array([infiltration]), np.array([outdoor]), np.array([space])
    )
    removed = moisture_removed(np.array([supply]), np.array([space]), np.array([supply_ratio]))
    assert gain[0] == pytest.approx(removed[0], abs=1e-12)


def test_a_tight_room_gains_what_is_released_in_it() -> None:
    assert moisture_gain(np.array([0.004]), np.zeros(1), np.array([0.02]), np.array([0.008]))[0] == 0.004
    assert heat_gain(np.array([-5000.0]), np.zeros(1), np.array([35.0]), np.array([20.0]))[0] == -5000.0


def test_dry_outdoor_air_dries_a_wet_room() -> None:
    assert moisture_gain(np.zeros(1), np.ones(1), np.array([0.004]), np.array([0.009]))[0] < 0.0


def test_supply_air_wetter_or_warmer_than_the_room_wets_or_warms_it() -> None:
    assert moisture_removed(np.ones(1), np.array([0.008]), np.array([0.010]))[0] < 0.0
    assert sensible_removed(np.ones(1), np.array([21.0]), np.array([30.0]))[0] < 0.0


def test_heat_of_infiltration_follows_its_flow_and_difference() -> None:
    heat = heat_gain(np.zeros(3), np.array([0.5, 1.0, 1.0]), np.array([30.0, 30.0, 40.0]), np.full(3, 20.0))
    assert heat[1] == pytest.approx(2.0 * heat[0])
    assert heat[2] == pytest.approx(2.0 * heat[1])
    assert heat[1] == pytest.approx(10_000.0, rel=0.03)


def test_single_values_arrays_broadcasting_and_what_is_not_known() -> None:
    flows = np.array([0.5, np.nan, 2.0])
    removed = moisture_removed(flows, np.array([0.009]), np.array([0.006]))
    np.testing.assert_array_equal(np.isnan(removed), [False, True, False])
    assert removed[2] == moisture_removed(flows[2:], np.array([0.009]), np.array([0.006]))[0]
    heat = sensible_removed(flows, np.array([22.0]), np.array([12.0]))
    np.testing.assert_array_equal(np.isnan(heat), [False, True, False])
    for gain in (moisture_gain, heat_gain):
        found = gain(np.zeros(1), flows, np.array([0.01]), np.array([0.02]))
        np.testing.assert_array_equal(np.isnan(found), [False, True, False])
