"""SOURCE: CoolProp 8.0.0, R744 at 90 bar from a compressor with eta 0.7 at -8 degC evaporating: 109.8 degC
discharge, share of the heat (down to 30 degC) above 35, 40, 45, 50 degC 0.909, 0.730, 0.542, 0.449
(computed, references); sensible heat of standard air 1.08 Btu/h to the cfm and degF (identity, 1 %)."""

from __future__ import annotations

import pytest

from wringout.quantity import to_si
from wringout.setting_up.subjects import set_up

ASKED = {
    "airflow": "9000 cfm",
    "coil-t": "70 degF",
    "supply-t": "90 degF",
    "plant-heat": "400 MBH",
    "gas-in": "109.8 degC",
    "gas-cold": "30 degC",
    "pressure": "90 bar",
    "approach": "0 K",
}


@pytest.mark.parametrize(("level", "share"), [(35.0, 0.909), (40.0, 0.730), (45.0, 0.542), (50.0, 0.449)])
def test_how_much_of_a_carbon_dioxide_plant_s_heat_is_warm_enough(level: float, share: float) -> None:
    found = set_up("reclaim-heat", {**ASKED, "return-t": f"{level} degC"})
    assert found.result("share").value == pytest.approx(share, abs=0.004)
    whole = to_si(400.0, "MBH", "power")
    assert found.result("at-hand").value == pytest.approx(share * whole, rel=0.01)


def test_reheat_needs_what_the_trade_s_rule_says() -> None:
    found = set_up("reclaim-heat", {**ASKED, "return-t": "35 degC"})
    assert found.result("needed").value == pytest.approx(
        1.08 * 9000 * 20 * to_si(1.0, "Btu/h", "power"), rel=0.015
    )


def test_a_plant_with_too_little_heat_is_not_mended_at_the_unit() -> None:
    found = set_up("reclaim-heat", {**ASKED, "return-t": "50 degC", "plant-heat": "100 MBH +- 5 MBH"})
    assert found.result("spare").value < 0.0
    assert any("no setting at the unit" in words for words in found.warnings)
