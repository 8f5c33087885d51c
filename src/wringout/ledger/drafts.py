"""A route before anything is worked out, and the pieces that several routes share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from wringout.ledger import states
from wringout.ledger.quantity_sources import Array, Known, Quantity, combine, first, from_reading
from wringout.ledger.transfer_laws import air_moisture
from wringout.physics.moist_air import enthalpy

__all__ = [
    "HEAT",
    "MOISTURE",
    "PLATE",
    "Draft",
    "brought_in",
    "bucket_of",
    "heat_of",
    "needs",
    "read_t",
    "supply_moist",
    "supply_read",
]

HEAT, MOISTURE = "power", "mass_flow"
PLATE = "unit document, with the spread of measured currents"


@dataclass(frozen=True)
class Draft:
    """A route before anything is worked out; ``apart`` must be known to three of its standard deviations,
    or the route says nothing (``alike`` says why). ``measured`` is False where nothing that was read could
    differ from the healthy machine."""

    name: str
    heat: Quantity | None = None
    moisture: Quantity | None = None
    weak: str = ""
    impossible: str = ""
    apart: Quantity | None = None
    alike: str = ""
    measured: bool = True


def needs(name: str, *points: str) -> Draft:
    """Say that a route needs readings that are not there.

    Parameters
    ----------
    name : str
    *points : str

    Returns
    -------
    Draft
    """
    return Draft(name, impossible=f"needs {_listed(points)}")


def _listed(points: tuple[str, ...]) -> str:
    return points[0] if len(points) == 1 else f"{', '.join(points[:-1])} and {points[-1]}"


def heat_of(name: str, law: Callable[..., Array], *parts: Quantity) -> Quantity:
    """Work out a heat [W].

    Parameters
    ----------
    name : str
    law : callable
    *parts : Quantity

    Returns
    -------
    Quantity
    """
    return combine(name, HEAT, law, *parts)


def read_t(known: Known, point: str) -> Quantity:
    """Take a temperature that was read.

    Parameters
    ----------
    known : Known
    point : str

    Returns
    -------
    Quantity
    """
    return first(from_reading(known, point, point, "temperature"))


def supply_read(known: Known) -> bool:
    """Tell whether the supply temperature was read or is shown.

    Parameters
    ----------
    known : Known

    Returns
    -------
    bool
    """
    return known.read("supply.t") or known.read("shown.supply_t")


def supply_moist(known: Known) -> bool:
    """Tell whether the moisture of the supply air was read.

    Parameters
    ----------
    known : Known

    Returns
    -------
    bool
    """
    return known.read("supply.rh") and (known.read("supply.t") or known.read("shown.supply_t"))


def bucket_of(known: Known) -> Quantity | None:
    """Take the condensate as the bucket gave it [kg/s].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity or None
    """
    return from_reading(known, "condensate.rate", "condensate", MOISTURE)


def brought_in(known: Known, flow: Quantity) -> tuple[Quantity, Quantity]:
    """Work out what a flow of outdoor air brings in, against return air.

    Parameters
    ----------
    known : Known
    flow : Quantity
        Dry air [kg/s].

    Returns
    -------
    tuple of Quantity
        Heat [W] and moisture [kg/s].
    """
    air = (states.outdoor_t(known), states.outdoor_w(known), states.return_t(known), states.return_w(known))
    heat = heat_of("heat", lambda m, a, wa, b, wb: m * (enthalpy(a, wa) - enthalpy(b, wb)), flow, *air)
    moisture = combine("moisture", MOISTURE, air_moisture, flow, air[3], air[1])
    return heat, moisture
