"""Recovered heat: the gas a plant has to give, the exchanger it goes through, and what leaves it.

Above its critical temperature the gas cools all the way and glides beside the water, as R744 does; under it
the gas condenses and the water comes no nearer than its condensing temperature (:mod:`condensing_heat`).
:func:`offer` and :func:`gas_side` are the same questions to both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.machine.condensing_heat import condensate_leaving, condensing, gas_before, share_on_offer
from wringout.machine.design import WATER_EXPONENT, Design
from wringout.machine.parameters import Array, Values
from wringout.physics.exchanger import counterflow

__all__ = ["Offer", "exchange", "gas_arriving", "gas_leaving", "gas_on_offer", "gas_side", "offer"]

GAS_SIDE_SHARE = 0.85  # of the exchanger's resistance at rating: gas films are poor (common practice)
TURNS = 8  # of the secant; four leave up to 0.2 % of the heat where the plates pinch
LEAST_HEAT = 1e-6  # W


@dataclass(frozen=True)
class Offer:
    """The most that the exchanger can do for the water, arrays (samples,).

    ``lift`` is how far it brings the water from its inlet towards ``towards`` [degC] at the present flow
    [-]; ``heat`` the most heat that the plant has for it [W], without limit where ``lift`` says it all.
    """

    lift: Array
    towards: Array
    heat: Array


def offer(design: Design, p: Values, main_rate: Array) -> Offer:
    """Give the most that the exchanger can do.

    Parameters
    ----------
    design : Design
    p : Values
    main_rate : array, (samples,), [W/K]
        Capacity rate of the loop's water.

    Returns
    -------
    Offer
    """
    nothing = np.zeros_like(main_rate)
    if design.gas_condenses:
        lift, towards, heat = condensing(design, p, main_rate)
        return Offer(lift, towards + nothing, heat + nothing)
    hot, on_offer = gas_on_offer(design, p)
    plate = plate_conductance(design, p, main_rate, on_offer)
    return Offer(exchange(plate, on_offer + nothing, main_rate) / main_rate, hot + nothing, nothing + np.inf)


def gas_side(
    design: Design, p: Values, main_rate: Array, most: Offer, source_in: Array, heat: Array, around: Array
) -> tuple[Array, Array, Array]:
    """What thermometers on the gas line read, and how much gas the heat takes.

    Parameters
    ----------
    design : Design
    p : Values
    main_rate : array, (samples,), [W/K]
        Capacity rate of the loop's water.
    most : Offer
    source_in : array, (samples,), [degC]
        Water into the exchanger.
    heat : array, (samples,), [W]
        What the water takes.
    around : array, (samples,), [degC]
        Air about the line.

    Returns
    -------
    (array, array, array)
        Gas before and behind the exchanger [degC]; the gas used as a share of the design's [-].
    """
    if design.gas_condenses:
        used = np.maximum(heat, 0.0) / design.source_heat
        arriving = gas_before(design, p, most.towards)
        return (
            gas_arriving(arriving, around, used),
            condensate_leaving(design, p, main_rate, most.towards, source_in, heat),
            used,
        )
    leaving, used = gas_leaving(design, p, main_rate, most.towards, source_in, heat)
    return gas_arriving(most.towards, around, used), leaving, used


def gas_on_offer(design: Design, p: Values) -> tuple[Array, Array]:
    """Hot gas that the plant has for the exchanger.

    Parameters
    ----------
    design : Design
    p : Values

    Returns
    -------
    (array, array)
        Its temperature [degC] and the most of its capacity rate [W/K], (samples,).
    """
    # gas left by an exchanger upstream comes cooler; its heat is taken as even over its temperature span
    span = design.gas_in + p["gas_in_shift"] - design.gas_out
    hot = design.gas_in + p["gas_in_shift"] - p["upstream_share"] * span
    return hot, design.gas_capacity_rate * share_on_offer(p)


def plate_conductance(design: Design, p: Values, main_rate: Array, gas_rate: Array) -> Array:
    """Conductance of the exchanger: the gas side governs, and goes with the gas's own flow.

    Parameters
    ----------
    design : Design
    p : Values
    main_rate : array, (samples,), [W/K]
        Capacity rate of the loop's water.
    gas_rate : array, (samples,), [W/K]
        Capacity rate of the gas.

    Returns
    -------
    array, (samples,), [W/K]

    References
    ----------
    Turbulent films go with the flow to the power 0.8 (Dittus and Boelter).
    """
    loop = design.loop
    assert loop is not None
    water_part = np.maximum(main_rate / (loop.main_flow * loop.density * loop.specific_heat), 1e-3)
    gas_part = np.maximum(gas_rate / design.gas_capacity_rate, 1e-4)
    resistance = (
        GAS_SIDE_SHARE * gas_part**-WATER_EXPONENT + (1.0 - GAS_SIDE_SHARE) * water_part**-WATER_EXPONENT
    )
    return np.asarray(design.exchanger_conductance * p["exchanger_ratio"] * p["fouling_ratio"] / resistance)


def exchange(conductance: Array, hot: Array, cold: Array) -> Array:
    """Heat of a counterflow exchanger per kelvin of inlet difference.

    Parameters
    ----------
    conductance : array, (samples,), [W/K]
    hot : array, (samples,), [W/K]
        Capacity rate of one stream.
    cold : array, (samples,), [W/K]
        Capacity rate of the other.

    Returns
    -------
    array, (samples,), [W/K]
    """
    least, most = np.minimum(hot, cold), np.maximum(hot, cold)
    least = np.maximum(least, 1e-9)
    return np.asarray(least * counterflow(conductance / least, least / np.maximum(most, 1e-9)))


def gas_leaving(
    design: Design,
    p: Values,
    main_rate: Array,
    hot: Array,
    source_in: Array,
    heat: Array,
) -> tuple[Array, Array]:
    """Gas behind the exchanger, and how much of it the heat takes.

    Parameters
    ----------
    design : Design
    p : Values
    main_rate : array, (samples,), [W/K]
        Capacity rate of the loop's water.
    hot : array, (samples,), [degC]
        Gas before the exchanger.
    source_in : array, (samples,), [degC]
        Water into the exchanger.
    heat : array, (samples,), [W]

    Returns
    -------
    (array, array)
        Gas temperature [degC]; its capacity rate as a share of the design's [-].

    Notes
    -----
    The flow of gas at which the exchanger passes just this heat; its conductance goes with that flow too.
    Heat rises with the flow and ever less steeply, so the flow lies between what would give it at full
    effectiveness and its share of what all the gas would give: secants of the logarithms from there. Gas
    temperature follows from heat and flow, so that both sides of the exchanger book the same heat.
    """
    wanted = np.maximum(heat, 0.0)
    _, on_offer = gas_on_offer(design, p)
    apart = np.maximum(hot - source_in, 1e-3)
    known = np.maximum(wanted, LEAST_HEAT)  # no heat takes no gas; a trickle stands in for the logarithms

    def passed(rate: Array) -> Array:
        """Logarithm of the heat that a capacity rate of gas gives, over what is wanted."""
        conductance = plate_conductance(design, p, main_rate, rate)
        return np.asarray(np.log(exchange(conductance, rate, main_rate) * apart / known))

    least, most = np.log(known / apart), np.log(on_offer)
    most = np.maximum(least, most)
    before, over = most, passed(np.exp(most))
    x = np.maximum(most - over, least)
    for _ in range(TURNS):
        here = passed(np.exp(x))
        run = x - before
        there = np.abs(run) > 1e-9
        slope = np.where(there, (here - over) / np.where(there, run, 1.0), 1.0)
        before, over = x, here
        x = np.clip(x - here / np.clip(slope, 0.02, 1.0), least, most)
    rate = np.where(wanted > 0.0, np.exp(x), 0.0)
    gas_out = hot - np.where(wanted > 0.0, wanted / np.where(rate > 0.0, rate, 1.0), apart)
    return gas_out, rate / design.gas_capacity_rate


def gas_arriving(hot: Array, around: Array, demand: Array) -> Array:
    """What a thermometer on the gas line reads: with next to no gas in it, hardly more than the room.

    Parameters
    ----------
    hot : array, (samples,), [degC]
    around : array, (samples,), [degC]
        Air about the line.
    demand : array, (samples,), [-]
        Capacity rate as a share of the design's.

    Returns
    -------
    array, (samples,), [degC]
    """
    return np.asarray(around + (hot - around) * np.exp(-0.03 / np.maximum(demand, 1e-4)))
