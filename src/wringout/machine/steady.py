"""The settled machine: parameters, conditions and operating state in, every test point out."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.machine.air_side import (
    Airflows,
    Cooling,
    Mixed,
    airflows,
    condensing_over_outdoor,
    cool,
    fan_rise,
    mix,
)
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.parameters import Array, Values
from wringout.machine.water_side import Plug, Reheat, hot_gas, plug, water
from wringout.physics.moist_air import relative_humidity

__all__ = ["Settled", "read_points", "seen_dew_point", "settle"]

FAN_IDLE_SHARE = 0.58  # of a motor's current that stays when the fan moves no air; common practice 0.4 to 0.6
FAN_SPEED_EXPONENT = (
    1.8  # of current against speed: power goes with the cube, power factor falls (common practice)
)


@dataclass(frozen=True)
class Settled:
    """Everything the machine computed at one state; :func:`read_points` turns it into test points."""

    design: Design
    values: Values
    conditions: Conditions
    flow: Airflows
    mixed: Mixed
    cooling: Cooling
    at: Plug
    reheat: Reheat
    gas_taken: Array
    supply_t: Array
    supply_w: Array
    fan_rise: Array


def settle(design: Design, values: Values, conditions: Conditions) -> Settled:
    """Let the machine settle under given conditions, with what control asks for held.

    Parameters
    ----------
    design : Design
    values : Values
        From healthy_values and neutral, with acts of causes applied; arrays broadcast over samples.
    conditions : Conditions

    Returns
    -------
    Settled
        Arrays of one entry a sample; NaN where an input is NaN (but for the fields whose NaN means "free").

    Notes
    -----
    Explicit but for the coil's surface temperature: no iteration between parts, since at given flows the
    loop is linear. Heat and water close to rounding (tests/test_machine_balance.py).
    """
    flow = airflows(design, values, conditions)
    mixed = mix(design, values, conditions, flow)
    at = plug(design, values, conditions.command, conditions.left_open)
    taken = np.zeros_like(mixed.dry_bulb)
    if design.hot_water:
        cooling = cool(design, values, conditions, flow, mixed, taken)
        reheat = water(design, values, conditions, at, cooling.air.dry_bulb, flow.supply)
    else:
        taken = np.clip(np.maximum(at.position, values["valve_leak"]) + taken, 0.0, 0.9)
        for _ in range(2):
            cooling = cool(design, values, conditions, flow, mixed, taken)
            condensing = conditions.outdoor_t + mean_condensing(design, values, cooling, taken)
            reheat = hot_gas(
                design,
                values,
                conditions,
                at,
                cooling.air.dry_bulb,
                flow.supply,
                cooling.rejected,
                condensing,
            )
            taken = np.clip(reheat.heat / np.maximum(cooling.rejected, 1.0), 0.0, 1.0)
    rise = fan_rise(design, values) + 0.0 * taken
    specific = 1006.0 + 1860.0 * cooling.air.humidity_ratio
    supply_t = cooling.air.dry_bulb + reheat.heat / (flow.supply * specific) + rise
    return Settled(
        design,
        values,
        conditions,
        flow,
        mixed,
        cooling,
        at,
        reheat,
        taken,
        supply_t,
        cooling.air.humidity_ratio,
        rise,
    )


def mean_condensing(design: Design, p: Values, cooling: Cooling, taken: Array) -> Array:
    """Condensing temperature over outdoor air [K], the mean of the running stages by heat."""
    total = np.zeros_like(taken)
    weight = np.full_like(taken, 1e-9)
    for i, (share, load) in enumerate(zip(design.stage_share, cooling.load, strict=True)):
        total = total + share * load * condensing_over_outdoor(design, p, i, np.minimum(load, 1.0), taken)
        weight = weight + share * load
    return total / weight


def seen_dew_point(p: Values, from_outdoor: NDArray[np.bool_], space: Array, outdoor: Array) -> Array:
    """Give the dew point that the controller shows and acts on.

    Parameters
    ----------
    p : Values
    from_outdoor : array of bool, (samples,)
        Where the outdoor sensor's value stands in the place of the space sensor's, with its own error.
    space, outdoor : array, (samples,), [degC]

    Returns
    -------
    array, (samples,), [degC]
    """
    own = space + p["dew_error"] + p["dew_offset"]
    return np.asarray(np.where(from_outdoor, outdoor + p["outdoor_dew_offset"], own))


def read_points(s: Settled, wanted: Collection[str] | None = None) -> dict[str, Array]:
    """Give what an exact instrument would read at every test point that the machine itself determines.

    Parameters
    ----------
    s : Settled
    wanted : collection of str, optional
        Points that are needed; relative humidities, which cost most, are left out where none is.

    Returns
    -------
    dict of array, by point id, SI units of the contract's points
        The controller's own points include the errors of its sensors; points that control decides (what is
        called) are conditions.
    """
    d, p, c = s.design, s.values, s.conditions
    pressure = d.pressure
    unit = d.unit
    ones = np.ones_like(s.supply_t)
    volume_supply = 287.042 * (s.supply_t + 273.15) * (1 + 1.6078 * s.supply_w) / pressure
    volume_outdoor = 287.042 * (c.outdoor_t + 273.15) * (1 + 1.6078 * s.mixed.outdoor_w) / pressure
    dew_seen = seen_dew_point(p, p["dew_from_outdoor"] > 0.5, c.space_dew_point, c.outdoor_dew_point)
    points: dict[str, Array] = {
        "outdoor.t": c.outdoor_t * ones,
        "return.t": s.mixed.return_t * ones,
        "mixed.t": s.mixed.dry_bulb,
        "coil_leaving.t": s.cooling.air.dry_bulb,
        "supply.t": s.supply_t,
        "space.t": c.space_t * ones,
        "supply.airflow": s.flow.supply * volume_supply,
        "outdoor.airflow": s.flow.outdoor * volume_outdoor,
        "filter.drop": filter_drop(s) * ones,
        "fan.current": unit.air.supply_fan.current
        * p["fan_current_ratio"]
        * (FAN_IDLE_SHARE + (1 - FAN_IDLE_SHARE) * p["filter_flow_ratio"] * p["dirt_flow_ratio"])
        * p["fan_speed_ratio"] ** FAN_SPEED_EXPONENT
        * ones,
        "condensate.rate": np.maximum(s.cooling.air.condensate + s.flow.supply * s.mixed.fog, 0.0),
        "reheat.signal": s.at.signal * ones,
        "reheat.stem": s.at.stem * ones,
        "shown.dew_point": dew_seen * ones,
        "shown.outdoor_dew_point": (c.outdoor_dew_point + p["outdoor_dew_offset"]) * ones,
        "shown.space_t": (c.space_t + p["space_t_offset"] + p["space_t_error"]) * ones,
        "shown.supply_t": s.supply_t + p["supply_t_offset"] + p["supply_t_error"],
        "shown.setpoint_dew_point": (unit.control.dew_point + p["setpoint_shift"]) * ones,
        "shown.reheat_command": c.command * ones,
        "shown.stages_called": c.stages * ones,
        "shown.reheat_in_hand": p["in_hand"] * ones,
    }
    moist = {
        "outdoor.rh": (c.outdoor_t, s.mixed.outdoor_w),
        "return.rh": (s.mixed.return_t, s.mixed.space_w),
        "mixed.rh": (s.mixed.dry_bulb, s.mixed.humidity_ratio),
        "supply.rh": (s.supply_t, s.supply_w),
        "space.rh": (c.space_t, s.mixed.space_w),
    }
    for name, (dry_bulb, ratio) in moist.items():
        if wanted is None or name in wanted:
            points[name] = relative_humidity(dry_bulb, ratio, pressure) * ones
    speed = unit.air.supply_fan.speed
    if speed is not None and unit.air.supply_fan.drive == "variable":
        points["fan.speed"] = speed * p["fan_speed_ratio"] * ones
    if d.dx:
        points |= stage_points(s)
    else:
        points["chilled.water_in"] = s.cooling.water_in
        points["chilled.water_out"] = s.cooling.water_out
        points["chilled.stem"] = s.cooling.stem
    w = s.reheat.water
    if w is not None:
        points |= {
            "loop.flow": w.main,
            "reheat.water_flow": w.coil,
            "reheat.water_in": w.coil_in,
            "reheat.water_out": w.coil_out,
            "source.water_in": w.source_in,
            "source.water_out": w.source_out,
            "pump.head": w.head,
            "strainer.drop": w.strainer_drop,
        }
        if d.reclaim:
            points["reclaim.gas_in"] = w.gas_in
            points["reclaim.gas_out"] = w.gas_out
    return points


def filter_drop(s: Settled) -> Array:
    """Pressure drop over the filter [Pa]: clean with the square of the flow, and what loads it as the fan
    pays for it."""
    p = s.values
    clean = s.design.unit.air.filter_drop * p["filter_ratio"] * s.flow.ratio**2
    # a quadratic fan curve against a quadratic system: added = shut-off (1 - f^2); a fan's shut-off
    # pressure is taken as about nine times its clean filter's drop (ESTIMATE, spread in fan_reserve_ratio)
    f = p["filter_flow_ratio"]
    added = (
        9.0
        * s.design.unit.air.filter_drop
        * p["fan_reserve_ratio"]
        * (1.0 - f * f)
        * p["fan_speed_ratio"] ** 2
    )
    return clean + added


def stage_points(s: Settled) -> dict[str, Array]:
    """Current [A], superheat [K] and condensing over outdoor air [K] of each stage."""
    d, p = s.design, s.values
    points: dict[str, Array] = {}
    for i, stage in enumerate(d.unit.cooling.stages):
        running = s.cooling.running[i]
        part = np.minimum(s.cooling.load[i] / np.maximum(p[f"stage_capacity.{i}"], 1e-6), 1.0)
        over = condensing_over_outdoor(d, p, i, np.minimum(s.cooling.load[i], 1.0), s.gas_taken)
        # causes state what they do to the current themselves: it goes by what is asked of the stage
        asked = condensing_over_outdoor(d, p, i, part, s.gas_taken) - p[f"condensing_add.{i}"]
        lift = s.conditions.outdoor_t + asked - d.condensing_rated
        turning = 0.42 + 0.58 * part if stage.modulating else np.ones_like(part)
        current = stage.current * p[f"stage_current_ratio.{i}"] * p[f"stage_load.{i}"] * running * turning
        points[f"stage.{stage.id}.current"] = current * np.maximum(1.0 + 0.010 * lift, 0.3)
        healthy = d.unit.cooling.superheat or 6.5
        points[f"stage.{stage.id}.superheat"] = (
            healthy + p[f"superheat_shift.{i}"] + p[f"superheat_add.{i}"] + 0.0 * running
        )
        points[f"stage.{stage.id}.condensing_over_outdoor"] = over + 0.0 * running
    return points
