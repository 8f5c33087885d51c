"""Saturated air: how much it holds, its enthalpy, and its temperature from its enthalpy."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from wringout.errors import InputError, NotConverged
from wringout.physics import saturation as sat
from wringout.physics._limits import Array, within
from wringout.physics.air_constants import (
    LATENT_HEAT,
    MOLAR_MASS_RATIO,
    SPECIFIC_HEAT_DRY_AIR,
    SPECIFIC_HEAT_VAPOUR,
)

__all__ = ["saturated_humidity_ratio", "saturated_enthalpy", "temperature_of_saturated_enthalpy"]

SETTLED = 0.15  # K; one of Halley's steps leaves an error of about 2e-3 (step/K)^3
MOST_STEPS = 12


def saturated_humidity_ratio(dry_bulb: ArrayLike, pressure: ArrayLike) -> Array:
    """Humidity ratio of air saturated over the stable phase.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Dry bulb.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.

    Returns
    -------
    ndarray, broadcast shape, in [kg/kg dry air]
        Humidity ratio; NaN where an argument is NaN.

    Raises
    ------
    InputError
        Dry bulb outside -60 to 90 degC, pressure outside 50 to 110 kPa; boiling.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 36 (with f).
    """
    t, p = sat.air_range(dry_bulb, pressure)
    return sat.blockwise(_ratio, t, p)


def saturated_enthalpy(dry_bulb: ArrayLike, pressure: ArrayLike) -> Array:
    """Enthalpy of air saturated over the stable phase, per kilogram of dry air.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Dry bulb.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.

    Returns
    -------
    ndarray, broadcast shape, in [J/kg dry air]
        Enthalpy; NaN where an argument is NaN.

    Raises
    ------
    InputError
        Dry bulb outside -60 to 90 degC, pressure outside 50 to 110 kPa; boiling.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 36 (with f) and 30.
    """
    t, p = sat.air_range(dry_bulb, pressure)
    return sat.blockwise(_enthalpy, t, p)


def temperature_of_saturated_enthalpy(enthalpy: ArrayLike, pressure: ArrayLike) -> Array:
    """Temperature of saturated air from its enthalpy: the inverse of `saturated_enthalpy`.

    Parameters
    ----------
    enthalpy : array_like, any shape, in [J/kg dry air]
        Enthalpy of saturated air.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.

    Returns
    -------
    ndarray, broadcast shape, in [degC]
        Temperature, to 1e-5 K; NaN where an argument is NaN.

    Raises
    ------
    InputError
        Enthalpy outside -60.3 to 1000 kJ/kg, pressure outside 50 to 110 kPa.
    NotConverged
        The temperature did not settle.

    Notes
    -----
    Explicit guess and one step of Halley's method, along ice where the enthalpy is below that of air
    saturated at the triple point, else along water.

    References
    ----------
    As `saturated_enthalpy`.
    """
    h = within("enthalpy of saturated air", enthalpy, "J/kg", -60_300.0, 1.0e6)
    p = sat.total_pressure(pressure)
    return sat.blockwise(_temperature, h, p)


class Guess(NamedTuple):
    """First guess of the temperature of saturated air from its heat: powers of ``ln(z + s + offset) - 5``.

    ``z`` is the heat over a heat capacity, K; ``s = x/steepness`` with ``x = ln(100 kPa / p)`` shifts the
    curve of one pressure onto that of 100 kPa, as it would exactly if vapour pressure were exponential; the
    rows, for x^0, x^1, x^2, mend that it is not.
    """

    steepness: float
    offset: float
    rows: tuple[tuple[float, ...], ...]

    def at(self, z: Array, x: Array) -> Array:
        """Temperature, degC; meant within 0.3 K."""
        shift = x * (1.0 / self.steepness)
        v = np.log(z + shift + self.offset) - 5.0
        total = sat.polynomial(self.rows[-1], v)
        for row in self.rows[-2::-1]:
            total = total * x + sat.polynomial(row, v)
        return np.asarray(total - shift)


# First guesses of the temperature of saturated air: 0 to 60 degC, 0.11 K; -60 to 0 degC, 0.08 K; 50 to 110
# kPa.
_GUESS_WATER = Guess(
    0.09,
    100.0,
    (
        (17.10924, 48.53057, -22.18261, 11.89142, -4.222689, 0.6269339),
        (-2.760965, -5.970724, 1.032342),
    ),
)
_GUESS_ICE = Guess(
    0.09,
    160.0,
    (
        (-14.29631, 118.3237, -60.22878, -200.5484, 110.84, 490.1703),
        (0.07234442, -1.145471, -5.110338),
    ),
)


def ratio(vapour: Array, pressure: Array) -> Array:
    """Humidity ratio from the partial pressure of vapour, refused where water would boil."""
    room = pressure - vapour
    if np.any(room <= 0.0):
        raise InputError(
            f"vapour pressure {np.nanmax(vapour):.6g} Pa reaches the total pressure: water would boil; "
            "check temperature and altitude"
        )
    return np.asarray(MOLAR_MASS_RATIO * vapour / room)


def _ratio(t: Array, p: Array) -> Array:
    return ratio(sat.vapour_saturated(t, p), p)


def _enthalpy(t: Array, p: Array) -> Array:
    return np.asarray(SPECIFIC_HEAT_DRY_AIR * t + _ratio(t, p) * (LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * t))


def _temperature(h: Array, p: Array) -> Array:
    vapour = sat.vapour_at_triple_point(p)
    at_triple_point = SPECIFIC_HEAT_DRY_AIR * sat.TRIPLE_POINT + MOLAR_MASS_RATIO * vapour / (p - vapour) * (
        LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * sat.TRIPLE_POINT
    )
    return sat.divided(
        np.asarray(h < at_triple_point),
        lambda h, p: _along(sat.ICE, _GUESS_ICE, h, p),
        lambda h, p: _along(sat.WATER, _GUESS_WATER, h, p),
        h,
        p,
    )


def _along(phase: sat.Phase, guess: Guess, h: Array, p: Array) -> Array:
    """Solve ``h = h_saturated``, times the partial pressure of dry air: that is smooth up to boiling."""
    t = guess.at(h * (1.0 / SPECIFIC_HEAT_DRY_AIR), np.log(1e5 / p))
    for _ in range(MOST_STEPS):
        vapour, slope, bend = sat.vapour_and_slopes(phase, t, p)
        room = p - vapour
        short = h - SPECIFIC_HEAT_DRY_AIR * t  # what the vapour must bring
        lift = (MOLAR_MASS_RATIO * LATENT_HEAT) + (MOLAR_MASS_RATIO * SPECIFIC_HEAT_VAPOUR) * t
        miss = lift * vapour - room * short
        rise = (
            slope * (lift + short)
            + room * SPECIFIC_HEAT_DRY_AIR
            + (MOLAR_MASS_RATIO * SPECIFIC_HEAT_VAPOUR) * vapour
        )
        step = miss / rise
        bent = (
            slope
            * (
                (lift + short) * bend
                - 2.0 * (SPECIFIC_HEAT_DRY_AIR - MOLAR_MASS_RATIO * SPECIFIC_HEAT_VAPOUR)
            )
            / rise
        )
        step = step * (1.0 + 0.5 * step * bent)
        t = np.asarray(t - step)
        if not np.any(np.abs(step) > SETTLED):
            return t
    raise NotConverged("temperature of saturated air did not settle", state={"enthalpy": h, "temperature": t})
