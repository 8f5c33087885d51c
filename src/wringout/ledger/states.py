"""States of the air along its path, and flows: the best source that the readings leave, one function each."""

from __future__ import annotations

import numpy as np

from wringout.ledger.quantity_sources import (
    MODEL,
    Array,
    Known,
    Quantity,
    combine,
    first,
    from_model,
    from_reading,
    once,
)
from wringout.ledger.transfer_laws import dry_air_flow, moisture_at_share
from wringout.physics.moist_air import dry_bulb_from_enthalpy, enthalpy, saturated_humidity_ratio

__all__ = [
    "coil_t",
    "fan_rise",
    "mixed_t",
    "mixed_w",
    "offset_reading",
    "outdoor_flow",
    "outdoor_t",
    "outdoor_w",
    "return_t",
    "return_w",
    "space_t",
    "space_w",
    "supply_flow",
    "supply_t",
    "supply_w",
]

T, W, FLOW = "temperature", "humidity_ratio", "mass_flow"


def offset_reading(known: Known, point: str, parameter: str, name: str) -> Quantity | None:
    """Take a temperature from the controller's display, its sensor's healthy offset allowed for.

    Parameters
    ----------
    known : Known
    point : str
    parameter : str
        The offset's name among the healthy spreads.
    name : str
        In words.

    Returns
    -------
    Quantity or None
        None where the point was not read.
    """
    if not known.read(point):
        return None
    offset = f"{MODEL}parameter {parameter}"
    return Quantity(name, lambda x: x[point] - x[offset], frozenset({point, offset}), "given", T)


def _at_share(known: Known, t: Quantity, point: str, name: str) -> Quantity | None:
    rh = from_reading(known, point, name, "fraction")
    if rh is None:
        return None
    pressure = known.design.pressure
    return combine(name, W, lambda a, b: moisture_at_share(a, b, pressure), t, rh, same=True)


def _at_dew(known: Known, dew: Quantity | None, name: str) -> Quantity | None:
    if dew is None:
        return None
    pressure = known.design.pressure
    return combine(name, W, lambda a: saturated_humidity_ratio(a, pressure), dew, same=True)


@once
def outdoor_t(known: Known) -> Quantity:
    """Outdoor dry bulb [degC].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "outdoor temperature"
    return first(
        from_reading(known, "outdoor.t", name, T),
        from_model(known, "outdoor t", name, T, "about the design day", ("outdoor.t",)),
    )


@once
def outdoor_w(known: Known) -> Quantity:
    """Outdoor humidity ratio [kg/kg].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "outdoor moisture"
    shown = offset_reading(known, "shown.outdoor_dew_point", "outdoor_dew_offset", name)
    return first(
        _at_share(known, outdoor_t(known), "outdoor.rh", name),
        _at_dew(known, shown, name),
        from_model(known, "outdoor w", name, W, "about the design day", ("outdoor.rh",)),
    )


@once
def space_t(known: Known) -> Quantity:
    """Dry bulb of the room [degC].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "room temperature"
    return first(
        from_reading(known, "space.t", name, T),
        _return_as_space(known, name),
        offset_reading(known, "shown.space_t", "space_t_offset", name),
        from_model(known, "space t", name, T, "about the set point", ("space.t",)),
    )


def _return_as_space(known: Known, name: str) -> Quantity | None:
    """The room from the return duct, less what the duct adds."""
    if not known.read("return.t"):
        return None
    rise = f"{MODEL}parameter return_rise"
    bases = frozenset({"return.t", rise})
    return Quantity(name, lambda x: x["return.t"] - x[rise], bases, "computed", T)


@once
def space_w(known: Known) -> Quantity:
    """Humidity ratio of the room [kg/kg].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "room moisture"
    shown = offset_reading(known, "shown.dew_point", "dew_offset", name)
    return first(
        _at_share(known, space_t(known), "space.rh", name) if known.read("space.t") else None,
        _at_share(known, return_t(known), "return.rh", name) if known.read("return.t") else None,
        _at_share(known, space_t(known), "space.rh", name),
        _at_dew(known, shown, name),
        from_model(known, "space w", name, W, "about the set point", ("space.t", "space.rh")),
    )


@once
def return_t(known: Known) -> Quantity:
    """Dry bulb of the return air [degC].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "return temperature"
    return first(from_reading(known, "return.t", name, T), _space_as_return(known, name))


def _space_as_return(known: Known, name: str) -> Quantity:
    if not known.read("space.t") and not known.read("shown.space_t"):
        return from_model(known, "return t", name, T, "about the set point", ("return.t",))
    space = first(
        from_reading(known, "space.t", name, T),
        offset_reading(known, "shown.space_t", "space_t_offset", name),
        space_t(known),
    )
    rise = f"{MODEL}parameter return_rise"
    return Quantity(name, lambda x: space.of(x) + x[rise], space.bases | {rise}, "computed", T)


@once
def return_w(known: Known) -> Quantity:
    """Humidity ratio of the return air [kg/kg].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "return moisture"
    return first(_at_share(known, return_t(known), "return.rh", name), space_w(known))


@once
def supply_t(known: Known) -> Quantity:
    """Supply dry bulb [degC]; only to be asked for where it was read or is shown.

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "supply temperature"
    return first(
        from_reading(known, "supply.t", name, T),
        offset_reading(known, "shown.supply_t", "supply_t_offset", name),
    )


@once
def supply_w(known: Known) -> Quantity:
    """Humidity ratio of the supply air, and so of the air behind the cooling coil [kg/kg].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "supply moisture"
    read = None
    if known.read("supply.t") or known.read("shown.supply_t"):
        read = _at_share(known, supply_t(known), "supply.rh", name)
    return first(
        read,
        from_model(known, "supply w", name, W, known.as_found, ("supply.t", "supply.rh")),
    )


@once
def supply_flow(known: Known) -> Quantity:
    """Dry air through the unit [kg/s].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
        The airflow as traversed in the supply duct; else the schedule's, with the fan's speed where read.
    """
    name = "supply airflow"
    pressure = known.design.pressure
    read = from_reading(known, "supply.airflow", name, "airflow")
    if read is not None:
        t = supply_t(known) if known.read("supply.t") or known.read("shown.supply_t") else coil_t(known)
        return combine(
            name, FLOW, lambda q, a, b: dry_air_flow(q, a, b, pressure), read, t, supply_w(known), same=True
        )
    design_speed = known.design.unit.air.supply_fan.speed
    speed = from_reading(known, "fan.speed", name, "frequency")
    schedule = from_model(known, "supply flow", name, FLOW, known.schedule, ("supply.airflow",), airflow=True)
    if speed is None or design_speed is None:
        return schedule
    return combine(name, FLOW, lambda m, hz: m * hz / design_speed, schedule, speed)


@once
def outdoor_flow(known: Known) -> Quantity:
    """Dry outdoor air into the unit [kg/s].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "outdoor airflow"
    pressure = known.design.pressure
    read = from_reading(known, "outdoor.airflow", name, "airflow")
    if read is not None:
        return combine(
            name,
            FLOW,
            lambda q, a, b: dry_air_flow(q, a, b, pressure),
            read,
            outdoor_t(known),
            outdoor_w(known),
            same=True,
        )
    return from_model(known, "outdoor flow", name, FLOW, known.schedule, ("outdoor.airflow",), airflow=True)


def _share(flow_out: Array, flow: Array) -> Array:
    return np.asarray(flow_out / np.maximum(flow, 1e-6))


@once
def mixed_t(known: Known) -> Quantity:
    """Dry bulb onto the cooling coil [degC]; mixed from return and outdoor air where it was not read.

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "mixed temperature"
    read = from_reading(known, "mixed.t", name, T)
    if read is not None:
        return read

    def law(m_out: Array, m: Array, t_out: Array, w_out: Array, t_back: Array, w_back: Array) -> Array:
        share = _share(m_out, m)
        h_back = enthalpy(t_back, w_back)
        h = h_back + share * (enthalpy(t_out, w_out) - h_back)
        return dry_bulb_from_enthalpy(h, w_back + share * (w_out - w_back))

    return combine(
        name,
        T,
        law,
        outdoor_flow(known),
        supply_flow(known),
        outdoor_t(known),
        outdoor_w(known),
        return_t(known),
        return_w(known),
    )


@once
def mixed_w(known: Known) -> Quantity:
    """Humidity ratio onto the cooling coil [kg/kg]; mixed where it was not read.

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "mixed moisture"
    read = _at_share(known, mixed_t(known), "mixed.rh", name) if known.read("mixed.t") else None
    if read is not None:
        return read
    return combine(
        name,
        W,
        lambda m_out, m, w_out, w_back: w_back + _share(m_out, m) * (w_out - w_back),
        outdoor_flow(known),
        supply_flow(known),
        outdoor_w(known),
        return_w(known),
    )


@once
def coil_t(known: Known) -> Quantity:
    """Dry bulb behind the cooling coil [degC].

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "coil leaving temperature"
    return first(
        from_reading(known, "coil_leaving.t", name, T),
        from_model(known, "coil t", name, T, known.as_found, ("coil_leaving.t",)),
    )


@once
def fan_rise(known: Known) -> Quantity:
    """Heat rise over the fan [K], by the fan law where its speed was read.

    Parameters
    ----------
    known : Known

    Returns
    -------
    Quantity
    """
    name = "fan heat rise"
    rise = from_model(known, "fan rise", name, "temperature_difference", known.schedule, ())
    design_speed = known.design.unit.air.supply_fan.speed
    speed = from_reading(known, "fan.speed", name, "frequency")
    if speed is None or design_speed is None:
        return rise
    return combine(name, "temperature_difference", lambda k, hz: k * (hz / design_speed) ** 2, rise, speed)
