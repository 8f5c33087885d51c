"""The refrigerant tables: read once from the package, and looked up. For use by `refrigerant` alone.

scripts/make_refrigerant_tables.py makes the file and says how its knots lie.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import NamedTuple

import numpy as np

from wringout.errors import InputError
from wringout.physics._limits import Array

__all__ = [
    "REFRIGERANTS",
    "CriticalPoint",
    "Table",
    "load",
    "HIGHEST_R744",
    "above_critical",
    "below_critical",
    "gas_enthalpy",
    "liquid_enthalpy",
    "ridge",
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
HIGHEST_R744 = 140e5  # Pa, end of the table above the critical pressure
_SCALE = (0.05, 8.0)  # K, of the asinh spacing of temperature knots, and growth with distance squared
_HOTTEST_GAS, _COLDEST_LIQUID = 180.0, -80.0  # K from saturation
_SUPER_COLD, _SUPER_HOT = -75.0, 170.0  # K from the pseudo-critical temperature
_COLDEST = -65.0  # degC


class CriticalPoint(NamedTuple):
    """Critical temperature in degC and absolute pressure in Pa."""

    temperature: float
    pressure: float


@dataclass(frozen=True)
class Table:
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
        return float(low), HIGHEST_R744 if self.goes_above else float(high)


@cache
def load(name: str) -> Table:
    """Give the tables of one refrigerant."""
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
        return Table(
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


def _distance(table: Table, pressure: Array) -> Array:
    """Give how far a pressure is from the critical one, as the tables' rows count it."""
    return np.cbrt(np.abs(np.log(pressure / table.critical.pressure)))


def _difference_index(distance: Array, difference: Array, low: float, high: float, knots: int) -> Array:
    scale = _SCALE[0] + _SCALE[1] * distance * distance
    first = np.arcsinh(low / scale) if low else 0.0
    last = np.arcsinh(high / scale) if high else 0.0
    return (np.arcsinh(difference / scale) - first) * ((knots - 1.0) / (last - first))


def _below_index(table: Table, distance: Array, knots: int) -> Array:
    ends = np.cbrt(np.log(table.critical.pressure) - table.log_pressure[[-1, 0]])
    return _fraction(distance, float(ends[0]), float(ends[1]), knots)


def _above_index(table: Table, distance: Array, knots: int) -> Array:
    return _fraction(distance, 0.0, float(np.cbrt(np.log(HIGHEST_R744 / table.critical.pressure))), knots)


def ridge(table: Table, pressure: Array) -> Array:
    """Give the pseudo-critical temperature."""
    knots = table.ridge.size
    return np.interp(_above_index(table, _distance(table, pressure), knots), np.arange(knots), table.ridge)


def _refuse_temperature(table: Table, temperature: Array, low: Array | float, high: Array | float) -> None:
    outside = (temperature < low) | (temperature > high)
    if bool(np.any(outside)):
        t, bottom, top = (each[outside].flat[0] for each in np.broadcast_arrays(temperature, low, high))
        raise InputError(
            f"temperature of {table.name} is {t:.4g} degC: at its pressure the table goes"
            f" from {bottom:.4g} to {top:.4g} degC"
        )


def gas_enthalpy(table: Table, p: Array, difference: Array) -> Array:
    """Give the enthalpy of gas a difference in K over the dew temperature."""
    rows, columns = table.gas.shape
    distance = _distance(table, p)
    column = _difference_index(distance, difference, 0.0, _HOTTEST_GAS, columns)
    return _bilinear(table.gas, _below_index(table, distance, rows), column)


def liquid_enthalpy(table: Table, p: Array, difference: Array) -> Array:
    """Give the enthalpy of liquid a difference in K, 0 or negative, from the bubble temperature."""
    rows, columns = table.liquid.shape
    distance = _distance(table, p)
    column = _difference_index(distance, difference, _COLDEST_LIQUID, 0.0, columns)
    return _bilinear(table.liquid, _below_index(table, distance, rows), column)


def above_critical(table: Table, p: Array, t: Array) -> Array:
    """Give enthalpy over the critical pressure."""
    rows, columns = table.above.shape
    middle = ridge(table, p)
    _refuse_temperature(table, t, np.maximum(middle + _SUPER_COLD, _COLDEST), middle + _SUPER_HOT)
    distance = _distance(table, p)
    column = _difference_index(distance, t - middle, _SUPER_COLD, _SUPER_HOT, columns)
    return _bilinear(table.above, _above_index(table, distance, rows), column)


def below_critical(table: Table, p: Array, t: Array) -> Array:
    """Give enthalpy up to the critical pressure: gas, liquid, and between them by temperature."""
    log_p = np.log(p)
    bubble = np.interp(log_p, table.log_pressure, table.bubble)
    dew = np.interp(log_p, table.log_pressure, table.dew)
    _refuse_temperature(table, t, np.maximum(bubble + _COLDEST_LIQUID, _COLDEST), dew + _HOTTEST_GAS)
    is_gas = t >= dew
    gas = gas_enthalpy(table, p, np.maximum(t - dew, 0.0))
    if bool(np.all(is_gas)):
        return gas
    liquid = liquid_enthalpy(table, p, np.minimum(t - bubble, 0.0))
    # between bubble and dew the share of gas is taken to go with temperature; without glide nothing lies
    # between
    glide = dew - bubble
    share = np.where(is_gas, 1.0, np.maximum(t - bubble, 0.0) / np.maximum(glide, 1e-9))
    result: Array = liquid + np.minimum(share, 1.0) * (gas - liquid)
    return result
