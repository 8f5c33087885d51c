"""Cooling coils: against the same coil cut into elements, balances, limits, arrays, refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from wringout.errors import InputError
from wringout.physics.cooling_coil import (
    LIQUID_SPECIFIC_HEAT,
    air_after_surface,
    apparatus_dew_point,
    bypass_factor,
    chilled_water_coil,
    evaporating_wet_coil,
)
from wringout.physics.moist_air import (
    dew_point,
    enthalpy,
    relative_humidity,
    saturated_humidity_ratio,
    wet_bulb,
)

Array = NDArray[np.float64]
SEA_LEVEL = 101_325.0


def states(samples: int, seed: int) -> tuple[Array, ...]:
    """Entering air, its flow, water and both conductances, of any coil and any valve position."""
    g = np.random.default_rng(seed)
    t = g.uniform(10.0, 33.0, samples)
    w = g.uniform(0.25, 0.9, samples) * saturated_humidity_ratio(t, SEA_LEVEL)
    flow = g.uniform(1.0, 5.0, samples)
    water_in = g.uniform(4.0, 9.0, samples)
    rate = g.uniform(0.05, 1.2, samples) * 4000.0 * flow
    air_side = 1022.0 * flow * g.uniform(1.2, 3.0, samples)
    return t, w, flow, water_in, rate, air_side, air_side * g.uniform(1.0, 4.0, samples)


def in_elements(
    t: Array, w: Array, flow: Array, water_in: Array, rate: Array, air_side: Array, water_side: Array
) -> tuple[Array, Array, Array]:
    """The same counterflow coil cut into 120 elements, each with a surface of its own, wet or dry: leaving
    air and heat given to the water.

    It shares no formula with the effectiveness model: heat and mass (Lewis number 1) pass to each element's
    surface by their own differences, and the leaving water is found by bisection.
    """
    elements = 120
    low, high = water_in.copy(), np.maximum(t, water_in)
    for _ in range(40):
        leaving = 0.5 * (low + high)
        air, moisture, water = t.copy(), w.copy(), leaving.copy()
        surface = 0.5 * (air + water)
        for _ in range(elements):
            specific = 1006.0 + 1860.0 * moisture
            for _ in range(3):
                held = np.minimum(saturated_humidity_ratio(surface, SEA_LEVEL), moisture)
                heat_of_water = 2_501_000.0 + 1860.0 * air - 4186.0 * surface
                to_surface = air_side * (air - surface + (moisture - held) / specific * heat_of_water)
                steeper = np.where(held < moisture, held * 5380.0 / (surface + 273.15) ** 2, 0.0)
                slope = air_side * (1.0 + steeper / specific * 2.5e6) + water_side
                surface = surface + (to_surface - water_side * (surface - water)) / slope
                surface = np.clip(surface, water_in - 8.0, t)  # a leaving water far off would run away
            held = np.minimum(saturated_humidity_ratio(surface, SEA_LEVEL), moisture)
            given = water_side / elements * (surface - water)
            air = np.clip(air - air_side / elements * (air - surface) / (flow * specific), water_in - 8.0, t)
            moisture = moisture - air_side / elements / specific * (moisture - held) / flow
            water = np.clip(water - given / rate, water_in - 8.0, t)
        too_warm = water > water_in
        high, low = np.where(too_warm, leaving, high), np.where(too_warm, low, leaving)
    return air, moisture, rate * (leaving - water_in)


def test_a_coil_cut_into_elements_gives_nearly_the_same() -> None:
    coil = states(240, seed=3)
    t, w = coil[:2]
    leaving_t, leaving_w, heat = in_elements(*coil)
    air, water_out = chilled_water_coil(*coil, SEA_LEVEL)
    off = air.total / heat - 1.0
    assert np.all(np.abs(off) < 0.125)
    assert np.percentile(np.abs(off), 80) < 0.04
    assert abs(np.median(off)) < 0.01
    assert np.percentile(np.abs(air.dry_bulb - leaving_t), 95) < 0.5
    assert np.percentile(np.abs(air.humidity_ratio - leaving_w), 95) < 5e-4
    # dry coils are one and the same equation
    dry = leaving_w > w * (1.0 - 1e-9)
    assert dry.sum() > 30
    assert np.all(np.abs(off[dry]) < 0.005)
    assert np.all(water_out < t)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**31))
def test_heat_and_water_of_a_chilled_coil_close(seed: int) -> None:
    coil = states(20, seed)
    t, w, flow, water_in, rate = coil[:5]
    air, water_out = chilled_water_coil(*coil, SEA_LEVEL)
    drop = flow * (enthalpy(t, w) - enthalpy(air.dry_bulb, air.humidity_ratio))
    water_gain = rate * (water_out - water_in)
    assert drop == pytest.approx(water_gain + air.condensate * 4186.0 * air.surface, rel=1e-9)
    assert flow * (w - air.humidity_ratio) == pytest.approx(air.condensate, rel=1e-9, abs=1e-15)
    assert np.all(air.condensate >= 0.0)
    assert np.all((air.surface >= water_in) & (air.surface <= t))
    assert np.all((water_out >= water_in) & (water_out <= t))
    # a little over saturation where nearly saturated air mixes with air off the surface, see the function
    assert np.all(relative_humidity(air.dry_bulb, air.humidity_ratio, SEA_LEVEL) <= 1.05)
    assert np.all(air.sensible <= air.total + air.condensate * LIQUID_SPECIFIC_HEAT * air.surface + 1e-6)


def test_a_coil_is_wet_just_where_its_surface_lies_under_the_dew_point() -> None:
    coil = states(400, seed=11)
    air, _ = chilled_water_coil(*coil, SEA_LEVEL)
    under = air.surface < dew_point(coil[1], SEA_LEVEL)
    assert 100 < under.sum() < 380
    np.testing.assert_array_equal(air.condensate > 1e-12, under)


def test_more_of_anything_gives_more_heat() -> None:
    base = [np.full(6, value) for value in (26.0, 0.0115, 3.0, 6.5, 9000.0, 6000.0, 12_000.0)]
    for column, upward in (
        (1, [0.004, 0.006, 0.008, 0.010, 0.012, 0.014]),
        (4, [500.0, 1000.0, 3000.0, 9000.0, 15_000.0, 30_000.0]),
        (5, [2000.0, 4000.0, 6000.0, 9000.0, 12_000.0, 20_000.0]),
        (6, [3000.0, 6000.0, 9000.0, 12_000.0, 20_000.0, 60_000.0]),
    ):
        coil = [part.copy() for part in base]
        coil[column] = np.array(upward)
        total = chilled_water_coil(*coil, SEA_LEVEL)[0].total
        assert np.all(np.diff(total) >= 0.0), column
    colder = [part.copy() for part in base]
    colder[3] = np.linspace(10.0, 4.0, 6)
    assert np.all(np.diff(chilled_water_coil(*colder, SEA_LEVEL)[0].total) > 0.0)


def test_no_water_no_cooling() -> None:
    t, w = np.array([25.0]), np.array([0.012])
    coil = chilled_water_coil(
        t, w, np.ones(1), np.array([6.0]), np.array([1e-6]), np.array([2e3]), np.array([4e3]), SEA_LEVEL
    )
    assert coil[0].dry_bulb[0] == pytest.approx(25.0, abs=1e-3)
    assert coil[0].humidity_ratio[0] == pytest.approx(0.012, rel=1e-4)


def test_water_warmer_than_the_air_warms_it_and_wets_nothing() -> None:
    """A chiller that stands still: the coil is a heating coil, and a dry one."""
    t, w, rate = np.array([18.0]), np.array([0.012]), np.array([9000.0])
    air, water_out = chilled_water_coil(
        t, w, np.array([2.0]), np.array([24.0]), rate, np.array([5e3]), np.array([9e3]), SEA_LEVEL
    )
    assert 18.0 < air.dry_bulb[0] < 24.0
    assert water_out[0] < 24.0
    assert air.humidity_ratio[0] == w[0]
    assert air.total[0] == pytest.approx(rate[0] * (water_out[0] - 24.0))


def test_bypass_lies_between_all_air_and_none() -> None:
    factor = bypass_factor(np.array([0.0, 1022.0, 1e6]), np.ones(3))
    assert factor[0] == 1.0
    assert factor[1] == pytest.approx(np.exp(-1.0))
    assert factor[2] < 1e-100


@settings(max_examples=100, deadline=None)
@given(
    st.floats(5.0, 35.0), st.floats(0.2, 0.98), st.floats(0.0, 0.9), st.floats(0.0, 20.0), st.floats(0.1, 9.0)
)
def test_behind_a_surface_air_lies_on_the_line_to_it(
    t: float, rh: float, bypass: float, colder: float, flow: float
) -> None:
    w = rh * float(saturated_humidity_ratio(t, SEA_LEVEL))
    surface = t - colder
    air = air_after_surface(
        np.array([t]), np.array([w]), np.array([flow]), np.array([bypass]), np.array([surface]), SEA_LEVEL
    )
    held = min(float(saturated_humidity_ratio(surface, SEA_LEVEL)), w)
    assert air.dry_bulb[0] == pytest.approx(bypass * t + (1.0 - bypass) * surface)
    assert air.humidity_ratio[0] == pytest.approx(bypass * w + (1.0 - bypass) * held)
    booked = air.total[0] + air.condensate[0] * 4186.0 * surface
    lost = flow * float(enthalpy(t, w) - enthalpy(air.dry_bulb[0], air.humidity_ratio[0]))
    assert booked == pytest.approx(lost, rel=1e-9, abs=1e-6)
    if held == w:
        assert air.condensate[0] == pytest.approx(0.0, abs=1e-15)
        assert air.sensible[0] == pytest.approx(air.total[0], abs=1e-6)


@settings(max_examples=100, deadline=None)
@given(st.floats(8.0, 35.0), st.floats(0.1, 0.95), st.floats(0.0, 1.0))
def test_an_idle_wet_coil_moves_air_along_its_wet_bulb(t: float, rh: float, share: float) -> None:
    """Taking water of wet-bulb temperature up again, air keeps its wet bulb: adiabatic saturation."""
    w = np.array([rh * float(saturated_humidity_ratio(t, SEA_LEVEL))])
    bulb = wet_bulb(np.array([t]), w, SEA_LEVEL)
    leaving_t, leaving_w = evaporating_wet_coil(np.array([t]), w, bulb, np.array([share]))
    assert leaving_t[0] == pytest.approx(t - share * (t - bulb[0]))
    assert leaving_w[0] >= w[0]
    assert wet_bulb(leaving_t, leaving_w, SEA_LEVEL)[0] == pytest.approx(bulb[0], abs=2e-3)
    taken = (leaving_w - w)[0]
    brought = float(enthalpy(leaving_t, leaving_w)[0] - enthalpy(t, w)[0])
    assert brought == pytest.approx(taken * 4186.0 * bulb[0], rel=1e-6, abs=1e-6)


def test_a_dry_rating_has_no_apparatus_dew_point_and_a_usual_bypass() -> None:
    found = apparatus_dew_point(24.0, 0.004, 8000.0, 8000.0, 1.0, SEA_LEVEL)
    assert found.bypass == 0.1
    assert found.temperature < 24.0 - 8000.0 / 1014.0


def test_single_states_and_arrays_and_broadcasting_agree() -> None:
    coil = states(7, seed=5)
    together, water_out = chilled_water_coil(*coil, SEA_LEVEL)
    for i in range(7):
        one, one_out = chilled_water_coil(*(part[i : i + 1] for part in coil), SEA_LEVEL)
        for mine, theirs in zip(one, together, strict=True):
            assert mine[0] == theirs[i]
        assert one_out[0] == water_out[i]
    same_water = chilled_water_coil(*coil[:3], np.array([6.0]), *coil[4:], SEA_LEVEL)[0]
    spelt_out = chilled_water_coil(*coil[:3], np.full(7, 6.0), *coil[4:], SEA_LEVEL)[0]
    np.testing.assert_array_equal(same_water.total, spelt_out.total)
    grid = [np.broadcast_to(part, (2, 7)) for part in coil]
    np.testing.assert_array_equal(chilled_water_coil(*grid, SEA_LEVEL)[0].total[1], together.total)


@pytest.mark.parametrize("column", range(7))
def test_not_known_in_gives_not_known_out(column: int) -> None:
    coil = [part.copy() for part in states(3, seed=6)]
    coil[column][1] = np.nan
    air, water_out = chilled_water_coil(*coil, SEA_LEVEL)
    for part in (*air, water_out):
        np.testing.assert_array_equal(np.isnan(part), [False, True, False])


def test_a_surface_beyond_the_range_of_saturation_is_refused() -> None:
    one = np.ones(1)
    with pytest.raises(InputError, match="-60 to 90"):
        air_after_surface(25.0 * one, 0.01 * one, one, 0.1 * one, -70.0 * one, SEA_LEVEL)
    with pytest.raises(InputError, match="-60 to 90"):
        chilled_water_coil(
            25.0 * one, 0.01 * one, one, 120.0 * one, 4e3 * one, 2e3 * one, 4e3 * one, SEA_LEVEL
        )
