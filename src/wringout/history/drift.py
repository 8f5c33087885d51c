"""How much of a machine's spread is of the day, so that no visit tells it for the next."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from wringout.machine.parameters import Array

__all__ = ["YEARLY", "share"]

# Share of a spread's variance that is drawn anew from visit to visit. All are judgement: what is bolted on
# keeps, what gets dirty or is set by hand moves, what people, weather and another plant do is of the day.
_KEEPS, _SETTLES, _MOVES, _DAY = 0.08, 0.2, 0.5, 0.9
_SHARES = {
    "air_ratio": _SETTLES,  # belts and filters
    "outdoor_ratio": 0.35,  # linkages, and wind on the louvre
    "outdoor_follows": _SETTLES,
    "fan_heat_ratio": _KEEPS,
    "fan_current_ratio": _SETTLES,  # the mains' voltage
    "filter_ratio": _MOVES,  # another set of filters
    "fan_reserve_ratio": _KEEPS,
    "return_rise": _MOVES,
    "capacity_ratio": _SETTLES,
    "cooling_coil_ratio": _SETTLES,
    "reheat_coil_ratio": _KEEPS,
    "moisture_ratio": _DAY,
    "infiltration_ratio": _DAY,
    "sensible_shift": _DAY,
    "space_t_offset": _SETTLES,
    "supply_t_offset": _SETTLES,
    "dew_offset": 0.35,  # humidity sensors age
    "outdoor_dew_offset": 0.35,
    "stage_current_ratio": _SETTLES,
    "superheat_shift": _MOVES,
    "condensing_shift": _MOVES,
    "cooling_water_ratio": _SETTLES,
    "chilled_in_shift": _MOVES,
    "chilled_flow_ratio": _SETTLES,
    "leakage_ratio": _SETTLES,
    "pump_ratio": _KEEPS,
    "main_resistance_ratio": _KEEPS,
    "coil_resistance_ratio": _KEEPS,
    "bypass_resistance_ratio": _SETTLES,  # balancing valves are turned
    "valve_resistance_ratio": _KEEPS,
    "strainer_ratio": _MOVES,
    "source_out_shift": _MOVES,
    "exchanger_ratio": _SETTLES,
    "plant_ratio": _DAY,
    "gas_in_shift": _DAY,
    "condensing_gas_shift": _DAY,
    "hot_gas_ratio": _SETTLES,
    "rangeability_ratio": _KEEPS,
}
YEARLY = 0.1  # of the variance, for every year between two visits: wear and dirt; judgement


def share(names: Sequence[str]) -> Array:
    """Give the shares of some spreads.

    Parameters
    ----------
    names : sequence of str
        A stage's spreads end in its number.

    Returns
    -------
    array, (names,), 0..1 [-]
        One that has no entry counts as of the day: nothing is learned of it.
    """
    return np.array([_SHARES.get(name.partition(".")[0], 1.0) for name in names])
