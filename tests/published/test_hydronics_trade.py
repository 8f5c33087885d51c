"""SOURCE: identities of the trade, worked out elsewhere: affinity laws, water horsepower, head of water.

Digits as tabled there (affinity 1450 to 1750 rpm: 1.2069, 1.4566, 1.7580; 100 gpm against 60 ft at 70 %:
2.1645 hp). The trade's 3960 rounds 3956 to 3960 (and takes water as 8.33 lb/gal), which is 0.2 % here.
"""

from __future__ import annotations

import pytest

from wringout.physics.hydronics import (
    affinity,
    head_from_pressure,
    pressure_from_head,
    pump_at_speed,
    pump_power,
)

GPM = 3.785411784e-3 / 60.0
FOOT = 0.3048
HORSEPOWER = 745.6998715822702


@pytest.mark.parametrize(
    ("ratio", "flow", "head", "power"), [(0.8, 0.8, 0.64, 0.512), (1750 / 1450, 1.2069, 1.4566, 1.7580)]
)
def test_affinity_laws(ratio: float, flow: float, head: float, power: float) -> None:
    found = affinity(1.0, 1.0, 1.0, ratio)
    assert found.flow == pytest.approx(flow, abs=6e-5)
    assert found.head == pytest.approx(head, abs=6e-5)
    assert found.power == pytest.approx(power, abs=6e-5)


def test_head_of_the_pump_curve_at_80_percent_speed() -> None:
    curve = pump_at_speed(100e3, 1e10, 0.8)
    assert curve.shutoff_head == pytest.approx(64e3)
    assert curve.resistance == pytest.approx(1e10)


def test_water_horsepower() -> None:
    power = pump_power(100.0 * GPM, pressure_from_head(60.0 * FOOT, 999.0), 0.7)
    assert power / HORSEPOWER == pytest.approx(2.1645, rel=2.5e-3)


def test_a_foot_of_cold_water_is_0_433_psi() -> None:
    # 62.4 lb/ft3 / 144 (trade constant)
    assert pressure_from_head(FOOT, 999.0) / 6894.757 == pytest.approx(62.4 / 144.0, rel=1e-3)
    assert head_from_pressure(6894.757, 999.0) / FOOT == pytest.approx(2.31, abs=0.005)
