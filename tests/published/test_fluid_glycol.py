"""SOURCE: CoolProp 8.0.0, INCOMP::MEG and INCOMP::MPG by mass, after Melinder (2010); computed elsewhere.

Independent measured data differ from one another by 1 to 2 % in specific heat and several % in viscosity.
"""

from __future__ import annotations

import CoolProp.CoolProp as CP
import numpy as np
import pytest

from wringout.physics.fluid import (
    Fluid,
    capacity_rate,
    density,
    freeze_point,
    specific_heat,
    temperature_limits,
    viscosity,
)

GPM = 3.785411784e-3 / 60.0
BTU_PER_HOUR_FAHRENHEIT = 1055.05585262 / 3600.0 * 1.8  # W/K
ETHYLENE: Fluid = "ethylene_glycol"
PROPYLENE: Fluid = "propylene_glycol"

# mass fraction, what replaces 500 at 120 and 40 degF, freeze point degC
MIXTURES = [
    (ETHYLENE, 0.20, 478.0, 475.7, -7.9),
    (ETHYLENE, 0.30, 465.3, 458.3, -14.6),
    (ETHYLENE, 0.40, 449.9, 437.3, -23.8),
    (ETHYLENE, 0.50, 432.9, 414.1, -36.0),
    (PROPYLENE, 0.30, 474.3, 470.0, -12.8),
    (PROPYLENE, 0.40, 460.8, 454.9, -20.6),
    (PROPYLENE, 0.50, 443.7, 435.2, -32.2),
]


@pytest.mark.parametrize(("fluid", "share", "hot", "cold", "freezes"), MIXTURES)
def test_what_replaces_500_in_glycol(
    fluid: Fluid, share: float, hot: float, cold: float, freezes: float
) -> None:
    for fahrenheit, expected in ((120.0, hot), (40.0, cold)):
        factor = capacity_rate(GPM, (fahrenheit - 32.0) / 1.8, fluid, share) / BTU_PER_HOUR_FAHRENHEIT
        assert factor == pytest.approx(expected, rel=1.5e-3)
    assert freeze_point(fluid, share) == pytest.approx(freezes, abs=0.06)


# mass fraction, mPa s at 40 degF
@pytest.mark.parametrize(
    ("fluid", "share", "expected"), [(ETHYLENE, 0.3, 3.63), (PROPYLENE, 0.3, 5.72), (PROPYLENE, 0.5, 14.5)]
)
def test_cold_glycol_is_thick(fluid: Fluid, share: float, expected: float) -> None:
    assert viscosity(40.0 / 1.8 - 32.0 / 1.8, fluid, share) * 1e3 == pytest.approx(expected, rel=0.015)


@pytest.mark.parametrize(("fluid", "code"), [(ETHYLENE, "MEG"), (PROPYLENE, "MPG")])
def test_fits_hold_between_their_knots(fluid: Fluid, code: str) -> None:
    # off the grid that the fits were made on; limits as the docstrings state them
    generator = np.random.default_rng(7)
    for share in generator.uniform(0.0, 0.6, 12):
        coldest, hottest = temperature_limits(fluid, share)
        for t in generator.uniform(coldest, hottest, 8):

            def source(key: str, t: float = t, share: float = share) -> float:
                return float(CP.PropsSI(key, "T", t + 273.15, "P", 3e5, f"INCOMP::{code}[{share}]"))

            assert density(t, fluid, share) == pytest.approx(source("D"), rel=2e-4)
            assert specific_heat(t, fluid, share) == pytest.approx(source("C"), rel=1.3e-3)
            assert viscosity(t, fluid, share) == pytest.approx(source("V"), rel=0.013)
