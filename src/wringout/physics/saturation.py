"""Saturation of water vapour: over liquid water, over ice, in real air, and the temperature it belongs to.

The curves are compact fits of one form, ``ln p = a/T + polynomial(t)``: there is no logarithm of
temperature in the innermost loop, and the slope that Newton's method needs is another short polynomial.

The functions below the public ones work on float64 arrays whose range has been checked, and are shared with
`wringout.physics.moist_air` and `wringout.physics.wet_bulb`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wringout.physics._limits import Array, floats, within
from wringout.physics.air_constants import KELVIN

__all__ = [
    "TRIPLE_POINT",
    "saturation_pressure",
    "saturation_pressure_over_water",
    "saturation_pressure_over_ice",
    "saturation_temperature",
    "enhancement_factor",
]

Kernel = Callable[..., Array]

TRIPLE_POINT = 0.01
"""degC; here the curves over ice and over water meet: ice is meant below, liquid water from here up."""

COLDEST_ICE, COLDEST, HOTTEST_AIR, HOTTEST_WATER = -100.0, -60.0, 90.0, 200.0
LOWEST_PRESSURE, HIGHEST_PRESSURE = 50_000.0, 110_000.0


class Phase(NamedTuple):
    """One saturation curve, ``ln p = curve[0]/T + curve[1] + curve[2] t + ...``, and its rough inverse.

    ``inverse``: ``t = cubic(y) / (1 + d y)`` with ``y = ln p``, the last number being d.
    """

    curve: tuple[float, ...]
    inverse: tuple[float, ...]


# Least squares on Chebyshev points, -60 to 200 and -100 to 0.01 degC, both held to 611.657 Pa at the triple
# point. Largest relative deviation in p: 1.3e-6 and 6.4e-7. The inverses are good to 0.003 and 0.0006 K.
WATER = Phase(
    curve=(
        -6023.50255946,
        28.46744071295,
        -0.008076461887255,
        -3.048129611395e-06,
        4.962951518033e-08,
        -1.05285257193e-10,
        8.995504820601e-14,
    ),
    inverse=(-65.19592283, 10.46027561, -0.04135288723, -0.0007941225154, -0.04453247229),
)
ICE = Phase(
    curve=(
        -5874.539348053,
        27.92199043058,
        0.003622519797296,
        -1.618261963556e-05,
        3.037815575422e-08,
        -7.899158538726e-11,
    ),
    inverse=(-60.57656328, 9.516043412, -0.01007376855, -0.0002197095582, -0.03570290859),
)

# f - 1 = (p - ps) (ALPHA(t) / p + GAMMA(t))
ALPHA = (0.000530888, 2.71962e-05, 3.99368e-07, 3.14906e-09, 3.90545e-11)
GAMMA = (3.61387e-08, -3.75172e-10, 2.6175e-12, 0.0, 0.0)

BLOCK = 16_384
"""Elements worked on at a time, so that intermediate results stay in the processor's cache."""


def saturation_pressure(dry_bulb: ArrayLike) -> Array:
    """Saturation pressure over the stable phase: ice in frost, liquid water above.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Temperature of the surface.

    Returns
    -------
    ndarray, shape of `dry_bulb`, in [Pa]
        Pressure of the vapour alone, without air; NaN where the temperature is NaN.

    Raises
    ------
    InputError
        Outside -100 to 200 degC.

    Notes
    -----
    The change-over is at the triple point, 0.01 degC, where the two curves meet, and not at 0: so the
    function is continuous, rising, and can be inverted. Between 0 and 0.01 degC the curves differ by less
    than 1e-4.

    References
    ----------
    As `saturation_pressure_over_water` and `saturation_pressure_over_ice`.
    """
    t = within("temperature", dry_bulb, "degC", COLDEST_ICE, HOTTEST_WATER)
    return blockwise(lambda t: np.exp(log_saturation(t)), t)


def saturation_pressure_over_water(dry_bulb: ArrayLike) -> Array:
    """Saturation pressure over liquid water, supercooled below 0 degC.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Temperature of the surface.

    Returns
    -------
    ndarray, shape of `dry_bulb`, in [Pa]
        Pressure of the vapour alone; NaN where the temperature is NaN.

    Raises
    ------
    InputError
        Outside -60 to 200 degC.

    Notes
    -----
    Fit to the IAPWS saturation equation of Wagner and Pruss, within 1.3e-6. Below 0.01 degC that equation
    is extrapolated; there it agrees with Hyland and Wexler, on which the instruments' usual tables rest,
    within 6e-4, and exceeds Murphy and Koop by 0.03 % at -10, 0.08 % at -20 and 0.7 % at -40 degC (0.06 K
    of dew point).

    References
    ----------
    W. Wagner, A. Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783 (IAPWS SR1-86).
    R. W. Hyland, A. Wexler, ASHRAE Transactions 89(2A) (1983) 500.
    D. M. Murphy, T. Koop, Q. J. R. Meteorol. Soc. 131 (2005) 1539, eq. 10.
    """
    t = within("temperature", dry_bulb, "degC", COLDEST, HOTTEST_WATER)
    return blockwise(lambda t: np.exp(log_pressure(WATER, t)), t)


def saturation_pressure_over_ice(dry_bulb: ArrayLike) -> Array:
    """Saturation pressure over ice.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Temperature of the surface.

    Returns
    -------
    ndarray, shape of `dry_bulb`, in [Pa]
        Pressure of the vapour alone; NaN where the temperature is NaN.

    Raises
    ------
    InputError
        Outside -100 to 0.01 degC.

    Notes
    -----
    Fit to the IAPWS equation for the sublimation pressure, within 6.4e-7.

    References
    ----------
    IAPWS R14-08(2011), eq. 6.
    """
    t = within("temperature of ice", dry_bulb, "degC", COLDEST_ICE, TRIPLE_POINT)
    return blockwise(lambda t: np.exp(log_pressure(ICE, t)), t)


def saturation_temperature(vapour_pressure: ArrayLike) -> Array:
    """Temperature of the stable phase at a vapour pressure: the inverse of `saturation_pressure`.

    Parameters
    ----------
    vapour_pressure : array_like, any shape, in [Pa]
        Pressure of the vapour alone.

    Returns
    -------
    ndarray, shape of `vapour_pressure`, in [degC]
        Temperature; NaN where the pressure is NaN.

    Raises
    ------
    InputError
        Outside 1.1 Pa to 70 kPa (-60 to 90 degC).

    Notes
    -----
    Explicit guess and one Newton step on ln p; to 1e-6 K.

    References
    ----------
    As `saturation_pressure`.
    """
    return blockwise(_stable_temperature, within("vapour pressure", vapour_pressure, "Pa", 1.08, 70_200.0))


def enhancement_factor(dry_bulb: ArrayLike, pressure: ArrayLike) -> Array:
    """How much more vapour saturated air holds than the saturation pressure alone would make it.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Temperature.
    pressure : array_like, broadcasts with `dry_bulb`, in [Pa]
        Total pressure.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Partial pressure of vapour in saturated air over the saturation pressure; NaN where an argument is
        NaN.

    Raises
    ------
    InputError
        Outside -60 to 90 degC or 50 to 110 kPa.

    Notes
    -----
    ``f - 1 = (p - ps) (alpha(t)/p + gamma(t))``, the leading terms of Greenspan's form, fitted to CoolProp
    8.0.0 (``HAPropsSI``, the ASHRAE RP-1485 real-gas model) on a grid of 2 K and 5 kPa. Largest deviation
    1.2e-4; 4e-5 from -10 to 50 degC.

    References
    ----------
    S. Herrmann, H.-J. Kretzschmar, D. P. Gatley, HVAC&R Research 15 (2009) 961 (ASHRAE RP-1485).
    L. Greenspan, J. Res. Natl. Bur. Stand. 80A (1976) 41 (the form).
    """
    t, p = air_range(dry_bulb, pressure)
    return np.asarray(1.0 + (p - np.exp(log_saturation(t))) * enhancement_rate(t, p))[()]


def air_range(temperature: ArrayLike, pressure: ArrayLike, name: str = "dry bulb") -> tuple[Array, Array]:
    """Give both as floats, or refuse them outside the range of `enhancement_factor`."""
    t = within(name, temperature, "degC", COLDEST, HOTTEST_AIR, check="check the sensor and its unit")
    return t, total_pressure(pressure)


def total_pressure(pressure: ArrayLike) -> Array:
    """Give the barometric pressure as floats, or refuse it."""
    return within("pressure", pressure, "Pa", LOWEST_PRESSURE, HIGHEST_PRESSURE, check="check the altitude")


def blockwise(kernel: Kernel, *arrays: Array, block: int = BLOCK) -> Array:
    """Apply an elementwise kernel in blocks that fit the cache; 0-d arrays are passed as they are."""
    if max(a.size for a in arrays) <= block:
        return np.asarray(kernel(*arrays))[()]
    shape = np.broadcast_shapes(*(a.shape for a in arrays))
    flat = [a if a.ndim == 0 else np.broadcast_to(a, shape).reshape(-1) for a in arrays]
    result = np.empty(shape)
    line = result.reshape(-1)
    for start in range(0, line.size, block):
        part = slice(start, start + block)
        line[part] = kernel(*(a if a.ndim == 0 else a[part] for a in flat))
    return result


def divided(cold: NDArray[np.bool_], on_cold: Kernel, on_warm: Kernel, *arrays: Array) -> Array:
    """Apply one kernel where `cold` holds and another elsewhere, each to its own elements only."""
    if not cold.any():
        return on_warm(*arrays)
    if cold.all():
        return on_cold(*arrays)
    result = np.empty(cold.shape)
    for here, kernel in ((cold, on_cold), (~cold, on_warm)):
        result[here] = kernel(*(a if a.ndim == 0 else np.broadcast_to(a, cold.shape)[here] for a in arrays))
    return result


def polynomial(coefficients: tuple[float, ...], x: Array) -> Array:
    """Polynomial with ascending coefficients."""
    total = coefficients[-1] * x
    for coefficient in coefficients[-2:0:-1]:
        total = (total + coefficient) * x
    return np.asarray(total + coefficients[0])


def _derivative(coefficients: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(k * c for k, c in enumerate(coefficients))[1:]


def log_pressure(phase: Phase, t: Array) -> Array:
    """Natural logarithm of the saturation pressure over one phase."""
    return np.asarray(phase.curve[0] / (t + KELVIN) + polynomial(phase.curve[1:], t))


def log_slope(phase: Phase, t: Array) -> Array:
    """d ln p / dt of `log_pressure`, 1/K."""
    kelvin = t + KELVIN
    return np.asarray(polynomial(_derivative(phase.curve[1:]), t) - phase.curve[0] / (kelvin * kelvin))


def log_saturation(t: Array) -> Array:
    """Natural logarithm of `saturation_pressure`."""
    return divided(
        np.asarray(t < TRIPLE_POINT), lambda t: log_pressure(ICE, t), lambda t: log_pressure(WATER, t), t
    )


def _rate_coefficients(pressure: float) -> tuple[float, ...]:
    return tuple(a / pressure + g for a, g in zip(ALPHA, GAMMA, strict=True))


def enhancement_rate(t: Array, pressure: Array) -> Array:
    """(f - 1) / (p - ps), 1/Pa."""
    if pressure.ndim == 0:  # one pressure for all: the two polynomials become one
        return polynomial(_rate_coefficients(float(pressure)), t)
    return np.asarray(polynomial(ALPHA, t) / pressure + polynomial(GAMMA[:3], t))


def enhancement_rate_slope(t: Array, pressure: Array) -> Array:
    """Derivative of `enhancement_rate` by temperature, 1/(Pa K)."""
    if pressure.ndim == 0:
        return polynomial(_derivative(_rate_coefficients(float(pressure))), t)
    return np.asarray(polynomial(_derivative(ALPHA), t) / pressure + polynomial(_derivative(GAMMA[:3]), t))


def enhanced(t: Array, pressure: Array, bare: Array) -> Array:
    """Partial pressure of vapour in saturated air, from the saturation pressure `bare`, Pa."""
    return np.asarray(bare * (1.0 + (pressure - bare) * enhancement_rate(t, pressure)))


def vapour_over(phase: Phase, t: Array, pressure: Array) -> Array:
    """Partial pressure of vapour in air saturated over one phase, Pa."""
    return enhanced(t, pressure, np.exp(log_pressure(phase, t)))


def vapour_saturated(t: Array, pressure: Array) -> Array:
    """Partial pressure of vapour in air saturated over the stable phase, Pa."""
    return enhanced(t, pressure, np.exp(log_saturation(t)))


def vapour_and_slopes(phase: Phase, t: Array, pressure: Array) -> tuple[Array, Array, Array]:
    """`vapour_over`, its slope, Pa/K, and its curvature over its slope, 1/K (about, for Halley's method)."""
    bare = np.exp(log_pressure(phase, t))
    steepness = log_slope(phase, t)
    rate = enhancement_rate(t, pressure)
    room = pressure - bare
    factor = 1.0 + room * rate
    slope = bare * (steepness * (factor - bare * rate) + room * enhancement_rate_slope(t, pressure))
    return bare * factor, slope, steepness - 2.0 / (t + KELVIN)


def temperature_over(phase: Phase, vapour: Array, pressure: Array | None) -> Array:
    """Temperature at which air of a partial pressure of vapour is saturated over one phase.

    Without `pressure`: vapour alone, f = 1. Guess and one Newton step on ln p; 1e-5 K.
    """
    log_vapour = np.log(vapour)
    t = np.asarray(polynomial(phase.inverse[:-1], log_vapour) / (1.0 + phase.inverse[-1] * log_vapour))
    if pressure is None:
        return np.asarray(t - (log_pressure(phase, t) - log_vapour) / log_slope(phase, t))
    kelvin = t + KELVIN
    # the guess knows nothing of f: take off what an average f is worth, ln f / (d ln p / dt) = 8e-12 p T^2
    t = np.asarray(t - (8.0e-12 * pressure) * (kelvin * kelvin))
    rate = enhancement_rate(t, pressure)
    bare = vapour / (1.0 + (pressure - vapour) * rate)
    factor = 1.0 + (pressure - bare) * rate
    miss = log_pressure(phase, t) + np.log(factor) - log_vapour
    slope = log_slope(phase, t) + (pressure - bare) * enhancement_rate_slope(t, pressure)
    return np.asarray(t - miss / slope)


_AT_TRIPLE_POINT = 611.657  # Pa


def vapour_at_triple_point(pressure: Array) -> Array:
    """Partial pressure of vapour in air saturated at the triple point, Pa: below, surfaces frost over."""
    return enhanced(floats(TRIPLE_POINT), pressure, floats(_AT_TRIPLE_POINT))


def surface_temperature(vapour: Array, pressure: Array) -> Array:
    """Temperature at which a surface turns wet, or frosts over."""
    return divided(
        np.asarray(vapour < vapour_at_triple_point(pressure)),
        lambda vapour, pressure: temperature_over(ICE, vapour, pressure),
        lambda vapour, pressure: temperature_over(WATER, vapour, pressure),
        vapour,
        pressure,
    )


def _stable_temperature(vapour: Array) -> Array:
    return divided(
        np.asarray(vapour < _AT_TRIPLE_POINT),
        lambda vapour: temperature_over(ICE, vapour, None),
        lambda vapour: temperature_over(WATER, vapour, None),
        vapour,
    )
