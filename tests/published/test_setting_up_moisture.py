"""SOURCE: ASHRAE Handbook Fundamentals 2009, p. 18.4 (latent heat of people, read second-hand) and ASHRAE
Handbook Applications 2011 (evaporation of pools, as in the EnergyPlus Engineering Reference, values
computed from it); well-mixed room by the trade's 4.5 (identity)."""

from __future__ import annotations

import numpy as np
import pytest

from wringout.physics.moist_air import dew_point, humidity_ratio
from wringout.quantity import to_si
from wringout.setting_up.moisture_sources import from_open_water, from_people
from wringout.setting_up.subjects import set_up

F = 1.0 / 1.8


def per_hour(value: float) -> float:
    return value / to_si(1.0, "lb/h", "mass_flow")


def test_a_person_at_light_work_in_an_office_gives_off_a_fifth_of_a_pound_an_hour() -> None:
    # 59 W latent is 200 Btu/h; over 1061 Btu/lb that is 0.189 lb/h, and heat of evaporation differs by 1 %
    assert per_hour(float(from_people(np.array(1.0), 59.0))) == pytest.approx(0.189, rel=0.02)


@pytest.mark.parametrize(("water", "air", "expected"), [(82.0, 84.0, 39.70), (80.0, 82.0, 37.16)])
def test_a_public_pool_gives_off_forty_pounds_an_hour_from_a_thousand_square_feet(
    water: float, air: float, expected: float
) -> None:
    area, room = to_si(1000.0, "ft2", "area"), (air - 32.0) * F
    dew = dew_point(humidity_ratio(room, 0.6, 101325.0), 101325.0)
    found = from_open_water(np.array(area), np.array((water - 32.0) * F), dew, 1.0)
    assert per_hour(float(found)) == pytest.approx(expected, rel=0.005)


def test_shares_of_what_comes_in_sum_to_one() -> None:
    found = set_up(
        "moisture-sources",
        {
            "people": "90 count",
            "infiltration": "700 cfm",
            "outdoor-air": "1500 cfm",
            "outdoor-dew-point": "74 degF",
            "space-dew-point": "53 degF",
            "water-area": "200 ft2",
            "water-t": "82 degF",
            "wet": "10 lb/h",
        },
    )
    shares = [value.value for value in found.results if value.key.startswith("share")]
    assert len(shares) == 5
    assert sum(shares) == pytest.approx(1.0)
    parts = sum(value.value for value in found.results if value.key.startswith("part"))
    assert found.result("total").value == pytest.approx(parts)


def test_air_from_outdoors_brings_what_the_trade_s_rule_says() -> None:
    """4.5 lb/h of dry air to the cfm (standard air); 74 and 53 degF of dew point are 0.01813 and 0.00857
    lb/lb."""
    found = set_up(
        "moisture-sources",
        {"outdoor-air": "1500 cfm", "outdoor-dew-point": "74 degF", "space-dew-point": "53 degF"},
    )
    assert per_hour(found.result("total").value) == pytest.approx(4.5 * 1500 * (0.01813 - 0.00857), rel=0.01)


def test_ice_takes_water_out_of_damp_air_and_gives_it_to_dry_air() -> None:
    asked = {"outdoor-dew-point": "40 degF", "ice-area": "17000 ft2", "ice-t": "24 degF"}
    damp = set_up("moisture-sources", {**asked, "space-dew-point": "45 degF"}).result("total").value
    dry = set_up("moisture-sources", {**asked, "space-dew-point": "10 degF"}).result("total").value
    assert damp < 0.0 < dry
