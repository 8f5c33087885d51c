"""What is not known of a machine: each parameter's healthy spread, and the fields that only a cause moves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.machine.design import Design

__all__ = ["Array", "Spread", "Values", "healthy_values", "neutral", "spreads"]

Array = NDArray[np.float64]
Values = Mapping[str, Array]
"""Machine parameters by name, each a float array of one entry a sample (or one entry for all)."""


@dataclass(frozen=True)
class Spread:
    """How far a healthy machine strays from its schedule in one respect.

    ``kind`` is ``ratio`` (multiplies, lognormal) or ``shift`` (adds, normal, in the SI unit of the thing);
    ``sigma`` one standard deviation; ``why`` where that figure comes from.
    """

    name: str
    kind: str
    sigma: float
    why: str


_STATED = "balancing reports and acceptance tests of installed units: judgement, common practice"
_PARTS = "manufacturing and installation spread of coils and fittings: judgement, common practice"
_SENSOR = "IEC 60751 class B and humidity transmitters of 2 %: the order of a controller's sensors"


def _stage_spreads(count: int) -> list[Spread]:
    rows: list[Spread] = []
    for i in range(count):
        rows += [
            Spread(
                f"stage_current_ratio.{i}", "ratio", 0.06, "nameplate against measured current: judgement"
            ),
            Spread(
                f"superheat_shift.{i}", "shift", 1.0, "setting and hunting of expansion valves: judgement"
            ),
            Spread(f"condensing_shift.{i}", "shift", 1.3, "fan steps and wind at the condenser: judgement"),
        ]
    return rows


def spreads(design: Design) -> tuple[Spread, ...]:
    """Give the unknowns of one unit.

    Parameters
    ----------
    design : Design

    Returns
    -------
    tuple of Spread
        Only what this kind of unit has.
    """
    rows = [
        Spread("air_ratio", "ratio", 0.07, _STATED),
        Spread("outdoor_ratio", "ratio", 0.12, _STATED),
        Spread("fan_heat_ratio", "ratio", 0.12, _PARTS),
        Spread("fan_current_ratio", "ratio", 0.06, "nameplate against measured current: judgement"),
        Spread("filter_ratio", "ratio", 0.17, "clean filters of one class differ: judgement"),
        Spread("fan_reserve_ratio", "ratio", 0.25, "fan pressure is not in the document: ESTIMATE"),
        Spread("return_rise", "shift", 0.4, "return ducts and lights warm the air a little: judgement"),
        Spread("capacity_ratio", "ratio", 0.06, "AHRI 340/360 allows 5 % under rating"),
        Spread("cooling_coil_ratio", "ratio", 0.12, _PARTS),
        Spread("reheat_coil_ratio", "ratio", 0.10, _PARTS),
        Spread("moisture_ratio", "ratio", 0.40, "people and wet work come and go: judgement"),
        Spread("infiltration_ratio", "ratio", 0.30, "wind and doors: judgement"),
        Spread(
            "sensible_shift", "shift", 1.0, "gains of a day in units of the design gain's scale: judgement"
        ),
        Spread("space_t_offset", "shift", 0.25, _SENSOR),
        Spread("supply_t_offset", "shift", 0.35, _SENSOR),
        Spread("dew_offset", "shift", 0.35, _SENSOR),
        Spread("outdoor_dew_offset", "shift", 0.4, _SENSOR),
    ]
    if design.dx:
        rows += _stage_spreads(len(design.stage_share))
    else:
        rows += [
            Spread("cooling_water_ratio", "ratio", 0.15, _PARTS),
            Spread("chilled_in_shift", "shift", 0.6, "chillers cycle about their set point: judgement"),
            Spread("chilled_flow_ratio", "ratio", 0.10, _STATED),
        ]
    rows.append(Spread("leakage_ratio", "ratio", 0.6, "seat leakage classes II to IV of IEC 60534-4"))
    if design.loop is not None:
        rows += [
            Spread("pump_ratio", "ratio", 0.08, _PARTS),
            Spread("main_resistance_ratio", "ratio", 0.10, _PARTS),
            Spread("coil_resistance_ratio", "ratio", 0.15, _PARTS),
            Spread("bypass_resistance_ratio", "ratio", 0.20, _PARTS),
            Spread("valve_resistance_ratio", "ratio", 0.40, "authority is not in the document: ESTIMATE"),
            Spread("strainer_ratio", "ratio", 0.20, _PARTS),
            Spread(
                "source_out_shift",
                "shift",
                1.0 if not (design.reclaim and design.gas_condenses) else 1.6,
                "controls of boilers and reclaim valves, looser where gas condenses: judgement",
            ),
        ]
    if design.reclaim:
        rows += [
            Spread("exchanger_ratio", "ratio", 0.12, _PARTS),
            Spread("plant_ratio", "ratio", 0.25, "a refrigeration plant's load over the day: judgement"),
        ]
    if design.reclaim and design.gas_condenses:
        rows += [
            Spread("gas_in_shift", "shift", 8.0, "discharge gas follows superheat and lift: judgement"),
            Spread("condensing_gas_shift", "shift", 2.0, "head pressure follows weather and load: judgement"),
        ]
    elif design.reclaim:
        rows.append(Spread("gas_in_shift", "shift", 4.0, "head pressure follows weather and load: judgement"))
    if not design.hot_water:
        rows.append(Spread("hot_gas_ratio", "ratio", 0.12, _PARTS))
    if design.unit.reheat.valve.characteristic == "equal_percentage":
        rows.append(Spread("rangeability_ratio", "ratio", 0.25, "catalogues: 30 to 50"))
    rows.append(Spread("outdoor_follows", "shift", 0.35, "fan or building may drive outdoor air: judgement"))
    return tuple(rows)


_NAN = float("nan")
_FIELDS = {
    # air
    "fan_speed_ratio": 1.0,
    "filter_flow_ratio": 1.0,
    "dirt_flow_ratio": 1.0,
    "damper_ratio": 1.0,
    "coil_dirt_ratio": 1.0,
    # chilled water
    "chilled_warm": 0.0,
    "chilled_stuck": _NAN,
    # compressors
    "unloaded_at": _NAN,
    "condenser_capacity_ratio": 1.0,
    # reheat valve and signal
    "signal_reversed": 0.0,
    "span_wrong": 0.0,
    "stuck_at": _NAN,
    "loose_at": _NAN,
    "valve_leak": 0.0,
    "in_hand": 0.0,
    # water
    "coil_leg_flow_ratio": 1.0,
    "strainer_flow_ratio": 1.0,
    "bypass_flow_share": _NAN,
    "coil_share": 1.0,
    "pump_head_ratio": 1.0,
    # heat source
    "gas_share": 1.0,
    "diverted_share": 1.0,
    "upstream_share": 0.0,
    "fouling_ratio": 1.0,
    "boiler_shift": 0.0,
    # sensors and program
    "dew_error": 0.0,
    "space_t_error": 0.0,
    "supply_t_error": 0.0,
    "dew_from_outdoor": 0.0,
    "locked_out": 0.0,
    "setpoint_shift": 0.0,
    "hunting": 0.0,
    "read_across_swing": 0.0,
    # building
    "doors_ratio": 1.0,
    "moisture_added_ratio": 1.0,
}


def neutral(design: Design) -> dict[str, Array]:
    """Give the fields that only a cause moves, each at the value that means "nothing wrong".

    Parameters
    ----------
    design : Design

    Returns
    -------
    dict of array, one entry each
        NaN in ``stuck_at`` and the like means "free".
    """
    values = {name: np.array([value]) for name, value in _FIELDS.items()}
    for i in range(len(design.stage_share)):
        values[f"stage_capacity.{i}"] = np.ones(1)
        values[f"stage_load.{i}"] = np.ones(1)
        values[f"superheat_add.{i}"] = np.zeros(1)
        values[f"condensing_add.{i}"] = np.zeros(1)
    return values


def healthy_values(rows: tuple[Spread, ...], z: Array) -> dict[str, Array]:
    """Turn standard normal numbers into a healthy machine's parameters.

    Parameters
    ----------
    rows : tuple of Spread
    z : array, (samples, len(rows)), [-]

    Returns
    -------
    dict of array, (samples,)
        Ratios [-] and shifts in their SI unit; NaN where z is NaN.
    """
    values: dict[str, Array] = {}
    for k, row in enumerate(rows):
        values[row.name] = np.exp(row.sigma * z[:, k]) if row.kind == "ratio" else row.sigma * z[:, k]
    return values
