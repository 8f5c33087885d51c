"""SOURCE: NAVFAC MO-114 vol. 3, Air Conditioning, chapter 2, fan laws with a worked example (read
second-hand); affinity ratios are identities."""

from __future__ import annotations

import pytest

from wringout.setting_up.subjects import set_up


def test_a_larger_motor_sheave_overloads_the_motor() -> None:
    """A motor of 9.0 A draws 6.2 A with a 5 in sheave; with 6 in the speed is 1.2 times, the current 10.7
    A."""
    found = set_up(
        "fan-speed",
        {
            "airflow": "1200 cfm",
            "airflow-now": "1000 cfm",
            "sheave-now": "5 in",
            "current-now": "6.2 A",
            "nameplate": "9.0 A",
        },
    )
    assert found.result("ratio").value == pytest.approx(1.2, abs=0.005)
    assert found.result("sheave").value / 0.0254 == pytest.approx(6.0, abs=0.05)
    assert found.result("current").value == pytest.approx(10.7, abs=0.05)  # as printed, three figures
    assert any("more than its nameplate" in words for words in found.warnings)


def test_twenty_per_cent_more_speed_is_seventy_three_per_cent_more_power() -> None:
    found = set_up("fan-speed", {"airflow": "12000 cfm", "airflow-now": "10000 cfm", "speed-now": "45 Hz"})
    assert found.result("power").value == pytest.approx(1.728, rel=1e-9)
    assert found.result("speed").value == pytest.approx(54.0, rel=1e-9)


@pytest.mark.parametrize(("ratio", "power"), [(0.8, 0.512), (1750.0 / 1450.0, 1.7580)])
def test_power_goes_with_the_cube(ratio: float, power: float) -> None:
    found = set_up("fan-speed", {"airflow": f"{10000 * ratio} cfm", "airflow-now": "10000 cfm"})
    assert found.result("power").value == pytest.approx(power, rel=2e-4)
