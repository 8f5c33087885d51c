"""Every transfer with its routes, or why a route cannot be had from the readings at hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wringout.ledger import air_routes, loop_routes, states
from wringout.ledger.drafts import (
    HEAT,
    MOISTURE,
    Draft,
    brought_in,
    bucket_of,
    heat_of,
    needs,
    supply_moist,
    supply_read,
)
from wringout.ledger.quantity_sources import Array, Known, Quantity, combine, from_model
from wringout.ledger.transfer_laws import air_heat, air_moisture

__all__ = ["TRANSFERS", "Transfer", "transfers"]


@dataclass(frozen=True)
class Transfer:
    """A line of the ledger: ``key`` names its expectation, ``meaning`` what a positive amount is."""

    key: str
    title: str
    meaning: str
    routes: Callable[[Known], list[Draft]]
    applies: Callable[[Known], bool] = lambda known: True


def room(known: Known) -> list[Draft]:
    routes: list[Draft] = []
    heat: Quantity | None = None
    moisture: Quantity | None = None
    flow = states.supply_flow(known)
    if supply_read(known):

        def law(m: Array, a: Array, b: Array, w: Array) -> Array:
            return air_heat(m, a, b, w)

        parts = (states.supply_t(known), states.space_t(known), states.supply_w(known))
        heat = heat_of("heat", law, flow, *parts)
    if supply_moist(known):
        moisture = combine(
            "moisture", MOISTURE, air_moisture, flow, states.supply_w(known), states.space_w(known)
        )
    if heat is None:
        routes.append(needs("supply air", "supply.t"))
    else:
        routes.append(Draft("supply air", heat, moisture))
    bucket = bucket_of(known)
    if bucket is None:
        routes.append(needs("condensate less outdoor air", "condensate.rate"))
    elif known.read("outdoor.rh") or known.read("shown.outdoor_dew_point"):
        _, brought = brought_in(known, states.outdoor_flow(known))
        left = combine("moisture", MOISTURE, lambda a, b: a - b, bucket, brought)
        routes.append(Draft("condensate less outdoor air", moisture=left))
    else:
        routes.append(needs("condensate less outdoor air", "outdoor.rh"))
    routes.append(_gains(known))
    return routes


def _gains(known: Known) -> Draft:
    """What comes into the room by the document, in a room that has come to rest."""
    name = "gains of the document"
    if known.state != "auto":
        return Draft(name, impossible="a room in a forced state is not at rest")
    if not known.read("outdoor.t"):
        return needs(name, "outdoor.t")
    why = "people, doors and gains of the unit document"
    heat = from_model(known, "gained heat", "heat gains", HEAT, why, ())
    moisture = from_model(known, "gained moisture", "moisture gains", MOISTURE, why, ())
    weak = "the document's gains, and what the room stores meanwhile"
    return Draft(name, heat, moisture, weak=weak, measured=False)


def _has_loop(known: Known) -> bool:
    return known.design.hot_water


TRANSFERS = (
    Transfer("outdoor", "Outdoor air", "heat and moisture it brings, against return air", air_routes.outdoor),
    Transfer("sensible", "Cooling, sensible", "heat taken out as temperature", air_routes.sensible),
    Transfer("latent", "Cooling, latent", "moisture wrung out of the air, and its heat", air_routes.latent),
    Transfer("total", "Cooling, total", "sensible and latent", air_routes.total),
    Transfer("reheat", "Reheat", "heat given back to the air", loop_routes.reheat),
    Transfer("fan", "Fan", "heat given to the air", loop_routes.fan),
    Transfer("loop", "Loop loss", "heat lost by the pipes", loop_routes.loop, _has_loop),
    Transfer("source", "Source", "heat given to the loop", loop_routes.source, _has_loop),
    Transfer("room", "Room", "heat and moisture that the supply air takes out", room),
)
"""Lines in the order of the air, then the water, then the room."""


def transfers(known: Known) -> list[tuple[Transfer, list[Draft]]]:
    """Give the lines that a unit has, each with its routes.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of (Transfer, list of Draft)
    """
    return [(transfer, transfer.routes(known)) for transfer in TRANSFERS if transfer.applies(known)]
