"""The room's balance in one state: what it gains against what the supply air takes, in standard
deviations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.machine.parameters import Array
from wringout.machine.steady import Settled
from wringout.physics.room import heat_gain, moisture_gain, moisture_removed, sensible_removed

__all__ = ["RoomBalance", "room_balance"]

USUAL_GAIN_SHARE = 0.6  # judgement


@dataclass(frozen=True)
class RoomBalance:
    """Gains and removals [kg/s], [W]; residuals [-] in standard deviations of what a room stores or a
    cycle shifts."""

    moisture_gain: Array
    moisture_removed: Array
    heat_gain: Array
    heat_removed: Array
    moisture_residual: Array
    heat_residual: Array


def room_balance(s: Settled) -> RoomBalance:
    """Set the room's gains against what the supply air removes now.

    Parameters
    ----------
    s : Settled

    Returns
    -------
    RoomBalance
    """
    d, p, c = s.design, s.values, s.conditions
    space = d.unit.space
    density = d.pressure / (287.042 * (c.space_t + 273.15) * 1.012)
    infiltration = space.infiltration * density * p["infiltration_ratio"] * p["doors_ratio"]
    released = space.moisture * p["moisture_ratio"] * p["moisture_added_ratio"]
    gain = moisture_gain(released, infiltration, s.mixed.outdoor_w, s.mixed.space_w)
    removed = moisture_removed(s.flow.supply, s.mixed.space_w, s.supply_w)
    # the design gain is that of the fullest day: on most days people and sun bring rather more than half
    # of it
    sensible = space.sensible * USUAL_GAIN_SHARE + 0.4 * abs(space.sensible) * p["sensible_shift"]
    heat = heat_gain(sensible, infiltration, c.outdoor_t, c.space_t)
    taken = sensible_removed(s.flow.supply, c.space_t, s.supply_t)
    # stored or caught between two steps of a stage: a fifth of what moves, and a drift of the room
    moisture_spread = np.hypot(0.20 * np.maximum(np.abs(removed), np.abs(gain)), 1.0e-4 * s.flow.supply)
    heat_spread = np.hypot(0.15 * np.abs(taken), 1020.0 * 1.0 * s.flow.supply)
    return RoomBalance(
        gain, removed, heat, taken, (gain - removed) / moisture_spread, (heat - taken) / heat_spread
    )
