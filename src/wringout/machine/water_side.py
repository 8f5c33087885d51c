"""The reheat and what feeds it: valve, loop, coil and source, or a hot-gas coil on the unit's own stages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.machine.conditions import Conditions
from wringout.machine.design import (
    AIR_EXPONENT,
    RANGEABILITY,
    REHEAT_AIR_SHARE,
    WATER_EXPONENT,
    Design,
)
from wringout.machine.parameters import Array, Values
from wringout.machine.recovered_heat import exchange, gas_side, offer
from wringout.physics.hydronics import STANDARD_GRAVITY, loop_flows
from wringout.physics.valve import equal_percentage

__all__ = ["Plug", "Reheat", "Water", "hot_gas", "plug", "water"]

HEALTHY_LEAKAGE = (
    0.008  # of full flow coefficient; seats of common control valves leak under 1 % (IEC 60534-4)
)
FLOW_SWITCH = 0.125  # of design flow, under which a source gives no heat (the sequence of operation)
BOILER_RESERVE = 1.15  # a boiler is a size larger than its schedule; judgement


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


def plug(design: Design, p: Values, command: Array, left_open: Array | float = 0.0) -> Plug:
    """Carry a reheat command through output, wire and actuator to the plug of the valve.

    Parameters
    ----------
    design : Design
    p : Values
    command : array, (samples,), [0..1]
    left_open : array, (samples,), [0..1], optional
        Position that an actuator on its way down has not yet left.

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
    stem = np.maximum(stem, left_open)
    stem = np.where(np.isnan(p["stuck_at"]), stem, p["stuck_at"])
    position = np.where(np.isnan(p["loose_at"]), stem, p["loose_at"])
    return Plug(volts, stem, position)


def coil_port(design: Design, p: Values, position: Array) -> Array:
    """Fraction of the full flow coefficient that the coil's port passes."""
    if design.unit.reheat.valve.characteristic == "equal_percentage":
        opened = equal_percentage(position, np.maximum(RANGEABILITY * p["rangeability_ratio"], 5.0))
    else:
        opened = position
    return np.maximum(opened, port_leak(p))


def port_leak(p: Values) -> Array:
    """Fraction of the full flow coefficient that a sound valve still passes when shut."""
    return np.minimum(HEALTHY_LEAKAGE * p["leakage_ratio"], 0.05)


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
    opened = np.maximum(coil_port(design, p, at.position), 1e-4)
    open_bypass = bypass
    if design.three_way:
        # the ports share the passage; the bypass port closes in a straight line (common practice)
        open_bypass = bypass + valve
        bypass = bypass + valve / np.maximum(1.0 - at.position, 2e-3) ** 2
    leg = coil + valve / opened**2
    stated = [p[name] for name in ("strainer_flow_ratio", "coil_leg_flow_ratio", "coil_share")]
    leak, kept = p["valve_leak"], p["bypass_flow_share"]
    if any(np.any(ratio < 1.0) for ratio in stated) or np.any(leak > 0.0) or not np.all(np.isnan(kept)):
        # causes are stated as shares of the healthy machine's full-open flow
        rest = loop.pump_resistance * p["pump_ratio"] + main + strainer
        beside = 0.0 if design.three_way else 1.0 / np.sqrt(bypass)
        legs = (1.0 / np.sqrt(coil + valve) + beside) ** -2
        whole = rest + legs
        full = np.sqrt(legs / (whole * (coil + valve)))  # of the coil, with a pump of 1 Pa
        strainer = strainer + (stated[0] ** -2 - 1.0) * whole
        coil = coil + np.where(
            stated[1] < 1.0, leg_passing(stated[1] * full, rest, beside) - coil - valve, 0.0
        )
        # a hand valve around the coil takes the rest of the leg's flow, and eases the leg by it
        others = rest + valve
        through = stated[2] * np.sqrt(others / (others + coil * (1.0 - stated[2] ** 2)))
        leg = coil * through**2 + valve / opened**2
        # a shut valve that leaks: an opening beside the plug's
        leaking = leg_passing(np.maximum(leak, 1e-6) * full, rest, 1.0 / np.sqrt(open_bypass))
        leg = np.where(leak > 0.0, np.minimum(leg, leaking), leg)
        if design.three_way:
            shut = coil + valve / port_leak(p) ** 2
            bypass = bypass + hand_valve(kept, rest, whole, open_bypass, shut)
        result = loop_flows(shutoff, pump_resistance, main + strainer, leg, bypass)
        return result.main, result.coil * through, result.pump_head, strainer * result.main**2
    result = loop_flows(shutoff, pump_resistance, main + strainer, leg, bypass)
    return result.main, result.coil, result.pump_head, strainer * result.main**2


def leg_passing(flow: Array, rest: Array, beside: Array | float) -> Array:
    """Resistance of the coil leg through which just this flow passes, for a pump of 1 Pa [Pa/(m3/s)2];
    ``beside`` is the bypass leg's conductance."""
    # drop over the legs, its root x: 1 = rest (flow + x beside)^2 + x^2
    a = rest * beside * beside + 1.0
    b = rest * beside * flow
    root = (np.sqrt(np.maximum(b * b + a * (1.0 - rest * flow * flow), 0.0)) - b) / a
    return np.asarray((root / flow) ** 2)


def hand_valve(share: Array, rest: Array, whole: Array, bypass: Array, shut_leg: Array) -> Array:
    """Resistance that a hand valve adds to the bypass leg, so that the main keeps a share of its full flow
    once the control valve has left the coil; 0 where the share is NaN."""
    flow = share / np.sqrt(whole)
    # what leaks through the shut coil port is part of that flow
    legs = flow / np.sqrt(1.0 - rest * flow * flow)
    beside = np.maximum(legs - 1.0 / np.sqrt(shut_leg), 1e-3 * legs)
    return np.where(np.isnan(share), 0.0, np.maximum(beside**-2 - bypass, 0.0))


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
    # standing water is a trickle that carries microwatts
    main_rate = np.maximum(main, 1e-12) * per_flow
    coil_rate = np.maximum(np.minimum(coil, main), 1e-13) * per_flow
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
        can = offer(design, p, main_rate)
        pinched = ((1.0 - can.lift) * a + can.lift * can.towards) / np.maximum(
            1.0 - (1.0 - can.lift) * b, 1e-9
        )
        most = np.minimum(pinched, (a + can.heat / main_rate) / np.maximum(1.0 - b, 1e-9))
        source_out = np.where(asked < most, np.maximum(asked, lost), most)
        source_out = lost + live * (source_out - lost)
        source_in = a + b * source_out
        heat = main_rate * (source_out - source_in)
        reserve = live * np.minimum(can.lift * main_rate * np.maximum(can.towards - source_in, 0.0), can.heat)
        gas_in, gas_out, demand = gas_side(design, p, main_rate, can, source_in, heat, around)
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
    given = np.maximum(rejected, 0.0)
    heat = rounded_least(
        np.minimum(coil_port(design, p, at.position) * p["hot_gas_ratio"], 1.0) * given, most
    )
    leak = p["valve_leak"]
    if np.any(leak > 0.0):
        # a leaking valve is stated as a share of the full heat
        heat = np.maximum(heat, leak * rounded_least(np.minimum(p["hot_gas_ratio"], 1.0) * given, most))
    return Reheat(heat, None)


def rounded_least(a: Array, b: Array) -> Array:
    """The smaller of two heats, rounded where they meet: a b / (a^6 + b^6)^(1/6)."""
    least, most = np.minimum(a, b), np.maximum(a, b)
    cube = (least / np.maximum(most, 1e-9)) ** 2
    cube = cube * cube * cube
    return np.asarray(least / np.sqrt(np.cbrt(1.0 + cube)))
