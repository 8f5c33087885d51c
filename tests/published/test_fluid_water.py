"""SOURCE: IAPWS-IF97, values at 0.3 MPa computed with the library `iapws` 1.5.5; and the trade's 500.

The factors that replace 500 (Btu/h for each gpm and degF) come from density times specific heat of CoolProp
8.0.0, water at 2 bar, good to 0.05 %; the fits here are at 3 bar. IAPWS-95, which the
fits follow, and IF97 differ by 1e-5 in density and in specific heat by 5e-4 at 60 degC and 7e-4 at 120
degC; both state 0.1 % for specific heat.
"""

from __future__ import annotations

import numpy as np
import pytest
from iapws import IAPWS97

from wringout.physics.fluid import capacity_rate, density, specific_heat, viscosity

GPM = 3.785411784e-3 / 60.0
BTU_PER_HOUR_FAHRENHEIT = 1055.05585262 / 3600.0 * 1.8  # W/K


# degC, kg/m3, kJ/(kg K), mPa s at 0.3 MPa
STATES = [
    (7.0, 1000.000, 4.1999, 1.4268),
    (12.0, 999.593, 4.1919, 1.2339),
    (45.0, 990.310, 4.1783, 0.5958),
    (60.0, 983.297, 4.1823, 0.4661),
    (80.0, 971.892, 4.1951, 0.3541),
]


@pytest.mark.parametrize(("t", "rho", "cp", "mu"), STATES)
def test_water_at_three_bar(t: float, rho: float, cp: float, mu: float) -> None:
    assert density(t) == pytest.approx(rho, abs=0.02)
    assert specific_heat(t) == pytest.approx(cp * 1e3, rel=6e-4)
    assert viscosity(t) == pytest.approx(mu * 1e-3, rel=3e-4)


def test_water_against_the_steam_tables_over_the_whole_range() -> None:
    for t in np.linspace(1.0, 129.0, 17):
        state = IAPWS97(T=t + 273.15, P=0.3)
        assert density(t) == pytest.approx(state.rho, rel=3e-5)
        assert specific_heat(t) == pytest.approx(state.cp * 1e3, rel=1e-3)
        assert viscosity(t) == pytest.approx(state.mu, rel=5e-4)


# degF, Btu/h for each gpm and degF
FIVE_HUNDRED = [(40, 503.0), (50, 501.6), (60, 500.3), (80, 498.3), (120, 494.3), (140, 492.1), (160, 489.7)]
FIVE_HUNDRED += [(180, 487.3), (200, 484.7)]


@pytest.mark.parametrize(("fahrenheit", "expected"), FIVE_HUNDRED)
def test_what_replaces_500(fahrenheit: float, expected: float) -> None:
    factor = capacity_rate(GPM, (fahrenheit - 32.0) / 1.8) / BTU_PER_HOUR_FAHRENHEIT
    assert factor == pytest.approx(expected, rel=5e-4)
