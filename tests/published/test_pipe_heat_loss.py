"""SOURCE: US DOE steam tip sheet 2, heat loss of bare pipe; a table worked out with the library `ht` 1.2.0.

The tip sheet is quoted second hand, three of its rows from memory. It does not state its emissivity; 0.7
(oxidised steel) brings all its rows within 4 %, and the gate is 6 %. The second table was worked out
elsewhere, with natural convection of the library and radiation, and holds whole Btu/h ft; handbooks differ
by 15 % from one another.
"""

from __future__ import annotations

import ht
import numpy as np
import pytest

from wringout.physics.pipe import heat_loss, steel_pipe

BTU_H_FOOT = 1055.05585262 / 3600.0 / 0.3048  # W/m
INCH = 0.0254
AIR = (75.0 - 32.0) / 1.8
CONDUCTIVITY = 0.27 * 0.1442279  # 0.27 Btu in/(h ft2 degF)

# saturated steam at 15 and 150 psig (IAPWS-IF97): degC
STEAM = {15: 121.0, 150: 185.6}
# size in inches, psig, MMBtu a year for 100 ft, 8760 h
TIP_SHEET = [
    ("1", 150, 285.0),
    ("2", 150, 480.0),
    ("4", 15, 415.0),
    ("1", 15, 140.0),  # from memory
    ("2", 15, 235.0),  # from memory
    ("4", 150, 850.0),  # from memory
]


@pytest.mark.parametrize(("name", "psig", "expected"), TIP_SHEET)
def test_bare_steam_pipe(name: str, psig: int, expected: float) -> None:
    loss = heat_loss(STEAM[psig], AIR, steel_pipe(name).outside_diameter, emissivity=0.7)
    assert loss / BTU_H_FOOT * 100.0 * 8760.0 / 1e6 == pytest.approx(expected, rel=0.06)


# size, Btu/h ft at 140 and 180 degF, emissivity 0.9
BARE = [
    ("3/4", 41, 75), ("1", 51, 91), ("1-1/4", 62, 112), ("1-1/2", 70, 127), ("2", 86, 156), ("3", 124, 224),
    ("4", 157, 284),
]  # fmt: skip
# size, inches of insulation, Btu/h ft at 140 and 180 degF
INSULATED = [("1", 1.0, 8.9, 14.4), ("2", 1.0, 13.2, 21.5), ("4", 1.0, 21.7, 35.2), ("2", 1.5, 10.3, 16.8)]


@pytest.mark.parametrize(("name", "at_140", "at_180"), BARE)
def test_bare_hot_water_pipe(name: str, at_140: float, at_180: float) -> None:
    found = heat_loss([60.0, 82.2222], AIR, steel_pipe(name).outside_diameter) / BTU_H_FOOT
    np.testing.assert_allclose(found, [at_140, at_180], rtol=0.015)


@pytest.mark.parametrize(("name", "inches", "at_140", "at_180"), INSULATED)
def test_insulated_hot_water_pipe(name: str, inches: float, at_140: float, at_180: float) -> None:
    found = (
        heat_loss([60.0, 82.2222], AIR, steel_pipe(name).outside_diameter, inches * INCH, CONDUCTIVITY)
        / BTU_H_FOOT
    )
    np.testing.assert_allclose(found, [at_140, at_180], rtol=0.015)


def test_convection_alone_against_the_library() -> None:
    # air at the film temperature of 41.9 degC from CoolProp's Air
    import CoolProp.CoolProp as CP

    surface, air, diameter = 60.0, AIR, 0.060325
    film = 0.5 * (surface + air) + 273.15
    prandtl = CP.PropsSI("Prandtl", "T", film, "P", 101325.0, "Air")
    kinematic = CP.PropsSI("V", "T", film, "P", 101325.0, "Air") / CP.PropsSI(
        "D", "T", film, "P", 101325.0, "Air"
    )
    grashof = 9.80665 / film * (surface - air) * diameter**3 / kinematic**2
    nusselt = ht.conv_free_immersed.Nu_horizontal_cylinder_Churchill_Chu(prandtl, grashof)
    coefficient = nusselt * CP.PropsSI("L", "T", film, "P", 101325.0, "Air") / diameter
    expected = coefficient * np.pi * diameter * (surface - air)
    assert heat_loss(surface, air, diameter, emissivity=0.0) == pytest.approx(expected, rel=0.01)
