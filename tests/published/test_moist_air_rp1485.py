"""SOURCE: ASHRAE RP-1485 (real moist air) as implemented by CoolProp 8.0.0, ``HAPropsSI``.

Values computed with it outside this project, and computed with it here.

Accuracy of the source: it reproduces table 2 of ASHRAE Fundamentals 2017, ch. 1, to the printed digits.
CoolProp counts dew point and relative humidity over ice below 0.01 degC.
"""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from numpy.typing import NDArray

from wringout.physics.air_state import state
from wringout.physics.moist_air import (
    dew_or_frost_point,
    dew_point,
    enthalpy,
    humidity_ratio,
    saturated_humidity_ratio,
    specific_volume,
    standard_pressure,
    wet_bulb,
)
from wringout.physics.saturation import enhancement_factor, saturation_pressure

Array = NDArray[np.float64]
SEA, MILE = 101_325.0, 83_523.46

# degC, relative humidity, Pa: kg/kg, dew (frost) point degC, wet bulb degC, kJ/kg, m3/kg
GRID = [
    (23.8889, 0.55, SEA, 0.010220, 14.310, 17.748, 50.034, 0.85498),
    (23.8889, 0.45, SEA, 0.008337, 11.249, 16.170, 45.243, 0.85244),
    (22.2222, 0.50, SEA, 0.008375, 11.317, 15.601, 43.637, 0.84769),
    (26.6667, 0.5112, SEA, 0.011224, 15.740, 19.444, 55.440, 0.86436),
    (12.7778, 0.95, SEA, 0.008766, 11.998, 12.319, 34.973, 0.82102),
    (7.2222, 0.98, SEA, 0.006207, 6.928, 7.071, 22.862, 0.80176),
    (10.0, 0.60, SEA, 0.004575, 2.601, 6.475, 21.580, 0.80763),
    (-20.0, 0.80, SEA, 0.000510, -22.305, -20.307, -18.856, 0.71708),
    (29.4444, 0.60, SEA, 0.015596, 20.871, 23.327, 69.461, 0.87840),
    (20.0, 0.50, SEA, 0.007294, 9.274, 13.776, 38.623, 0.83986),
    (43.3333, 0.20, SEA, 0.011052, 15.504, 24.138, 72.128, 0.91229),
    (23.8889, 0.55, MILE, 0.012435, 14.311, 17.352, 55.713, 1.04090),
    (12.7778, 0.95, MILE, 0.010661, 11.998, 12.283, 39.800, 0.99907),
    (35.0, 0.40, MILE, 0.017302, 19.392, 23.366, 79.635, 1.08818),
]


@pytest.mark.parametrize(("t", "rh", "p", "w", "dew", "wet", "h", "v"), GRID)
def test_a_state_of_practice_is_that_of_real_air(
    t: float, rh: float, p: float, w: float, dew: float, wet: float, h: float, v: float
) -> None:
    air = state(p, dry_bulb=t, relative_humidity=rh)
    assert air.humidity_ratio == pytest.approx(w, rel=2e-4, abs=0.6e-6)
    assert dew_or_frost_point(air.humidity_ratio, p) == pytest.approx(dew, abs=0.003)
    assert air.wet_bulb == pytest.approx(wet, abs=0.012)
    assert air.enthalpy == pytest.approx(h * 1000.0, abs=160.0)
    assert air.specific_volume == pytest.approx(v, rel=1e-3)


# dew point in degF at sea level
DEW = [
    (75, 40, 49.08),
    (75, 50, 55.12),
    (72, 55, 54.97),
    (70, 35, 41.13),
    (68, 40, 42.81),
    (78, 50, 57.88),
    (82, 60, 66.76),
    (85, 60, 69.57),
    (50, 60, 36.68),
    (60, 50, 41.33),
]


@pytest.mark.parametrize(("dry", "percent", "dew"), DEW)
def test_dew_points_in_trade_units(dry: float, percent: float, dew: float) -> None:
    w = humidity_ratio((dry - 32.0) / 1.8, percent / 100.0, SEA)
    assert dew_point(w, SEA) * 1.8 + 32.0 == pytest.approx(dew, abs=0.01)


def test_altitude_moves_the_humidity_ratio_and_not_the_dew_point() -> None:
    high = float(standard_pressure(1600.0))
    low, up = (state(p, dry_bulb=23.8889, relative_humidity=0.55) for p in (SEA, high))
    assert high == pytest.approx(MILE, abs=0.01)
    assert up.humidity_ratio / low.humidity_ratio == pytest.approx(1.217, abs=0.001)
    assert up.dew_point == pytest.approx(low.dew_point, abs=0.005)


def real(output: str, t: Array, p: float, **second: Array) -> Array:
    ((key, value),) = second.items()
    return np.asarray(HAPropsSI(output, "T", t + 273.15, key, value, "P", p), dtype=np.float64)


@pytest.mark.parametrize("p", [60_000.0, 80_000.0, 101_325.0, 105_000.0])
def test_saturated_air_holds_what_real_air_does(p: float) -> None:
    t = np.linspace(-10.0, 50.0, 61)
    full = real("W", t, p, R=np.ones_like(t))
    assert np.max(np.abs(saturated_humidity_ratio(t, p) / full - 1.0)) < 2e-4


@pytest.mark.parametrize("p", [50_000.0, 75_000.0, 110_000.0])
def test_the_enhancement_factor_holds_over_its_whole_range(p: float) -> None:
    t = np.linspace(-60.0, 75.0, 46)
    bare = saturation_pressure(t)
    factor = real("Y", t, p, R=np.ones_like(t)) * p / bare
    assert np.max(np.abs(enhancement_factor(t, p) / factor - 1.0)) < 2e-4


@pytest.mark.parametrize("p", [60_000.0, 101_325.0])
def test_unsaturated_air_is_real_air_all_over_the_chart(p: float) -> None:
    grid = np.meshgrid(np.linspace(-10.0, 45.0, 12), [0.05, 0.3, 0.6, 0.9, 1.0])
    t, rh = (axis.ravel() for axis in grid)
    w = humidity_ratio(t, rh, p)
    assert np.max(np.abs(w / real("W", t, p, R=rh) - 1.0)) < 2e-4
    assert np.max(np.abs(dew_or_frost_point(w, p) + 273.15 - real("D", t, p, R=rh))) < 0.004
    assert np.max(np.abs(enthalpy(t, w) - real("H", t, p, R=rh))) < 300.0
    assert np.max(np.abs(specific_volume(t, w, p) / real("V", t, p, R=rh) - 1.0)) < 1.5e-3


@pytest.mark.parametrize("p", [60_000.0, 101_325.0])
def test_the_wet_bulb_is_that_of_real_air_above_freezing_and_on_ice(p: float) -> None:
    grid = np.meshgrid(np.linspace(-20.0, 45.0, 14), [0.1, 0.5, 0.9])
    t, rh = (axis.ravel() for axis in grid)
    ours = wet_bulb(t, humidity_ratio(t, rh, p), p)
    theirs = real("B", t, p, R=rh) - 273.15
    clear = np.abs(ours) > 0.6  # nearer to 0 degC there are two answers
    assert clear.sum() > 36
    assert np.max(np.abs(ours - theirs)[clear]) < 0.02
