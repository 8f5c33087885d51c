"""Moist air: humidity ratio, relative humidity, dew and frost point, wet bulb, enthalpy, volume.

The face of `saturated_air` and `wet_bulb`, which it re-exports; any state from two readings is in
`air_state`.

**Relative humidity** is the partial pressure of vapour over that of saturated air at the same dry bulb and
pressure, the enhancement factor in both: ``pw = rh f ps``, the same as the ratio of mole fractions (ASHRAE
RP-1485). What saturated means below freezing is a decision, made by the argument ``over``:

- `saturation_pressure` (default): the stable phase, ice below 0.01 degC, as in the ASHRAE tables; air of
  100 % is in balance with frost.
- `saturation_pressure_over_water`: liquid water at every temperature, as humidity sensors are calibrated and
  weather files written (WMO). At -20 degC the same air reads 80 % by ice and 66 % by water.

`dew_point` is over liquid water at every temperature, `frost_point` over ice; `dew_or_frost_point` is the one
that a surface sees.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from wringout.physics import saturation as sat
from wringout.physics._limits import Array, floats, within
from wringout.physics.air_constants import (
    GAS_CONSTANT_DRY_AIR,
    KELVIN,
    LATENT_HEAT,
    LATENT_HEAT_ICE,
    MOLAR_MASS_RATIO,
    SPECIFIC_HEAT_DRY_AIR,
    SPECIFIC_HEAT_ICE,
    SPECIFIC_HEAT_VAPOUR,
    SPECIFIC_HEAT_WATER,
)
from wringout.physics.saturated_air import (
    ratio,
    saturated_enthalpy,
    saturated_humidity_ratio,
    temperature_of_saturated_enthalpy,
)
from wringout.physics.saturation import saturation_pressure
from wringout.physics.wet_bulb import (
    Branch,
    dry_bulb_from_wet_bulb,
    humidity_ratio_from_wet_bulb,
    wet_bulb,
)

__all__ = [
    "MOLAR_MASS_RATIO",
    "GAS_CONSTANT_DRY_AIR",
    "SPECIFIC_HEAT_DRY_AIR",
    "SPECIFIC_HEAT_VAPOUR",
    "SPECIFIC_HEAT_WATER",
    "SPECIFIC_HEAT_ICE",
    "LATENT_HEAT",
    "LATENT_HEAT_ICE",
    "Branch",
    "SaturationOver",
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
    "saturated_enthalpy",
    "temperature_of_saturated_enthalpy",
    "wet_bulb",
    "humidity_ratio_from_wet_bulb",
    "dry_bulb_from_wet_bulb",
]

SaturationOver = Callable[[ArrayLike], Array]

_MOST_MOISTURE = 2.0  # kg/kg
_FULL = 1.0 + 1e-9  # what rounding makes of 100 %
_VAPOUR = 1.08, 1.95, 70_700.0  # Pa, at -60 degC over ice and over water, and at 90 degC


def standard_pressure(altitude: ArrayLike) -> Array:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    altitude : array_like, any shape, in [m]
        Height above sea level.

    Returns
    -------
    ndarray, shape of `altitude`, in [Pa]
        Pressure; NaN where the altitude is NaN.

    Raises
    ------
    InputError
        Outside -500 to 11,000 m.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 3.
    """
    z = within("altitude", altitude, "m", -500.0, 11_000.0)
    return np.asarray(101_325.0 * (1.0 - 2.25577e-5 * z) ** 5.2559)[()]


def humidity_ratio(
    dry_bulb: ArrayLike,
    relative_humidity: ArrayLike,
    pressure: ArrayLike,
    over: SaturationOver = saturation_pressure,
) -> Array:
    """Humidity ratio from relative humidity.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Dry bulb.
    relative_humidity : array_like, broadcasts, in [-]
        Relative humidity, 0 to 1.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.
    over : function
        What saturation means below freezing, see the module.

    Returns
    -------
    ndarray, broadcast shape, in [kg/kg dry air]
        Humidity ratio; NaN where an argument is NaN.

    Raises
    ------
    InputError
        Dry bulb outside -60 to 90 degC, relative humidity outside 0 to 1, pressure outside 50 to 110 kPa;
        boiling.

    Notes
    -----
    ``w = 0.621945 pw/(p - pw)``, ``pw = rh f ps``. Within 0.01 % of CoolProp (RP-1485) from -10 to 50 degC.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 20 and 22 (with f).
    """
    t, p = sat.air_range(dry_bulb, pressure)
    rh = within(
        "relative humidity",
        relative_humidity,
        "",
        0.0,
        _FULL,
        check="0 to 1, not percent; dry the sensor if above",
    )
    return sat.blockwise(lambda t, rh, p: ratio(rh * _saturated_vapour(t, p, over), p), t, rh, p)


def relative_humidity(
    dry_bulb: ArrayLike,
    humidity_ratio: ArrayLike,
    pressure: ArrayLike,
    over: SaturationOver = saturation_pressure,
) -> Array:
    """Relative humidity from humidity ratio.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Dry bulb.
    humidity_ratio : array_like, broadcasts, in [kg/kg dry air]
        Humidity ratio.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.
    over : function
        What saturation means below freezing, see the module.

    Returns
    -------
    ndarray, broadcast shape, in [-]
        Relative humidity, above 1 where the air would be foggy; NaN where an argument is NaN.

    Raises
    ------
    InputError
        Dry bulb outside -60 to 90 degC, humidity ratio outside 0 to 2, pressure outside 50 to 110 kPa.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 22 (with f).
    """
    t, p = sat.air_range(dry_bulb, pressure)
    w = within("humidity ratio", humidity_ratio, "kg/kg", 0.0, _MOST_MOISTURE)
    return sat.blockwise(
        lambda t, w, p: w * p / ((MOLAR_MASS_RATIO + w) * _saturated_vapour(t, p, over)), t, w, p
    )


def dew_point(humidity_ratio: ArrayLike, pressure: ArrayLike) -> Array:
    """Dew point over liquid water, supercooled below 0 degC: what instruments and weather files mean.

    Parameters
    ----------
    humidity_ratio : array_like, any shape, in [kg/kg dry air]
        Humidity ratio.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.

    Returns
    -------
    ndarray, broadcast shape, in [degC]
        Dew point, to 1e-5 K; NaN where an argument is NaN.

    Raises
    ------
    InputError
        The dew point is outside -60 to 90 degC, pressure outside 50 to 110 kPa.

    References
    ----------
    As `saturation_pressure_over_water` and `enhancement_factor`.
    """
    vapour, p = _vapour(humidity_ratio, pressure, _VAPOUR[1])
    return sat.blockwise(lambda e, p: sat.temperature_over(sat.WATER, e, p), vapour, p)


def frost_point(humidity_ratio: ArrayLike, pressure: ArrayLike) -> Array:
    """Frost point over ice.

    Parameters
    ----------
    humidity_ratio : array_like, any shape, in [kg/kg dry air]
        Humidity ratio.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.

    Returns
    -------
    ndarray, broadcast shape, in [degC]
        Frost point, to 1e-5 K. NaN where an argument is NaN, and where there is none, because such air wets a
        surface above 0.01 degC.

    Raises
    ------
    InputError
        The frost point is below -60 or the dew point above 90 degC, pressure outside 50 to 110 kPa.

    References
    ----------
    As `saturation_pressure_over_ice` and `enhancement_factor`.
    """
    vapour, p = _vapour(humidity_ratio, pressure, _VAPOUR[0])

    def over_ice(e: Array, p: Array) -> Array:
        most = sat.vapour_at_triple_point(p) * (1.0 + 1e-9)
        return sat.temperature_over(sat.ICE, np.where(e <= most, e, np.nan), p)

    return sat.blockwise(over_ice, vapour, p)


def dew_or_frost_point(humidity_ratio: ArrayLike, pressure: ArrayLike) -> Array:
    """Temperature at which a surface turns wet or, below 0.01 degC, frosts over.

    Parameters
    ----------
    humidity_ratio : array_like, any shape, in [kg/kg dry air]
        Humidity ratio.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.

    Returns
    -------
    ndarray, broadcast shape, in [degC]
        Dew point where it is 0.01 degC or above, else frost point; continuous; NaN where an argument is NaN.

    Raises
    ------
    InputError
        The temperature is outside -60 to 90 degC, pressure outside 50 to 110 kPa.

    References
    ----------
    As `saturation_pressure` and `enhancement_factor`.
    """
    vapour, p = _vapour(humidity_ratio, pressure, _VAPOUR[0])
    return sat.blockwise(sat.surface_temperature, vapour, p)


def enthalpy(dry_bulb: ArrayLike, humidity_ratio: ArrayLike) -> Array:
    """Enthalpy per kilogram of dry air, 0 for dry air and liquid water of 0 degC.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Dry bulb.
    humidity_ratio : array_like, broadcasts, in [kg/kg dry air]
        Humidity ratio, all of it vapour.

    Returns
    -------
    ndarray, broadcast shape, in [J/kg dry air]
        Enthalpy; NaN where an argument is NaN.

    Notes
    -----
    ``h = 1006 t + w (2501000 + 1860 t)``; within 0.3 kJ/kg of CoolProp (RP-1485) from -10 to 50 degC. Linear
    in each argument, so that mixing and balances close exactly.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 30.
    """
    t, w = floats(dry_bulb), floats(humidity_ratio)
    return np.asarray(SPECIFIC_HEAT_DRY_AIR * t + w * (LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * t))[()]


def dry_bulb_from_enthalpy(enthalpy: ArrayLike, humidity_ratio: ArrayLike) -> Array:
    """Dry bulb from enthalpy and humidity ratio: the inverse of `enthalpy`.

    Parameters
    ----------
    enthalpy : array_like, any shape, in [J/kg dry air]
        Enthalpy.
    humidity_ratio : array_like, broadcasts, in [kg/kg dry air]
        Humidity ratio.

    Returns
    -------
    ndarray, broadcast shape, in [degC]
        Dry bulb; NaN where an argument is NaN.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 30.
    """
    h, w = floats(enthalpy), floats(humidity_ratio)
    return np.asarray((h - LATENT_HEAT * w) / (SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * w))[()]


def specific_volume(dry_bulb: ArrayLike, humidity_ratio: ArrayLike, pressure: ArrayLike) -> Array:
    """Volume of moist air per kilogram of dry air in it.

    Parameters
    ----------
    dry_bulb : array_like, any shape, in [degC]
        Dry bulb.
    humidity_ratio : array_like, broadcasts, in [kg/kg dry air]
        Humidity ratio.
    pressure : array_like, broadcasts, in [Pa]
        Barometric pressure.

    Returns
    -------
    ndarray, broadcast shape, in [m3/kg dry air]
        Volume; NaN where an argument is NaN.

    Notes
    -----
    Ideal gas; at most 0.1 % above CoolProp (RP-1485) from -20 to 45 degC.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 26.
    """
    t, w, p = floats(dry_bulb), floats(humidity_ratio), floats(pressure)
    return np.asarray(GAS_CONSTANT_DRY_AIR * (t + KELVIN) * (1.0 + w / MOLAR_MASS_RATIO) / p)[()]


def _saturated_vapour(t: Array, p: Array, over: SaturationOver) -> Array:
    if over is saturation_pressure:  # its range is checked already
        return sat.vapour_saturated(t, p)
    return sat.enhanced(t, p, over(t))


def _vapour(humidity_ratio: ArrayLike, pressure: ArrayLike, least: float) -> tuple[Array, Array]:
    """Partial pressure of vapour, within the range in which it has a dew or frost point."""
    w, p = floats(humidity_ratio), sat.total_pressure(pressure)
    vapour = np.asarray(w * p / (MOLAR_MASS_RATIO + w))
    return within(
        "vapour pressure", vapour, "Pa", least, _VAPOUR[2], check="dew or frost point outside -60 to 90 degC"
    ), p
