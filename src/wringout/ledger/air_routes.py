"""Routes of what the air side moves: outdoor air and the cooling coil."""

from __future__ import annotations

import numpy as np

from wringout.ledger import states, water_states
from wringout.ledger.drafts import (
    MOISTURE,
    PLATE,
    Draft,
    brought_in,
    bucket_of,
    heat_of,
    needs,
    read_t,
    supply_moist,
)
from wringout.ledger.expectation import IDLE_CURRENT
from wringout.ledger.quantity_sources import Array, Known, Quantity, combine, first, from_model, from_reading
from wringout.ledger.transfer_laws import air_heat, air_moisture, latent_heat
from wringout.physics.valve import equal_percentage, installed

__all__ = ["latent", "outdoor", "sensible", "total"]

_CONDENSING = "the healthy machine in this weather"
LIQUID = 4186.0  # J/(kg K), water down the drain


def outdoor(known: Known) -> list[Draft]:
    """Draft the routes to what the outdoor air brings in, against return air.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of Draft
    """
    humid = known.read("outdoor.rh") or known.read("shown.outdoor_dew_point")
    if not known.read("outdoor.t") or not humid:
        rest = known.missing("outdoor.t") + (() if humid else ("outdoor.rh",))
        routes = [needs("airflow", *rest)]
    else:
        heat, moisture = brought_in(known, states.outdoor_flow(known))
        routes = [Draft("airflow", heat, moisture)]
    room = known.read("return.t") or known.read("space.t")
    lacking = (*known.missing("mixed.t", "outdoor.t"), *(() if room else ("return.t",)))
    if lacking:
        return [*routes, needs("mixing, by temperature", *lacking), *_mixing_by_moisture(known)]
    t_out, t_back, t_mix = states.outdoor_t(known), states.return_t(known), states.mixed_t(known)
    flow = combine(
        "outdoor airflow",
        MOISTURE,
        _share_of,
        states.supply_flow(known),
        t_out,
        t_back,
        t_mix,
    )
    heat, moisture = brought_in(known, flow)
    apart = combine("difference", "temperature_difference", lambda a, b: a - b, t_out, t_back)
    alike = "outdoor and return air are too alike in temperature"
    routes.append(Draft("mixing, by temperature", heat, moisture, apart=apart, alike=alike))
    return routes + _mixing_by_moisture(known)


def _share_of(m: Array, out: Array, back: Array, mixed: Array) -> Array:
    return np.asarray(m * (mixed - back) / np.where(np.abs(out - back) < 1e-9, 1e-9, out - back))


def _mixing_by_moisture(known: Known) -> list[Draft]:
    name = "mixing, by moisture"
    room = known.read("return.t", "return.rh") or known.read("space.t", "space.rh")
    humid = known.read("outdoor.t", "outdoor.rh") or known.read("shown.outdoor_dew_point")
    lacking = known.missing("mixed.t", "mixed.rh")
    if lacking or not room or not humid:
        needed = (*lacking, *(() if room else ("return.rh",)), *(() if humid else ("outdoor.rh",)))
        return [needs(name, *needed)]
    out, back, mixed = states.outdoor_w(known), states.return_w(known), states.mixed_w(known)
    flow = combine("outdoor airflow", MOISTURE, _share_of, states.supply_flow(known), out, back, mixed)
    heat, moisture = brought_in(known, flow)
    apart = combine("difference", "humidity_ratio", lambda a, b: a - b, out, back)
    alike = "outdoor and return air are too alike in moisture"
    return [Draft(name, heat, moisture, apart=apart, alike=alike)]


def _sensible_air(known: Known, onto: Quantity) -> Quantity:
    def law(m: Array, a: Array, b: Array, w: Array) -> Array:
        return air_heat(m, b, a, w)

    return heat_of(
        "heat", law, states.supply_flow(known), states.mixed_t(known), onto, states.supply_w(known)
    )


def sensible(known: Known) -> list[Draft]:
    """Draft the routes to the heat that the cooling coil takes out as temperature.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of Draft
    """
    routes: list[Draft] = []
    if known.read("coil_leaving.t"):
        routes.append(Draft("air side", _sensible_air(known, states.coil_t(known))))
    else:
        routes.append(needs("air side", "coil_leaving.t"))
    back = water_states.coil_t_worked_back(known)
    if back is not None:
        routes.append(Draft("supply air less reheat water", _sensible_air(known, back)))
    return routes


def wrung_out(known: Known) -> Quantity:
    return combine(
        "moisture",
        MOISTURE,
        air_moisture,
        states.supply_flow(known),
        states.supply_w(known),
        states.mixed_w(known),
    )


def latent(known: Known) -> list[Draft]:
    """Draft the routes to the moisture that the cooling coil wrings out, and its heat.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of Draft
    """
    routes: list[Draft] = []
    if supply_moist(known):
        moisture = wrung_out(known)
        heat = heat_of("heat", latent_heat, moisture, states.mixed_t(known))
        routes.append(Draft("air side", heat, moisture))
    else:
        routes.append(needs("air side", *known.missing("supply.t", "supply.rh")))
    bucket = bucket_of(known)
    if bucket is None:
        routes.append(needs("condensate", "condensate.rate"))
    else:
        heat = heat_of("heat", latent_heat, bucket, states.mixed_t(known))
        routes.append(Draft("condensate", heat, bucket))
    return routes


def total(known: Known) -> list[Draft]:
    """Draft the routes to all the heat that the cooling coil takes out of the air.

    Parameters
    ----------
    known : Known

    Returns
    -------
    list of Draft
    """
    routes: list[Draft] = []
    lacking = known.missing("coil_leaving.t", *(() if supply_moist(known) else ("supply.t", "supply.rh")))
    if lacking:
        routes.append(needs("air side", *lacking))
    else:
        sensible = _sensible_air(known, states.coil_t(known))
        latent = heat_of("heat", latent_heat, wrung_out(known), states.mixed_t(known))
        routes.append(Draft("air side", heat_of("heat", lambda a, b: a + b, sensible, latent)))
    bucket = bucket_of(known)
    if bucket is not None and known.read("coil_leaving.t"):
        sensible = _sensible_air(known, states.coil_t(known))
        latent = heat_of("heat", latent_heat, bucket, states.mixed_t(known))
        name = "air side and condensate"
        routes.append(Draft(name, heat_of("heat", lambda a, b: a + b, sensible, latent)))
    routes.append(_compressors(known) if known.design.dx else _chilled(known))
    if known.design.dx:
        why = "superheat and condensing tell no heat: the refrigerant's flow is no reading"
        routes.append(Draft("refrigerant side", impossible=why))
    return routes


def _compressors(known: Known) -> Draft:
    """Rated capacity of each stage, as far as its current says that it is loaded."""
    d, name = known.design, "compressor current"
    points = tuple(f"stage.{stage}.current" for stage in d.unit.stage_ids)
    if not any(known.read(point) for point in points):
        return needs(name, *points)
    now = from_model(
        known,
        "capacity now",
        "capacity at these conditions",
        "fraction",
        "rating and the healthy machine",
        (),
    )
    loads = [_load(known, i, point) for i, point in enumerate(points)]

    def law(factor: Array, *parts: Array) -> Array:
        return factor * d.cooling_total * sum(s * p for s, p in zip(d.stage_share, parts, strict=True))

    weak = "current says that a stage is loaded, not what it moves"
    return Draft(name, heat_of("heat", law, now, *loads), weak=weak)


def _load(known: Known, i: int, point: str) -> Quantity:
    """How far a stage is loaded, from its current against the schedule's."""
    stage = known.design.unit.cooling.stages[i]
    name = f"load of stage {stage.id}"
    current = from_reading(known, point, name, "current")
    if current is None:
        why = "as called, healthy"
        return from_model(known, f"stage load {i}", name, "fraction", why, (point,))
    ratio = from_model(
        known,
        f"parameter stage_current_ratio.{i}",
        f"nameplate current of {stage.id}",
        "fraction",
        PLATE,
        (),
    )

    now = from_model(
        known, f"current now {i}", f"current of {stage.id} at this condensing", "fraction", _CONDENSING, ()
    )

    def law(amperes: Array, plate: Array, here: Array) -> Array:
        share = amperes / (stage.current * plate * here)
        # at fixed speed the current follows the load only loosely, so that running counts as loaded
        modulated = (share - IDLE_CURRENT) / (1.0 - IDLE_CURRENT)
        part = modulated if stage.modulating else 0.5 + 0.5 * share
        return np.where(amperes < 0.1 * stage.current, 0.0, np.maximum(part, 0.0))

    return combine(name, "fraction", law, current, ratio, now)


def _chilled(known: Known) -> Draft:
    """Water temperature difference and the design flow at the stem's opening: no flow is read here."""
    name = "chilled-water side"
    lacking = known.missing("chilled.water_in", "chilled.water_out", "chilled.stem")
    if lacking:
        return needs(name, *lacking)
    rate = known.design.chilled_capacity_rate
    stem = first(from_reading(known, "chilled.stem", "chilled-water stem", "fraction"))
    flow = from_model(
        known,
        "parameter chilled_flow_ratio",
        "chilled-water flow",
        "fraction",
        "design flow at the stem's opening",
        (),
    )
    curve = from_model(known, "valve to flow", "chilled-water valve's curve", "fraction", "ESTIMATE", ())
    cold, warm = read_t(known, "chilled.water_in"), read_t(known, "chilled.water_out")
    bucket = bucket_of(known)
    drain = bucket if bucket is not None else wrung_out(known)

    def law(x: Array, ratio: Array, k: Array, t_in: Array, t_out: Array, w: Array, t: Array) -> Array:
        opening = installed(np.maximum(equal_percentage(np.clip(x, 0.0, 1.0)), 0.006), 0.5)
        # what runs down the drain left the air, but not through the water
        return np.asarray(rate * ratio * k * opening * (t_out - t_in) + w * LIQUID * t)

    heat = heat_of("heat", law, stem, flow, curve, cold, warm, drain, states.coil_t(known))
    return Draft(name, heat, weak="the flow is taken from the valve's stem")
