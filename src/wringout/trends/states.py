"""What the unit was doing at each moment, as far as the trend tells."""

from __future__ import annotations

import numpy as np

from wringout.trends.signals import Mask, filled
from wringout.trends.table import Array, TrendTable

__all__ = ["cooling_level", "cooling_on", "dehumidifier", "fan_on", "heating_level"]


def fan_on(table: TrendTable) -> Mask:
    """Where the fan runs; everywhere if nothing is logged about it (the unit's fan runs always)."""
    if (running := table.get("fan.running")) is not None:
        return np.asarray(running > 0.5)
    for point, least in (("fan.command", 0.05), ("fan.speed", 5.0)):
        if (speed := table.get(point)) is not None:
            return np.asarray(speed > least)
    return np.ones(len(table.time), dtype=bool)


def cooling_level(table: TrendTable) -> Array | None:
    """How much cooling is called for: stages, or a command 0..1; None where the trend does not hold it."""
    for point in ("cooling.command", "shown.stages_called"):
        if point in table:
            return table[point]
    return None


def cooling_on(table: TrendTable) -> Mask | None:
    """Where cooling is called for; None where nothing tells."""
    level = cooling_level(table)
    if level is None:
        return table["shown.dehumidifying"] > 0.5 if "shown.dehumidifying" in table else None
    level = filled(level)  # a row that is missing is taken to be like its neighbours
    return np.asarray(level > (0.02 if "cooling.command" in table else 0.5))


def heating_level(table: TrendTable) -> Array | None:
    """The reheat (or heating) command 0..1."""
    return table.get("shown.reheat_command")


def dehumidifier(table: TrendTable) -> bool:
    """Whether the unit controls moisture, so that cooling and reheating together are its job."""
    return any(p in table for p in ("shown.dew_point", "shown.dehumidifying", "shown.setpoint_dew_point"))
