"""Loop liquids: density, specific heat, viscosity and freeze point of water and of glycol mixtures.

Short polynomials, made by scripts/make_fluid_fits.py, so that no property library is needed at run time.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError
from wringout.physics._fluid_fits import COEFFICIENTS, FREEZE_POINT, TEMPERATURE_SCALE
from wringout.physics._limits import Array, floats, within

__all__ = [
    "Fluid",
    "FLUIDS",
    "LARGEST_CONCENTRATION",
    "temperature_limits",
    "freeze_point",
    "density",
    "specific_heat",
    "viscosity",
    "capacity_rate",
]

Fluid = Literal["water", "propylene_glycol", "ethylene_glycol"]
FLUIDS: tuple[Fluid, ...] = ("water", "propylene_glycol", "ethylene_glycol")
LARGEST_CONCENTRATION = 0.6
"""Largest mass fraction of glycol the fits are made for."""

_HOTTEST = {"water": 130.0, "propylene_glycol": 100.0, "ethylene_glycol": 100.0}
_SLACK = 1e-6  # K; a temperature at the freeze point itself is not refused over rounding


def _concentration(fluid: str, concentration: ArrayLike) -> Array:
    if fluid not in COEFFICIENTS:
        raise InputError(f"fluid {fluid!r} is not known: choose one of {', '.join(FLUIDS)}")
    name = "glycol concentration"
    if fluid == "water":
        return within(f"{name} in water", concentration, "", 0.0, 0.0, check="name the glycol as the fluid")
    advice = "it is a mass fraction, 0.3 for 30 %"
    return within(name, concentration, "", 0.0, LARGEST_CONCENTRATION, check=advice)


def freeze_point(fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> Array:
    """Give the temperature at which a loop liquid begins to freeze.

    Parameters
    ----------
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, any shape, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, shape of `concentration`, in [degC]
        Freeze point (first crystals; slush stays pumpable a little below); NaN where `concentration` is NaN.

    Raises
    ------
    InputError
        Unknown `fluid` or `concentration` outside its limits.

    References
    ----------
    CoolProp 8.0.0, incompressible MPG and MEG, after Melinder, Properties of Secondary Working Fluids (IIR
    2010); carried over without error.
    """
    share = _concentration(fluid, concentration)
    if fluid == "water":
        return share * 0.0
    x = share / 0.3 - 1.0
    total = np.zeros_like(x)
    for coefficient in reversed(FREEZE_POINT[fluid]):
        total = total * x + coefficient
    return total


def temperature_limits(fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> tuple[Array, float]:
    """Give the temperatures between which the properties of a liquid are known here.

    Parameters
    ----------
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, any shape, in [kg/kg]
        Mass fraction of glycol.

    Returns
    -------
    coldest : ndarray, shape of `concentration`, in [degC]
        The freeze point.
    hottest : float, in [degC]
        130 for water, 100 for glycol mixtures.

    Raises
    ------
    InputError
        As `freeze_point`.
    """
    return freeze_point(fluid, concentration), _HOTTEST[fluid]


def _evaluate(prop: str, temperature: ArrayLike, fluid: Fluid, concentration: ArrayLike) -> Array:
    share = _concentration(fluid, concentration)
    hottest = _HOTTEST[fluid]
    name = f"temperature of {fluid.replace('_', ' ')}"
    if fluid == "water":
        t = within(
            name, temperature, "degC", -_SLACK, hottest, check="outside it is ice or steam at loop pressure"
        )
    else:
        t = within(name, temperature, "degC", -60.0, hottest)
        freezes = freeze_point(fluid, share)
        frozen = t < freezes - _SLACK
        if bool(np.any(frozen)):
            all_t, all_freezes = np.broadcast_arrays(t, freezes)
            found, least = all_t[frozen].flat[0], all_freezes[frozen].flat[0]
            raise InputError(
                f"{name} is {found:.6g} degC: it freezes at {least:.4g} degC at its concentration"
            )
    middle, half = TEMPERATURE_SCALE[fluid]
    u = (t - middle) / half
    rows = COEFFICIENTS[fluid][prop]
    # a concentration shared by all samples is folded into the coefficients first
    v = share / 0.3 - 1.0
    total: Array = floats(0.0)
    for row in reversed(rows):
        coefficient: Array = floats(row[-1])
        for value in reversed(row[:-1]):
            coefficient = coefficient * v + value
        total = total * u + coefficient
    if fluid == "water":
        return total + share * 0.0
    return total


def density(temperature: ArrayLike, fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> Array:
    """Give the density of a loop liquid.

    Parameters
    ----------
    temperature : array_like, any shape, in [degC]
        Temperature, from the freeze point to 130 (water) or 100 (glycol mixtures).
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, broadcastable, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, broadcast shape, in [kg/m3]
        Density; NaN where an input is NaN.

    Raises
    ------
    InputError
        Unknown `fluid`, or an input outside its limits.

    Notes
    -----
    Within 4e-6 (water), 1e-4 (propylene) and 2e-4 (ethylene glycol) of the source. Water at 3 bar; a
    pressure of 10 bar adds 3e-4.

    References
    ----------
    CoolProp 8.0.0: IAPWS-95; incompressible MPG and MEG after Melinder 2010.
    """
    return _evaluate("density", temperature, fluid, concentration)


def specific_heat(temperature: ArrayLike, fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> Array:
    """Give the specific heat of a loop liquid.

    Parameters
    ----------
    temperature : array_like, any shape, in [degC]
        Temperature, from the freeze point to 130 (water) or 100 (glycol mixtures).
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, broadcastable, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, broadcast shape, in [J/(kg K)]
        Specific heat; NaN where an input is NaN.

    Raises
    ------
    InputError
        Unknown `fluid`, or an input outside its limits.

    Notes
    -----
    Within 4e-5 (water), 4e-4 (propylene) and 1.3e-3 (ethylene glycol) of the source.

    References
    ----------
    CoolProp 8.0.0: IAPWS-95; incompressible MPG and MEG after Melinder 2010.
    """
    return _evaluate("specific_heat", temperature, fluid, concentration)


def viscosity(temperature: ArrayLike, fluid: Fluid = "water", concentration: ArrayLike = 0.0) -> Array:
    """Give the dynamic viscosity of a loop liquid.

    Parameters
    ----------
    temperature : array_like, any shape, in [degC]
        Temperature, from the freeze point to 130 (water) or 100 (glycol mixtures).
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, broadcastable, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, broadcast shape, in [Pa s]
        Dynamic viscosity; NaN where an input is NaN.

    Raises
    ------
    InputError
        Unknown `fluid`, or an input outside its limits.

    Notes
    -----
    Within 4e-5 (water), 1.2 % (propylene) and 0.7 % (ethylene glycol) of the source.

    References
    ----------
    CoolProp 8.0.0: IAPWS formulation 2008 for viscosity; incompressible MPG and MEG after Melinder 2010.
    """
    return np.exp(_evaluate("viscosity", temperature, fluid, concentration))


def capacity_rate(
    flow: ArrayLike, temperature: ArrayLike, fluid: Fluid = "water", concentration: ArrayLike = 0.0
) -> Array:
    """Give the heat a flow of loop liquid carries for each kelvin.

    Parameters
    ----------
    flow : array_like, any shape, in [m3/s]
        Volume flow, measured at `temperature`.
    temperature : array_like, broadcastable, in [degC]
        Temperature at which density and specific heat are taken.
    fluid : {"water", "propylene_glycol", "ethylene_glycol"}
        The liquid.
    concentration : array_like, broadcastable, in [kg/kg]
        Mass fraction of glycol, 0 to 0.6; 0 for water.

    Returns
    -------
    ndarray, broadcast shape, in [W/K]
        ``flow density specific_heat``; NaN where an input is NaN.

    Raises
    ------
    InputError
        `flow` below 0, unknown `fluid`, or an input outside its limits.

    Notes
    -----
    The trade's 500 (Btu/h for each gpm and degF) is this for water near 60 degF; at 180 degF it is 487, in
    50 % propylene glycol 444 at 120 degF.
    """
    q = within("flow", flow, "m3/s", 0.0)
    return (
        q
        * _evaluate("density", temperature, fluid, concentration)
        * _evaluate("specific_heat", temperature, fluid, concentration)
    )
