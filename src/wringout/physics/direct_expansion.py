"""Direct-expansion cooling: a compressor with its evaporating and condensing temperature against a coil's
surface."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from wringout.physics.air_constants import LATENT_HEAT, SPECIFIC_HEAT_DRY_AIR, SPECIFIC_HEAT_VAPOUR
from wringout.physics.cooling_coil import LIQUID_SPECIFIC_HEAT
from wringout.physics.moist_air import enthalpy, saturated_enthalpy

__all__ = ["CAPACITY_PER_CONDENSING", "CAPACITY_PER_EVAPORATING", "Balance", "coil_compressor_balance"]

Array = NDArray[np.float64]

# Common practice: catalogue tables of scroll and screw compressors lose about 1 % of capacity per kelvin
# of condensing and gain about 3.5 % per kelvin of evaporating temperature around 5/50 degC (from memory).
CAPACITY_PER_EVAPORATING = 0.034
CAPACITY_PER_CONDENSING = -0.010
LEAST_SURFACE = -25.0  # degC; any real unit has cut out or iced over before
STEPS = 5  # leave under 2e-6 of the capacity between coil and compressors
_SLOPE = 5380.0  # K, latent heat over gas constant of vapour near 10 degC: 2.48e6 J/kg / 461.5 J/(kg K)


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
    Compressor: Q = Q0 (1 + a (Te - Te0)) (1 + b dTc), linear in the two temperatures. Coil: the heat that
    `air_after_surface` takes out of the air at this surface, condensate booked as there, so that both agree
    to the last step of Newton's method. Its slope follows Clausius and Clapeyron. Ice on the surface is not
    modelled: from -25 degC down the compressors are taken to stand against their limit.

    References
    ----------
    ASHRAE Handbook, HVAC Systems and Equipment, on balancing compressor, evaporator and condenser (from
    memory); trends against performance curves in tests/published/test_direct_expansion_curves.py.
    """
    a, b = CAPACITY_PER_EVAPORATING, CAPACITY_PER_CONDENSING
    at_condensing = capacity * np.maximum(1.0 + b * condensing_over_rated, 0.1)
    share = at_condensing / (1.0 + a * refrigerant_resistance * at_condensing)
    h_in = enthalpy(dry_bulb, humidity_ratio)
    touched = dry_air_flow * (1.0 - bypass)
    drift = bypass * SPECIFIC_HEAT_VAPOUR  # enthalpy is bilinear: mixed air lies a little under the chord
    highest = np.maximum(dry_bulb, LEAST_SURFACE)
    surface = dry_bulb - 14.0 * np.minimum(at_condensing / np.maximum(touched * 26000.0, 1e-9), 1.6)
    for _ in range(STEPS):
        latent = LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * surface
        h_surface = saturated_enthalpy(surface, pressure)
        saturated = (h_surface - SPECIFIC_HEAT_DRY_AIR * surface) / latent
        wet = saturated < humidity_ratio
        drop = np.where(wet, humidity_ratio - saturated, 0.0)
        carried = drift * (dry_bulb - surface) - LIQUID_SPECIFIC_HEAT * surface
        # a dry surface leaves the water in the air: back from saturation to what the air brought
        h_left = h_surface + (humidity_ratio - drop - saturated) * latent
        coil = touched * (h_in - h_left + drop * carried)
        machine = share * (1.0 + a * (surface - evaporating_rated))
        rise = np.where(wet, saturated * (1.0 + 1.61 * saturated) * _SLOPE / (surface + 273.15) ** 2, 0.0)
        slope = (
            SPECIFIC_HEAT_DRY_AIR
            + SPECIFIC_HEAT_VAPOUR * (humidity_ratio - drop)
            + rise * (latent + carried)
            + drop * (drift + LIQUID_SPECIFIC_HEAT)
        )
        step = np.clip((machine - coil) / (touched * slope + share * a), -8.0, 8.0)
        surface = np.clip(surface - step, LEAST_SURFACE, highest)
    running = share * (1.0 + a * (surface - evaporating_rated))
    return Balance(surface, surface - refrigerant_resistance * running, running)
