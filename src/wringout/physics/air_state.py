"""A state of moist air, from the pressure and any two readings that tell different things."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError
from wringout.physics import moist_air as air
from wringout.physics import saturation as sat
from wringout.physics._limits import Array, floats, within
from wringout.physics.air_constants import (
    LATENT_HEAT,
    MOLAR_MASS_RATIO,
    SPECIFIC_HEAT_DRY_AIR,
    SPECIFIC_HEAT_VAPOUR,
)
from wringout.physics.moist_air import Branch, SaturationOver
from wringout.physics.saturated_air import ratio
from wringout.physics.saturation import saturation_pressure, saturation_pressure_over_water
from wringout.physics.wet_bulb import wick_ratio

__all__ = ["READINGS", "State", "state"]

MOISTURE = ("humidity_ratio", "dew_point", "frost_point")
READINGS = ("dry_bulb", "relative_humidity", "wet_bulb", "enthalpy", *MOISTURE)
"""What `state` takes two of."""


@dataclass(frozen=True)
class State:
    """A state of moist air, or arrays of states.

    Parameters
    ----------
    pressure : ndarray, in [Pa]
        Barometric pressure.
    dry_bulb : ndarray, in [degC]
        Dry bulb.
    humidity_ratio : ndarray, in [kg/kg dry air]
        Humidity ratio.
    over : function
        What saturation means in `relative_humidity`, see the module.
    branch : {"freezing", "water", "ice"}
        State of the wick in `wet_bulb`, see `wringout.physics.wet_bulb`.
    """

    pressure: Array
    dry_bulb: Array
    humidity_ratio: Array
    over: SaturationOver = saturation_pressure
    branch: Branch = "freezing"

    @property
    def relative_humidity(self) -> Array:
        """Relative humidity, [-]."""
        return air.relative_humidity(self.dry_bulb, self.humidity_ratio, self.pressure, self.over)

    @property
    def dew_point(self) -> Array:
        """Dew point over liquid water, [degC]."""
        return air.dew_point(self.humidity_ratio, self.pressure)

    @property
    def frost_point(self) -> Array:
        """Frost point over ice, [degC]; NaN where there is none."""
        return air.frost_point(self.humidity_ratio, self.pressure)

    @property
    def wet_bulb(self) -> Array:
        """Thermodynamic wet bulb, [degC]."""
        return air.wet_bulb(self.dry_bulb, self.humidity_ratio, self.pressure, self.branch)

    @property
    def enthalpy(self) -> Array:
        """Enthalpy, [J/kg dry air]."""
        return air.enthalpy(self.dry_bulb, self.humidity_ratio)

    @property
    def specific_volume(self) -> Array:
        """Volume, [m3/kg dry air]."""
        return air.specific_volume(self.dry_bulb, self.humidity_ratio, self.pressure)


def state(
    pressure: ArrayLike,
    *,
    over: SaturationOver = saturation_pressure,
    branch: Branch = "freezing",
    **two: ArrayLike,
) -> State:
    """State of moist air from the pressure and two readings.

    Parameters
    ----------
    pressure : array_like, any shape, in [Pa]
        Barometric pressure.
    over : function
        What saturation means in a relative humidity, see `wringout.physics.moist_air`.
    branch : {"freezing", "water", "ice"}
        State of the wick in a wet bulb, see `wringout.physics.wet_bulb`.
    **two : array_like, broadcast
        Two of `READINGS`: dry_bulb [degC], relative_humidity [-], wet_bulb [degC], dew_point [degC],
        frost_point [degC], humidity_ratio [kg/kg dry air], enthalpy [J/kg dry air].

    Returns
    -------
    State
        Holds dry bulb and humidity ratio; NaN where an argument is NaN.

    Raises
    ------
    InputError
        Not two known readings; two that tell the same thing (dew point, frost point and humidity ratio all
        fix the moisture and leave the temperature open; wet bulb and enthalpy differ by less than a
        sensor's error); a reading out of range; two readings that no state fits.

    Notes
    -----
    All pairs are solved in closed form or by the inverse functions of `moist_air`, except relative humidity
    with wet bulb or enthalpy, which are bisected (about fifty times the work).

    References
    ----------
    As the functions of `wringout.physics.moist_air`.
    """
    unknown = sorted(set(two) - set(READINGS))
    if unknown or len(two) != 2:
        found = f"{', '.join(unknown)} is none" if unknown else f"{len(two)} given"
        raise InputError(f"a state of air needs two of {', '.join(READINGS)}: {found}")
    a, b = sorted(two)
    if a in MOISTURE and b in MOISTURE:
        raise InputError(
            f"{a} and {b} both tell how much moisture, neither how warm: replace one by another reading"
        )
    if (a, b) == ("enthalpy", "wet_bulb"):
        raise InputError("enthalpy and wet_bulb tell nearly the same thing: replace one by another reading")
    p = sat.total_pressure(pressure)
    given = {name: floats(value) for name, value in two.items()}
    t, w = _solve(given, p, over, branch)
    t, w, p = np.broadcast_arrays(t, w, p)
    within(
        "dry bulb that follows from the two readings",
        t,
        "degC",
        sat.COLDEST,
        sat.HOTTEST_AIR,
        check="check both",
    )
    return State(p, t, w, over, branch)


def _solve(given: dict[str, Array], p: Array, over: SaturationOver, branch: Branch) -> tuple[Array, Array]:
    """Dry bulb and humidity ratio."""
    moisture = _moisture(given, p)
    if "dry_bulb" in given:
        t = given["dry_bulb"]
        if moisture is not None:
            return t, moisture
        if "relative_humidity" in given:
            return t, air.humidity_ratio(t, given["relative_humidity"], p, over)
        if "wet_bulb" in given:
            return t, air.humidity_ratio_from_wet_bulb(t, given["wet_bulb"], p, branch)
        w = (given["enthalpy"] - SPECIFIC_HEAT_DRY_AIR * t) / (LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * t)
        within(
            "humidity ratio that follows from dry bulb and enthalpy", w, "kg/kg", 0.0, 2.0, check="check both"
        )
        return t, w
    if moisture is not None:
        if "enthalpy" in given:
            return air.dry_bulb_from_enthalpy(given["enthalpy"], moisture), moisture
        if "wet_bulb" in given:
            return air.dry_bulb_from_wet_bulb(given["wet_bulb"], moisture, p, branch), moisture
        return _dry_bulb_from_relative_humidity(_share(given), moisture, p, over), moisture
    rh = _share(given)
    if "enthalpy" in given:
        t = _from_enthalpy(rh, given["enthalpy"], p, over)
    else:
        t = _from_wet_bulb(rh, given["wet_bulb"], p, over, branch)
    return t, air.humidity_ratio(t, rh, p, over)


def _moisture(given: dict[str, Array], p: Array) -> Array | None:
    """Humidity ratio, from a reading that fixes it without any other."""
    if "humidity_ratio" in given:
        return within("humidity ratio", given["humidity_ratio"], "kg/kg", 0.0, 2.0)
    if "dew_point" in given:
        t = within("dew point", given["dew_point"], "degC", sat.COLDEST, sat.HOTTEST_AIR)
        return ratio(sat.vapour_over(sat.WATER, t, p), p)
    if "frost_point" in given:
        t = within("frost point", given["frost_point"], "degC", sat.COLDEST, sat.TRIPLE_POINT)
        return ratio(sat.vapour_over(sat.ICE, t, p), p)
    return None


def _share(given: dict[str, Array]) -> Array:
    return within(
        "relative humidity",
        given["relative_humidity"],
        "",
        1e-4,
        1.0 + 1e-9,
        check="0 to 1, not percent; without a dry bulb, completely dry air leaves the temperature open",
    )


def _dry_bulb_from_relative_humidity(rh: Array, w: Array, p: Array, over: SaturationOver) -> Array:
    saturated = within(
        "vapour pressure at saturation that follows from moisture and relative humidity",
        w * p / ((MOLAR_MASS_RATIO + w) * rh),
        "Pa",
        1.95,
        70_700.0,
        check="the dry bulb would be outside -60 to 90 degC; check both readings",
    )
    if over is saturation_pressure:
        return sat.surface_temperature(saturated, p)
    if over is saturation_pressure_over_water:
        return sat.temperature_over(sat.WATER, saturated, p)
    raise InputError("moisture and relative humidity are solved over the stable phase or over water only")


def _from_enthalpy(rh: Array, h: Array, p: Array, over: SaturationOver) -> Array:
    def miss(t: Array) -> Array:
        vapour = rh * sat.enhanced(t, p, over(t))
        lift = LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * t
        return np.asarray((p - vapour) * (SPECIFIC_HEAT_DRY_AIR * t - h) + MOLAR_MASS_RATIO * vapour * lift)

    return _bisected(miss, floats(sat.COLDEST), rh, h, p)


def _from_wet_bulb(rh: Array, bulb: Array, p: Array, over: SaturationOver, branch: Branch) -> Array:
    within("wet bulb", bulb, "degC", sat.COLDEST, sat.TRIPLE_POINT if branch == "ice" else sat.HOTTEST_AIR)

    def miss(t: Array) -> Array:
        w = wick_ratio(t, bulb, p, branch)
        return np.asarray(rh * sat.enhanced(t, p, over(t)) - w * p / (MOLAR_MASS_RATIO + w))

    # air that is full by water and foggy by ice is a little colder than its iced wick
    return _bisected(miss, np.maximum(bulb - 5.0, sat.COLDEST), rh, bulb, p)


def _bisected(miss: Callable[[Array], Array], coldest: Array, *readings: Array) -> Array:
    """Root of a rising function from `coldest` to the hottest air."""
    shape = np.broadcast_shapes(*(reading.shape for reading in readings))
    low = np.array(np.broadcast_to(coldest, shape))
    high = np.full(shape, sat.HOTTEST_AIR)
    if np.any((miss(low) > 0.0) | (miss(high) < 0.0)):
        raise InputError(
            f"no dry bulb from {sat.COLDEST:g} to {sat.HOTTEST_AIR:g} degC fits the two readings; check both"
        )
    for _ in range(50):
        middle = 0.5 * (low + high)
        below = miss(middle) < 0.0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(np.isnan(sum(readings)), np.nan, 0.5 * (low + high))
