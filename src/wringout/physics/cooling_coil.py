"""Cooling coils that wring water out of air: the apparatus dew point, and a wet or dry chilled-water coil."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wringout.errors import InputError
from wringout.physics.air_constants import (
    LATENT_HEAT,
    SPECIFIC_HEAT_DRY_AIR,
    SPECIFIC_HEAT_VAPOUR,
    SPECIFIC_HEAT_WATER,
)
from wringout.physics.exchanger import counterflow
from wringout.physics.moist_air import (
    dry_bulb_from_enthalpy,
    enthalpy,
    relative_humidity,
    saturated_enthalpy,
    saturated_humidity_ratio,
    temperature_of_saturated_enthalpy,
)

__all__ = [
    "LIQUID_SPECIFIC_HEAT",
    "MOIST_SPECIFIC_HEAT",
    "ApparatusDewPoint",
    "CoilAir",
    "air_after_surface",
    "apparatus_dew_point",
    "bypass_factor",
    "chilled_water_coil",
    "evaporating_wet_coil",
]

Array = NDArray[np.float64]

LIQUID_SPECIFIC_HEAT = SPECIFIC_HEAT_WATER  # J/(kg K), condensate
LEAST_RISE = 0.5  # K, of the water, to start from
MOIST_SPECIFIC_HEAT = 1022.0  # J/(kg K) of dry air with about 9 g/kg of vapour: 1006 + 0.009 * 1860


class CoilAir(NamedTuple):
    """Air behind a cooling coil and what the coil took out of it (arrays of one shape).

    ``dry_bulb`` [degC], ``humidity_ratio`` [kg/kg], ``surface`` [degC], ``total`` [W] taken up by the coil,
    ``sensible`` [W], ``condensate`` [kg/s].
    """

    dry_bulb: Array
    humidity_ratio: Array
    surface: Array
    total: Array
    sensible: Array
    condensate: Array


class ApparatusDewPoint(NamedTuple):
    """Where a coil's process line meets saturation: ``temperature`` [degC] and ``bypass`` factor [-]."""

    temperature: float
    bypass: float


def bypass_factor(air_conductance: Array, dry_air_flow: Array) -> Array:
    """Share of the air that passes a coil as if it had not met it.

    Parameters
    ----------
    air_conductance : array, any shape, [W/K]
        Between the air and the coil's surface.
    dry_air_flow : array, same shape, [kg/s]

    Returns
    -------
    array, 0..1 [-]
        exp(-NTU) of the air side; NaN where an input is NaN.

    References
    ----------
    ASHRAE Handbook, HVAC Systems and Equipment, chapter "Air-cooling and dehumidifying coils" (from
    memory): the air side as an exchanger against a surface of one temperature.
    """
    return np.exp(-air_conductance / (np.maximum(dry_air_flow, 1e-9) * MOIST_SPECIFIC_HEAT))


def air_after_surface(
    dry_bulb: Array,
    humidity_ratio: Array,
    dry_air_flow: Array,
    bypass: Array,
    surface: Array,
    pressure: float,
) -> CoilAir:
    """Air behind a surface of one temperature: wet where that is under the air's dew point, dry elsewhere.

    Parameters
    ----------
    dry_bulb : array, any shape, [degC]
        Entering air.
    humidity_ratio : array, [kg/kg]
        Entering air.
    dry_air_flow : array, [kg/s]
    bypass : array, 0..1 [-]
        Share of the air that does not meet the surface.
    surface : array, [degC]
    pressure : float, [Pa]

    Returns
    -------
    CoilAir
        NaN where an input is NaN.

    Notes
    -----
    The touched share leaves at the surface temperature, saturated if it was wetter than that. Nearly
    saturated entering air may so leave up to 5 % over saturation: the saturation curve sags under the
    straight line of mixing. Heat balances exactly: ``total`` is the air's loss of enthalpy less what the
    condensate carries down the drain at surface temperature.
    """
    touched = np.minimum(saturated_humidity_ratio(surface, pressure), humidity_ratio)
    leaving_t = surface + bypass * (dry_bulb - surface)
    leaving_w = touched + bypass * (humidity_ratio - touched)
    condensate = dry_air_flow * (humidity_ratio - leaving_w)
    total = (
        dry_air_flow * (enthalpy(dry_bulb, humidity_ratio) - enthalpy(leaving_t, leaving_w))
        - condensate * LIQUID_SPECIFIC_HEAT * surface
    )
    sensible = dry_air_flow * (enthalpy(dry_bulb, leaving_w) - enthalpy(leaving_t, leaving_w))
    surface = surface + 0.0 * leaving_t
    return CoilAir(leaving_t, leaving_w, surface, total, sensible, condensate)


def apparatus_dew_point(
    dry_bulb: float,
    humidity_ratio: float,
    total: float,
    sensible: float,
    dry_air_flow: float,
    pressure: float,
) -> ApparatusDewPoint:
    """Surface temperature and bypass factor that a coil's rating implies.

    Parameters
    ----------
    dry_bulb : float, [degC]
        Entering air of the rating.
    humidity_ratio : float, [kg/kg]
        Entering air of the rating.
    total : float, [W]
        Rated total capacity.
    sensible : float, [W]
        Rated sensible capacity.
    dry_air_flow : float, [kg/s]
    pressure : float, [Pa]

    Returns
    -------
    ApparatusDewPoint
        A dry coil (sensible equal to total), which has no such point, gets the bypass factor 0.1.

    Raises
    ------
    InputError
        When the process line misses the saturation curve, or the leaving air would be over-saturated.

    References
    ----------
    The bypass-factor method as in ASHRAE handbooks (from memory); worked cases in
    tests/published/test_coil_bypass_factor.py.
    """
    h_in = float(enthalpy(dry_bulb, humidity_ratio))
    h_out = h_in - total / dry_air_flow
    # sensible and latent share the enthalpy drop: the leaving air has its enthalpy after the latent step
    # at entering dry bulb
    latent = LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * dry_bulb
    w_out = humidity_ratio - max(total - sensible, 0.0) / dry_air_flow / latent
    t_out = float(dry_bulb_from_enthalpy(h_out, w_out))
    if w_out <= 0 or float(relative_humidity(t_out, w_out, pressure)) > 1.0:
        raise InputError(
            f"the rated capacities leave air of {t_out:.1f} degC that holds more water than it can: "
            "total, sensible and airflow do not belong together; try more airflow or less sensible heat"
        )
    if total - sensible < 1e-3 * total:
        return ApparatusDewPoint(dry_bulb - (dry_bulb - t_out) / 0.9, 0.1)
    slope = (humidity_ratio - w_out) / (dry_bulb - t_out)

    def surplus(t: ArrayLike) -> Array:
        there = np.asarray(t, dtype=np.float64)
        return humidity_ratio - slope * (dry_bulb - there) - saturated_humidity_ratio(there, pressure)

    step = np.linspace(t_out, t_out - 30.0, 121)
    over = surplus(step)
    crossing = np.flatnonzero((over[:-1] < 0) & (over[1:] >= 0))
    if crossing.size == 0:
        raise InputError(
            f"the rated process line from {dry_bulb:.1f} degC to {t_out:.1f} degC never meets saturation: "
            "the sensible share is too low for this entering air; check rated total, sensible and airflow"
        )
    high, low = float(step[crossing[0]]), float(step[crossing[0] + 1])
    for _ in range(60):
        middle = 0.5 * (high + low)
        if surplus(middle) < 0:
            high = middle
        else:
            low = middle
    surface = 0.5 * (high + low)
    return ApparatusDewPoint(surface, (t_out - surface) / (dry_bulb - surface))


def chilled_water_coil(
    dry_bulb: Array,
    humidity_ratio: Array,
    dry_air_flow: Array,
    water_in: Array,
    water_capacity_rate: Array,
    air_conductance: Array,
    water_conductance: Array,
    pressure: float,
) -> tuple[CoilAir, Array]:
    """Counterflow chilled-water coil, wet or dry, whichever gives more heat.

    Parameters
    ----------
    dry_bulb : array, any shape, [degC]
        Entering air.
    humidity_ratio : array, [kg/kg]
        Entering air.
    dry_air_flow : array, [kg/s]
    water_in : array, [degC]
    water_capacity_rate : array, [W/K]
    air_conductance : array, [W/K]
        Air to surface.
    water_conductance : array, [W/K]
        Surface to water, metal included.
    pressure : float, [Pa]

    Returns
    -------
    (CoilAir, array)
        The air and the leaving water [degC]. NaN where an input is NaN.

    Notes
    -----
    Wet: enthalpy potential with the effective saturation specific heat c_s = dh_s/dT between entering and
    leaving water, found in two passes; air leaves by the bypass factor from one effective surface
    temperature. Partly wet coils are taken as the better of wholly wet and wholly dry. Against the same
    coil cut into elements (tests/test_cooling_coil.py) heat is right within 4 % in four of five states and
    within 12 % in all, leaving air within 0.5 K in nineteen of twenty, with water of 5 to 120 % of the air's
    capacity rate; the worst are hot wet air and a trickle of water.

    References
    ----------
    Braun, Klein and Mitchell, ASHRAE Transactions 95(1), 1989, effectiveness models for cooling towers and
    coils (from memory); checked against Mitchell and Braun 2012, example SM-2-1.
    """
    flow = np.maximum(dry_air_flow, 1e-9)
    capacity_air = flow * (SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * humidity_ratio)
    water_rate = np.maximum(water_capacity_rate, 1e-6)
    dry_conductance = 1.0 / (1.0 / air_conductance + 1.0 / water_conductance)
    least = np.minimum(capacity_air, water_rate)
    ratio = least / np.maximum(capacity_air, water_rate)
    dry_heat = counterflow(dry_conductance / least, ratio) * least * (dry_bulb - water_in)
    h_in = enthalpy(dry_bulb, humidity_ratio)
    h_water = saturated_enthalpy(water_in, pressure)
    difference = h_in - h_water
    # of the water: about half of what it could take up, short of the air's temperature
    apart = np.maximum(0.75 * (dry_bulb - water_in), LEAST_RISE)
    rise = np.clip(0.5 * flow * difference / water_rate, LEAST_RISE, apart)
    wet_heat = dry_heat
    for damping in (0.7, 0.0):
        slope = (saturated_enthalpy(water_in + rise, pressure) - h_water) / rise
        conductance = 1.0 / (MOIST_SPECIFIC_HEAT / air_conductance + slope / water_conductance)  # kg/s
        rate = water_rate / slope
        least = np.minimum(flow, rate)
        ratio = least / np.maximum(flow, rate)
        wet_heat = counterflow(conductance / least, ratio) * least * difference
        if damping:
            # a trickle of water warms a long way, and full steps would swing about the answer
            found = np.clip(np.abs(wet_heat) / water_rate, 0.2, 40.0)
            rise = damping * found + (1.0 - damping) * rise
    # water warmer than the air wets nothing
    heat = np.where(water_in < dry_bulb, np.maximum(wet_heat, dry_heat), dry_heat)
    bypass = bypass_factor(air_conductance, flow)
    touched = np.maximum(1.0 - bypass, 1e-9)
    dry_surface = dry_bulb - heat / (capacity_air * touched)
    wet_surface = temperature_of_saturated_enthalpy(
        np.clip(h_in - heat / (flow * touched), -2.0e4, 1.5e5), pressure
    )
    # the one that lies above: under the dew point that is the wet one, over it the dry one
    surface = np.maximum(wet_surface, dry_surface)
    # a surface can be no colder than the water nor, cooling, warmer than the air
    surface = np.maximum(surface, np.minimum(water_in, dry_bulb))
    air = air_after_surface(dry_bulb, humidity_ratio, flow, bypass, surface, pressure)
    return air, water_in + air.total / water_rate


def evaporating_wet_coil(
    dry_bulb: Array, humidity_ratio: Array, wet_bulb: Array, saturation: Array
) -> tuple[Array, Array]:
    """Air behind a coil that stands still but is wet from before: it takes retained water up again.

    Parameters
    ----------
    dry_bulb : array, any shape, [degC]
    humidity_ratio : array, [kg/kg]
    wet_bulb : array, [degC]
        Of the entering air.
    saturation : array, 0..1 [-]
        How far the air comes towards its wet bulb: 0 dry coil, 1 minus the bypass factor fully wet.

    Returns
    -------
    (array, array)
        Leaving dry bulb [degC] and humidity ratio [kg/kg]: on the line of adiabatic saturation, so that
        enthalpy rises by what the water brings with it at wet-bulb temperature.

    References
    ----------
    Henderson and Rengarajan, ASHRAE Transactions 102(1), 1996, on moisture evaporated from idle coils
    (from memory). Adiabatic saturation: ASHRAE Handbook, Fundamentals 2017, ch. 1, eq. 33.
    """
    # air that is saturated already takes up nothing
    leaving_t = dry_bulb - saturation * np.maximum(dry_bulb - wet_bulb, 0.0)
    h = enthalpy(dry_bulb, humidity_ratio)
    brought = LIQUID_SPECIFIC_HEAT * wet_bulb
    latent = LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * leaving_t - brought
    leaving_w = (h - SPECIFIC_HEAT_DRY_AIR * leaving_t - humidity_ratio * brought) / latent
    return leaving_t, np.maximum(leaving_w, humidity_ratio)
