"""Saturation of water vapour: over liquid water, over ice, in real air, and the temperatures it belongs to.

The curves are compact fits of one form, ``ln p = a/T + polynomial(t)``: the slope that Newton's method needs costs
nothing extra and there is no logarithm of temperature in the innermost loop.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wringout.errors import InputError

__all__ = [
    "TRIPLE_POINT",
    "saturation_pressure",
    "saturation_pressure_over_water",
    "saturation_pressure_over_ice",
    "saturation_temperature",
    "enhancement_factor",
    "standard_pressure",
]

Floats = NDArray[np.float64]
Curve = tuple[float, ...]

TRIPLE_POINT = 0.01
"""degC; the curves over ice and over water meet here (IAPWS), ice is meant below, liquid water from here up."""

KELVIN = 273.15
WATER_RANGE = (-60.0, 200.0)
ICE_RANGE = (-100.0, TRIPLE_POINT)
REAL_AIR_RANGE = (-60.0, 90.0)
PRESSURE_RANGE = (50_000.0, 110_000.0)

# ln p = WATER[0] / T + WATER[1] + WATER[2] t + ...; t in degC, T = t + 273.15. Least squares on Chebyshev points,
# both held to 611.657 Pa at the triple point. Largest deviation 1.3e-6 (water), 6.4e-7 (ice), relative in p.
WATER: Curve = (
    -6023.50255946,
    28.46744071295,
    -0.008076461887255,
    -3.048129611395e-06,
    4.962951518033e-08,
    -1.05285257193e-10,
    8.995504820601e-14,
)
ICE: Curve = (
    -5874.539348053,
    27.92199043058,
    0.003622519797296,
    -1.618261963556e-05,
    3.037815575422e-08,
    -7.899158538726e-11,
)
# First guess of the inverse: t = cubic(y) / (1 + d y), y = ln p; within 0.003 K (water), 0.0006 K (ice).
WATER_GUESS: Curve = (-65.19592283, 10.46027561, -0.04135288723, -0.0007941225154, -0.04453247229)
ICE_GUESS: Curve = (-60.57656328, 9.516043412, -0.01007376855, -0.0002197095582, -0.03570290859)

# f - 1 = (p - ps) (ALPHA(t) / p + GAMMA(t))
ALPHA: Curve = (0.000530888, 2.71962e-05, 3.99368e-07, 3.14906e-09, 3.90545e-11)
GAMMA: Curve = (3.61387e-08, -3.75172e-10, 2.6175e-12)


def floats(value: ArrayLike) -> Floats:
    """Give the value as float64, scalar or array."""
    return np.asarray(value, dtype=np.float64)


def require(value: Floats, limits: tuple[float, float], name: str, unit: str) -> None:
    """Refuse values out of limits; NaN passes."""
    if value.size == 0:
        return
    low, high = value.min(), value.max()
    if low >= limits[0] and high <= limits[1]:
        return
    if np.isnan(low):  # min and max carry NaN along: look again without them
        low, high = np.fmin.reduce(value, axis=None), np.fmax.reduce(value, axis=None)
        if np.isnan(low) or (low >= limits[0] and high <= limits[1]):
            return
    worst = low if low < limits[0] else high
    raise InputError(
        f"{name} {worst:.6g} {unit} is outside {limits[0]:.6g} to {limits[1]:.6g} {unit}; "
        "check the unit and the sensor"
    )


def horner(curve: Curve, x: Floats) -> Floats:
    """Polynomial with ascending coefficients."""
    total = curve[-1] * x
    for coefficient in curve[-2:0:-1]:
        total = (total + coefficient) * x
    return np.asarray(total + curve[0])


def log_pressure(curve: Curve, t: Floats) -> Floats:
    """Natural logarithm of the saturation pressure along one curve."""
    return np.asarray(curve[0] / (t + KELVIN) + horner(curve[1:], t))


def log_slope(curve: Curve, t: Floats) -> Floats:
    """d ln p / dt along one curve, 1/K."""
    kelvin = t + KELVIN
    slope = tuple(k * c for k, c in enumerate(curve[1:]))[1:]
    return np.asarray(horner(slope, t) - curve[0] / (kelvin * kelvin))


def is_ice(t: Floats) -> bool | NDArray[np.bool_]:
    """Tell where ice is meant: True or False where all agree (cheap, and the usual case), else an array."""
    if t.size == 0 or t.min() >= TRIPLE_POINT:
        return False
    if t.max() < TRIPLE_POINT:
        return True
    return np.asarray(t < TRIPLE_POINT)


def log_saturation(t: Floats) -> Floats:
    """Logarithm of the pressure over the stable phase."""
    ice = is_ice(t)
    if isinstance(ice, bool):
        return log_pressure(ICE if ice else WATER, t)
    return np.where(ice, log_pressure(ICE, t), log_pressure(WATER, t))


def log_saturation_slope(t: Floats) -> Floats:
    """Slope of `log_saturation`."""
    ice = is_ice(t)
    if isinstance(ice, bool):
        return log_slope(ICE if ice else WATER, t)
    return np.where(ice, log_slope(ICE, t), log_slope(WATER, t))


def enhancement_rate(t: Floats, pressure: Floats) -> Floats:
    """(f - 1) / (p - ps), 1/Pa."""
    if pressure.ndim == 0:  # one pressure for all: fold the two polynomials into one
        p = float(pressure)
        n = len(ALPHA)
        gamma = GAMMA + (0.0,) * (n - len(GAMMA))
        return horner(tuple(a / p + g for a, g in zip(ALPHA, gamma, strict=True)), t)
    return np.asarray(horner(ALPHA, t) / pressure + horner(GAMMA, t))


def enhanced(t: Floats, pressure: Floats, bare: Floats) -> Floats:
    """Partial pressure of the vapour over a surface whose vapour alone would have the pressure `bare`."""
    return np.asarray(bare * (1.0 + (pressure - bare) * enhancement_rate(t, pressure)))


def temperature_at(curve: Curve, guess: Curve, vapour: Floats, pressure: Floats | None) -> Floats:
    """Temperature whose saturation pressure along one curve (times f, if `pressure` is given) is `vapour`."""
    log_vapour = np.log(vapour)
    t = horner(guess[:-1], log_vapour) / (1.0 + guess[-1] * log_vapour)
    target = log_vapour
    if pressure is not None:
        rate = enhancement_rate(t, pressure)
        factor = 1.0 + (pressure - vapour) * rate  # f from p - f ps first, then from p - ps
        factor = 1.0 + (pressure - vapour / factor) * rate
        target = log_vapour - np.log(factor)
        t = t + (target - log_vapour) * np.square(t + KELVIN) * 1.87e-4  # 1/slope is about T^2/5350
    return np.asarray(t - (log_pressure(curve, t) - target) / log_slope(curve, t))


def saturation_pressure_over_water(dry_bulb: ArrayLike) -> Floats:
    """Saturation pressure of vapour over liquid water, supercooled below 0 degC.

    Parameters
    ----------
    dry_bulb : array_like
        Temperature of the surface. [degC]

    Returns
    -------
    ndarray or scalar
        Saturation pressure; NaN where the temperature is NaN. [Pa]

    Raises
    ------
    InputError
        Outside -60 to 200 degC.

    Notes
    -----
    Fit to the IAPWS saturation equation of Wagner and Pruss, within 1.3e-6 from -60 to 200 degC. Below 0.01 degC that
    equation is extrapolated; there it agrees with Hyland and Wexler within 6e-4, and exceeds Murphy and Koop by
    0.03 % at -10, 0.08 % at -20 and 0.7 % at -40 degC (0.06 K in dew point).

    References
    ----------
    W. Wagner, A. Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, eq. 1 (IAPWS SR1-86).
    D. M. Murphy, T. Koop, Q. J. R. Meteorol. Soc. 131 (2005) 1539, eq. 10.
    """
    t = floats(dry_bulb)
    require(t, WATER_RANGE, "temperature", "degC")
    return np.exp(log_pressure(WATER, t))[()]


def saturation_pressure_over_ice(dry_bulb: ArrayLike) -> Floats:
    """Saturation pressure of vapour over ice.

    Parameters
    ----------
    dry_bulb : array_like
        Temperature of the surface. [degC]

    Returns
    -------
    ndarray or scalar
        Saturation pressure; NaN where the temperature is NaN. [Pa]

    Raises
    ------
    InputError
        Outside -100 to 0.01 degC.

    Notes
    -----
    Fit to the IAPWS sublimation-pressure equation, within 6.4e-7.

    References
    ----------
    IAPWS R14-08(2011), eq. 6.
    """
    t = floats(dry_bulb)
    require(t, ICE_RANGE, "temperature of ice", "degC")
    return np.exp(log_pressure(ICE, t))[()]


def saturation_pressure(dry_bulb: ArrayLike) -> Floats:
    """Saturation pressure over the stable phase: ice in frost, liquid water above.

    Parameters
    ----------
    dry_bulb : array_like
        Temperature of the surface. [degC]

    Returns
    -------
    ndarray or scalar
        Saturation pressure of the vapour alone, without air; NaN where the temperature is NaN. [Pa]

    Raises
    ------
    InputError
        Outside -100 to 200 degC.

    Notes
    -----
    The change-over is at the triple point, 0.01 degC, where both curves meet, and not at 0: so the function is
    continuous and can be inverted. Between 0 and 0.01 degC the two differ by less than 1e-4.
    """
    t = floats(dry_bulb)
    require(t, (ICE_RANGE[0], WATER_RANGE[1]), "temperature", "degC")
    return np.exp(log_saturation(t))[()]


def saturation_temperature(vapour_pressure: ArrayLike) -> Floats:
    """Temperature of the stable phase in equilibrium with a vapour pressure; inverse of `saturation_pressure`.

    Parameters
    ----------
    vapour_pressure : array_like
        Pressure of the vapour alone. [Pa]

    Returns
    -------
    ndarray or scalar
        Temperature; NaN where the pressure is NaN. [degC]

    Raises
    ------
    InputError
        Outside 0.0014 Pa to 70 kPa (-100 to 90 degC).
    """
    e = floats(vapour_pressure)
    require(e, (1.404e-3, 70_200.0), "vapour pressure", "Pa")
    return surface_temperature(e, None)[()]


def surface_temperature(vapour: Floats, pressure: Floats | None) -> Floats:
    """Temperature at which a surface would turn wet or frost over."""
    water = temperature_at(WATER, WATER_GUESS, np.maximum(vapour, 400.0), pressure)
    ice = water < TRIPLE_POINT
    if not ice.any():
        return water
    return np.where(ice, temperature_at(ICE, ICE_GUESS, np.minimum(vapour, 700.0), pressure), water)


def enhancement_factor(dry_bulb: ArrayLike, pressure: ArrayLike) -> Floats:
    """How much more vapour air holds at saturation than an ideal gas would.

    Parameters
    ----------
    dry_bulb : array_like
        Temperature. [degC]
    pressure : array_like
        Total pressure. [Pa]

    Returns
    -------
    ndarray or scalar
        f, partial pressure of vapour in saturated air over the saturation pressure of vapour alone. [-]

    Raises
    ------
    InputError
        Outside -60 to 90 degC or 50 to 110 kPa.

    Notes
    -----
    ``f - 1 = (p - ps) (alpha(t)/p + gamma(t))``, the leading terms of Greenspan's form, fitted to CoolProp 8.0.0
    (``HAPropsSI``, the ASHRAE RP-1485 real-gas model) on a grid of 2 K and 5 kPa. Largest deviation 1.2e-4;
    4e-5 from -10 to 50 degC.

    References
    ----------
    S. Herrmann, H.-J. Kretzschmar, D. P. Gatley, ASHRAE RP-1485, HVAC&R Research 15 (2009) 961.
    L. Greenspan, J. Res. NBS 80A (1976) 41 (the form).
    """
    t, p = floats(dry_bulb), floats(pressure)
    require(t, REAL_AIR_RANGE, "temperature", "degC")
    require(p, PRESSURE_RANGE, "pressure", "Pa")
    return (1.0 + (p - np.exp(log_saturation(t))) * enhancement_rate(t, p))[()]


def standard_pressure(altitude: ArrayLike) -> Floats:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    altitude : array_like
        Height above sea level. [m]

    Returns
    -------
    ndarray or scalar
        Pressure; NaN where the altitude is NaN. [Pa]

    Raises
    ------
    InputError
        Outside -500 to 11,000 m.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 3.
    """
    z = floats(altitude)
    require(z, (-500.0, 11_000.0), "altitude", "m")
    return (101_325.0 * (1.0 - 2.25577e-5 * z) ** 5.2559)[()]
