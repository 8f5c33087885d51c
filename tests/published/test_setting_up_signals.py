"""SOURCE: IEC 60381-1 (4 to 20 mA) and IEC 60381-2 (direct voltage signals), straight lines (from memory;
identities)."""

from __future__ import annotations

import pytest

from wringout.setting_up.subjects import set_up


def test_a_two_to_ten_volt_actuator_wants_a_minimum_of_twenty_per_cent() -> None:
    found = set_up("output-scaling", {"low": "2 V", "high": "10 V"})
    assert found.result("minimum").value == pytest.approx(0.2)
    assert found.result("maximum").value == pytest.approx(1.0)
    assert found.result("volts-at-50").value == pytest.approx(6.0)


def test_a_zero_to_ten_volt_scaling_wastes_a_fifth_of_the_command() -> None:
    found = set_up(
        "output-scaling", {"low": "2 V", "high": "10 V", "minimum-now": "0 %", "maximum-now": "100 %"}
    )
    assert any("20 % of the command moves nothing" in words for words in found.warnings)


def test_reheat_that_opens_at_the_low_end_is_reversed_once() -> None:
    asked = {"low": "2 V", "high": "10 V", "opens-at": "low"}
    found = set_up("output-scaling", {**asked, "minimum-now": "20 %"})
    assert found.result("volts-at-100").value == pytest.approx(2.0)
    assert any("wrong way" in words for words in found.warnings), "not reversed now: it runs the wrong way"
    reversed_now = set_up("output-scaling", {**asked, "minimum-now": "20 %", "reverse-now": "yes"})
    assert not any("wrong way" in words for words in reversed_now.warnings)


def test_a_current_loop_uses_the_whole_of_its_own_output() -> None:
    asked = {"low": "4 mA", "high": "20 mA", "output-low": "4 mA", "output-high": "20 mA"}
    kinds = {"output-kind": "milliamperes", "actuator-kind": "milliamperes"}
    found = set_up("output-scaling", {**asked, **kinds})
    assert (found.result("minimum").value, found.result("maximum").value) == pytest.approx((0.0, 1.0))
    assert found.result("volts-at-50").shown("ip") == "12.00 mA"
    assert not found.warnings


def test_volts_into_an_actuator_for_milliamperes_are_told() -> None:
    found = set_up("output-scaling", {"low": "4 mA", "high": "20 mA", "actuator-kind": "milliamperes"})
    assert any("different kinds" in words for words in found.warnings)
