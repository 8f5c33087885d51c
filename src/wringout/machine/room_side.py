"""The room's balance in one state: what it gains against what the supply air takes, in standard
deviations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wringout.machine.design import Design
from wringout.machine.parameters import Array
from wringout.machine.steady import Settled
from wringout.physics.room import heat_gain, moisture_gain, moisture_removed, sensible_removed

__all__ = ["RoomBalance", "room_balance"]

USUAL_GAIN_SHARE = 0.6  # judgement
WANDERING_MOISTURE, WANDERING_HEAT = 0.35, 0.3  # shares by which gains differ from hour to hour; judgement
CYCLE_SHARE = 0.25  # of a stage: the spread of a square wave seen at one moment, damped by what follows it


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


def largest_step(design: Design) -> float:
    """Share of the capacity that the largest stage without modulation switches; 0 where all is modulated."""
    steps = [
        share
        for share, modulating in zip(design.stage_share, design.stage_modulating, strict=True)
        if not modulating
    ]
    return max(steps, default=0.0)


def room_balance(s: Settled, wandering: bool = False) -> RoomBalance:
    """Set the room's gains against what the supply air removes now.

    Parameters
    ----------
    s : Settled
    wandering : bool
        Whether people and stores have their own say, because the machine is looked at over days.

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
    # a room is hardly ever at rest: it drifts, it stores, and stages step past what it needs and back
    step = CYCLE_SHARE * largest_step(d)
    rated = d.unit.cooling.rated
    moisture_spread = (
        np.square(0.15 * np.maximum(np.abs(removed), np.abs(gain)))
        + np.square(1.5e-4 * s.flow.supply)
        + (step * (rated.total - rated.sensible) / 2.5e6) ** 2
    ) ** 0.5
    heat_spread = (
        np.square(0.15 * taken) + np.square(1020.0 * 1.6 * s.flow.supply) + (step * rated.sensible) ** 2
    ) ** 0.5
    if wandering:
        moisture_spread = np.hypot(moisture_spread, WANDERING_MOISTURE * gain)
        heat_spread = np.hypot(heat_spread, WANDERING_HEAT * abs(space.sensible))
    return RoomBalance(
        gain, removed, heat, taken, (gain - removed) / moisture_spread, (heat - taken) / heat_spread
    )
