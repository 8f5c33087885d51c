"""Moist air: round trips over every pair of readings, limits, arrays, and what is refused."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wringout.errors import InputError
from wringout.physics import moist_air as air
from wringout.physics.air_state import MOISTURE, READINGS, State, state
from wringout.physics.saturation import (
    enhancement_factor,
    saturation_pressure,
    saturation_pressure_over_ice,
    saturation_pressure_over_water,
    saturation_temperature,
)

SEA_LEVEL = 101_325.0
temperatures = st.floats(-45.0, 60.0)
humidities = st.floats(0.02, 1.0)
pressures = st.floats(60_000.0, 105_000.0)
wide = st.floats(50_000.0, 110_000.0)
conventions = st.sampled_from([saturation_pressure, saturation_pressure_over_water])
branches = st.sampled_from(["freezing", "water", "ice"])

PAIRS = list(itertools.combinations(READINGS, 2))
SAME = [pair for pair in PAIRS if set(pair) <= set(MOISTURE)] + [("wet_bulb", "enthalpy")]
SOLVED = [pair for pair in PAIRS if pair not in SAME]


def reading(of: State, name: str) -> float:
    return float(getattr(of, name))


# --- every pair -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("pair", SOLVED, ids=" and ".join)
@settings(max_examples=40, deadline=None)
@given(t=temperatures, rh=humidities, p=pressures, over=conventions, branch=branches)
def test_two_readings_give_back_the_state_they_were_taken_from(
    pair: tuple[str, str], t: float, rh: float, p: float, over: air.SaturationOver, branch: air.Branch
) -> None:
    assume(rh * saturation_pressure(t) > 2.5)  # a dew point above -60 degC
    start = state(p, dry_bulb=t, relative_humidity=rh, over=over, branch=branch)
    given_two = {name: reading(start, name) for name in pair}
    assume(not any(np.isnan(value) for value in given_two.values()))
    if "wet_bulb" in pair:
        wet = reading(start, "wet_bulb")
        assume(wet <= t - 1e-6)  # 100 % over water is fog over ice
        assume(branch != "ice" or wet < 0.0)
        assume(branch != "freezing" or abs(wet) > 1e-5)
    again = state(p, over=over, branch=branch, **given_two)
    assert again.dry_bulb == pytest.approx(t, abs=1e-3)
    assert again.humidity_ratio == pytest.approx(float(start.humidity_ratio), rel=1e-4, abs=1e-7)
    for name in pair:
        assert reading(again, name) == pytest.approx(given_two[name], rel=1e-5, abs=1e-4)


@pytest.mark.parametrize("pair", SAME, ids=" and ".join)
def test_readings_that_tell_the_same_thing_are_refused(pair: tuple[str, str]) -> None:
    with pytest.raises(InputError, match="replace one by another reading"):
        state(SEA_LEVEL, **dict.fromkeys(pair, 0.005))


def test_every_pair_is_either_solved_or_refused() -> None:
    assert len(SOLVED) == 17
    assert len(SAME) == 4


@pytest.mark.parametrize(
    ("readings", "message"),
    [
        ({}, "0 given"),
        ({"dry_bulb": 20.0}, "1 given"),
        ({"dry_bulb": 20.0, "relative_humidity": 0.5, "dew_point": 9.0}, "3 given"),
        ({"dry_bulb": 20.0, "colour": 0.5}, "colour is none"),
        ({"wet_bulb": 25.0, "dry_bulb": 20.0}, "sensors swapped"),
        ({"wet_bulb": 1.0, "dry_bulb": 40.0}, "no air is so dry"),
        ({"dry_bulb": 20.0, "relative_humidity": 55.0}, "not percent"),
        ({"relative_humidity": 0.0, "enthalpy": 3e4}, "completely dry"),
        ({"dry_bulb": 20.0, "enthalpy": 1e4}, "follows from dry bulb and enthalpy"),
        ({"relative_humidity": 0.5, "wet_bulb": 85.0}, "no dry bulb|boil"),
        ({"humidity_ratio": 0.001, "enthalpy": 2e5}, "dry bulb that follows"),
        ({"dew_point": 60.0, "relative_humidity": 0.01}, "would be outside -60 to 90"),
        ({"frost_point": 5.0, "dry_bulb": 20.0}, "frost point is 5 degC"),
    ],
)
def test_readings_that_no_state_fits_are_refused(readings: dict[str, float], message: str) -> None:
    with pytest.raises(InputError, match=message):
        state(SEA_LEVEL, **readings)


# --- round trips of the functions --------------------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(t=st.floats(-60.0, 90.0))
def test_saturation_temperature_is_the_inverse_of_saturation_pressure(t: float) -> None:
    assert saturation_temperature(saturation_pressure(t)) == pytest.approx(t, abs=1e-5)


@settings(max_examples=200, deadline=None)
@given(t=st.floats(-55.0, 75.0), p=pressures)
def test_air_saturated_at_its_dew_point_has_its_humidity_ratio(t: float, p: float) -> None:
    w = state(p, dew_point=t, dry_bulb=t + 10.0).humidity_ratio
    assert air.dew_point(w, p) == pytest.approx(t, abs=1e-5)


@settings(max_examples=200, deadline=None)
@given(t=st.floats(-60.0, 75.0), p=pressures)
def test_a_surface_at_the_dew_or_frost_point_is_just_saturated(t: float, p: float) -> None:
    w = air.saturated_humidity_ratio(t, p)
    assert air.dew_or_frost_point(w, p) == pytest.approx(t, abs=1e-5)


@settings(max_examples=300, deadline=None)
@given(t=st.floats(-59.0, 60.0), p=wide)
def test_temperature_of_saturated_enthalpy_is_the_inverse(t: float, p: float) -> None:
    h = air.saturated_enthalpy(t, p)
    assume(h < 1e6)
    assert air.temperature_of_saturated_enthalpy(h, p) == pytest.approx(t, abs=1e-5)


@settings(max_examples=300, deadline=None)
@given(t=st.floats(-55.0, 85.0), rh=st.floats(0.001, 1.0), p=wide, branch=branches)
def test_the_wet_bulb_balances_the_wick(t: float, rh: float, p: float, branch: air.Branch) -> None:
    assume(saturation_pressure(t) < 0.7 * p)
    w = air.humidity_ratio(t, rh, p)
    wet = air.wet_bulb(t, w, p, branch)
    assume(not np.isnan(wet) and wet < t - 1e-5 and not wet * (branch == "ice") > 0.0)
    back = air.humidity_ratio_from_wet_bulb(t, wet, p, branch)
    assert back == pytest.approx(float(w), abs=2e-7 + 2e-5 * float(w))


@settings(max_examples=100, deadline=None)
@given(h=st.floats(-50e3, 300e3), w=st.floats(0.0, 0.1))
def test_dry_bulb_from_enthalpy_is_the_inverse(h: float, w: float) -> None:
    assert air.enthalpy(air.dry_bulb_from_enthalpy(h, w), w) == pytest.approx(h, abs=1e-6)


# --- limits and order
# ----------------------------------------------------------------------------------------


@settings(max_examples=200, deadline=None)
@given(t=temperatures, rh=st.floats(0.02, 0.999), p=pressures)
def test_dew_point_wet_bulb_and_dry_bulb_stand_in_order(t: float, rh: float, p: float) -> None:
    assume(rh * saturation_pressure(t) > 2.5)
    w = air.humidity_ratio(t, rh, p)
    surface, wet = air.dew_or_frost_point(w, p), air.wet_bulb(t, w, p)
    assert surface <= wet + 1e-4
    assert wet <= t + 1e-4


@settings(max_examples=100, deadline=None)
@given(t=st.floats(0.02, 60.0), p=pressures)
def test_in_saturated_air_they_are_one(t: float, p: float) -> None:
    w = air.saturated_humidity_ratio(t, p)
    assert air.wet_bulb(t, w, p) == pytest.approx(t, abs=1e-5)
    assert air.dew_point(w, p) == pytest.approx(t, abs=1e-5)
    assert air.relative_humidity(t, w, p) == pytest.approx(1.0, abs=1e-12)


def test_dry_air_holds_nothing() -> None:
    assert air.humidity_ratio(20.0, 0.0, SEA_LEVEL) == 0.0
    assert air.relative_humidity(20.0, 0.0, SEA_LEVEL) == 0.0
    assert air.enthalpy(0.0, 0.0) == 0.0


def test_saturation_rises_with_temperature_without_a_step() -> None:
    t = np.linspace(-60.0, 90.0, 15_001)
    for values in (saturation_pressure(t), air.saturated_enthalpy(t[:14_001], SEA_LEVEL)):
        assert np.all(np.diff(values) > 0.0)
        assert np.max(np.diff(np.log(values - values[0] + 1e5), n=2)) < 1e-4
    assert np.all(np.diff(air.dew_or_frost_point(air.saturated_humidity_ratio(t, 105e3), 105e3)) > 0.0)


def test_thin_air_holds_more_and_its_saturation_is_nearer() -> None:
    assert air.saturated_humidity_ratio(20.0, 80e3) > air.saturated_humidity_ratio(20.0, 100e3)
    assert 1.0 < enhancement_factor(20.0, 60e3) < enhancement_factor(20.0, 105e3)


def test_mixing_two_streams_conserves_water_and_heat_exactly() -> None:
    first, second = (30.0, 0.015), (12.0, 0.008)
    w = 0.25 * first[1] + 0.75 * second[1]
    h = 0.25 * air.enthalpy(*first) + 0.75 * air.enthalpy(*second)
    assert air.enthalpy(air.dry_bulb_from_enthalpy(h, w), w) == pytest.approx(float(h), rel=1e-14)


# --- freezing
# ------------------------------------------------------------------------------------------------


def test_below_freezing_frost_comes_before_dew() -> None:
    w = air.humidity_ratio(-5.0, 0.8, SEA_LEVEL)
    frost, dew = air.frost_point(w, SEA_LEVEL), air.dew_point(w, SEA_LEVEL)
    assert 0.5 < frost - dew < 1.5
    assert air.dew_or_frost_point(w, SEA_LEVEL) == frost


def test_air_that_wets_a_surface_has_no_frost_point() -> None:
    w = air.humidity_ratio(20.0, np.array([0.05, 0.5]), SEA_LEVEL)
    frost = air.frost_point(w, SEA_LEVEL)
    assert frost[0] < -15.0
    assert np.isnan(frost[1])


def test_near_freezing_a_wick_has_two_answers_and_the_branch_picks_one() -> None:
    # 5 degC dry bulb: the wet wick is at 0.1 degC, an iced one would be below 0
    w = air.humidity_ratio_from_wet_bulb(5.0, 0.1, SEA_LEVEL)
    water, ice = (air.wet_bulb(5.0, w, SEA_LEVEL, branch) for branch in ("water", "ice"))
    assert water == pytest.approx(0.1, abs=1e-5)
    assert -0.5 < ice < 0.0
    assert air.wet_bulb(5.0, w, SEA_LEVEL) == water


def test_a_wet_wick_freezes_when_its_own_balance_falls_below_zero() -> None:
    t = np.linspace(4.0, 6.0, 2001)
    w = np.full_like(t, float(air.humidity_ratio_from_wet_bulb(5.0, 0.0, SEA_LEVEL)))
    wet = air.wet_bulb(t, w, SEA_LEVEL)
    water = air.wet_bulb(t, w, SEA_LEVEL, "water")
    assert np.array_equal(wet >= 0.0, water >= 0.0)
    fall = np.max(np.diff(wet))
    assert 0.1 < fall < 0.5  # K: the gap between ice and water
    assert np.sum(np.diff(wet) > 0.01) == 1


def test_well_above_freezing_no_iced_wick_exists() -> None:
    assert np.isnan(air.wet_bulb(20.0, 0.010, SEA_LEVEL, "ice"))
    with pytest.raises(InputError, match="wet bulb is 10 degC"):
        air.humidity_ratio_from_wet_bulb(20.0, 10.0, SEA_LEVEL, "ice")


def test_an_unknown_branch_is_refused() -> None:
    with pytest.raises(InputError, match="'dry' is none of freezing, water, ice"):
        air.wet_bulb(20.0, 0.010, SEA_LEVEL, "dry")  # type: ignore[arg-type]


def test_relative_humidity_of_a_sensor_in_frost_is_over_water() -> None:
    by_sensor = air.humidity_ratio(-10.0, 0.7, SEA_LEVEL, saturation_pressure_over_water)
    by_table = air.humidity_ratio(-10.0, 0.7, SEA_LEVEL)
    ratio = saturation_pressure_over_water(-10.0) / saturation_pressure_over_ice(-10.0)
    assert by_sensor / by_table == pytest.approx(float(ratio), rel=1e-3)
    assert ratio == pytest.approx(1.10, abs=0.01)


# --- arrays
# ---------------------------------------------------------------------------------------------------

Function = Callable[..., np.ndarray]
ELEMENTWISE: list[tuple[Function, tuple[tuple[float, float], ...]]] = [
    (saturation_pressure, ((-50.0, 60.0),)),
    (saturation_pressure_over_water, ((-50.0, 60.0),)),
    (saturation_pressure_over_ice, ((-50.0, 0.0),)),
    (saturation_temperature, ((10.0, 9000.0),)),
    (enhancement_factor, ((-50.0, 60.0), (60e3, 105e3))),
    (air.standard_pressure, ((0.0, 3000.0),)),
    (air.humidity_ratio, ((-50.0, 60.0), (0.0, 1.0), (60e3, 105e3))),
    (air.saturated_humidity_ratio, ((-50.0, 60.0), (60e3, 105e3))),
    (air.relative_humidity, ((-50.0, 60.0), (0.0, 0.02), (60e3, 105e3))),
    (air.dew_point, ((1e-4, 0.05), (60e3, 105e3))),
    (air.frost_point, ((1e-4, 0.006), (60e3, 105e3))),
    (air.dew_or_frost_point, ((1e-4, 0.01), (60e3, 105e3))),
    (air.enthalpy, ((-50.0, 60.0), (0.0, 0.05))),
    (air.dry_bulb_from_enthalpy, ((-50e3, 200e3), (0.0, 0.05))),
    (air.specific_volume, ((-50.0, 60.0), (0.0, 0.05), (60e3, 105e3))),
    (air.saturated_enthalpy, ((-50.0, 60.0), (60e3, 105e3))),
    (air.temperature_of_saturated_enthalpy, ((-50e3, 200e3), (60e3, 105e3))),
    (air.wet_bulb, ((-30.0, 60.0), (0.0, 0.01), (60e3, 105e3))),
    (air.humidity_ratio_from_wet_bulb, ((4.0, 4.4), (-3.0, 3.9), (60e3, 105e3))),
    (air.dry_bulb_from_wet_bulb, ((-3.0, 3.0), (0.002, 0.003), (60e3, 105e3))),
]
each = pytest.mark.parametrize(("function", "ranges"), ELEMENTWISE, ids=lambda v: getattr(v, "__name__", ""))


def sample(ranges: tuple[tuple[float, float], ...], size: int) -> list[np.ndarray]:
    rng = np.random.default_rng(7)
    return [rng.uniform(low, high, size) for low, high in ranges]


@each
def test_one_value_and_many_give_the_same(
    function: Function, ranges: tuple[tuple[float, float], ...]
) -> None:
    arguments = sample(ranges, 40)
    many = function(*arguments)
    ones = [function(*(float(a[i]) for a in arguments)) for i in range(40)]
    assert np.allclose(many, ones, rtol=1e-9, atol=2e-5, equal_nan=True)
    assert np.shape(ones[0]) == ()


@each
def test_arguments_broadcast(function: Function, ranges: tuple[tuple[float, float], ...]) -> None:
    arguments = sample(ranges, 12)
    first, *rest = (a[:3] if i == 0 else a[:4] for i, a in enumerate(arguments))
    table = function(first[:, None], *rest)
    assert table.shape == ((3, 4) if rest else (3, 1))
    one = function(first[1], *(a[2] for a in rest))
    assert np.allclose(table[1, 2 if rest else 0], one, rtol=1e-9, atol=2e-5, equal_nan=True)


@each
def test_a_missing_value_stays_missing_and_harms_no_other(
    function: Function, ranges: tuple[tuple[float, float], ...]
) -> None:
    arguments = sample(ranges, 12)
    whole = function(*arguments)
    for place, argument in enumerate(arguments):
        holed = argument.copy()
        holed[5] = np.nan
        result = function(*arguments[:place], holed, *arguments[place + 1 :])
        assert np.isnan(result[5])
        others = np.arange(12) != 5
        assert np.allclose(result[others], whole[others], rtol=1e-9, atol=2e-5, equal_nan=True)
        assert np.isnan(function(*(np.nan if i == place else a[0] for i, a in enumerate(arguments))))


@each
def test_long_arrays_are_worked_in_blocks_without_a_trace(
    function: Function, ranges: tuple[tuple[float, float], ...]
) -> None:
    arguments = sample(ranges, 40_001)
    whole = function(*arguments)
    assert whole.shape == (40_001,)
    for part in (slice(0, 50), slice(16_370, 16_400), slice(39_990, None)):
        piece = function(*(a[part] for a in arguments))
        assert np.allclose(whole[part], piece, rtol=1e-9, atol=2e-5, equal_nan=True)
    assert function(*(np.empty(0) for _ in ranges)).shape == (0,)


# --- refusals
# ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("function", "arguments", "message"),
    [
        (saturation_pressure, (250.0,), "temperature is 250 degC: it must lie from -100 to 200 degC"),
        (saturation_pressure_over_water, (-70.0,), "-60 to 200"),
        (saturation_pressure_over_ice, (1.0,), "temperature of ice is 1 degC"),
        (saturation_temperature, (0.0,), "vapour pressure is 0 Pa"),
        (enhancement_factor, (20.0, 101.325), "pressure is 101.325 Pa: it must lie from 50000 to 110000 Pa"),
        (air.standard_pressure, (20_000.0,), "altitude is 20000 m"),
        (air.humidity_ratio, (95.0, 0.5, SEA_LEVEL), "dry bulb is 95 degC"),
        (air.humidity_ratio, (20.0, 50.0, SEA_LEVEL), "not percent"),
        (air.humidity_ratio, (20.0, -0.1, SEA_LEVEL), "relative humidity is -0.1"),
        (air.saturated_humidity_ratio, (85.0, 55e3), "water would boil"),
        (air.relative_humidity, (20.0, -0.001, SEA_LEVEL), "humidity ratio is -0.001"),
        (air.dew_point, (0.0, SEA_LEVEL), "dew or frost point outside"),
        (air.frost_point, (-0.001, SEA_LEVEL), "dew or frost point outside"),
        (air.wet_bulb, (20.0, 3.0, SEA_LEVEL), "humidity ratio is 3"),
        (air.temperature_of_saturated_enthalpy, (2e6, SEA_LEVEL), "enthalpy of saturated air is 2e\\+06"),
    ],
)
def test_out_of_range_is_refused_with_value_unit_and_limits(
    function: Function, arguments: tuple[float, ...], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        function(*arguments)
    spread = [np.array([argument, np.nan]) for argument in arguments]
    with pytest.raises(InputError, match=message):
        function(*spread)
