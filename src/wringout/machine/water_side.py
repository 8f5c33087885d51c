"""The reheat and what feeds it: valve, loop, coil and source, or a hot-gas coil on the unit's own stages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.machine.conditions import Conditions
from wringout.machine.design import (
    AIR_EXPONENT,
    GAS_RESERVE,
    RANGEABILITY,
    REHEAT_AIR_SHARE,
    WATER_EXPONENT,
    Design,
)
from wringout.machine.parameters import Array, Values
from wringout.physics.exchanger import counterflow
from wringout.physics.hydronics import STANDARD_GRAVITY, loop_flows
from wringout.physics.valve import equal_percentage

__all__ = ["Plug", "Reheat", "Water", "hot_gas", "plug", "water"]

HEALTHY_LEAKAGE = (
    0.008  # of full flow coefficient; seats of common control valves leak under 1 % (IEC 60534-4)
)
FLOW_SWITCH = 0.125  # of design flow, under which a source gives no heat (the sequence of operation)
BOILER_RESERVE = 1.15  # a boiler is a size larger than its schedule; judgement
GAS_SIDE_EXPONENT = 0.2  # reclaim conductance against water flow; the gas side governs


@dataclass(frozen=True)
class Plug:
    """Signal [V] at the actuator, position that the stem shows and that the plug has [0..1 coil open]."""

    signal: Array
    stem: Array
    position: Array


@dataclass(frozen=True)
class Water:
    """Flows [m3/s], pressures [Pa] and temperatures [degC] of the loop; ``gas_in`` and ``gas_out`` [degC]
    where heat is recovered.

    ``demand`` share of the gas on offer that is used [-]; ``source_heat`` what the source gives and
    ``reserve`` the most it could give at this return [W]; ``pipe_loss`` [W].
    """

    main: Array
    coil: Array
    head: Array
    strainer_drop: Array
    coil_in: Array
    coil_out: Array
    source_in: Array
    source_out: Array
    gas_in: Array
    gas_out: Array
    demand: Array
    source_heat: Array
    pipe_loss: Array
    reserve: Array


@dataclass(frozen=True)
class Reheat:
    """Heat given to the air [W] and, for hot water, the loop."""

    heat: Array
    water: Water | None


def plug(design: Design, p: Values, command: Array) -> Plug:
    """Carry a reheat command through output, wire and actuator to the plug of the valve.

    Parameters
    ----------
    design : Design
    p : Values
    command : array, (samples,), [0..1]

    Returns
    -------
    Plug
    """
    signal = design.unit.reheat.valve.signal
    low, high = signal.low, signal.high
    asked = np.where(p["signal_reversed"] > 0.5, 1.0 - command, command)
    # the output's own span: right, or the other of the two that the trade mixes up
    output_low = np.where(p["span_wrong"] > 0.5, 0.0 if low > 0.05 * high else 0.2 * high, low)
    opening_up = signal.coil_open_at == "high"
    travel = asked if opening_up else 1.0 - asked
    volts = output_low + travel * (high - output_low)
    seen = np.clip((volts - low) / (high - low), 0.0, 1.0)
    stem = seen if opening_up else 1.0 - seen
    stem = np.where(np.isnan(p["stuck_at"]), stem, p["stuck_at"])
    position = np.where(np.isnan(p["loose_at"]), stem, p["loose_at"])
    return Plug(volts, stem, position)


def coil_port(design: Design, p: Values, position: Array) -> Array:
    """Fraction of the full flow coefficient that the coil's port passes."""
    if design.unit.reheat.valve.characteristic == "equal_percentage":
        opened = equal_percentage(position, np.maximum(RANGEABILITY * p["rangeability_ratio"], 5.0))
    else:
        opened = position
    return np.maximum(opened, np.minimum(HEALTHY_LEAKAGE * p["leakage_ratio"], 0.05))


def flows(design: Design, p: Values, at: Plug) -> tuple[Array, Array, Array, Array]:
    """Flow in the main and through the coil [m3/s], pump pressure and strainer drop [Pa]."""
    loop = design.loop
    assert loop is not None
    pump_resistance = loop.pump_resistance * p["pump_ratio"] * p["pump_head_ratio"]
    shutoff = loop.shutoff_pressure * p["pump_ratio"] * p["pump_head_ratio"]
    strainer = loop.strainer_resistance * p["strainer_ratio"]
    main = loop.main_resistance * p["main_resistance_ratio"]
    coil = loop.coil_resistance * p["coil_resistance_ratio"]
    valve = loop.valve_resistance * p["valve_resistance_ratio"]
    bypass = loop.bypass_resistance * p["bypass_resistance_ratio"]
    # healthy pump, for the causes that are stated as a share of the healthy flow
    pump_fit = loop.pump_resistance * p["pump_ratio"]
    rest = pump_fit + main + strainer
    whole = rest + coil + valve
    strainer = strainer + (p["strainer_flow_ratio"] ** -2 - 1.0) * whole
    coil = coil + (p["coil_leg_flow_ratio"] ** -2 - 1.0) * whole
    coil = coil * p["coil_share"] ** 2  # a hand valve around the coil takes the rest of the leg's flow
    opened = np.maximum(coil_port(design, p, at.position), 1e-4)
    if design.three_way:
        # the ports share the passage; the bypass port closes in a straight line (common practice)
        other = np.maximum(1.0 - at.position, 2e-3)
        shut = p["bypass_flow_share"]
        hand = np.where(np.isnan(shut), 0.0, whole / np.maximum(np.nan_to_num(shut, nan=1.0), 1e-3) ** 2)
        bypass = bypass + valve / other**2 + hand
    # a valve that leaks passes a share of the full coil flow when shut: an opening in parallel to the plug's
    leak = p["valve_leak"]
    leg = coil + valve / opened**2
    full = coil + valve
    leaking = np.where(leak > 0.0, full / np.maximum(leak, 1e-6) ** 2, np.inf)
    leg = np.minimum(leg, leaking)
    result = loop_flows(shutoff, pump_resistance, main + strainer, leg, bypass)
    through = result.coil * p["coil_share"]
    return result.main, through, result.pump_head, strainer * result.main**2


def exchange(conductance: Array, hot: Array, cold: Array) -> Array:
    """Heat per kelvin of inlet difference of a counterflow exchanger [W/K]."""
    least, most = np.minimum(hot, cold), np.maximum(hot, cold)
    least = np.maximum(least, 1e-9)
    return least * counterflow(conductance / least, least / np.maximum(most, 1e-9))


def water(design: Design, p: Values, c: Conditions, at: Plug, air_t: Array, dry_air_flow: Array) -> Reheat:
    """Hot-water reheat: flows, and the temperatures at which loop, coil, pipes and source agree.

    Parameters
    ----------
    design : Design
    p : Values
    c : Conditions
    at : Plug
    air_t : array, (samples,), [degC]
        Air onto the reheat coil.
    dry_air_flow : array, (samples,), [kg/s]

    Returns
    -------
    Reheat

    Notes
    -----
    With fixed flows everything is linear in temperature, so that the loop closes in one step, either at
    the source's set temperature or at the most it can give.
    """
    loop = design.loop
    assert loop is not None
    main, coil, head, strainer_drop = flows(design, p, at)
    per_flow = loop.density * loop.specific_heat
    main_rate = np.maximum(main, 1e-9) * per_flow
    coil_rate = np.maximum(np.minimum(coil, main), 1e-10) * per_flow
    air_rate = dry_air_flow * 1016.0
    ratio_air = dry_air_flow / design.reheat_rated_flow
    ratio_water = np.maximum(coil_rate / design.reheat_water_rate, 1e-5)
    conductance = (
        design.reheat_conductance
        * p["reheat_coil_ratio"]
        / (
            REHEAT_AIR_SHARE * ratio_air**-AIR_EXPONENT
            + (1 - REHEAT_AIR_SHARE) * ratio_water**-WATER_EXPONENT
        )
    )
    pull = exchange(conductance, coil_rate, air_rate)  # W per kelvin between water in and air
    around = c.space_t
    kept = np.exp(-loop.pipe_conductance / main_rate)
    # coil_in = around + kept (source_out - around); mixed = coil_in - pull (coil_in - air)/main
    drawn = np.minimum(pull / main_rate, 1.0)
    # source_in = a + b * source_out
    b = kept * kept * (1.0 - drawn)
    a = around * (1.0 - kept) + kept * ((1.0 - kept) * around * (1.0 - drawn) + drawn * air_t)
    lost = a / np.maximum(1.0 - b, 1e-9)  # what the loop comes to with no source
    asked = design.source_out + p["source_out_shift"] + p["boiler_shift"]
    # under the flow switch the source is off
    live = 1.0 / (1.0 + np.exp(-np.clip((main / loop.main_flow - FLOW_SWITCH) / 0.004, -40.0, 40.0)))
    nothing = np.zeros_like(main_rate)
    gas_in = gas_out = demand = nothing
    if design.reclaim:
        # gas left by an exchanger upstream comes cooler; its heat is taken as even over its temperature span
        span = design.gas_in + p["gas_in_shift"] - design.gas_out
        hot = design.gas_in + p["gas_in_shift"] - p["upstream_share"] * span
        on_offer = design.gas_capacity_rate * GAS_RESERVE * p["plant_ratio"] * np.minimum(p["gas_share"], 2.0)
        # causes are stated against the design heat, not against the reserve
        on_offer = np.where(p["gas_share"] < 1.0, on_offer / GAS_RESERVE / p["plant_ratio"], on_offer)
        plate = (
            design.exchanger_conductance
            * p["exchanger_ratio"]
            * p["fouling_ratio"]
            * np.maximum(main_rate / (loop.main_flow * per_flow), 1e-3) ** GAS_SIDE_EXPONENT
        )
        lift = exchange(plate, on_offer, main_rate) / main_rate
        most = ((1.0 - lift) * a + lift * hot) / np.maximum(1.0 - (1.0 - lift) * b, 1e-9)
        source_out = np.where(asked < most, np.maximum(asked, lost), most)
        source_out = lost + live * (source_out - lost)
        source_in = a + b * source_out
        heat = main_rate * (source_out - source_in)
        reserve = lift * main_rate * np.maximum(hot - source_in, 0.0) * live
        # how much gas that takes: a few fixed-point steps on the gas flow
        difference = np.maximum(hot - source_in, 1.0)
        gas = np.minimum(np.maximum(heat, 1.0) / difference, on_offer)
        for _ in range(4):
            gas = np.clip(
                gas * heat / np.maximum(exchange(plate, gas, main_rate) * difference, 1.0), 1e-3, on_offer
            )
        demand = np.clip(gas / (design.gas_capacity_rate), 0.0, 3.0)
        # by effectiveness, not by heat over flow: a trickle of gas leaves at the water's temperature
        gas_out = hot - exchange(plate, gas, main_rate) / np.maximum(gas, 1e-3) * (hot - source_in)
        # a line with next to no gas in it is no hotter than the plant room's pipes
        gas_in = around + (hot - around) * np.exp(-0.03 / np.maximum(demand, 1e-4))
    else:
        most_heat = design.source_heat * BOILER_RESERVE
        limited = (a + most_heat / main_rate) / np.maximum(1.0 - b, 1e-9)
        source_out = np.maximum(np.minimum(asked, limited), lost)
        source_out = lost + live * (source_out - lost)
        source_in = a + b * source_out
        heat = main_rate * (source_out - source_in)
        reserve = most_heat * live
    coil_in = around + kept * (source_out - around)
    given = pull * (coil_in - air_t)
    coil_out = coil_in - given / coil_rate
    metres = head / (loop.density * STANDARD_GRAVITY)
    loss = heat - given
    state = Water(
        main,
        coil,
        metres,
        strainer_drop,
        coil_in,
        coil_out,
        source_in,
        source_out,
        gas_in,
        gas_out,
        demand,
        heat,
        loss,
        reserve,
    )
    return Reheat(given, state)


def hot_gas(
    design: Design,
    p: Values,
    c: Conditions,
    at: Plug,
    air_t: Array,
    dry_air_flow: Array,
    rejected: Array,
    condensing: Array,
) -> Reheat:
    """Hot-gas reheat: a share of the running stages' discharge gas, as far as the coil can condense it.

    Parameters
    ----------
    design : Design
    p : Values
    c : Conditions
    at : Plug
    air_t : array, (samples,), [degC]
        Air onto the reheat coil.
    dry_air_flow : array, (samples,), [kg/s]
    rejected : array, (samples,), [W]
        Heat that the running stages give to their condensers.
    condensing : array, (samples,), [degC]

    Returns
    -------
    Reheat

    Notes
    -----
    The smaller of what the gas carries and what the coil can take from it at condensing temperature,
    rounded where they meet.
    """
    ratio = dry_air_flow / design.reheat_rated_flow
    units = design.hot_gas_effectiveness_units * p["reheat_coil_ratio"] * ratio ** (AIR_EXPONENT - 1.0)
    most = dry_air_flow * 1016.0 * (1.0 - np.exp(-units)) * np.maximum(condensing - air_t, 0.0)
    share = np.maximum(
        coil_port(design, p, at.position), np.minimum(HEALTHY_LEAKAGE * p["leakage_ratio"], 0.05)
    )
    carried = share * np.maximum(rejected, 0.0) * p["hot_gas_ratio"]
    n = 6.0
    heat = carried * most / np.maximum((carried**n + most**n) ** (1.0 / n), 1e-9)
    # a leaking valve is stated as a share of the full heat
    leak = p["valve_leak"]
    full = np.minimum(most, np.maximum(rejected, 0.0) * p["hot_gas_ratio"])
    return Reheat(np.maximum(heat, leak * full), None)
