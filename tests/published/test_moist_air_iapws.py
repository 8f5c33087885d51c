"""SOURCE: IAPWS, pressures of saturation and sublimation.

IAPWS-95 and IF97 values computed with CoolProp 8.0.0 and iapws 1.5.5. The saturation equation of Wagner and
Pruss (1993, IAPWS SR1-86) and the sublimation equation of IAPWS R14-08(2011) are written out here from memory
and anchored to those values; so is that of Murphy and Koop (2005), eq. 10, for supercooled water.

Accuracy of the source: 0.01 % (saturation), 0.1 % (sublimation), 0.05 to 1 % (supercooled). IAPWS-95, IF97
and Wagner and Pruss differ among one another by up to 7e-5 below 100 degC and 2e-4 at 180 degC.
"""

from __future__ import annotations

import iapws
import numpy as np
import pytest
from numpy.typing import NDArray

from wringout.physics.saturation import (
    saturation_pressure,
    saturation_pressure_over_ice,
    saturation_pressure_over_water,
    saturation_temperature,
)

Array = NDArray[np.float64]

# degC, IAPWS-95, Pa
WATER = [
    (0.01, 611.655),
    (5.0, 872.575),
    (10.0, 1228.20),
    (15.0, 1705.79),
    (20.0, 2339.32),
    (25.0, 3169.93),
    (30.0, 4246.97),
    (40.0, 7384.94),
]
ICE = [(-5.0, 401.741), (-10.0, 259.874), (-20.0, 103.239), (-40.0, 12.8412)]


def wagner_pruss(t: Array) -> Array:
    kelvin, critical = t + 273.15, 647.096
    x = 1.0 - kelvin / critical
    powers = (1.0, 1.5, 3.0, 3.5, 4.0, 7.5)
    factors = (-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502)
    exponent = sum(a * x**n for a, n in zip(factors, powers, strict=True))
    return np.asarray(22.064e6 * np.exp(critical / kelvin * exponent))


def sublimation(t: Array) -> Array:
    x = (t + 273.15) / 273.16
    powers = (0.333333333e-2, 1.20666667, 1.70333333)
    factors = (-21.2144006, 27.3203819, -6.10598130)
    exponent = sum(a * x**n for a, n in zip(factors, powers, strict=True))
    return np.asarray(611.657 * np.exp(exponent / x))


def murphy_koop(t: Array) -> Array:
    k = t + 273.15
    blend = np.tanh(0.0415 * (k - 218.8)) * (53.878 - 1331.22 / k - 9.44523 * np.log(k) + 0.014025 * k)
    return np.asarray(np.exp(54.842763 - 6763.22 / k - 4.210 * np.log(k) + 0.000367 * k + blend))


@pytest.mark.parametrize(("celsius", "pascal"), WATER)
def test_vapour_over_water_is_that_of_iapws_95(celsius: float, pascal: float) -> None:
    assert saturation_pressure_over_water(celsius) == pytest.approx(pascal, rel=7.5e-5)


@pytest.mark.parametrize(("celsius", "pascal"), ICE)
def test_vapour_over_ice_is_that_of_iapws(celsius: float, pascal: float) -> None:
    assert saturation_pressure_over_ice(celsius) == pytest.approx(pascal, rel=5e-6)
    assert iapws._iapws._Sublimation_Pressure(celsius + 273.15) * 1e6 == pytest.approx(pascal, rel=5e-6)


@pytest.mark.parametrize("celsius", [1.0, 20.0, 60.0, 90.0, 120.0, 180.0])
def test_vapour_over_water_is_that_of_the_industrial_formulation(celsius: float) -> None:
    industrial = iapws.iapws97._PSat_T(celsius + 273.15) * 1e6
    assert saturation_pressure_over_water(celsius) == pytest.approx(
        industrial, rel=8e-5 if celsius <= 100.0 else 2e-4
    )


def test_the_fit_over_water_follows_its_source_as_closely_as_it_says() -> None:
    t = np.linspace(-60.0, 200.0, 5001)
    assert np.max(np.abs(saturation_pressure_over_water(t) / wagner_pruss(t) - 1.0)) < 1.5e-6


def test_the_fit_over_ice_follows_its_source_as_closely_as_it_says() -> None:
    t = np.linspace(-100.0, 0.01, 5001)
    assert np.max(np.abs(saturation_pressure_over_ice(t) / sublimation(t) - 1.0)) < 7e-7


def test_supercooled_water_is_near_what_was_measured() -> None:
    for celsius, apart in ((-5.0, 2e-4), (-10.0, 4e-4), (-20.0, 1e-3), (-40.0, 8e-3)):
        measured = murphy_koop(np.asarray(celsius))
        assert saturation_pressure_over_water(celsius) == pytest.approx(measured, rel=apart)


def test_ice_and_water_meet_at_the_triple_point() -> None:
    assert saturation_pressure_over_water(0.01) == pytest.approx(611.657, rel=2e-7)
    assert saturation_pressure_over_ice(0.01) == pytest.approx(611.657, rel=2e-7)
    around = saturation_pressure(np.array([0.0099999, 0.01, 0.0100001]))
    assert np.all(np.diff(around) > 0.0)


# IF97 verification values: 300 K, 500 K (outside our range) and the boiling point at 0.1 MPa
def test_the_verification_values_of_the_industrial_formulation() -> None:
    assert saturation_pressure(300.0 - 273.15) == pytest.approx(3536.58941, rel=6e-5)
    assert saturation_pressure(372.755919 - 273.15) == pytest.approx(1e5, rel=6e-5)
    assert saturation_temperature(3536.58941) == pytest.approx(26.85, abs=1e-3)
