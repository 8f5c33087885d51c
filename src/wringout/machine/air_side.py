"""The air path in its order: return and outdoor air mixed, wrung out, and the fan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.machine.conditions import Conditions
from wringout.machine.design import AIR_EXPONENT, COIL_TO_EVAPORATING, WATER_EXPONENT, Design
from wringout.machine.parameters import Array, Values
from wringout.physics.air_constants import LATENT_HEAT, SPECIFIC_HEAT_DRY_AIR, SPECIFIC_HEAT_VAPOUR
from wringout.physics.cooling_coil import (
    LIQUID_SPECIFIC_HEAT,
    CoilAir,
    air_after_surface,
    bypass_factor,
    chilled_water_coil,
    evaporating_wet_coil,
)
from wringout.physics.direct_expansion import coil_compressor_balance
from wringout.physics.moist_air import (
    dry_bulb_from_enthalpy,
    enthalpy,
    saturated_humidity_ratio,
    temperature_of_saturated_enthalpy,
    wet_bulb,
)
from wringout.physics.valve import equal_percentage, installed

__all__ = ["Airflows", "Cooling", "Mixed", "airflows", "condensing_over_outdoor", "cool", "fan_rise", "mix"]

AFTER_FILTER_EXPONENT = 2.0  # a clogged filter and its duct resist with the square of the flow
CIRCUIT_EXPONENT = (
    0.25  # how the coil's air side loses with circuits that stand still: fins still conduct; judgement
)
CONDENSING_AT_PART = 0.35  # share of the condensing difference that is there at no load; judgement
CURRENT_PER_KELVIN = 0.010  # of condensing temperature, catalogue tables of scrolls (from memory)
STAGE_EDGE = 0.3  # a count within so much of a whole one means just that many stages
FOG_STEPS = 3  # droplets carry little heat, so the temperature settles at once
MODULATION_LEAST = 0.15  # a modulating stage's least output, common practice 10 to 25 %


@dataclass(frozen=True)
class Airflows:
    """Dry-air mass flows [kg/s] of supply and outdoor air, ``ratio`` of supply to design [-]."""

    supply: Array
    outdoor: Array
    ratio: Array


@dataclass(frozen=True)
class Mixed:
    """Air before the coil and behind the room: dry bulbs [degC], humidity ratios [kg/kg].

    ``fog`` is water that the mixture cannot hold as vapour [kg/kg]: it drifts onto the coil and drains.
    """

    outdoor_w: Array
    space_w: Array
    return_t: Array
    dry_bulb: Array
    humidity_ratio: Array
    fog: Array


@dataclass(frozen=True)
class Cooling:
    """What the cooling does: air behind the coil, and what each stage or the water does.

    ``load`` of each stage [0..1 of its full capacity], ``running`` whether each stage draws current [0..1],
    ``rejected`` heat to condensers [W]; ``stem`` of the chilled-water valve [0..1], ``water_in`` and
    ``water_out`` [degC]; ``evaporated`` water that a coil standing still gives back to the air [kg/s], at
    ``evaporated_t`` [degC]; ``air.condensate`` is net of it.
    """

    air: CoilAir
    load: tuple[Array, ...]
    running: tuple[Array, ...]
    rejected: Array
    stem: Array
    water_in: Array
    water_out: Array
    evaporated: Array
    evaporated_t: Array


def airflows(design: Design, p: Values, c: Conditions) -> Airflows:
    """Air that the fan moves, and the part of it that comes from outdoors.

    Parameters
    ----------
    design : Design
    p : Values
    c : Conditions

    Returns
    -------
    Airflows
    """
    ratio = p["air_ratio"] * p["fan_speed_ratio"] * p["filter_flow_ratio"] * p["dirt_flow_ratio"]
    supply = design.air_flow * ratio
    outdoor_density = design.pressure / (287.042 * (c.outdoor_t + 273.15) * 1.012)
    volume = design.unit.air.outdoor_airflow * p["outdoor_ratio"] * p["damper_ratio"]
    # the outdoor share is fixed by pressures at the mixing box: a slow fan draws less of both
    outdoor = np.minimum(volume * outdoor_density * np.minimum(p["fan_speed_ratio"], 1.2), 0.98 * supply)
    return Airflows(supply, outdoor, ratio)


def mix(design: Design, p: Values, c: Conditions, flow: Airflows) -> Mixed:
    """Air onto the cooling coil: heat and water of both parts booked exactly.

    Parameters
    ----------
    design : Design
    p : Values
    c : Conditions
    flow : Airflows

    Returns
    -------
    Mixed
    """
    outdoor_w = saturated_humidity_ratio(np.minimum(c.outdoor_dew_point, c.outdoor_t), design.pressure)
    space_w = saturated_humidity_ratio(np.minimum(c.space_dew_point, c.space_t), design.pressure)
    return_t = c.space_t + p["return_rise"]
    share = flow.outdoor / flow.supply
    w = space_w + share * (outdoor_w - space_w)
    h_return = enthalpy(return_t, space_w)
    h = h_return + share * (enthalpy(c.outdoor_t, outdoor_w) - h_return)
    t = dry_bulb_from_enthalpy(h, w)
    # only a mixture colder than one of its dew points can be more than saturated
    near = np.flatnonzero(t < np.maximum(c.outdoor_dew_point, c.space_dew_point))
    fog = np.zeros_like(t)
    if near.size:
        h, w = np.broadcast_arrays(h, w)
        near = near[w[near] > saturated_humidity_ratio(t[near], design.pressure)]
    if near.size:
        t[near], fog[near] = fogged(h[near], w[near], t[near], design.pressure)
        w = w - fog
    return Mixed(outdoor_w, space_w, return_t, t, w, fog)


def fogged(h: Array, w: Array, t: Array, pressure: float) -> tuple[Array, Array]:
    """Dry bulb [degC] and water that falls out [kg/kg] where air would hold more than it can: saturated
    air and droplets of one temperature, heat and water kept."""
    drops = w - saturated_humidity_ratio(t, pressure)
    for _ in range(FOG_STEPS):
        liquid = LIQUID_SPECIFIC_HEAT * t
        t = temperature_of_saturated_enthalpy(h - drops * liquid, pressure)
        # what is left once the vapour alone has to account for the heat at this temperature
        vapour = (h - SPECIFIC_HEAT_DRY_AIR * t - w * LIQUID_SPECIFIC_HEAT * t) / (
            LATENT_HEAT + (SPECIFIC_HEAT_VAPOUR - LIQUID_SPECIFIC_HEAT) * t
        )
        drops = w - vapour
    return t, drops


def stage_on(stages: Array, i: int) -> Array:
    """How far a stage is on when so many are called: off or on, and in between only near the half."""
    return np.asarray(np.clip((stages - i - STAGE_EDGE) / (1.0 - 2.0 * STAGE_EDGE), 0.0, 1.0))


def stage_loads(design: Design, p: Values, c: Conditions) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """How much of its capacity each stage gives, and whether it runs, for a call of so many stages."""
    loads, runs = [], []
    for i, modulating in enumerate(design.stage_modulating):
        called = stage_on(c.stages, i)
        load = called * p[f"stage_capacity.{i}"]
        if modulating:
            held = p["unloaded_at"]
            asked = np.maximum(c.modulation, MODULATION_LEAST)
            load = load * np.where(np.isnan(held), asked, held)
        loads.append(load)
        runs.append(called * (p[f"stage_load.{i}"] > 0.0))
    return tuple(loads), tuple(runs)


def condensing_over_outdoor(design: Design, p: Values, i: int, part: Array, gas_taken: Array) -> Array:
    """Condensing temperature of one stage over outdoor air, at part load and with some gas sent to reheat.

    Parameters
    ----------
    design : Design
    p : Values
    i : int
        Which stage.
    part : array, (samples,), [0..1]
        Its load.
    gas_taken : array, (samples,), [0..1]
        Share of the rejected heat that a hot-gas reheat coil takes.

    Returns
    -------
    array, (samples,), [K]
    """
    healthy = design.unit.cooling.condensing_over_outdoor or 14.0
    loaded = CONDENSING_AT_PART + (1.0 - CONDENSING_AT_PART) * part
    return healthy * loaded * (1.0 - 0.42 * gas_taken) + p[f"condensing_shift.{i}"] + p[f"condensing_add.{i}"]


def cool(design: Design, p: Values, c: Conditions, flow: Airflows, mixed: Mixed, gas_taken: Array) -> Cooling:
    """Air behind the cooling coil, whichever kind of cooling does it.

    Parameters
    ----------
    design : Design
    p : Values
    c : Conditions
    flow : Airflows
    mixed : Mixed
    gas_taken : array, (samples,), [-]
        Share of the rejected heat that a hot-gas reheat coil takes; 0 where there is none.

    Returns
    -------
    Cooling
    """
    ratio = flow.supply / design.cooling_rated_flow
    air_conductance = (
        design.cooling_air_conductance * p["cooling_coil_ratio"] * p["coil_dirt_ratio"] * ratio**AIR_EXPONENT
    )
    nothing = np.zeros_like(mixed.dry_bulb)
    if design.dx:
        loads, runs = stage_loads(design, p, c)
        shares = design.stage_share
        active = sum((s * np.minimum(r, 1.0) for s, r in zip(shares, runs, strict=True)), nothing)
        condensing = nothing
        given = nothing
        for i, (share, load) in enumerate(zip(shares, loads, strict=True)):
            over = condensing_over_outdoor(design, p, i, np.minimum(load, 1.0), gas_taken)
            given = given + share * load
            condensing = condensing + share * load * over
        mean_over = condensing / np.maximum(given, 1e-9)
        lift = np.where(given > 1e-9, c.outdoor_t + mean_over - design.condensing_rated, 0.0)
        wetted = np.maximum(active, 0.05)
        bypass = bypass_factor(air_conductance * wetted**CIRCUIT_EXPONENT, flow.supply)
        balance = coil_compressor_balance(
            mixed.dry_bulb,
            mixed.humidity_ratio,
            flow.supply,
            bypass,
            design.cooling_total * p["capacity_ratio"] * given,
            lift,
            design.surface_rated - COIL_TO_EVAPORATING,
            COIL_TO_EVAPORATING / (design.cooling_total * wetted),
            design.pressure,
        )
        air = air_after_surface(
            mixed.dry_bulb, mixed.humidity_ratio, flow.supply, bypass, balance.surface, design.pressure
        )
        idle = np.clip(1.0 - c.stages, 0.0, 1.0)
        reach = idle * (1.0 - bypass_factor(air_conductance, flow.supply))
        air, evaporated, bulb = rewet(design, c, flow, air, reach)
        # the compressors' work goes to the condenser too: about a quarter of the cooling (common practice)
        rejected = 1.25 * air.total
        return Cooling(air, loads, runs, rejected, nothing, nothing, nothing, evaporated, bulb)
    asked = c.modulation * np.clip(c.stages, 0.0, 1.0)
    stuck = p["chilled_stuck"]
    stem = np.clip(np.where(np.isnan(stuck), asked, stuck), 0.0, 1.0) + nothing
    opening = installed(np.maximum(equal_percentage(stem), 0.006), 0.5)
    rate = design.chilled_capacity_rate * p["chilled_flow_ratio"] * opening
    water_in = design.chilled_in + p["chilled_in_shift"] + p["chilled_warm"] + nothing
    water_conductance = (
        design.cooling_water_conductance
        * p["cooling_water_ratio"]
        * np.maximum(opening, 0.01) ** WATER_EXPONENT
    )
    air, _ = chilled_water_coil(
        mixed.dry_bulb,
        mixed.humidity_ratio,
        flow.supply,
        water_in,
        rate,
        air_conductance + nothing,
        water_conductance,
        design.pressure,
    )
    water_out = water_in + air.total / np.maximum(rate, 1e-6)
    idle = np.clip(1.0 - stem / 0.05, 0.0, 1.0)
    reach = idle * (1.0 - bypass_factor(air_conductance, flow.supply))
    air, evaporated, bulb = rewet(design, c, flow, air, reach)
    return Cooling(air, (), (), nothing, stem, water_in, water_out, evaporated, bulb)


def rewet(
    design: Design, c: Conditions, flow: Airflows, air: CoilAir, reach: Array
) -> tuple[CoilAir, Array, Array]:
    """Let a coil that stands still give retained water back to the air, as far as there is any: the air,
    what it took up [kg/s] and the temperature of that water [degC]."""
    taking = reach * c.rewetting
    if not np.any(taking > 0.0):
        return air, np.zeros_like(air.dry_bulb), air.dry_bulb
    bulb = wet_bulb(air.dry_bulb, air.humidity_ratio, design.pressure)
    t, w = evaporating_wet_coil(air.dry_bulb, air.humidity_ratio, bulb, taking)
    given = flow.supply * (w - air.humidity_ratio)
    return air._replace(dry_bulb=t, humidity_ratio=w, condensate=air.condensate - given), given, bulb


def fan_rise(design: Design, p: Values) -> Array:
    """Heat rise of the air over the fan: the pressure it makes goes with the square of its speed.

    Parameters
    ----------
    design : Design
    p : Values

    Returns
    -------
    array, (samples,), [K]
    """
    return design.unit.air.supply_fan.heat_rise * p["fan_heat_ratio"] * p["fan_speed_ratio"] ** 2
