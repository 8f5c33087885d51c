"""Direct-expansion cooling: a compressor with its evaporating and condensing temperature against a coil's
surface."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wringout.physics.moist_air import enthalpy, saturated_enthalpy

__all__ = ["CAPACITY_PER_CONDENSING", "CAPACITY_PER_EVAPORATING", "Balance", "coil_compressor_balance"]

Array = NDArray[np.float64]

# Common practice: catalogue tables of scroll and screw compressors lose about 1 % of capacity per kelvin
# of condensing and gain about 3.5 % per kelvin of evaporating temperature around 5/50 degC (from memory).
CAPACITY_PER_EVAPORATING = 0.034
CAPACITY_PER_CONDENSING = -0.010


class Balance(NamedTuple):
    """Where coil and compressor agree: ``surface`` and ``evaporating`` [degC], ``capacity`` [W]."""

    surface: Array
    evaporating: Array
    capacity: Array


def coil_compressor_balance(
    dry_bulb: Array,
    humidity_ratio: Array,
    dry_air_flow: Array,
    bypass: Array,
    capacity: Array,
    condensing_over_rated: Array,
    evaporating_rated: float,
    refrigerant_resistance: Array,
    pressure: float,
) -> Balance:
    """Surface temperature at which what the air gives up is what the running compressors take.

    Parameters
    ----------
    dry_bulb : array, any shape, [degC]
        Air onto the coil.
    humidity_ratio : array, [kg/kg]
        Air onto the coil.
    dry_air_flow : array, [kg/s]
    bypass : array, 0..1 [-]
    capacity : array, [W]
        Of the running stages at rated evaporating and condensing temperature; 0 where none runs.
    condensing_over_rated : array, [K]
        Condensing temperature less that of the rating.
    evaporating_rated : float, [degC]
    refrigerant_resistance : array, [K/W]
        From surface to evaporating refrigerant, for the circuits that run.
    pressure : float, [Pa]

    Returns
    -------
    Balance
        With no stage running the surface is at the air's dry bulb. NaN where an input is NaN.

    Notes
    -----
    Compressor: Q = Q0 (1 + a (Te - Te0)) (1 + b dTc), linear in the two temperatures. Coil: Q = m (1 - BF)
    times the difference of enthalpy (wet) or of sensible heat (dry), whichever is more. Safeguarded Newton
    in the surface temperature.
    """
    a, b = CAPACITY_PER_EVAPORATING, CAPACITY_PER_CONDENSING
    at_condensing = capacity * np.maximum(1.0 + b * condensing_over_rated, 0.1)
    share = at_condensing / (1.0 + a * refrigerant_resistance * at_condensing)
    h_in = enthalpy(dry_bulb, humidity_ratio)
    touched = dry_air_flow * (1.0 - bypass)
    specific = 1006.0 + 1860.0 * humidity_ratio
    surface = dry_bulb - 14.0 * np.minimum(at_condensing / np.maximum(touched * 26000.0, 1e-9), 1.6)
    for _ in range(5):
        h_surface = saturated_enthalpy(surface, pressure)
        slope = (saturated_enthalpy(surface + 0.05, pressure) - h_surface) / 0.05
        wet = h_in - h_surface
        dry = specific * (dry_bulb - surface)
        is_wet = wet > dry
        coil = touched * np.where(is_wet, wet, dry)
        machine = share * (1.0 + a * (surface - evaporating_rated))
        gradient = -touched * np.where(is_wet, slope, specific) - share * a
        step = np.clip((coil - machine) / gradient, -8.0, 8.0)
        surface = np.clip(surface - step, -25.0, np.maximum(dry_bulb, -25.0))
    running = share * (1.0 + a * (surface - evaporating_rated))
    return Balance(surface, surface - refrigerant_resistance * running, running)
