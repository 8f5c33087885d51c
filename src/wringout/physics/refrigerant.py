"""Refrigerants: saturation, and the heat that discharge gas has to give on its way to the condenser's outlet.

Read from small tables made by scripts/make_refrigerant_tables.py, so that no property library is needed at
run time. All pressures are absolute.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError
from wringout.physics._limits import Array, floats, within

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

REFRIGERANTS: tuple[str, ...] = (
    "R744",
    "R134a",
    "R404A",
    "R407A",
    "R407C",
    "R407F",
    "R410A",
    "R448A",
    "R449A",
    "R454B",
    "R513A",
    "R32",
    "R507A",
)
_HIGHEST_R744 = 140e5  # Pa, end of the table above the critical pressure
_SCALE = 4.0  # K, of the asinh spacing of the temperature knots
_HOTTEST_GAS, _COLDEST_LIQUID = 180.0, -80.0  # K from saturation
_SUPER_COLD, _SUPER_HOT = -75.0, 170.0  # K from the pseudo-critical temperature
_COLDEST = -65.0  # degC
_SLACK = 1e-9


class CriticalPoint(NamedTuple):
    """Critical temperature in degC and absolute pressure in Pa."""

    temperature: float
    pressure: float


@dataclass(frozen=True)
class _Table:
    """Tables of one refrigerant; what each holds is told in the script that makes them."""

    name: str
    critical: CriticalPoint
    log_pressure: Array
    bubble: Array
    dew: Array
    gas: Array
    liquid: Array
    above: Array  # both are empty for all but R744
    ridge: Array

    @property
    def goes_above(self) -> bool:
        return self.above.size > 0

    @property
    def limits(self) -> tuple[float, float]:
        low, high = np.exp(self.log_pressure[[0, -1]])
        return float(low), _HIGHEST_R744 if self.goes_above else float(high)


@cache
def _load(name: str) -> _Table:
    if name not in REFRIGERANTS:
        raise InputError(f"refrigerant {name!r} is not known: choose one of {', '.join(REFRIGERANTS)}")
    # data of the package, as constant as code: read once, when a refrigerant is first asked for
    place = resources.files("wringout.physics") / "refrigerant_tables.npz"
    with resources.as_file(place) as path, np.load(path) as stored:

        def part(key: str) -> Array:
            return np.asarray(stored[f"{name}/{key}"], dtype=np.float64)

        low, high = part("pressure")
        bubble = part("bubble")
        temperature, pressure = part("critical")
        over = f"{name}/super" in stored
        return _Table(
            name=name,
            critical=CriticalPoint(float(temperature), float(pressure)),
            log_pressure=np.linspace(np.log(low), np.log(high), bubble.size),
            bubble=bubble,
            dew=part("dew"),
            gas=part("gas"),
            liquid=part("liquid"),
            above=part("super") if over else np.empty((0, 0)),
            ridge=part("ridge") if over else np.empty(0),
        )


def _bilinear(grid: Array, row: Array, column: Array) -> Array:
    """Read a grid at fractional indices that lie inside it, give or take rounding."""
    i = np.minimum(np.maximum(row, 0.0), grid.shape[0] - 1.0)
    j = np.minimum(np.maximum(column, 0.0), grid.shape[1] - 1.0)
    i0 = np.minimum(i.astype(np.intp), grid.shape[0] - 2)
    j0 = np.minimum(j.astype(np.intp), grid.shape[1] - 2)
    a, b = i - i0, j - j0
    flat, width = grid.ravel(), grid.shape[1]
    corner = i0 * width + j0
    near = flat[corner] * (1.0 - b) + flat[corner + 1] * b
    far = flat[corner + width] * (1.0 - b) + flat[corner + width + 1] * b
    result: Array = near * (1.0 - a) + far * a
    return result


def _fraction(value: Array, low: float, high: float, knots: int) -> Array:
    return (value - low) * ((knots - 1.0) / (high - low))


def _difference_index(difference: Array, low: float, high: float, knots: int) -> Array:
    return _fraction(
        np.arcsinh(difference / _SCALE),
        float(np.arcsinh(low / _SCALE)),
        float(np.arcsinh(high / _SCALE)),
        knots,
    )


def _pressure_index(table: _Table, pressure: Array, knots: int) -> Array:
    """Give fractional rows of the tables under the critical pressure."""
    ends = np.cbrt(np.log(table.critical.pressure) - table.log_pressure[[-1, 0]])
    nearness = np.cbrt(np.maximum(np.log(table.critical.pressure / pressure), 0.0))
    return _fraction(nearness, float(ends[0]), float(ends[1]), knots)


def _pressure(table: _Table, pressure: ArrayLike) -> Array:
    low, high = table.limits
    return within(
        f"absolute pressure of {table.name}",
        pressure,
        "Pa",
        low * (1.0 - _SLACK),
        high * (1.0 + _SLACK),
        check="was a gauge pressure given, or another refrigerant?",
    )


def _saturation_pressure(table: _Table, pressure: ArrayLike) -> Array:
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
    return _load(refrigerant).critical


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
    return _load(refrigerant).limits


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
    Linear in ln(pressure) between 101 knots: within 0.005 K of the source.

    References
    ----------
    CoolProp 8.0.0.
    """
    table = _load(refrigerant)
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
    Linear in ln(pressure) between 101 knots: within 0.005 K of the source.

    References
    ----------
    CoolProp 8.0.0.
    """
    table = _load(refrigerant)
    p = _saturation_pressure(table, pressure)
    return np.asarray(np.interp(np.log(p), table.log_pressure, table.dew))[()]


def _pressure_at(table: _Table, temperature: ArrayLike, curve: Array, which: str) -> Array:
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
    table = _load(refrigerant)
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
    table = _load(refrigerant)
    return _pressure_at(table, temperature, table.dew, "dew")


def _ridge_index(table: _Table, pressure: Array, knots: int) -> Array:
    depth = np.cbrt(np.maximum(np.log(pressure / table.critical.pressure), 0.0))
    return _fraction(depth, 0.0, float(np.cbrt(np.log(_HIGHEST_R744 / table.critical.pressure))), knots)


def _ridge(table: _Table, pressure: Array) -> Array:
    knots = table.ridge.size
    return np.interp(_ridge_index(table, pressure, knots), np.arange(knots), table.ridge)


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
    table = _load(refrigerant)
    if not table.goes_above:
        raise InputError(f"{refrigerant} has no table above its critical pressure: only R744 has")
    p = within("absolute pressure of R744", pressure, "Pa", table.critical.pressure, _HIGHEST_R744)
    return np.asarray(_ridge(table, p))[()]


def _refuse_temperature(table: _Table, temperature: Array, low: Array | float, high: Array | float) -> None:
    outside = (temperature < low) | (temperature > high)
    if bool(np.any(outside)):
        t, bottom, top = (each[outside].flat[0] for each in np.broadcast_arrays(temperature, low, high))
        raise InputError(
            f"temperature of {table.name} is {t:.4g} degC: at its pressure the table goes"
            f" from {bottom:.4g} to {top:.4g} degC"
        )


def _gas(table: _Table, p: Array, difference: Array) -> Array:
    rows, columns = table.gas.shape
    return _bilinear(
        table.gas, _pressure_index(table, p, rows), _difference_index(difference, 0.0, _HOTTEST_GAS, columns)
    )


def _liquid(table: _Table, p: Array, difference: Array) -> Array:
    rows, columns = table.liquid.shape
    return _bilinear(
        table.liquid,
        _pressure_index(table, p, rows),
        _difference_index(difference, _COLDEST_LIQUID, 0.0, columns),
    )


def _above(table: _Table, p: Array, t: Array) -> Array:
    rows, columns = table.above.shape
    difference = t - _ridge(table, p)
    _refuse_temperature(
        table, t, np.maximum(t - difference + _SUPER_COLD, _COLDEST), t - difference + _SUPER_HOT
    )
    return _bilinear(
        table.above,
        _ridge_index(table, p, rows),
        _difference_index(difference, _SUPER_COLD, _SUPER_HOT, columns),
    )


def _below(table: _Table, p: Array, t: Array) -> Array:
    log_p = np.log(p)
    bubble = np.interp(log_p, table.log_pressure, table.bubble)
    dew = np.interp(log_p, table.log_pressure, table.dew)
    _refuse_temperature(table, t, np.maximum(bubble + _COLDEST_LIQUID, _COLDEST), dew + _HOTTEST_GAS)
    is_gas = t >= dew
    gas = _gas(table, p, np.maximum(t - dew, 0.0))
    if bool(np.all(is_gas)):
        return gas
    liquid = _liquid(table, p, np.minimum(t - bubble, 0.0))
    # between bubble and dew the share of gas is taken to go with temperature; without glide nothing lies
    # between
    glide = dew - bubble
    share = np.where(is_gas, 1.0, np.maximum(t - bubble, 0.0) / np.maximum(glide, 1e-9))
    result: Array = liquid + np.minimum(share, 1.0) * (gas - liquid)
    return result


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
    which only the gas is told. Errors against the source: see docs/validation.md and the tests; worst
    around the critical point of R744, where a tenth of a kelvin is worth ten kJ/kg and no reading tells the
    state either.

    References
    ----------
    CoolProp 8.0.0: Span and Wagner (1996) for R744, and the equations of state it names for the others.
    """
    table = _load(refrigerant)
    p, t = np.broadcast_arrays(_pressure(table, pressure), floats(temperature))
    known = np.isfinite(p) & np.isfinite(t)
    over = known & (p > table.critical.pressure) if table.goes_above else np.zeros(p.shape, dtype=bool)
    under = known & ~over
    if p.size and bool(np.all(under)):
        return np.asarray(_below(table, p, t))[()]
    result = np.full(p.shape, np.nan)
    if bool(np.any(under)):
        result[under] = _below(table, p[under], t[under])
    if bool(np.any(over)):
        result[over] = _above(table, p[over], t[over])
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
    table = _load(refrigerant)
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
    table = _load(refrigerant)
    p = np.asarray(_saturation_pressure(table, pressure))
    flat = np.atleast_1d(p)
    result = np.full(flat.shape, np.nan)
    known = np.isfinite(flat)
    none = np.zeros(int(np.count_nonzero(known)))
    result[known] = _gas(table, flat[known], none) - _liquid(table, flat[known], none)
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
