"""What moves heat and moisture: air over a difference of states, water over a difference of temperatures."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wringout.documents.unit import Unit
from wringout.physics.air_constants import (
    LATENT_HEAT,
    MOLAR_MASS_RATIO,
    SPECIFIC_HEAT_DRY_AIR,
    SPECIFIC_HEAT_VAPOUR,
)
from wringout.physics.fluid import density, specific_heat, temperature_limits
from wringout.physics.moist_air import saturated_humidity_ratio

__all__ = [
    "air_heat",
    "air_moisture",
    "dry_air_flow",
    "latent_heat",
    "moisture_at_share",
    "water_heat",
    "water_rate",
]

Array = NDArray[np.float64]


def moisture_at_share(dry_bulb: Array, relative_humidity: Array, pressure: float) -> Array:
    """Humidity ratio from dry bulb and relative humidity, straight on through 100 %.

    Parameters
    ----------
    dry_bulb : array, any shape, [degC]
    relative_humidity : array, same shape, [-]
        May pass 1: the upper end of a reading's uncertainty does.
    pressure : float, [Pa]

    Returns
    -------
    array, same shape, [kg/kg dry air]
        NaN where an input is NaN.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 20 and 22.
    """
    saturated = saturated_humidity_ratio(dry_bulb, pressure)
    vapour = relative_humidity * saturated / (MOLAR_MASS_RATIO + saturated)  # share of the pressure
    return np.asarray(MOLAR_MASS_RATIO * vapour / (1.0 - vapour))


def dry_air_flow(airflow: Array, dry_bulb: Array, humidity_ratio: Array, pressure: float) -> Array:
    """Dry air in a volume flow measured at a state.

    Parameters
    ----------
    airflow : array, any shape, [m3/s]
    dry_bulb : array, same shape, [degC]
    humidity_ratio : array, same shape, [kg/kg dry air]
    pressure : float, [Pa]

    Returns
    -------
    array, same shape, [kg/s]
        NaN where an input is NaN.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 26.
    """
    volume = 287.042 * (dry_bulb + 273.15) * (1.0 + humidity_ratio / MOLAR_MASS_RATIO) / pressure
    return np.asarray(airflow / volume)


def air_heat(flow: Array, from_t: Array, to_t: Array, humidity_ratio: Array) -> Array:
    """Heat without moisture that air takes up between two dry bulbs.

    Parameters
    ----------
    flow : array, any shape, [kg/s]
        Dry air.
    from_t : array, same shape, [degC]
    to_t : array, same shape, [degC]
    humidity_ratio : array, same shape, [kg/kg dry air]
        The lower one where it changes: what leaves as water is booked as latent.

    Returns
    -------
    array, same shape, [W]
        Positive where the air is warmed; NaN where an input is NaN.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 30 (enthalpy).
    """
    return np.asarray(
        flow * (SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * humidity_ratio) * (to_t - from_t)
    )


def air_moisture(flow: Array, from_ratio: Array, to_ratio: Array) -> Array:
    """Moisture that air takes up between two states.

    Parameters
    ----------
    flow : array, any shape, [kg/s]
        Dry air.
    from_ratio : array, same shape, [kg/kg dry air]
    to_ratio : array, same shape, [kg/kg dry air]

    Returns
    -------
    array, same shape, [kg/s]
        Positive where the air gets moister; NaN where an input is NaN.
    """
    return np.asarray(flow * (to_ratio - from_ratio))


def latent_heat(moisture: Array, dry_bulb: Array) -> Array:
    """Heat that goes with moisture leaving or entering air as vapour.

    Parameters
    ----------
    moisture : array, any shape, [kg/s]
    dry_bulb : array, same shape, [degC]
        Of the air before the moisture leaves it.

    Returns
    -------
    array, same shape, [W]
        NaN where an input is NaN.

    Notes
    -----
    Together with ``air_heat`` at the leaving humidity ratio this is the air's whole change of enthalpy. What
    the condensate carries down the drain (about 0.5 %) is still in it.

    References
    ----------
    ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 29.
    """
    return np.asarray(moisture * (LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * dry_bulb))


def water_rate(unit: Unit, flow: Array, mean_t: Array) -> Array:
    """Heat for each kelvin that a flow of the unit's loop liquid carries.

    Parameters
    ----------
    unit : Unit
        One with a loop.
    flow : array, any shape, [m3/s]
    mean_t : array, same shape, [degC]

    Returns
    -------
    array, same shape, [W/K]
        NaN where an input is NaN.

    Notes
    -----
    Density and specific heat are taken at the nearest temperature at which the liquid is liquid: a strap-on
    reading a little under the freezing point says something about the strap.
    """
    loop = unit.loop
    fluid, share = (loop.fluid, loop.concentration) if loop is not None else ("water", 0.0)
    low, high = temperature_limits(fluid, share)
    t = np.clip(mean_t, float(low), high)
    return np.asarray(flow * density(t, fluid, share) * specific_heat(t, fluid, share))


def water_heat(unit: Unit, flow: Array, in_t: Array, out_t: Array) -> Array:
    """Heat that the unit's loop liquid gives between two temperatures.

    Parameters
    ----------
    unit : Unit
        One with a loop.
    flow : array, any shape, [m3/s]
    in_t : array, same shape, [degC]
    out_t : array, same shape, [degC]

    Returns
    -------
    array, same shape, [W]
        Positive where the water leaves colder; NaN where an input is NaN.

    Notes
    -----
    The trade's 500 (Btu/h for each gpm and degF), with the density and specific heat of the liquid that is in
    the loop, at its mean temperature.
    """
    return water_rate(unit, flow, 0.5 * (in_t + out_t)) * (in_t - out_t)
