"""The air path in its order: return and outdoor air mixed, wrung out, and the fan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.machine.conditions import Conditions
from wringout.machine.design import AIR_EXPONENT, COIL_TO_EVAPORATING, WATER_EXPONENT, Design
from wringout.machine.parameters import Array, Values
from wringout.physics.air_constants import (
    KELVIN,
    LATENT_HEAT,
    SPECIFIC_HEAT_DRY_AIR,
    SPECIFIC_HEAT_VAPOUR,
    SPECIFIC_HEAT_WATER,
)
from wringout.physics.cooling_coil import (
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
    wet_bulb,
)
from wringout.physics.valve import equal_percentage, installed

__all__ = [
    "Airflows",
    "Cooling",
    "Mixed",
    "airflows",
    "condensing_over_outdoor",
    "cool",
    "fan_rise",
    "intake",
    "mix",
]

OUTDOOR_FOLLOWS = 0.5  # exponent by which outdoor air follows the fan: 0 it stays, 1 it goes along; judgement
MOST_DRAWN = 1.2  # of the healthy flow, above which a faster fan draws no more outdoor air; judgement
AFTER_FILTER_EXPONENT = 2.0  # a clogged filter and its duct resist with the square of the flow
CIRCUIT_EXPONENT = (
    0.25  # how the coil's air side loses with circuits that stand still: fins still conduct; judgement
)
CONDENSING_AT_PART = 0.35  # share of the condensing difference that is there at no load; judgement
CURRENT_PER_KELVIN = 0.010  # of condensing temperature, catalogue tables of scrolls (from memory)
STAGE_EDGE = 0.3  # a count within so much of a whole one means just that many stages
FOG_STEPS = 3  # of Newton's method; leave under 1e-6 of the humidity ratio
SATURATION_SLOPE = 5380.0  # K, latent heat over gas constant of vapour: relative rise of w_s by T**2
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
    volume = design.unit.air.outdoor_airflow * intake(p)
    return Airflows(supply, np.minimum(volume * outdoor_density, 0.98 * supply), ratio)


def intake(p: Values) -> Array:
    """Outdoor air against what the unit document says [-].

    Parameters
    ----------
    p : Values

    Returns
    -------
    array

    Notes
    -----
    When the fan moves less, by its speed or by what clogs its way, the mixing box draws less on both dampers
    and outdoor air falls with the total; where exhaust, stack or wind drive it, it stays. Which of the two
    is not in the document: the exponent between them is one of the unit's unknowns.
    """
    moved = np.minimum(p["fan_speed_ratio"] * p["filter_flow_ratio"] * p["dirt_flow_ratio"], MOST_DRAWN)
    follows = np.clip(OUTDOOR_FOLLOWS + p["outdoor_follows"], 0.0, 1.0)
    return np.asarray(p["outdoor_ratio"] * p["damper_ratio"] * moved**follows)


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
    # Magnus' formula is within 1 % and cheap: what it clears by 2 % cannot be fog
    foggy = np.flatnonzero(w * (design.pressure - 630.0) > 373.0 * np.exp(17.62 * t / (243.12 + t)))
    if not foggy.size:
        return Mixed(outdoor_w, space_w, return_t, t, w, np.zeros_like(t))
    t, w, h = t.copy(), np.broadcast_to(w, t.shape).copy(), np.broadcast_to(h, t.shape)
    fog = np.zeros_like(t)
    t[foggy], fog[foggy] = fogged(h[foggy], w[foggy], t[foggy], design.pressure)
    return Mixed(outdoor_w, space_w, return_t, t, w - fog, fog)


def fogged(h: Array, w: Array, t: Array, pressure: float) -> tuple[Array, Array]:
    """Dry bulb [degC] and water that falls out [kg/kg] where air would hold more than it can: saturated
    air and droplets of one temperature, heat and water kept; the air as it is where it can hold all."""
    start = t
    for _ in range(FOG_STEPS):
        held = saturated_humidity_ratio(t, pressure)
        rise = held * SATURATION_SLOPE / (t + KELVIN) ** 2
        latent = LATENT_HEAT + (SPECIFIC_HEAT_VAPOUR - SPECIFIC_HEAT_WATER) * t
        # the vapour that the heat at this temperature leaves room for, against what saturation holds
        vapour = (h - (SPECIFIC_HEAT_DRY_AIR + w * SPECIFIC_HEAT_WATER) * t) / latent
        t = np.maximum(t + (vapour - held) / (rise + SPECIFIC_HEAT_DRY_AIR / latent), start)
    latent = LATENT_HEAT + (SPECIFIC_HEAT_VAPOUR - SPECIFIC_HEAT_WATER) * t
    vapour = (h - (SPECIFIC_HEAT_DRY_AIR + w * SPECIFIC_HEAT_WATER) * t) / latent
    return t, np.maximum(w - vapour, 0.0)  # which only takes rounding away


def stage_on(stages: Array, i: int) -> Array:
    """How far a stage is on when so many are called: off or on, and in between only near the half."""
    return np.asarray(np.clip((stages - i - STAGE_EDGE) / (1.0 - 2.0 * STAGE_EDGE), 0.0, 1.0))


@dataclass(frozen=True)
class StageLoads:
    """Of each stage, for a call of so many: ``running`` [0..1], what it gives and would give if ``sound``
    [0..1 of its full capacity]; a stage that does not run gives nothing either way."""

    running: tuple[Array, ...]
    sound: tuple[Array, ...]
    given: tuple[Array, ...]


def stage_loads(design: Design, p: Values, c: Conditions) -> StageLoads:
    """How much of its capacity each stage gives, and whether it runs, for a call of so many stages."""
    running, sound, given = [], [], []
    for i, modulating in enumerate(design.stage_modulating):
        on = stage_on(c.stages, i) * (p[f"stage_load.{i}"] > 0.0)
        asked = on
        if modulating:
            held = p["unloaded_at"]
            asked = on * np.where(np.isnan(held), np.maximum(c.modulation, MODULATION_LEAST), held)
        running.append(on)
        sound.append(asked)
        given.append(asked * p[f"stage_capacity.{i}"])
    return StageLoads(tuple(running), tuple(sound), tuple(given))


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
        stages = stage_loads(design, p, c)
        active = sound = given = condensing = nothing
        for i, share in enumerate(design.stage_share):
            load = share * stages.sound[i]
            # causes state what they take of capacity themselves, so that what they do to the condensing
            # temperature counts no second time
            over = condensing_over_outdoor(design, p, i, stages.sound[i], gas_taken)
            active = active + share * stages.running[i]
            sound = sound + load
            given = given + share * stages.given[i]
            condensing = condensing + load * (over - p[f"condensing_add.{i}"])
        mean_over = condensing / np.maximum(sound, 1e-9)
        lift = np.where(sound > 1e-9, c.outdoor_t + mean_over - design.condensing_rated, 0.0)
        # they state it as heat that is moved: a compressor that pumps less finds a warmer coil, which gives
        # part of the loss back
        left = given * p["condenser_capacity_ratio"]
        left = left / (1.0 + design.evaporator_feedback * (sound - left))
        wetted = np.maximum(active, 0.05)
        bypass = bypass_factor(air_conductance * wetted**CIRCUIT_EXPONENT, flow.supply)
        balance = coil_compressor_balance(
            mixed.dry_bulb,
            mixed.humidity_ratio,
            flow.supply,
            bypass,
            design.cooling_total * p["capacity_ratio"] * left,
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
        return Cooling(
            air, stages.given, stages.running, rejected, nothing, nothing, nothing, evaporated, bulb
        )
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
    shape = air.dry_bulb.shape
    taking = np.broadcast_to(reach * c.rewetting, shape)
    evaporated, bulb = np.zeros(shape), air.dry_bulb.copy()
    idle = np.flatnonzero(taking > 0.0)
    if not idle.size:
        return air, evaporated, bulb
    t, w = air.dry_bulb.copy(), air.humidity_ratio.copy()
    bulb[idle] = wet_bulb(t[idle], w[idle], design.pressure)
    t[idle], w[idle] = evaporating_wet_coil(t[idle], w[idle], bulb[idle], taking[idle])
    evaporated = flow.supply * (w - air.humidity_ratio)
    drained = air.condensate - evaporated
    return air._replace(dry_bulb=t, humidity_ratio=w, condensate=drained), evaporated, bulb


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
