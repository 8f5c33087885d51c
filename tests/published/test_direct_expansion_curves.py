"""SOURCE: capacity curves of packaged direct-expansion coils as whole-building simulation uses them: total
capacity against entering wet bulb and outdoor temperature, and against airflow, each 1 at 67 degF (19.44
degC), 95 degF (35 degC) and rated airflow.

Read: a rooftop unit of ten tons measured in the laboratory, and a fitted one, in the DOE reference building
of a stand-alone retail store (2004, Chicago; Deru et al. 2011, file of pyenergyplus-lbnl 26.1.0); a
packaged terminal unit and a window unit among the example coefficients that EnergyPlus and OpenStudio carry
(read in public files of both).

Accuracy: the four curves differ from each other by up to 10 % at the ends of their range. Gate: inside
their envelope, 3 % to spare.
"""

from __future__ import annotations

import numpy as np
import pytest

from wringout.physics.cooling_coil import MOIST_SPECIFIC_HEAT, apparatus_dew_point, bypass_factor
from wringout.physics.direct_expansion import coil_compressor_balance
from wringout.physics.moist_air import humidity_ratio_from_wet_bulb

PRESSURE = 101_325.0
DRY_BULB = (80.0 - 32.0) / 1.8
TOTAL, SENSIBLE = 100_000.0, 71_000.0
FLOW = TOTAL / 3516.85 * 400.0 * 4.719474e-4 * 1.2  # 400 cfm a ton

# constant, wet bulb, its square, outdoor, its square, both [degC]
TEMPERATURE_CURVES = {
    "rooftop, ten tons, measured": (0.52357, 0.03478, 0.0, -0.001915, -0.00010838, 0.0),
    "rooftop, fitted": (0.9712123, -0.015275502, 0.0014434524, -0.00039321, -0.0000068364, -0.0002905956),
    "packaged terminal unit": (0.766956, 0.0107756, -0.0000414703, 0.00134961, -0.000261144, 0.000457488),
    "window unit": (0.942587793, 0.009543347, 0.00068377, -0.011042676, 0.000005249, -0.00000972),
}
# constant and share of rated airflow
AIRFLOW_CURVES = {"rooftop, ten tons, measured": (0.7685, 0.2315), "packaged terminal unit": (0.8, 0.2)}


def curve(name: str, wet_bulb: float, outdoor: float) -> float:
    a, b, c, d, e, f = TEMPERATURE_CURVES[name]
    value = a + b * wet_bulb + c * wet_bulb**2 + d * outdoor + e * outdoor**2 + f * wet_bulb * outdoor
    return float(value)


def capacity(wet_bulb: float, outdoor: float, airflow: float = 1.0) -> float:
    """Capacity over that of the rating."""
    rated_w = float(humidity_ratio_from_wet_bulb(DRY_BULB, 19.444, PRESSURE))
    apparatus = apparatus_dew_point(DRY_BULB, rated_w, TOTAL, SENSIBLE, FLOW, PRESSURE)
    conductance = -np.log(apparatus.bypass) * FLOW * MOIST_SPECIFIC_HEAT
    one = np.ones(1)
    balance = coil_compressor_balance(
        DRY_BULB * one,
        humidity_ratio_from_wet_bulb(DRY_BULB, wet_bulb, PRESSURE) * one,
        FLOW * airflow * one,
        bypass_factor(conductance * airflow**0.65 * one, FLOW * airflow * one),
        TOTAL * one,
        (outdoor - 35.0) * one,
        apparatus.temperature - 4.0,
        4.0 / TOTAL * one,
        PRESSURE,
    )
    return float(balance.capacity[0]) / TOTAL


def test_the_curves_are_one_at_their_rating() -> None:
    for name in TEMPERATURE_CURVES:
        assert curve(name, 19.44, 35.0) == pytest.approx(1.0, abs=0.002)


def test_the_rating_itself_is_met() -> None:
    assert capacity(19.444, 35.0) == pytest.approx(1.0, abs=0.003)


@pytest.mark.parametrize("outdoor", [25.0, 30.0, 35.0, 40.0, 45.0])
@pytest.mark.parametrize("wet_bulb", [16.67, 18.0, 19.44, 20.8, 22.2])
def test_capacity_follows_wet_bulb_and_outdoor_temperature_as_the_curves_do(
    wet_bulb: float, outdoor: float
) -> None:
    theirs = [curve(name, wet_bulb, outdoor) for name in TEMPERATURE_CURVES]
    assert min(theirs) - 0.03 < capacity(wet_bulb, outdoor) < max(theirs) + 0.03


def test_slopes_lie_among_those_of_the_curves() -> None:
    wet = [curve(n, 20.44, 35.0) - curve(n, 18.44, 35.0) for n in TEMPERATURE_CURVES]
    warm = [curve(n, 19.44, 37.0) - curve(n, 19.44, 33.0) for n in TEMPERATURE_CURVES]
    assert min(wet) < capacity(20.44, 35.0) - capacity(18.44, 35.0) < max(wet)
    assert min(warm) < capacity(19.44, 37.0) - capacity(19.44, 33.0) < max(warm)


@pytest.mark.parametrize("airflow", [0.8, 0.9, 1.1, 1.2])
def test_capacity_follows_airflow_as_the_curves_do(airflow: float) -> None:
    theirs = [a + b * airflow for a, b in AIRFLOW_CURVES.values()]
    assert min(theirs) - 0.02 < capacity(19.444, 35.0, airflow) / capacity(19.444, 35.0) < max(theirs) + 0.02
