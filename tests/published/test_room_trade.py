"""SOURCE: trade factors for air of 0.075 lb/ft3 (4.5 lb/h of dry air to the cfm, 7000 grains to the pound),
and the well-mixed zone; identities, computed by hand. The sensible factor of the trade is 1.08 Btu/(h cfm
F) for dry air and 1.10 for moist air (ASHRAE Fundamentals, chapter 18, from memory). Latent heat of people
200 Btu/h, seated or light work (ASHRAE Fundamentals 2009, p. 18.4, read second-hand), with 1061 Btu/lb
0.189 lb/h.

Accuracy: three digits.
"""

from __future__ import annotations

import numpy as np
import pytest

from wringout.physics.room import heat_gain, moisture_gain, moisture_removed, sensible_removed

CFM = 4.5 * 0.45359237 / 3600.0  # kg/s of dry air
LB_PER_HOUR = 0.45359237 / 3600.0
GRAIN = 1.0 / 7000.0
KELVIN_PER_DEGF = 1.0 / 1.8
BTU_PER_HOUR = 0.2930711


def test_sixty_pounds_an_hour_wet_ten_thousand_cfm_by_nine_grains() -> None:
    supply_ratio = 0.006
    space_ratio = supply_ratio + 9.33 * GRAIN
    removed = moisture_removed(np.array([10_000 * CFM]), np.array([space_ratio]), np.array([supply_ratio]))
    assert removed[0] == pytest.approx(60.0 * LB_PER_HOUR, rel=0.001)


def test_a_person_gives_off_two_tenths_of_a_pound_an_hour() -> None:
    one_person = 200.0 / 1061.0 * LB_PER_HOUR
    assert moisture_gain(np.array([one_person]), np.zeros(1), np.array([0.012]), np.array([0.008]))[
        0
    ] == pytest.approx(0.189 * LB_PER_HOUR, rel=0.003)


def test_infiltration_brings_what_the_outdoor_air_holds_more() -> None:
    # 500 cfm at 30 grains over the room: 4.5 * 500 * 30 / 7000 = 9.64 lb/h
    gain = moisture_gain(
        np.zeros(1), np.array([500 * CFM]), np.array([0.008 + 30 * GRAIN]), np.array([0.008])
    )
    assert gain[0] == pytest.approx(9.643 * LB_PER_HOUR, rel=1e-3)


@pytest.mark.parametrize("function", ["supply", "infiltration"])
def test_the_sensible_factor_lies_between_that_of_dry_and_of_moist_air(function: str) -> None:
    flow, apart = np.array([1000 * CFM]), 20.0 * KELVIN_PER_DEGF
    if function == "supply":
        heat = sensible_removed(flow, np.array([24.0]), np.array([24.0 - apart]))
    else:
        heat = heat_gain(np.zeros(1), flow, np.array([24.0 + apart]), np.array([24.0]))
    assert 1.08 <= heat[0] / BTU_PER_HOUR / 1000.0 / 20.0 <= 1.10
