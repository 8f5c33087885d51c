"""SOURCE: identities of the trade, worked out elsewhere: fan laws, and fan horsepower with the trade's 6356.

10,000 cfm against 3 in. w.g. at 60 % are 7.867 hp. The 6356 (with cfm, in. w.g. and hp) takes an inch of
water at room temperature, 62.3 lb/ft3, which is 248.6 Pa; the conventional inch of 249.09 Pa would make it
6343, 0.2 % off.
"""

from __future__ import annotations

import pytest

from wringout.physics.fan import airflow_at_speed, fan_power, heat_rise, power_at_speed, pressure_at_speed

CFM = 0.3048**3 / 60.0
INCH_OF_WATER = 62.3 / 12.0 * 47.88026  # 62.3 lb/ft3 over an inch, lb/ft2 to Pa
HORSEPOWER = 745.6998715822702


def test_fan_horsepower() -> None:
    power = fan_power(10_000.0 * CFM, 3.0 * INCH_OF_WATER, 0.6)
    assert power / HORSEPOWER == pytest.approx(7.867, rel=5e-4)


@pytest.mark.parametrize(
    ("ratio", "airflow", "pressure", "power"),
    [(0.8, 0.8, 0.64, 0.512), (1750 / 1450, 1.2069, 1.4566, 1.7580)],
)
def test_fan_laws(ratio: float, airflow: float, pressure: float, power: float) -> None:
    assert airflow_at_speed(1.0, ratio) == pytest.approx(airflow, abs=6e-5)
    assert pressure_at_speed(1.0, ratio) == pytest.approx(pressure, abs=6e-5)
    assert power_at_speed(1.0, ratio) == pytest.approx(power, abs=6e-5)


def test_heat_of_the_fan_in_standard_air() -> None:
    # 7.867 hp x 2544.43 Btu/h over 1.08 x 10,000 cfm is 1.853 degF
    rise = heat_rise(3.0 * INCH_OF_WATER, 0.6, density=0.075 * 16.01846, specific_heat=0.24 * 4186.8)
    assert rise * 1.8 == pytest.approx(7.867 * 2544.43 / 10_800.0, rel=1e-3)
