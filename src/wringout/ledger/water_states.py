"""Flows of the loop, and what the water side says of the air: the best source that the readings leave."""

from __future__ import annotations

import numpy as np

from wringout.ledger.quantity_sources import (
    Array,
    Known,
    Quantity,
    combine,
    first,
    from_model,
    from_reading,
    once,
)
from wringout.ledger.states import fan_rise, supply_flow, supply_t, supply_w
from wringout.ledger.transfer_laws import air_heat, water_heat

__all__ = ["coil_flow", "coil_t_worked_back", "loop_flow"]

T, WATER = "temperature", "water_flow"


@once
def loop_flow(known: Known) -> Quantity:
    """Flow in the loop's main [m3/s].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "loop flow"
    return first(
        from_reading(known, "loop.flow", name, WATER),
        from_model(known, "loop flow", name, WATER, known.as_found, ("loop.flow",)),
    )


@once
def coil_flow(known: Known) -> Quantity:
    """Flow through the reheat coil [m3/s]: read, a share of the main that was read, or expected.

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "reheat water flow"
    points = ("reheat.water_flow",)
    read = from_reading(known, "reheat.water_flow", name, WATER)
    main = from_reading(known, "loop.flow", name, WATER)
    if read is not None:
        return read
    if main is not None:
        share = from_model(
            known, "coil share", "coil's share of the loop flow", "fraction", known.as_found, points
        )
        return combine(name, WATER, lambda a, b: a * b, main, share)
    return from_model(known, "coil flow", name, WATER, known.as_found, points)


def coil_t_worked_back(known: Known) -> Quantity | None:
    """Dry bulb behind the cooling coil [degC], from the supply air less fan and what the water gave.

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity or None
        None where the supply air or the water was not read.
    """
    if not known.design.hot_water or not known.read("supply.t", "reheat.water_in", "reheat.water_out"):
        return None
    if not known.read("reheat.water_flow") and not known.read("loop.flow"):
        return None
    unit = known.design.unit

    def law(t: Array, rise: Array, m: Array, w: Array, q: Array, hot: Array, cold: Array) -> Array:
        return np.asarray(t - rise - water_heat(unit, q, hot, cold) / air_heat(m, t, t + 1.0, w))

    return combine(
        "coil leaving temperature, worked back",
        T,
        law,
        supply_t(known),
        fan_rise(known),
        supply_flow(known),
        supply_w(known),
        coil_flow(known),
        first(from_reading(known, "reheat.water_in", "reheat water in", T)),
        first(from_reading(known, "reheat.water_out", "reheat water out", T)),
    )
