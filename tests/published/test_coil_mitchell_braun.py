"""SOURCE: Mitchell and Braun 2012, Principles of Heating, Ventilation, and Air Conditioning in Buildings,
supplementary material, example SM-2-1: one counterflow coil, dry and wet.

Read second-hand, in the Modelica Buildings library: inputs and the book's own totals in its
Fluid/HeatExchangers/Validation/WetCoilEffectivenessNTU.mo (commit 1c25eb1), where the conductance is shared
evenly between air and water side; results of its effectiveness model and of its 30-element coil among its
reference results of 2021. Moisture is given there as mass of water per mass of moist air, and so is the
flow.

Accuracy: the two methods differ by 1.3 % dry and 4.8 % wet; the book's own totals lie under both. Hence 0.5
% for the dry coil, which is one method on both sides, and 6 % for the wet one.
"""

from __future__ import annotations

import numpy as np
import pytest

from wringout.physics.cooling_coil import CoilAir, chilled_water_coil

AIR_T = (80.0 - 32.0) / 1.8
WATER_T = (42.0 - 32.0) / 1.8
CONDUCTANCE = 9495.5 / 2
MOIST_AIR_FLOW = 2.646  # kg/s
WATER_FLOW = 3.78  # kg/s

# mass of water per moist air: effectiveness W and leaving degC, elements W and leaving degC, the book W
DRY = (0.0035383, 45_251.0, 9.718, 44_669.0, 9.937, 44_234.0)
WET = (0.01765, 87_591.0, 13.561, 83_555.0, 14.036, 82_722.0)


def coil(water_share: float) -> tuple[CoilAir, float]:
    dry_air = MOIST_AIR_FLOW * (1.0 - water_share)
    one = np.ones(1)
    air, leaving = chilled_water_coil(
        AIR_T * one,
        water_share / (1.0 - water_share) * one,
        dry_air * one,
        WATER_T * one,
        WATER_FLOW * 4186.0 * one,
        2.0 * CONDUCTANCE * one,
        2.0 * CONDUCTANCE * one,
        101_325.0,
    )
    return air, float(leaving[0])


def test_the_dry_coil() -> None:
    share, total, leaving, elements, elements_leaving, book = DRY
    air, water = coil(share)
    assert air.condensate[0] == 0.0
    assert air.total[0] == pytest.approx(total, rel=0.005)
    assert air.total[0] == pytest.approx(elements, rel=0.02)
    assert air.total[0] == pytest.approx(book, rel=0.03)
    assert air.dry_bulb[0] == pytest.approx(leaving, abs=0.05)
    assert air.dry_bulb[0] == pytest.approx(elements_leaving, abs=0.3)
    assert water == pytest.approx(WATER_T + total / (WATER_FLOW * 4186.0), abs=0.02)


def test_the_wet_coil() -> None:
    share, total, leaving, elements, elements_leaving, book = WET
    air, _ = coil(share)
    assert air.condensate[0] > 0.0
    assert air.total[0] == pytest.approx(total, rel=0.06)
    assert air.total[0] == pytest.approx(elements, rel=0.06)
    assert air.total[0] == pytest.approx(book, rel=0.06)
    assert air.dry_bulb[0] == pytest.approx(leaving, abs=0.7)
    assert air.dry_bulb[0] == pytest.approx(elements_leaving, abs=0.3)


def test_between_both_methods_the_wet_coil_lies() -> None:
    air, _ = coil(WET[0])
    assert WET[3] < air.total[0] < WET[1]


def test_the_nominal_wet_point() -> None:
    """Mass share .0173: the same library's model gives 87.2 kW, air at 13.58 and water at 11.07 degC."""
    air, water = coil(0.0173)
    assert air.total[0] == pytest.approx(87_200.0, rel=0.06)
    assert air.dry_bulb[0] == pytest.approx(13.5805, abs=0.5)
    assert water == pytest.approx(11.0678, abs=0.35)
