"""Constants of dry air and water as moist-air relations use them.

Source, where no other is named: ASHRAE Handbook, Fundamentals 2017, chapter 1. Enthalpy is 0 for dry air
and for liquid water, both at 0 degC.
"""

from __future__ import annotations

__all__ = [
    "KELVIN",
    "MOLAR_MASS_RATIO",
    "GAS_CONSTANT_DRY_AIR",
    "SPECIFIC_HEAT_DRY_AIR",
    "SPECIFIC_HEAT_VAPOUR",
    "SPECIFIC_HEAT_WATER",
    "SPECIFIC_HEAT_ICE",
    "LATENT_HEAT",
    "LATENT_HEAT_ICE",
]

KELVIN = 273.15
"""K, the zero of the Celsius scale."""

MOLAR_MASS_RATIO = 0.621945
"""Water over dry air, 18.015268 / 28.966. [-]"""

GAS_CONSTANT_DRY_AIR = 287.042
"""[J/(kg K)]"""

SPECIFIC_HEAT_DRY_AIR = 1006.0
"""[J/(kg K)]"""

SPECIFIC_HEAT_VAPOUR = 1860.0
"""[J/(kg K)]"""

SPECIFIC_HEAT_WATER = 4186.0
"""[J/(kg K)]"""

SPECIFIC_HEAT_ICE = 2100.0
"""[J/(kg K)]"""

LATENT_HEAT = 2_501_000.0
"""Evaporation of water at 0 degC. [J/kg]"""

LATENT_HEAT_ICE = 2_830_000.0
"""Sublimation of ice at 0 degC, rounded as in the handbook's wet-bulb equation (IAPWS: 2834e3). [J/kg]"""
