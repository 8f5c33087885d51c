"""Routes of reheat, fan, pipes and source."""

from __future__ import annotations

import numpy as np

from wringout.ledger import states, water_states
from wringout.ledger.drafts import MOISTURE, PLATE, Draft, heat_of, needs, read_t, supply_read
from wringout.ledger.quantity_sources import Array, Known, Quantity, first, from_model, from_reading
from wringout.ledger.transfer_laws import air_heat, water_heat, water_rate

__all__ = ["fan", "loop", "reheat", "source"]


def reheat(known: Known) -> list[Draft]:
    """Draft the routes to the heat given back to the air.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of Draft
    """
    routes: list[Draft] = []
    if supply_read(known):

        def law(m: Array, a: Array, b: Array, rise: Array, w: Array) -> Array:
            return air_heat(m, a, b - rise, w)

        heat = heat_of(
            "heat",
            law,
            states.supply_flow(known),
            states.coil_t(known),
            states.supply_t(known),
            states.fan_rise(known),
            states.supply_w(known),
        )
        routes.append(Draft("air side", heat))
    else:
        routes.append(needs("air side", *known.missing("supply.t", "coil_leaving.t")))
    if not known.design.hot_water:
        why = "the flow of hot gas is no reading"
        return [*routes, Draft("refrigerant side", impossible=why)]
    routes.append(_reheat_water(known))
    routes.append(_source_less_pipes(known))
    return routes


def _reheat_water(known: Known) -> Draft:
    lacking = known.missing("reheat.water_in", "reheat.water_out")
    if lacking:
        return needs("water side", *known.missing("reheat.water_flow", *lacking))
    return Draft("water side", water_given(known))


def water_given(known: Known) -> Quantity:
    unit = known.design.unit
    return heat_of(
        "heat",
        lambda q, a, b: water_heat(unit, q, a, b),
        water_states.coil_flow(known),
        read_t(known, "reheat.water_in"),
        read_t(known, "reheat.water_out"),
    )


def _source_less_pipes(known: Known) -> Draft:
    name = "source less pipes"
    lacking = known.missing("source.water_in", "source.water_out")
    if lacking:
        return needs(name, *known.missing("loop.flow", *lacking))
    pipes = _pipes(known)
    return Draft(name, heat_of("heat", lambda a, b: a - b, _source_given(known), pipes))


def fan(known: Known) -> list[Draft]:
    """Draft the routes to the fan's heat.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of Draft
    """

    def law(m: Array, rise: Array, w: Array) -> Array:
        return air_heat(m, np.zeros_like(rise), rise, w)

    flow, w = states.supply_flow(known), states.supply_w(known)
    air = known.design.unit.air
    routes: list[Draft] = []
    if air.supply_fan.drive == "variable":
        if known.read("fan.speed"):
            routes.append(Draft("fan speed", heat_of("heat", law, flow, states.fan_rise(known), w)))
        else:
            routes.append(needs("fan speed", "fan.speed"))
    routes.append(_motor(known))
    name = "air side less reheat water"
    if known.design.hot_water:
        lacking = known.missing("supply.t", "coil_leaving.t", "reheat.water_in", "reheat.water_out")
        if lacking:
            routes.append(needs(name, *lacking))
        else:
            air_side = heat_of(
                "heat",
                lambda m, a, b, c: air_heat(m, a, b, c),
                flow,
                states.coil_t(known),
                states.supply_t(known),
                w,
            )
            routes.append(Draft(name, heat_of("heat", lambda a, b: a - b, air_side, water_given(known))))
    return routes


def _motor(known: Known) -> Draft:
    name = "motor current"
    if not known.read("fan.current"):
        return needs(name, "fan.current")
    fan = known.design.unit.air.supply_fan
    rise = from_model(
        known, "fan rise", "fan heat rise", "temperature_difference", known.schedule, ("fan.speed",)
    )
    plate = from_model(known, "parameter fan_current_ratio", "scheduled fan current", "fraction", PLATE, ())
    flow = from_model(
        known, "supply flow", "supply airflow", MOISTURE, known.schedule, ("supply.airflow",), airflow=True
    )
    current = first(from_reading(known, "fan.current", "fan current", "current"))

    def law(m: Array, k: Array, w: Array, amperes: Array, ratio: Array) -> Array:
        # near full load the power goes with the current
        return air_heat(m, np.zeros_like(k), k, w) * amperes / (fan.current * ratio)

    heat = heat_of("heat", law, flow, rise, states.supply_w(known), current, plate)
    return Draft(name, heat, weak="no voltage and power factor are read")


def _pipes(known: Known) -> Quantity:
    """Loss of both pipes by length, size and insulation, at the temperatures of the water in them."""
    loop = known.design.loop
    conductance = loop.pipe_conductance if loop is not None else 0.0
    spread = from_model(
        known, "parameter pipe", "pipe loss", "fraction", "length and insulation of the unit document", ()
    )
    hot = [read_t(known, p) for p in ("source.water_out", "reheat.water_in") if known.read(p)]
    returned = [read_t(known, p) for p in ("source.water_in", "reheat.water_out") if known.read(p)][:1]

    def law(k: Array, around: Array, *t: Array) -> Array:
        supply = np.mean(t[: len(hot)], axis=0)
        back = t[-1]  # without a reading of the return water that is the supply's
        return np.asarray(conductance * k * (supply + back - 2.0 * around))

    return heat_of("heat", law, spread, states.space_t(known), *hot, *returned)


def _source_given(known: Known) -> Quantity:
    unit = known.design.unit
    return heat_of(
        "heat",
        lambda q, a, b: water_heat(unit, q, a, b),
        water_states.loop_flow(known),
        read_t(known, "source.water_out"),
        read_t(known, "source.water_in"),
    )


_FOUR = ("source.water_out", "reheat.water_in", "reheat.water_out", "source.water_in")


def loop(known: Known) -> list[Draft]:
    """Draft the routes to the pipes' loss.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of Draft
    """
    routes: list[Draft] = []
    lacking = known.missing("loop.flow", "reheat.water_flow", *_FOUR)
    if lacking:
        routes.append(needs("source less coil", *lacking))
    else:
        heat = heat_of("heat", lambda a, b: a - b, _source_given(known), water_given(known))
        routes.append(Draft("source less coil", heat))
    lacking = known.missing("source.water_out", "reheat.water_in", "loop.flow")
    name = "drop along the supply pipe"
    if lacking:
        routes.append(needs(name, *lacking))
    else:
        unit = known.design.unit

        def law(q: Array, a: Array, b: Array, c: Array, around: Array) -> Array:
            # the return pipe loses as the supply pipe does, by its water over the room
            one = water_rate(unit, q, 0.5 * (a + b)) * (a - b)
            return np.asarray(one * (1.0 + (c - around) / np.maximum(0.5 * (a + b) - around, 1.0)))

        cold = "source.water_in" if known.read("source.water_in") else "reheat.water_in"
        parts = (
            water_states.loop_flow(known),
            read_t(known, "source.water_out"),
            read_t(known, "reheat.water_in"),
            read_t(known, cold),
            states.space_t(known),
        )
        routes.append(Draft(name, heat_of("heat", law, *parts)))
    if known.read("source.water_out") or known.read("reheat.water_in"):
        routes.append(Draft("pipe and insulation", _pipes(known)))
    else:
        routes.append(needs("pipe and insulation", "source.water_out"))
    return routes


def source(known: Known) -> list[Draft]:
    """Draft the routes to the heat that the source gives to the loop.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of Draft
    """
    lacking = known.missing("source.water_in", "source.water_out")
    routes = (
        [needs("water side", *known.missing("loop.flow", *lacking))]
        if lacking
        else [Draft("water side", _source_given(known))]
    )
    lacking = known.missing("reheat.water_in", "reheat.water_out")
    if lacking:
        routes.append(needs("coil and pipes", *known.missing("reheat.water_flow", *lacking)))
    else:
        heat = heat_of("heat", lambda a, b: a + b, water_given(known), _pipes(known))
        routes.append(Draft("coil and pipes", heat))
    if known.design.reclaim:
        why = "a drop of gas temperature tells no heat: the gas flow is no reading"
        routes.append(Draft("gas side", impossible=why))
    else:
        routes.append(Draft("fuel", impossible="the boiler's fuel is no reading"))
    return routes
