"""SOURCE: ASHRAE Handbook, Fundamentals 2017, chapter 1: tables 1, 2 and 3, example 1.

Read second-hand, as quoted in the test suite of psychrolib (commit 3066345). Accuracy: as printed; example
1 is read off a chart. Tolerances are half the last printed digit, and what our formulas are known to differ
by.
"""

from __future__ import annotations

import pytest

from wringout.physics.air_state import state
from wringout.physics.moist_air import (
    dew_point,
    enthalpy,
    humidity_ratio_from_wet_bulb,
    relative_humidity,
    saturated_enthalpy,
    saturated_humidity_ratio,
    specific_volume,
    standard_pressure,
    wet_bulb,
)
from wringout.physics.saturation import saturation_pressure

SEA_LEVEL = 101_325.0
PSI = 6894.757293168
FAHRENHEIT = 1.8

ATMOSPHERE = [(-500, 107_478), (0, 101_325), (500, 95_461), (1000, 89_875), (4000, 61_640), (10_000, 26_436)]

# degC, Pa
PRESSURE = [
    (-60, 1.08, 0.01),
    (-20, 103.24, 0.03),
    (-5, 401.74, 0.12),
    (5, 872.6, 0.26),
    (25, 3169.7, 0.95),
    (50, 12_351.3, 3.7),
    (100, 101_418, 30),
    (150, 476_101.4, 142),
]

# degC, kg/kg, J/kg, at 101.325 kPa
SATURATED = [
    (-50, 0.0000243, -50_222),
    (-20, 0.0006373, -18_542),
    (-5, 0.0024863, 1_164),
    (5, 0.005425, 18_639),
    (25, 0.020173, 76_504),
    (50, 0.086863, 275_353),
]


@pytest.mark.parametrize(("altitude", "pascal"), ATMOSPHERE)
def test_the_standard_atmosphere_of_table_1(altitude: float, pascal: float) -> None:
    assert standard_pressure(altitude) == pytest.approx(pascal, abs=1.0)


@pytest.mark.parametrize(("celsius", "pascal", "within"), PRESSURE)
def test_the_saturation_pressures_of_table_3(celsius: float, pascal: float, within: float) -> None:
    assert saturation_pressure(celsius) == pytest.approx(pascal, abs=within)


@pytest.mark.parametrize(("celsius", "ratio", "_joule"), SATURATED)
def test_saturated_air_holds_what_table_2_says(celsius: float, ratio: float, _joule: float) -> None:
    last_digit = 0.5e-7 if ratio < 0.005 else 0.5e-6
    assert saturated_humidity_ratio(celsius, SEA_LEVEL) == pytest.approx(ratio, rel=2e-4, abs=last_digit)


@pytest.mark.parametrize(("celsius", "_ratio", "joule"), SATURATED)
def test_the_enthalpy_of_saturated_air_is_that_of_table_2(
    celsius: float, _ratio: float, joule: float
) -> None:
    assert saturated_enthalpy(celsius, SEA_LEVEL) == pytest.approx(joule, abs=300.0)


def test_far_above_comfort_saturated_air_is_still_that_of_table_2() -> None:
    # 85 degC: 0.838105 kg/kg, 2 307 539 J/kg; a small error of f is multiplied where little dry air is left
    assert saturated_humidity_ratio(85.0, SEA_LEVEL) == pytest.approx(0.838105, rel=5e-4)
    assert saturated_enthalpy(85.0, SEA_LEVEL) == pytest.approx(2_307_539, rel=4e-3)


def test_dry_air_at_25_celsius_is_that_of_table_2() -> None:
    assert enthalpy(25.0, 0.0) == pytest.approx(25_148, rel=2e-4)
    assert specific_volume(25.0, 0.0, SEA_LEVEL) == pytest.approx(0.8443, rel=4e-4)


def test_example_1_in_metric_units() -> None:
    # 40 degC with 20 degC wet bulb; the printed values are read off the chart
    air = state(SEA_LEVEL, dry_bulb=40.0, wet_bulb=20.0)
    assert air.humidity_ratio == pytest.approx(0.0065, abs=1e-4)
    assert air.dew_point == pytest.approx(7.0, abs=0.6)
    assert air.relative_humidity == pytest.approx(0.14, abs=0.005)
    assert air.enthalpy == pytest.approx(56_700, abs=200)
    assert air.specific_volume == pytest.approx(0.896, abs=1e-3)


def test_example_1_in_trade_units() -> None:
    # 100 F with 65 F wet bulb: 0.00523 lb/lb, dew point 40 F, 13 %, 29.80 Btu/lb, 14.22 ft3/lb
    air = state(SEA_LEVEL, dry_bulb=68.0 / FAHRENHEIT, wet_bulb=33.0 / FAHRENHEIT)
    assert air.humidity_ratio == pytest.approx(0.00523, abs=1e-5)
    assert air.dew_point == pytest.approx(8.0 / FAHRENHEIT, abs=0.1)
    assert air.relative_humidity == pytest.approx(0.13, abs=0.005)
    assert air.enthalpy == pytest.approx((29.80 - 7.686) * 2326.0, abs=50)
    assert air.specific_volume == pytest.approx(14.22 * 0.0624279606, abs=1e-3)


@pytest.mark.parametrize(
    ("dry", "wet", "pascal", "ratio"),
    [
        (30.0, 25.0, 95_461.0, 0.0192281),
        (-1.0, -5.0, 95_461.0, 0.00120400),
        (30.0, 25.0, 14.175 * PSI, 0.0187193),
    ],
)
def test_humidity_from_two_thermometers(dry: float, wet: float, pascal: float, ratio: float) -> None:
    # spreadsheet values without the enhancement factor, which adds up to 0.6 %
    assert humidity_ratio_from_wet_bulb(dry, wet, pascal) == pytest.approx(ratio, rel=0.012)
    assert humidity_ratio_from_wet_bulb(dry, wet, pascal) > ratio


def test_volume_and_wet_bulb_of_the_worked_spreadsheet() -> None:
    assert specific_volume(30.0, 0.02, 95_461.0) == pytest.approx(0.940855, rel=1e-5)
    air = state(100_000.0, dry_bulb=7.0, relative_humidity=0.61)
    assert air.wet_bulb == pytest.approx(3.92667, abs=0.01)


def test_every_function_agrees_on_the_state_of_example_1() -> None:
    ratio = humidity_ratio_from_wet_bulb(40.0, 20.0, SEA_LEVEL)
    assert wet_bulb(40.0, ratio, SEA_LEVEL) == pytest.approx(20.0, abs=1e-5)
    # 0.1402 and 7.49 degC by real air (CoolProp): as much as 0.01 K of wet bulb would move them
    assert relative_humidity(40.0, ratio, SEA_LEVEL) == pytest.approx(0.1402, abs=5e-4)
    assert dew_point(ratio, SEA_LEVEL) == pytest.approx(7.49, abs=0.04)
