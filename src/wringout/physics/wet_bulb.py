"""Wet bulb: the temperature at which a wetted wick, or an iced one, brings air to saturation.

The thermodynamic wet bulb of the handbook: ``h + (ws* - w) h_wick* = hs*``, with saturation over liquid
water for a wet wick and over ice for an iced one.

**Two answers around freezing.** A wet wick whose balance lies a little above 0 degC would, were it ice, have
a balance below 0 degC, by 0.07 K for each kelvin of dry bulb at sea level: near freezing both are true states
of a wick. ``branch`` says which is meant:

- ``"freezing"`` (default): water as long as a wet wick stays at 0 degC or above, else ice. Falls by the gap
  between the two answers where the wick freezes.
- ``"water"``: liquid at every temperature, supercooled below 0 degC: a wet-bulb thermometer read before its
  wick freezes.
- ``"ice"``: ice at every temperature; no answer (NaN) where ice would be above the triple point.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wringout.errors import InputError, NotConverged
from wringout.physics import saturation as sat
from wringout.physics._limits import Array, floats, within
from wringout.physics.air_constants import (
    LATENT_HEAT,
    LATENT_HEAT_ICE,
    MOLAR_MASS_RATIO,
    SPECIFIC_HEAT_DRY_AIR,
    SPECIFIC_HEAT_ICE,
    SPECIFIC_HEAT_VAPOUR,
    SPECIFIC_HEAT_WATER,
)
from wringout.physics.saturated_air import MOST_STEPS, SETTLED, Guess, ratio

__all__ = ["Branch", "wet_bulb", "humidity_ratio_from_wet_bulb", "dry_bulb_from_wet_bulb"]

Branch = Literal["freezing", "water", "ice"]
BRANCHES = ("freezing", "water", "ice")


class Wick(NamedTuple):
    """What the wick holds."""

    phase: sat.Phase
    latent_heat: float
    specific_heat: float
    guess: Guess


# Guesses: least squares over all moist air at 50 to 110 kPa whose wet bulb is -30 to 55 degC (water;
# largest miss 0.25 K, 0.11 K from -12 to 38 degC) and -60 to 0 degC (ice; 0.08 K).
WET = Wick(
    sat.WATER,
    LATENT_HEAT,
    SPECIFIC_HEAT_WATER,
    Guess(
        0.065,
        90.0,
        (
            (20.57353, 44.21581, -16.977, 5.580552, 3.113963, -6.387117, 1.633073),
            (-0.685146, -4.37382, -1.84987, 2.197529),
            (0.6628473, 0.9314634),
        ),
    ),
)
ICED = Wick(
    sat.ICE,
    LATENT_HEAT_ICE,
    SPECIFIC_HEAT_ICE,
    Guess(
        0.075,
        160.0,
        (
            (-14.60682, 116.066, -64.536, -194.5234, 135.4987, 503.6632),
            (0.5657042, 1.866491, -0.2641831),
        ),
    ),
)

_OVER_WATER_AT_0 = float(np.exp(sat.log_pressure(sat.WATER, floats(0.0))))


def wet_bulb(
    dry_bulb: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike, branch: Branch = "freezing"
) -> Array:
    """Thermodynamic wet bulb.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Dry bulb.
    humidity_ratio : array_like, broadcasts, in [kg/kg dry air]
        Humidity ratio.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.
    branch : {"freezing", "water", "ice"}
        State of the wick, see the module.

    Returns
    -------
    ndarray, broadcast shape, in [degC]
        Wet bulb; above the dry bulb where the air is foggy. NaN where an argument is NaN and, with
        ``"ice"``, where ice would be above 0.01 degC.

    Raises
    ------
    InputError
        Dry bulb outside -60 to 90 degC, pressure outside 50 to 110 kPa, humidity ratio outside 0 to 2.
    NotConverged
        The balance did not settle.

    Notes
    -----
    The balance is multiplied by the partial pressure of dry air, which makes it smooth up to boiling.
    Explicit guess and, within the range of the guess, one step of Halley's method: 1e-5 K at worst, as a
    rule 1e-7 K. Against CoolProp's real-gas wet bulb: 0.012 K from -10 to 45 degC.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 33 (water) and 35 (ice).
    """
    t, p = sat.air_range(dry_bulb, pressure)
    w = within("humidity ratio", humidity_ratio, "kg/kg", 0.0, 2.0)
    _known(branch)
    if branch == "water":
        return sat.blockwise(lambda t, w, p: _balance(WET, t, w, p), t, w, p)
    if branch == "ice":
        return sat.blockwise(_while_ice, t, w, p)
    return sat.blockwise(_as_it_freezes, t, w, p)


def humidity_ratio_from_wet_bulb(
    dry_bulb: ArrayLike, wet_bulb: ArrayLike, pressure: ArrayLike, branch: Branch = "freezing"
) -> Array:
    """Humidity ratio from dry and wet bulb.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Dry bulb.
    wet_bulb : array_like, broadcasts, in [degC]
        Wet bulb, not above the dry bulb.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.
    branch : {"freezing", "water", "ice"}
        State of the wick; ``"freezing"``: ice where the wet bulb is below 0 degC.

    Returns
    -------
    ndarray, broadcast shape, in [kg/kg dry air]
        Humidity ratio; NaN where an argument is NaN.

    Raises
    ------
    InputError
        A temperature outside -60 to 90 degC, pressure outside 50 to 110 kPa, wet bulb above dry bulb or so
        far below that no air is that dry, ``"ice"`` with a wet bulb above 0.01 degC.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 33 and 35.
    """
    t, p = sat.air_range(dry_bulb, pressure)
    b = _wick_temperature(wet_bulb, branch)
    if np.any(b > t):
        raise InputError(
            f"wet bulb is up to {np.nanmax(b - t):.3g} K above dry bulb: are the two sensors swapped?"
        )
    w = wick_ratio(t, b, p, branch)
    if np.any(w < 0.0):
        raise InputError(
            f"wet bulb is {np.nanmax(np.where(w < 0.0, t - b, 0.0)):.3g} K below dry bulb: no air is so dry; "
            "check both sensors and the state of the wick (water or ice)"
        )
    return w[()]


def dry_bulb_from_wet_bulb(
    wet_bulb: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike, branch: Branch = "freezing"
) -> Array:
    """Dry bulb from wet bulb and humidity ratio.

    Parameters
    ----------
    wet_bulb : array_like, any shape, in [degC]
        Wet bulb.
    humidity_ratio : array_like, broadcasts, in [kg/kg dry air]
        Humidity ratio.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.
    branch : {"freezing", "water", "ice"}
        State of the wick, as in `humidity_ratio_from_wet_bulb`.

    Returns
    -------
    ndarray, broadcast shape, in [degC]
        Dry bulb; below the wet bulb where the humidity ratio is above saturation. NaN where an argument is
        NaN.

    Raises
    ------
    InputError
        Wet bulb outside -60 to 90 degC, pressure outside 50 to 110 kPa, humidity ratio outside 0 to 2,
        ``"ice"`` with a wet bulb above 0.01 degC.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 33 and 35, solved for the dry bulb, in which they are
    linear.
    """
    b = _wick_temperature(wet_bulb, branch)
    p = sat.total_pressure(pressure)
    w = within("humidity ratio", humidity_ratio, "kg/kg", 0.0, 2.0)

    def along(wick: Wick, b: Array, w: Array, p: Array) -> Array:
        lift = wick.latent_heat - (wick.specific_heat - SPECIFIC_HEAT_VAPOUR) * b
        heat = lift * ratio(sat.vapour_over(wick.phase, b, p), p) + SPECIFIC_HEAT_DRY_AIR * b
        heat = heat - w * (wick.latent_heat - wick.specific_heat * b)
        return np.asarray(heat / (SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * w))

    b, w = np.broadcast_arrays(b, w) if b.shape != w.shape else (b, w)
    return sat.divided(_iced(b, branch), lambda *a: along(ICED, *a), lambda *a: along(WET, *a), b, w, p)[()]


def wick_ratio(t: Array, b: Array, p: Array, branch: Branch) -> Array:
    """Humidity ratio from dry and wet bulb without checks; negative where no air is that dry."""

    def along(wick: Wick, t: Array, b: Array, p: Array) -> Array:
        lift = wick.latent_heat - (wick.specific_heat - SPECIFIC_HEAT_VAPOUR) * b
        heat = lift * ratio(sat.vapour_over(wick.phase, b, p), p) - SPECIFIC_HEAT_DRY_AIR * (t - b)
        return np.asarray(heat / (wick.latent_heat + SPECIFIC_HEAT_VAPOUR * t - wick.specific_heat * b))

    if b.shape != t.shape:
        t, b = np.broadcast_arrays(t, b)
    return sat.divided(_iced(b, branch), lambda *a: along(ICED, *a), lambda *a: along(WET, *a), t, b, p)


def _known(branch: str) -> None:
    if branch not in BRANCHES:
        raise InputError(f"branch {branch!r} is none of {', '.join(BRANCHES)}")


def _wick_temperature(wet_bulb: ArrayLike, branch: Branch) -> Array:
    _known(branch)
    hottest = sat.TRIPLE_POINT if branch == "ice" else sat.HOTTEST_AIR
    return within("wet bulb", wet_bulb, "degC", sat.COLDEST, hottest)


def _iced(b: Array, branch: Branch) -> NDArray[np.bool_]:
    if branch == "freezing":
        return np.asarray(b < 0.0)
    return np.full(b.shape, branch == "ice")


def _as_it_freezes(t: Array, w: Array, p: Array) -> Array:
    # A wet wick is at 0 degC when the air's enthalpy is that of the vapour in air saturated at 0 degC: one
    # comparison decides the branch before anything is solved.
    vapour = sat.enhanced(floats(0.0), p, floats(_OVER_WATER_AT_0))
    at_freezing = (LATENT_HEAT * MOLAR_MASS_RATIO) * vapour / (p - vapour)
    enthalpy = SPECIFIC_HEAT_DRY_AIR * t + w * (LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * t)
    return sat.divided(
        np.asarray(enthalpy < at_freezing),
        lambda t, w, p: _balance(ICED, t, w, p),
        lambda t, w, p: _balance(WET, t, w, p),
        t,
        w,
        p,
    )


def _while_ice(t: Array, w: Array, p: Array) -> Array:
    # likewise: which air would have its ice at the triple point, and is any more than that
    melting = sat.TRIPLE_POINT
    vapour = sat.vapour_at_triple_point(p)
    lift = ICED.latent_heat - (SPECIFIC_HEAT_ICE - SPECIFIC_HEAT_VAPOUR) * melting
    most = lift * MOLAR_MASS_RATIO * vapour / (p - vapour)
    heat = SPECIFIC_HEAT_DRY_AIR * (t - melting)
    heat = heat + w * (ICED.latent_heat + SPECIFIC_HEAT_VAPOUR * t - SPECIFIC_HEAT_ICE * melting)
    return _balance(ICED, np.where(heat <= most, t, np.nan), w, p)


def _balance(wick: Wick, t: Array, w: Array, p: Array) -> Array:
    """Solve the wick's balance, times the partial pressure of dry air."""
    heat = SPECIFIC_HEAT_DRY_AIR * t + w * (wick.latent_heat + SPECIFIC_HEAT_VAPOUR * t)
    capacity = SPECIFIC_HEAT_DRY_AIR + w * wick.specific_heat
    b = wick.guess.at(heat / capacity, np.log((SPECIFIC_HEAT_DRY_AIR * 1e5) / (capacity * p)))
    fall = (wick.specific_heat - SPECIFIC_HEAT_VAPOUR) * MOLAR_MASS_RATIO
    lift_at_0 = wick.latent_heat * MOLAR_MASS_RATIO
    for _ in range(MOST_STEPS):
        vapour, slope, bend = sat.vapour_and_slopes(wick.phase, b, p)
        given = heat - capacity * b
        lift = lift_at_0 - fall * b
        room = p - vapour
        miss = lift * vapour - room * given
        rise = slope * (lift + given) + room * capacity - fall * vapour
        step = miss / rise
        bent = slope * ((lift + given) * bend - 2.0 * (capacity + fall)) / rise
        step = step * (1.0 + 0.5 * step * bent)
        b = np.asarray(b - step)
        if not np.any(np.abs(step) > SETTLED):
            return b
    raise NotConverged("wet bulb did not settle", state={"dry_bulb": t, "humidity_ratio": w, "wet_bulb": b})
