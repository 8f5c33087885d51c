"""Heat that reheat puts into the air where the sequence of operation has no use for it.

Two states count, by the set points of the unit's document: cooling runs though the room is drier than drying
asks for, and the room is warmer than its set point by what makes control call one more stage. Heat that
arrives then only has to be taken out again. Heat is that of the air, neither gas nor electricity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.documents.unit import Unit
from wringout.machine.design import design
from wringout.physics.moist_air import dew_point, humidity_ratio, saturated_humidity_ratio
from wringout.trends.moisture_balance import (
    BLOCK,
    LEAVING_RH,
    LEAVING_RH_SIGMA,
    ROOM,
    WEATHER,
    Blocks,
    outdoor_dew_of,
    settled_at,
)

__all__ = ["NeedlessHeat", "needless_heat", "unwanted"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

WARM = 10.0 / 9.0  # K over set point: 2 degF, where the sequence calls one more stage
EDGE = 0.3  # K under the end of drying, so that stages on their least time do not count; judgement
CALLED = 0.5  # share of a half hour in which cooling is called
COIL_SIGMA = (
    5.0 / 9.0
)  # K of the air between the coils: stratified (accuracy of the test point coil_leaving.t)
SURE = 2.0  # standard deviations of the two bounds
MOST_BLOCKS = 480  # half hours at which the machine is asked; more are thinned out evenly
LEAST_BLOCKS = 4
LEAST_ON = 0.2  # share of a half hour in which a coil takes out what leaves in that half hour, at least


@dataclass(frozen=True)
class NeedlessHeat:
    """Needless heat over a trend, between two bounds [J].

    ``least`` and ``most`` hold two standard deviations of everything that is not known of the unit.
    ``route`` says where the air behind the cooling coil is known from: ``logged`` (a sensor between the
    coils), ``supply humidity`` (logged, and a wet coil leaves air nearly saturated), ``moisture balance``
    (the coil takes out what weather, people and wet work of the document bring in, as the room's dew point
    stands), or empty where nothing tells. ``against_cooling`` is the part of ``least`` that came while
    cooling ran; ``hours`` are those in which the sequence has no use for heat [h], ``mask`` the half hours
    with some for certain; ``reason`` why nothing can be said.
    """

    least: float
    most: float
    against_cooling: float
    hours: float
    route: str
    mask: Mask
    reason: str = ""


def unwanted(blocks: Blocks, unit: Unit) -> Mask:
    """Where the sequence of operation has no use for heat.

    Parameters
    ----------
    blocks : Blocks
    unit : Unit

    Returns
    -------
    array of bool, (blocks,)
    """
    control = unit.control
    with np.errstate(invalid="ignore"):
        warm = blocks.get("shown.space_t") > control.space_t + WARM
        dry = blocks.get("shown.dew_point") < control.dew_point - 0.5 * control.dew_point_band - EDGE
        return np.asarray(warm | (dry & _cooling(blocks)))


def _cooling(blocks: Blocks) -> Mask:
    called = blocks.called if blocks.called is not None else np.zeros(len(blocks.time))
    return np.asarray(np.nan_to_num(called) > CALLED)


def needless_heat(blocks: Blocks, unit: Unit, dew_point_known: bool = True) -> NeedlessHeat:
    """Work out the needless heat of a trend.

    Parameters
    ----------
    blocks : Blocks
        Half-hour means.
    unit : Unit
    dew_point_known : bool, optional
        Whether the shown dew point is the room's.

    Returns
    -------
    NeedlessHeat

    Notes
    -----
    Heat of the reheat coil by the air: mass flow times specific heat times the rise from behind the cooling
    coil to the supply, less the fan's. While cooling is not called, the air behind the coil is the mixed air.
    Spread by first-order propagation over the machine's unknowns (JCGM 100:2008, 5.1.2), each of them taken
    as constant over the trend; storage of moisture in the room is left out.
    """
    nothing = np.zeros(len(blocks.time), dtype=bool)

    def none(reason: str = "") -> NeedlessHeat:
        return NeedlessHeat(0.0, 0.0, 0.0, 0.0, "", nothing, reason)

    supply, space, outdoor = (blocks.get(p) for p in ("shown.supply_t", "shown.space_t", "outdoor.t"))
    seen = np.isfinite(supply + space + outdoor)
    with np.errstate(invalid="ignore"):
        seen &= (space > ROOM[0]) & (space < ROOM[1]) & (outdoor > WEATHER[0]) & (outdoor < WEATHER[1])
    if int(seen.sum()) < LEAST_BLOCKS:
        return none("the trend lacks supply, room or outdoor temperature")
    if blocks.called is None:
        return none("nothing in the trend tells when cooling is called")
    where = unwanted(blocks, unit) if dew_point_known else unwanted(_without_dew(blocks), unit)
    index = np.flatnonzero(where & seen)
    hours = float(len(index)) * BLOCK / 3600.0
    if len(index) < LEAST_BLOCKS:
        return none()
    index = index[:: max(-(-len(index) // MOST_BLOCKS), 1)]
    each = hours * 3600.0 / len(index)  # seconds that one half hour stands for
    heat, route = _heats(blocks, unit, index, dew_point_known)
    if not route:
        return none("the trend tells nothing of the air behind the cooling coil")
    total = heat.sum(axis=1) * each
    sigma = float(np.sqrt(np.square(total[1:] - total[0]).sum()))
    least, most = max(float(total[0]) - SURE * sigma, 0.0), max(float(total[0]) + SURE * sigma, 0.0)
    sure = np.maximum(heat[0] - SURE * np.sqrt(np.square(heat[1:] - heat[0]).sum(axis=0)), 0.0)
    cooling = _cooling(blocks)[index]
    share = float(sure[cooling].sum() / sure.sum()) if sure.any() else 0.0
    mask = nothing.copy()
    mask[index] = sure > 0.0
    if len(index) * BLOCK < 0.99 * hours * 3600.0:  # between thinned half hours, neighbours count
        mask = where & seen & (np.interp(np.arange(len(mask)), index, mask[index].astype(float)) > 0.5)
    return NeedlessHeat(least, most, share * least, hours, route, mask)


def _without_dew(blocks: Blocks) -> Blocks:
    return Blocks(
        blocks.time, {p: v for p, v in blocks.values.items() if p != "shown.dew_point"}, blocks.called
    )


def _heats(blocks: Blocks, unit: Unit, index: NDArray[np.intp], dew_point_known: bool) -> tuple[Array, str]:
    """Heat of the reheat coil [W] at some half hours, rows (1 + unknowns and instruments, blocks), and by
    which route."""
    machine = design(unit)
    dew = blocks.get("shown.dew_point") if dew_point_known else np.full(len(blocks.time), np.nan)
    dew = np.where(np.isfinite(dew), dew, unit.control.dew_point)
    outdoor_dew = outdoor_dew_of(blocks, machine.pressure)
    weather_known = bool(np.isfinite(outdoor_dew[index]).mean() > 0.5)
    outdoor_dew = np.where(np.isfinite(outdoor_dew), outdoor_dew, dew)
    settled = settled_at(blocks, index, machine, dew, outdoor_dew, np.zeros(len(blocks.time)))
    values, space = settled.values, settled.conditions.space_t
    rows = len(space) // len(index)

    def shaped(values: Array) -> Array:
        return (values * np.ones(rows * len(index))).reshape(rows, len(index))

    flow, mixed = shaped(settled.flow.supply), shaped(settled.mixed.dry_bulb)
    shown = shaped(np.tile(blocks.get("shown.supply_t")[index], rows) - values["supply_t_offset"])
    capacity = flow * shaped(1006.0 + 1860.0 * settled.supply_w)
    behind = shown - shaped(settled.fan_rise)  # what the reheat coil gives to the fan

    def heat(cold: Array, other: Array) -> Array:
        """With a last row for the instrument or the law that the air behind the coil is known from."""
        return np.vstack([capacity * (behind - cold), capacity[:1] * (behind[:1] - other)])

    logged = blocks.get("coil_leaving.t")[index]
    if np.isfinite(logged).mean() > 0.5:
        logged = np.where(np.isfinite(logged), logged, mixed[0])
        return heat(logged[None, :], logged[None, :] + COIL_SIGMA), "logged"
    on = np.nan_to_num(blocks.called[index]) if blocks.called is not None else np.zeros(len(index))
    pressure = machine.pressure
    supply_w, route = _supply_moisture(blocks, index, pressure), "supply humidity"
    if supply_w is None:
        if not (dew_point_known and weather_known):
            return np.zeros((1, len(index))), ""
        route = "moisture balance"
        inside, outside = shaped(settled.mixed.space_w), shaped(settled.mixed.outdoor_w)
        density = pressure / (287.042 * (shaped(space) + 273.15) * 1.012)
        leaks = unit.space.infiltration * density * shaped(values["infiltration_ratio"])
        taken = (leaks + shaped(settled.flow.outdoor)) * (outside - inside)
        taken = taken + unit.space.moisture * shaped(values["moisture_ratio"])
        supply_w = shaped(settled.mixed.humidity_ratio) - taken / flow
    mixed_w = shaped(settled.mixed.humidity_ratio)
    while_on = mixed_w - (mixed_w - supply_w) / np.maximum(on, LEAST_ON)[None, :]

    def cold(share: float, w: Array) -> Array:
        leaving = np.minimum(dew_point(np.maximum(w, 1e-3) / share, pressure), mixed[: len(w)])
        return np.asarray(on * leaving + (1.0 - on) * mixed[: len(w)])

    return heat(cold(LEAVING_RH, while_on), cold(LEAVING_RH - LEAVING_RH_SIGMA, while_on[:1])), route


def _supply_moisture(blocks: Blocks, index: NDArray[np.intp], pressure: float) -> Array | None:
    """Humidity ratio of the supply air as logged (1, blocks) [kg/kg], None where it is not."""
    shown, rh = blocks.get("supply.dew_point")[index], blocks.get("supply.rh")[index]
    t = blocks.get("shown.supply_t")[index]
    if np.isfinite(shown).all():
        return np.asarray(saturated_humidity_ratio(shown, pressure))[None, :]
    if np.isfinite(rh).all():
        return np.asarray(humidity_ratio(t, np.minimum(np.maximum(rh, 0.02), 1.0), pressure))[None, :]
    return None
