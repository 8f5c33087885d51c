"""Moist air: humidity ratio, dew and frost point, wet bulb, enthalpy, volume, and any state from two of them.

Relative humidity is the ratio of the partial pressure of vapour to that of saturated air at the same dry bulb and
pressure, enhancement factor included (ASHRAE RP-1485): ``pw = rh f ps``. Below 0 degC saturation is meant over ice
(`OVER_STABLE_PHASE`, as in the ASHRAE tables) unless `OVER_WATER` is passed: humidity sensors and weather files
count over liquid water at every temperature. `dew_point` is always over water, `frost_point` always over ice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError, NotConverged
from wringout.physics import saturation as sat
from wringout.physics.saturation import Floats, floats, require, standard_pressure

__all__ = [
    "MOLAR_MASS_RATIO",
    "GAS_CONSTANT_DRY_AIR",
    "SPECIFIC_HEAT_DRY_AIR",
    "SPECIFIC_HEAT_VAPOUR",
    "SPECIFIC_HEAT_WATER",
    "SPECIFIC_HEAT_ICE",
    "LATENT_HEAT",
    "LATENT_HEAT_ICE",
    "OVER_STABLE_PHASE",
    "OVER_WATER",
    "Convention",
    "Wick",
    "standard_pressure",
    "humidity_ratio",
    "saturated_humidity_ratio",
    "relative_humidity",
    "dew_point",
    "frost_point",
    "dew_or_frost_point",
    "enthalpy",
    "dry_bulb_from_enthalpy",
    "specific_volume",
    "wet_bulb",
    "humidity_ratio_from_wet_bulb",
    "saturated_enthalpy",
    "temperature_of_saturated_enthalpy",
    "State",
    "state",
]

MOLAR_MASS_RATIO = 0.621945
"""Water over dry air, 18.015268 / 28.966 (ASHRAE Fundamentals 2017, ch. 1)."""
GAS_CONSTANT_DRY_AIR = 287.042
"""J/(kg K)."""
SPECIFIC_HEAT_DRY_AIR = 1006.0
"""J/(kg K)."""
SPECIFIC_HEAT_VAPOUR = 1860.0
"""J/(kg K)."""
SPECIFIC_HEAT_WATER = 4186.0
"""J/(kg K)."""
SPECIFIC_HEAT_ICE = 2100.0
"""J/(kg K)."""
LATENT_HEAT = 2_501_000.0
"""J/kg, evaporation at 0 degC."""
LATENT_HEAT_ICE = 2_830_000.0
"""J/kg, sublimation at 0 degC as ASHRAE rounds it (2,834 by IAPWS)."""

Convention = Callable[[Floats], Floats]
Wick = Literal["thawed", "water", "ice"]


def OVER_STABLE_PHASE(t: Floats) -> Floats:
    """Count relative humidity over ice below 0.01 degC, over water above: ASHRAE tables, surfaces in cold rooms."""
    return np.exp(sat.log_saturation(t))


def OVER_WATER(t: Floats) -> Floats:
    """Count relative humidity over liquid water at every temperature: humidity sensors, weather files (WMO)."""
    return np.exp(sat.log_pressure(sat.WATER, t))


def _air(t: Floats, p: Floats, name: str = "dry bulb") -> None:
    require(t, sat.REAL_AIR_RANGE, name, "degC")
    require(p, sat.PRESSURE_RANGE, "pressure", "Pa")


def _vapour(w: Floats, p: Floats) -> Floats:
    """Partial pressure of vapour from a checked humidity ratio."""
    require(w, (0.0, 10.0), "humidity ratio", "kg/kg")
    return np.asarray(w * p / (MOLAR_MASS_RATIO + w))


def _ratio(vapour: Floats, p: Floats) -> Floats:
    """Humidity ratio from the partial pressure of vapour."""
    dry = p - vapour
    if np.any(dry <= 0.0):
        raise InputError(
            f"vapour pressure reaches the total pressure ({np.nanmax(vapour):.6g} Pa): water boils at this pressure; "
            "check temperature and pressure"
        )
    return np.asarray(MOLAR_MASS_RATIO * vapour / dry)


def humidity_ratio(
    dry_bulb: ArrayLike, relative_humidity: ArrayLike, pressure: ArrayLike, convention: Convention = OVER_STABLE_PHASE
) -> Floats:
    """Humidity ratio from relative humidity."""
    t, rh, p = floats(dry_bulb), floats(relative_humidity), floats(pressure)
    _air(t, p)
    require(rh, (0.0, 1.0), "relative humidity", "(0..1)")
    return _ratio(rh * sat.enhanced(t, p, convention(t)), p)[()]


def saturated_humidity_ratio(dry_bulb: ArrayLike, pressure: ArrayLike) -> Floats:
    """Humidity ratio of saturated air."""
    t, p = floats(dry_bulb), floats(pressure)
    _air(t, p)
    return _ratio(sat.enhanced(t, p, np.exp(sat.log_saturation(t))), p)[()]


def relative_humidity(
    dry_bulb: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike, convention: Convention = OVER_STABLE_PHASE
) -> Floats:
    """Relative humidity from humidity ratio; above 1 where the air would be foggy."""
    t, w, p = floats(dry_bulb), floats(humidity_ratio), floats(pressure)
    _air(t, p)
    return (_vapour(w, p) / sat.enhanced(t, p, convention(t)))[()]


def dew_point(humidity_ratio: ArrayLike, pressure: ArrayLike) -> Floats:
    """Dew point, over liquid water at every temperature."""
    w, p = floats(humidity_ratio), floats(pressure)
    require(p, sat.PRESSURE_RANGE, "pressure", "Pa")
    e = _vapour(w, p)
    require(e, (1.97, 70_200.0), "vapour pressure", "Pa")
    return sat.temperature_at(sat.WATER, sat.WATER_GUESS, e, p)[()]


def frost_point(humidity_ratio: ArrayLike, pressure: ArrayLike) -> Floats:
    """Frost point, over ice; NaN where the air would be wet before it frosts (dew point above 0.01 degC)."""
    w, p = floats(humidity_ratio), floats(pressure)
    require(p, sat.PRESSURE_RANGE, "pressure", "Pa")
    e = _vapour(w, p)
    require(e, (1.09, 70_200.0), "vapour pressure", "Pa")
    t = sat.temperature_at(sat.ICE, sat.ICE_GUESS, np.minimum(e, 700.0), p)
    return np.where(t <= sat.TRIPLE_POINT, t, np.nan)[()]


def dew_or_frost_point(humidity_ratio: ArrayLike, pressure: ArrayLike) -> Floats:
    """Temperature at which a surface turns wet, or below 0.01 degC frosts over."""
    w, p = floats(humidity_ratio), floats(pressure)
    require(p, sat.PRESSURE_RANGE, "pressure", "Pa")
    e = _vapour(w, p)
    require(e, (1.09, 70_200.0), "vapour pressure", "Pa")
    return sat.surface_temperature(e, p)[()]


def enthalpy(dry_bulb: ArrayLike, humidity_ratio: ArrayLike) -> Floats:
    """Enthalpy per kilogram of dry air, 0 at dry air and liquid water of 0 degC."""
    t, w = floats(dry_bulb), floats(humidity_ratio)
    return (SPECIFIC_HEAT_DRY_AIR * t + w * (LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * t))[()]


def dry_bulb_from_enthalpy(enthalpy: ArrayLike, humidity_ratio: ArrayLike) -> Floats:
    """Dry bulb from enthalpy and humidity ratio."""
    h, w = floats(enthalpy), floats(humidity_ratio)
    return ((h - LATENT_HEAT * w) / (SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * w))[()]


def specific_volume(dry_bulb: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike) -> Floats:
    """Volume per kilogram of dry air."""
    t, w, p = floats(dry_bulb), floats(humidity_ratio), floats(pressure)
    return (GAS_CONSTANT_DRY_AIR * (t + sat.KELVIN) * (1.0 + w / MOLAR_MASS_RATIO) / p)[()]


def _wick_residual(
    curve: sat.Curve, latent: float, wick_heat: float, t: Floats, w: Floats, p: Floats, t_wick: Floats
) -> tuple[Floats, Floats]:
    """Heat balance of the wick and its slope: zero at the wet bulb, convex and rising."""
    bare = np.exp(sat.log_pressure(curve, t_wick))
    vapour = sat.enhanced(t_wick, p, bare)
    ws = MOLAR_MASS_RATIO * vapour / (p - vapour)
    fall = wick_heat - SPECIFIC_HEAT_VAPOUR
    lift = latent - fall * t_wick
    balance = (
        lift * ws
        - SPECIFIC_HEAT_DRY_AIR * (t - t_wick)
        - w * (latent + SPECIFIC_HEAT_VAPOUR * t - wick_heat * t_wick)
    )
    rise = ws * (1.0 + ws / MOLAR_MASS_RATIO) * sat.log_slope(curve, t_wick)
    return balance, lift * rise - fall * ws + SPECIFIC_HEAT_DRY_AIR + w * wick_heat


def _solve_wick(curve: sat.Curve, latent: float, wick_heat: float, t: Floats, w: Floats, p: Floats) -> Floats:
    dry = np.minimum(w, 10.0) * p
    first = sat.temperature_at(sat.WATER, sat.WATER_GUESS, np.maximum(dry / (MOLAR_MASS_RATIO + w), 20.0), None)
    wick = np.asarray(first + 0.45 * (np.maximum(t, first) - first))
    for _ in range(12):
        balance, slope = _wick_residual(curve, latent, wick_heat, t, w, p, wick)
        step = balance / slope
        wick = wick - step
        if not np.any(np.abs(step) > 1e-4):  # quadratic: the next step would be under 1e-9 K
            return wick
    raise NotConverged("wet bulb did not settle", state={"dry_bulb": t, "humidity_ratio": w, "wet_bulb": wick})


def wet_bulb(dry_bulb: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike, wick: Wick = "thawed") -> Floats:
    """Thermodynamic wet bulb."""
    t, w, p = np.broadcast_arrays(floats(dry_bulb), floats(humidity_ratio), floats(pressure))
    p = floats(pressure)
    _air(t, p)
    require(w, (0.0, 10.0), "humidity ratio", "kg/kg")
    if wick != "ice":
        water = _solve_wick(sat.WATER, LATENT_HEAT, SPECIFIC_HEAT_WATER, t, w, p)
        if wick == "water" or not np.any(water < 0.0):
            return water[()]
    ice = _solve_wick(sat.ICE, LATENT_HEAT_ICE, SPECIFIC_HEAT_ICE, t, w, p)
    if wick == "ice":
        return np.where(ice <= sat.TRIPLE_POINT, ice, np.nan)[()]
    return np.where(water < 0.0, ice, water)[()]


def humidity_ratio_from_wet_bulb(
    dry_bulb: ArrayLike, wet_bulb: ArrayLike, pressure: ArrayLike, wick: Wick = "thawed"
) -> Floats:
    """Humidity ratio from dry and wet bulb."""
    t, b, p = floats(dry_bulb), floats(wet_bulb), floats(pressure)
    _air(t, p)
    _air(b, p, "wet bulb")
    if np.any(b > t):
        raise InputError("wet bulb above dry bulb; are the two sensors swapped?")
    w = _wick_ratio(t, b, p, wick)
    if np.any(w < 0.0):
        raise InputError("wet bulb so far below dry bulb that the air would hold less than no moisture")
    return w[()]


def _wick_ratio(t: Floats, b: Floats, p: Floats, wick: Wick) -> Floats:
    def along(curve: sat.Curve, latent: float, wick_heat: float) -> Floats:
        ws = _ratio(sat.enhanced(b, p, np.exp(sat.log_pressure(curve, b))), p)
        lift = latent - (wick_heat - SPECIFIC_HEAT_VAPOUR) * b
        return np.asarray(
            (lift * ws - SPECIFIC_HEAT_DRY_AIR * (t - b)) / (latent + SPECIFIC_HEAT_VAPOUR * t - wick_heat * b)
        )

    return _by_wick(b, wick, along)


def _by_wick(b: Floats, wick: Wick, along: Callable[[sat.Curve, float, float], Floats]) -> Floats:
    frozen = b < 0.0
    if wick == "water" or not frozen.any():
        return along(sat.WATER, LATENT_HEAT, SPECIFIC_HEAT_WATER)
    ice = along(sat.ICE, LATENT_HEAT_ICE, SPECIFIC_HEAT_ICE)
    if frozen.all():
        return ice
    return np.where(frozen, ice, along(sat.WATER, LATENT_HEAT, SPECIFIC_HEAT_WATER))


def saturated_enthalpy(dry_bulb: ArrayLike, pressure: ArrayLike) -> Floats:
    """Enthalpy of saturated air per kilogram of dry air."""
    t = floats(dry_bulb)
    return enthalpy(t, saturated_humidity_ratio(t, pressure))


def temperature_of_saturated_enthalpy(enthalpy: ArrayLike, pressure: ArrayLike) -> Floats:
    """Temperature of saturated air from its enthalpy: the inverse of `saturated_enthalpy`."""
    h, p = floats(enthalpy), floats(pressure)
    require(p, sat.PRESSURE_RANGE, "pressure", "Pa")
    require(h, (-60_300.0, 2_000_000.0), "enthalpy", "J/kg")
    t = np.asarray(np.where(h < 0, h / 1800.0, 60.0 * (1 - np.exp(-np.maximum(h, 0.0) / 130e3))) + 0.0 * p)
    for _ in range(30):
        vapour = sat.enhanced(t, p, np.exp(sat.log_saturation(t)))
        ws = MOLAR_MASS_RATIO * vapour / (p - vapour)
        lift = LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * t
        slope = SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * ws
        slope = slope + lift * ws * (1.0 + ws / MOLAR_MASS_RATIO) * sat.log_saturation_slope(t)
        step = (SPECIFIC_HEAT_DRY_AIR * t + ws * lift - h) / slope
        t = t - step
        if not np.any(np.abs(step) > 1e-4):
            return t[()]
    raise NotConverged("saturated enthalpy did not settle", state={"enthalpy": h, "temperature": t})


@dataclass(frozen=True)
class State:
    """One state of moist air, or arrays of them."""

    pressure: Floats
    dry_bulb: Floats
    humidity_ratio: Floats
    convention: Convention = OVER_STABLE_PHASE
    wick: Wick = "thawed"

    @property
    def relative_humidity(self) -> Floats:
        """Relative humidity by the state's convention. [-]"""
        return relative_humidity(self.dry_bulb, self.humidity_ratio, self.pressure, self.convention)

    @property
    def dew_point(self) -> Floats:
        """Dew point over water. [degC]"""
        return dew_point(self.humidity_ratio, self.pressure)

    @property
    def frost_point(self) -> Floats:
        """Frost point over ice. [degC]"""
        return frost_point(self.humidity_ratio, self.pressure)

    @property
    def wet_bulb(self) -> Floats:
        """Thermodynamic wet bulb. [degC]"""
        return wet_bulb(self.dry_bulb, self.humidity_ratio, self.pressure, self.wick)

    @property
    def enthalpy(self) -> Floats:
        """Enthalpy. [J/kg dry air]"""
        return enthalpy(self.dry_bulb, self.humidity_ratio)

    @property
    def specific_volume(self) -> Floats:
        """Specific volume. [m3/kg dry air]"""
        return specific_volume(self.dry_bulb, self.humidity_ratio, self.pressure)


def _moisture_only(p: Floats, given: dict[str, Floats]) -> Floats | None:
    """Humidity ratio from the quantity that fixes it alone."""
    if "humidity_ratio" in given:
        return given["humidity_ratio"]
    for name, curve, limits in (
        ("dew_point", sat.WATER, sat.REAL_AIR_RANGE),
        ("frost_point", sat.ICE, (-60.0, sat.TRIPLE_POINT)),
    ):
        if name in given:
            t = given[name]
            require(t, limits, name.replace("_", " "), "degC")
            return _ratio(sat.enhanced(t, p, np.exp(sat.log_pressure(curve, t))), p)
    return None


_MOISTURE = {"dew_point", "frost_point", "humidity_ratio"}
_KNOWN = _MOISTURE | {"dry_bulb", "relative_humidity", "wet_bulb", "enthalpy"}


def state(
    pressure: ArrayLike, *, convention: Convention = OVER_STABLE_PHASE, wick: Wick = "thawed", **two: ArrayLike
) -> State:
    """State of moist air from the pressure and any two quantities that are independent.

    Two of ``dry_bulb``, ``relative_humidity``, ``wet_bulb``, ``dew_point``, ``frost_point``, ``humidity_ratio``,
    ``enthalpy``.
    """
    names = set(two)
    if names - _KNOWN or len(names) != 2:
        raise InputError(f"a state needs two of {', '.join(sorted(_KNOWN))}; got {', '.join(sorted(names)) or 'none'}")
    if names <= _MOISTURE:
        raise InputError(f"{' and '.join(sorted(names))} tell the same thing: how much moisture; add another reading")
    if names == {"wet_bulb", "enthalpy"}:
        raise InputError("wet_bulb and enthalpy tell almost the same thing; add another reading")
    p = floats(pressure)
    require(p, sat.PRESSURE_RANGE, "pressure", "Pa")
    given = {name: floats(value) for name, value in two.items()}
    w = _moisture_only(p, given)
    if "dry_bulb" in given:
        t = given["dry_bulb"]
        if "relative_humidity" in given:
            w = humidity_ratio(t, given["relative_humidity"], p, convention)
        elif "wet_bulb" in given:
            w = humidity_ratio_from_wet_bulb(t, given["wet_bulb"], p, wick)
        elif "enthalpy" in given:
            w = floats((given["enthalpy"] - SPECIFIC_HEAT_DRY_AIR * t) / (LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * t))
            require(w, (0.0, 10.0), "humidity ratio that follows from dry bulb and enthalpy", "kg/kg")
        return State(p, t, w if w is not None else np.full_like(t, np.nan), convention, wick)
    if w is not None and "enthalpy" in given:
        return State(p, dry_bulb_from_enthalpy(given["enthalpy"], w), w, convention, wick)
    if w is not None and "wet_bulb" in given:
        return State(p, _dry_bulb_from_wick(given["wet_bulb"], w, p, wick), w, convention, wick)
    rh = given["relative_humidity"]
    require(rh, (1e-4, 1.0), "relative humidity", "(0..1)")
    if w is not None:
        saturated = _vapour(w, p) / rh
        require(saturated, (1.97, 70_000.0), "vapour pressure at saturation that follows", "Pa")
        t = (
            sat.surface_temperature(saturated, p)
            if convention is OVER_STABLE_PHASE
            else sat.temperature_at(sat.WATER, sat.WATER_GUESS, saturated, p)
        )
        return State(p, t, w, convention, wick)
    if "enthalpy" in given:
        wanted = given["enthalpy"]

        def miss(t: Floats) -> Floats:
            return enthalpy(t, humidity_ratio(t, rh, p, convention)) - wanted

        t = _bisect(miss, np.broadcast_arrays(wanted, rh, p), -60.0)
    else:
        bulb = given["wet_bulb"]

        def miss(t: Floats) -> Floats:
            ratio = _wick_ratio(t, bulb, p, wick)
            return rh * sat.enhanced(t, p, convention(t)) - ratio * p / (MOLAR_MASS_RATIO + ratio)

        t = _bisect(miss, np.broadcast_arrays(bulb, rh, p), bulb)
    return State(p, t, humidity_ratio(t, rh, p, convention), convention, wick)


def _dry_bulb_from_wick(b: Floats, w: Floats, p: Floats, wick: Wick) -> Floats:
    """Dry bulb from wet bulb and humidity ratio; the wick's balance is linear in it."""
    require(b, sat.REAL_AIR_RANGE, "wet bulb", "degC")

    def along(curve: sat.Curve, latent: float, wick_heat: float) -> Floats:
        ws = _ratio(sat.enhanced(b, p, np.exp(sat.log_pressure(curve, b))), p)
        lift = latent - (wick_heat - SPECIFIC_HEAT_VAPOUR) * b
        return np.asarray(
            (lift * ws + SPECIFIC_HEAT_DRY_AIR * b - w * (latent - wick_heat * b))
            / (SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * w)
        )

    return _by_wick(b, wick, along)


def _bisect(miss: Callable[[Floats], Floats], shaped: tuple[Floats, ...], low: ArrayLike) -> Floats:
    """Root of a rising function between `low` and the hot end; 60 halvings, not for inner loops."""
    hot = np.full(shaped[0].shape, sat.REAL_AIR_RANGE[1])
    bottom = np.broadcast_to(floats(low), hot.shape).astype(np.float64)
    known = ~np.isnan(sum(shaped))
    if np.any(known & ((miss(bottom) > 1e-6) | (miss(hot) < 0.0))):
        raise InputError("no dry bulb from -60 to 90 degC fits these two readings; check both")
    for _ in range(60):
        middle = 0.5 * (bottom + hot)
        below = miss(middle) < 0.0
        bottom, hot = np.where(below, middle, bottom), np.where(below, hot, middle)
    return np.where(known, 0.5 * (bottom + hot), np.nan)
