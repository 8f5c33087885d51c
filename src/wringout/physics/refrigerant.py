"""Refrigerants: saturation, and the heat that discharge gas has to give on its way to the condenser's outlet.

Read from small tables made by scripts/make_refrigerant_tables.py, so that no property library is needed at
run time. All pressures are absolute.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError
from wringout.physics import _refrigerant_table as tables
from wringout.physics._limits import Array, floats, within
from wringout.physics._refrigerant_table import HIGHEST_R744, REFRIGERANTS, CriticalPoint, Table, load

__all__ = [
    "REFRIGERANTS",
    "CriticalPoint",
    "critical_point",
    "pressure_limits",
    "bubble_temperature",
    "dew_temperature",
    "bubble_pressure",
    "dew_pressure",
    "pseudo_critical_temperature",
    "enthalpy",
    "vapour_enthalpy",
    "condensing_heat",
    "available_heat",
    "heat_share_above",
]

_SLACK = 1e-9


def _pressure(table: Table, pressure: ArrayLike) -> Array:
    low, high = table.limits
    return within(
        f"absolute pressure of {table.name}",
        pressure,
        "Pa",
        low * (1.0 - _SLACK),
        high * (1.0 + _SLACK),
        check="was a gauge pressure given, or another refrigerant?",
    )


def _saturation_pressure(table: Table, pressure: ArrayLike) -> Array:
    p = _pressure(table, pressure)
    if not table.goes_above:
        return p
    return within(
        f"absolute pressure of {table.name}",
        p,
        "Pa",
        high=table.critical.pressure * (1.0 + 1e-6),
        check="above its critical pressure it neither condenses nor boils",
    )


def critical_point(refrigerant: str) -> CriticalPoint:
    """Give a refrigerant's critical point.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.

    Returns
    -------
    CriticalPoint
        Temperature in [degC] and absolute pressure in [Pa].

    Raises
    ------
    InputError
        Unknown refrigerant.

    References
    ----------
    CoolProp 8.0.0; for the blends R407A, R407F, R448A, R449A, R454B and R513A of its mixture model.
    """
    return load(refrigerant).critical


def pressure_limits(refrigerant: str) -> tuple[float, float]:
    """Give the pressures between which a refrigerant's properties are known here.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.

    Returns
    -------
    lowest, highest : float, in [Pa]
        Absolute; from the dew point at -55 degC (R744: the triple point) to 97 % of the critical pressure,
        90 % for blends worked out as mixtures, and 140 bar for R744.

    Raises
    ------
    InputError
        Unknown refrigerant.
    """
    return load(refrigerant).limits


def bubble_temperature(refrigerant: str, pressure: ArrayLike) -> Array:
    """Give the temperature at which liquid begins to boil; subcooling counts from here.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.
    pressure : array_like, any shape, in [Pa]
        Absolute pressure.

    Returns
    -------
    ndarray, shape of `pressure`, in [degC]
        Bubble temperature; NaN where `pressure` is NaN.

    Raises
    ------
    InputError
        Unknown refrigerant, or `pressure` outside its limits or above the critical one.

    Notes
    -----
    Linear in ln(pressure) between 101 knots: within 0.005 K of the source (R407C 0.03 K close to critical).

    References
    ----------
    CoolProp 8.0.0.
    """
    table = load(refrigerant)
    p = _saturation_pressure(table, pressure)
    return np.asarray(np.interp(np.log(p), table.log_pressure, table.bubble))[()]


def dew_temperature(refrigerant: str, pressure: ArrayLike) -> Array:
    """Give the temperature at which gas begins to condense; superheat counts from here.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.
    pressure : array_like, any shape, in [Pa]
        Absolute pressure.

    Returns
    -------
    ndarray, shape of `pressure`, in [degC]
        Dew temperature; NaN where `pressure` is NaN.

    Raises
    ------
    InputError
        Unknown refrigerant, or `pressure` outside its limits or above the critical one.

    Notes
    -----
    Linear in ln(pressure) between 101 knots: within 0.005 K of the source (R407C 0.03 K close to critical).

    References
    ----------
    CoolProp 8.0.0.
    """
    table = load(refrigerant)
    p = _saturation_pressure(table, pressure)
    return np.asarray(np.interp(np.log(p), table.log_pressure, table.dew))[()]


def _pressure_at(table: Table, temperature: ArrayLike, curve: Array, which: str) -> Array:
    t = within(
        f"{which} temperature of {table.name}",
        temperature,
        "degC",
        float(curve[0]) - 1e-6,
        float(curve[-1]) + 1e-6,
        check=f"it is critical at {table.critical.temperature:.1f} degC",
    )
    return np.exp(np.interp(t, curve, table.log_pressure))


def bubble_pressure(refrigerant: str, temperature: ArrayLike) -> Array:
    """Give the pressure at which liquid of a temperature begins to boil.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.
    temperature : array_like, any shape, in [degC]
        Temperature.

    Returns
    -------
    ndarray, shape of `temperature`, in [Pa]
        Absolute bubble pressure, the inverse of `bubble_temperature`; NaN where `temperature` is NaN.

    Raises
    ------
    InputError
        Unknown refrigerant, or `temperature` outside its limits.
    """
    table = load(refrigerant)
    return _pressure_at(table, temperature, table.bubble, "bubble")


def dew_pressure(refrigerant: str, temperature: ArrayLike) -> Array:
    """Give the pressure at which gas of a temperature begins to condense.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.
    temperature : array_like, any shape, in [degC]
        Temperature.

    Returns
    -------
    ndarray, shape of `temperature`, in [Pa]
        Absolute dew pressure, the inverse of `dew_temperature`; NaN where `temperature` is NaN.

    Raises
    ------
    InputError
        Unknown refrigerant, or `temperature` outside its limits.
    """
    table = load(refrigerant)
    return _pressure_at(table, temperature, table.dew, "dew")


def pseudo_critical_temperature(pressure: ArrayLike, refrigerant: str = "R744") -> Array:
    """Give the temperature above the critical pressure at which specific heat is greatest.

    Parameters
    ----------
    pressure : array_like, any shape, in [Pa]
        Absolute pressure, from the critical one to 140 bar.
    refrigerant : str
        Only R744 has tables above its critical pressure.

    Returns
    -------
    ndarray, shape of `pressure`, in [degC]
        Pseudo-critical temperature; NaN where `pressure` is NaN.

    Raises
    ------
    InputError
        Another refrigerant, or `pressure` outside the limits.
    """
    table = load(refrigerant)
    if not table.goes_above:
        raise InputError(f"{refrigerant} has no table above its critical pressure: only R744 has")
    p = within("absolute pressure of R744", pressure, "Pa", table.critical.pressure, HIGHEST_R744)
    return np.asarray(tables.ridge(table, p))[()]


def enthalpy(refrigerant: str, pressure: ArrayLike, temperature: ArrayLike) -> Array:
    """Give a refrigerant's enthalpy from pressure and temperature, in every state they can tell.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.
    pressure : array_like, any shape, in [Pa]
        Absolute pressure.
    temperature : array_like, broadcastable, in [degC]
        Temperature.

    Returns
    -------
    ndarray, broadcast shape, in [J/kg]
        Enthalpy, 200 kJ/kg for saturated liquid at 0 degC; NaN where an input is NaN.

    Raises
    ------
    InputError
        Unknown refrigerant, or an input outside the table.

    Notes
    -----
    At saturation temperature and above it is gas, below it liquid; between bubble and dew temperature of a
    blend the share of gas is taken to go with temperature, and pure fluids condense at one temperature, at
    which only the gas is told.

    Against the source, over the whole table: within 0.3 kJ/kg; R744 within 0.15 kJ/kg, but within 2 K of the
    saturation or pseudo-critical temperature 0.4 kJ/kg from 71 to 80 bar and 3 kJ/kg from 73.8 to 75.5 bar,
    where hundredths of a kelvin are worth as much and no reading tells the state either.

    References
    ----------
    CoolProp 8.0.0: Span and Wagner (1996) for R744, and the equations of state it names for the others.
    """
    table = load(refrigerant)
    p, t = np.broadcast_arrays(_pressure(table, pressure), floats(temperature))
    known = np.isfinite(p) & np.isfinite(t)
    over = known & (p > table.critical.pressure) if table.goes_above else np.zeros(p.shape, dtype=bool)
    under = known & ~over
    if p.size and bool(np.all(under)):
        return np.asarray(tables.below_critical(table, p, t))[()]
    result = np.full(p.shape, np.nan)
    if bool(np.any(under)):
        result[under] = tables.below_critical(table, p[under], t[under])
    if bool(np.any(over)):
        result[over] = tables.above_critical(table, p[over], t[over])
    return result[()]


def vapour_enthalpy(refrigerant: str, pressure: ArrayLike, temperature: ArrayLike) -> Array:
    """Give the enthalpy of superheated gas.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.
    pressure : array_like, any shape, in [Pa]
        Absolute pressure, under the critical one.
    temperature : array_like, broadcastable, in [degC]
        Temperature, at or above the dew temperature.

    Returns
    -------
    ndarray, broadcast shape, in [J/kg]
        Enthalpy, 200 kJ/kg for saturated liquid at 0 degC; NaN where an input is NaN.

    Raises
    ------
    InputError
        Unknown refrigerant, an input outside the table, or a temperature under the dew point.
    """
    table = load(refrigerant)
    p, t = np.broadcast_arrays(_saturation_pressure(table, pressure), floats(temperature))
    wet = t < dew_temperature(refrigerant, p) - 1e-6
    if bool(np.any(wet)):
        dew = np.asarray(dew_temperature(refrigerant, p))[wet].flat[0]
        raise InputError(
            f"gas of {refrigerant} is said to be {np.asarray(t)[wet].flat[0]:.4g} degC: at its pressure it"
            f" condenses from {dew:.4g} degC down; check pressure, refrigerant and where it was read"
        )
    return enthalpy(refrigerant, p, np.maximum(t, dew_temperature(refrigerant, p)))


def condensing_heat(refrigerant: str, pressure: ArrayLike) -> Array:
    """Give the heat from dew to bubble point at a pressure.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.
    pressure : array_like, any shape, in [Pa]
        Absolute pressure, under the critical one.

    Returns
    -------
    ndarray, shape of `pressure`, in [J/kg]
        Heat of condensing, 0 at the critical point; NaN where `pressure` is NaN.

    Raises
    ------
    InputError
        Unknown refrigerant, or `pressure` outside its limits or above the critical one.
    """
    table = load(refrigerant)
    p = np.asarray(_saturation_pressure(table, pressure))
    flat = np.atleast_1d(p)
    result = np.full(flat.shape, np.nan)
    known = np.isfinite(flat)
    none = np.zeros(int(np.count_nonzero(known)))
    result[known] = tables.gas_enthalpy(table, flat[known], none) - tables.liquid_enthalpy(
        table, flat[known], none
    )
    return result.reshape(p.shape)[()]


def available_heat(refrigerant: str, pressure: ArrayLike, gas_in: ArrayLike, gas_out: ArrayLike) -> Array:
    """Give the heat that each kg gives between two temperatures at one pressure.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.
    pressure : array_like, any shape, in [Pa]
        Absolute pressure in the heat exchanger.
    gas_in : array_like, broadcastable, in [degC]
        Temperature at its inlet, as a rule the discharge temperature.
    gas_out : array_like, broadcastable, in [degC]
        Temperature at its outlet.

    Returns
    -------
    ndarray, broadcast shape, in [J/kg]
        Heat given, negative where `gas_out` is the warmer; NaN where an input is NaN.

    Raises
    ------
    InputError
        Unknown refrigerant, or an input outside the table.

    Notes
    -----
    Cooling of the gas, and condensing too where the outlet is under saturation. A pure fluid inside its
    condensing plateau cannot be told by its temperature: at saturation it counts as gas, nothing condensed.
    """
    return enthalpy(refrigerant, pressure, gas_in) - enthalpy(refrigerant, pressure, gas_out)


def heat_share_above(
    refrigerant: str, pressure: ArrayLike, gas_in: ArrayLike, gas_out: ArrayLike, level: ArrayLike
) -> Array:
    """Give what share of the heat between two temperatures is given above a level, such as a water return's.

    Parameters
    ----------
    refrigerant : str
        One of `REFRIGERANTS`.
    pressure : array_like, any shape, in [Pa]
        Absolute pressure in the heat exchanger.
    gas_in, gas_out : array_like, broadcastable, in [degC]
        Temperatures between which all the heat is counted, `gas_in` the warmer.
    level : array_like, broadcastable, in [degC]
        Temperature under which the heat is of no use.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Share from 0 (level at `gas_in` or above) to 1 (level at `gas_out` or below); NaN where an input is
        NaN.

    Raises
    ------
    InputError
        Unknown refrigerant, an input outside the table, or `gas_out` not under `gas_in`.

    Notes
    -----
    The most an exchanger of any size could take out: a level between the two is a real limit, since heat
    does not flow uphill; outside of them there is nothing more or nothing at all to take.
    """
    top, bottom = floats(gas_in), floats(gas_out)
    if bool(np.any(bottom >= top)):
        raise InputError("the gas leaves as warm as it enters or warmer: give the inlet's temperature first")
    reached = np.minimum(np.maximum(floats(level), bottom), top)
    start = enthalpy(refrigerant, pressure, top)
    return (start - enthalpy(refrigerant, pressure, reached)) / (
        start - enthalpy(refrigerant, pressure, bottom)
    )
