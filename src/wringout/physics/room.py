"""The room: what brings heat and water in, what the supply air takes out, and how fast the rest changes
the room."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["heat_gain", "moisture_gain", "moisture_removed", "sensible_removed"]

Array = NDArray[np.float64]

MOIST_SPECIFIC_HEAT = 1020.0  # J/(kg K) of dry air with 7.5 g/kg of vapour: 1006 + 0.0075 * 1860


def moisture_gain(released: Array, infiltration: Array, outdoor_ratio: Array, space_ratio: Array) -> Array:
    """Water that comes into a room beside the supply air.

    Parameters
    ----------
    released : array, any shape, [kg/s]
        From people, wet work and contents, less what cold cases take out.
    infiltration : array, [kg/s]
        Dry air that leaks in from outdoors.
    outdoor_ratio, space_ratio : array, [kg/kg]

    Returns
    -------
    array, [kg/s]
        NaN where an input is NaN.

    References
    ----------
    Well-mixed zone, ASHRAE Handbook Fundamentals, chapter on infiltration (from memory).
    """
    return released + infiltration * (outdoor_ratio - space_ratio)


def moisture_removed(supply_flow: Array, space_ratio: Array, supply_ratio: Array) -> Array:
    """Water that supply air drier than the room takes out of it.

    Parameters
    ----------
    supply_flow : array, any shape, [kg/s]
        Dry air.
    space_ratio, supply_ratio : array, [kg/kg]

    Returns
    -------
    array, [kg/s]
        NaN where an input is NaN; negative where the supply air wets the room.
    """
    return supply_flow * (space_ratio - supply_ratio)


def heat_gain(released: Array, infiltration: Array, outdoor_t: Array, space_t: Array) -> Array:
    """Sensible heat that comes into a room beside the supply air.

    Parameters
    ----------
    released : array, any shape, [W]
        Negative where cold cases or ice take heat out.
    infiltration : array, [kg/s]
    outdoor_t, space_t : array, [degC]

    Returns
    -------
    array, [W]
        NaN where an input is NaN.
    """
    return released + infiltration * MOIST_SPECIFIC_HEAT * (outdoor_t - space_t)


def sensible_removed(supply_flow: Array, space_t: Array, supply_t: Array) -> Array:
    """Sensible heat that supply air colder than the room takes out of it.

    Parameters
    ----------
    supply_flow : array, any shape, [kg/s]
        Dry air.
    space_t, supply_t : array, [degC]

    Returns
    -------
    array, [W]
        NaN where an input is NaN; negative where the supply air warms the room.
    """
    return supply_flow * MOIST_SPECIFIC_HEAT * (space_t - supply_t)
