"""A machine's spreads in the words of the trade, and the unit of those that add."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["spread_words"]

_WORDS = {
    "air_ratio": "supply airflow",
    "outdoor_ratio": "outdoor airflow",
    "outdoor_follows": "how far outdoor air follows the fan",
    "fan_heat_ratio": "heat of the fan",
    "fan_current_ratio": "current of the fan",
    "filter_ratio": "pressure drop of the filter when clean",
    "fan_reserve_ratio": "pressure that the fan has in reserve",
    "return_rise": "rise in the return duct",
    "capacity_ratio": "cooling capacity",
    "cooling_coil_ratio": "air side of the cooling coil",
    "reheat_coil_ratio": "reheat coil",
    "moisture_ratio": "moisture released indoors",
    "infiltration_ratio": "infiltration",
    "sensible_shift": "heat gain indoors",
    "space_t_offset": "error of the space temperature sensor",
    "supply_t_offset": "error of the supply temperature sensor",
    "dew_offset": "error of the dew-point sensor",
    "outdoor_dew_offset": "error of the outdoor dew-point sensor",
    "stage_current_ratio": "current",
    "superheat_shift": "superheat",
    "condensing_shift": "condensing over outdoor",
    "cooling_water_ratio": "water side of the cooling coil",
    "chilled_in_shift": "chilled water supply",
    "chilled_flow_ratio": "chilled water flow",
    "leakage_ratio": "leakage of the shut reheat valve",
    "pump_ratio": "head of the pump",
    "main_resistance_ratio": "resistance of the main",
    "coil_resistance_ratio": "resistance of the coil's leg",
    "bypass_resistance_ratio": "resistance of the bypass",
    "valve_resistance_ratio": "resistance of the open reheat valve",
    "strainer_ratio": "pressure drop of the strainer when clean",
    "source_out_shift": "water leaving the heat source",
    "exchanger_ratio": "reclaim exchanger",
    "plant_ratio": "gas that the plant has to give",
    "gas_in_shift": "gas entering the exchanger",
    "condensing_gas_shift": "condensing temperature of the plant",
    "hot_gas_ratio": "hot gas to the coil",
    "rangeability_ratio": "rangeability of the reheat valve",
}


def spread_words(name: str, stages: Sequence[str]) -> str:
    """Say one of a machine's spreads.

    Parameters
    ----------
    name : str
    stages : sequence of str
        Ids of the unit's stages.

    Returns
    -------
    str
    """
    base, _, index = name.partition(".")
    words = _WORDS.get(base, base.replace("_", " "))
    return f"{words} of stage {stages[int(index)]}" if index else words
