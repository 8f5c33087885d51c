"""What must fit together beside the readings: the controls with what they see, and the room with what it
is given.

Each term is a residual in standard deviations, like a reading's, so that weighing treats it alike.
"""

from __future__ import annotations

import numpy as np

from wringout.machine.parameters import Array
from wringout.machine.room_side import room_balance
from wringout.machine.steady import Settled, seen_dew_point
from wringout.weighing.situation import Situation
from wringout.weighing.unknowns import WARM

__all__ = ["TERMS", "consistency"]

TERMS = ("reheat control", "dehumidifying", "stages", "modulation", "room moisture", "room heat")
SLACK = {
    "reheat control": 0.30,  # K, a PI loop with 15 minutes between looks
    "dehumidifying": 0.25,  # K of dew point
    "stages": 0.30,  # K of dew point
}

RESTING = 0.02  # of the reheat command, under which it is none; displays round


def outside(value: Array, low: Array | float, high: Array | float) -> Array:
    """How far a value lies outside an interval; 0 inside."""
    return np.maximum(value - high, 0.0) + np.minimum(value - low, 0.0)


def _active(stages: float, command: float | None) -> float | None:
    """Whether a unit dehumidifies whose display was not read for it: it does where stages are called, and
    rests where neither these nor any reheat is; between two steps of its cycle it may reheat alone."""
    if stages > 0.5:
        return 1.0
    return 0.0 if command is not None and command < RESTING else None


def consistency(s: Settled, at: Situation, settled: bool = True) -> dict[str, Array]:
    """Residuals of controls and room in one situation.

    Parameters
    ----------
    s : Settled
    at : Situation
    settled : bool
        Whether control has had time to come to rest.

    Returns
    -------
    dict of array, (samples,), [-]
        By name of TERMS; only those that say something here.
    """
    unit, p, c = s.design.unit, s.values, s.conditions
    terms: dict[str, Array] = {}
    if not at.observations:
        return terms  # where nothing was read there is nothing for controls and room to fit
    active = at.read("shown.dehumidifying")
    read_stages = at.read("shown.stages_called")
    forced_cooling, forced_reheat = at.item == "cooling.call", at.item == "reheat.command"
    seen_dew = seen_dew_point(p, p["dew_from_outdoor"] > 0.5, c.space_dew_point, c.outdoor_dew_point)
    seen_t = c.space_t + p["space_t_offset"] + p["space_t_error"]
    band = unit.control.dew_point_band
    setpoint = unit.control.dew_point + p["setpoint_shift"]
    warm = np.clip((seen_t - unit.control.space_t - WARM) / 0.5, 0.0, 1.0)
    # where nobody read whether the unit dehumidifies, a stage may run for the room's warmth alone
    resting = np.maximum(p["locked_out"], seen_dew < setpoint - 0.5 * band)
    drying = 1.0 - warm * resting if active is None else np.ones(1)
    # a log tells by itself whether it saw the unit dry
    if active is None and read_stages is not None and not forced_cooling and at.logged is None:
        active = _active(read_stages, None if forced_reheat else at.read("shown.reheat_command"))
    if not forced_reheat and active is not None:
        loose = 1.0 - p["in_hand"]
        wide = SLACK["reheat control"] * (1.0 + 5.0 * p["hunting"]) * (2.5 if forced_cooling else 1.0)
        off = seen_t - unit.control.space_t
        if active > 0.5:
            low = np.where(c.command > 0.97, -60.0, -0.25)
            high = np.where(c.command < 0.03, 60.0, 0.25)
            terms["reheat control"] = loose * outside(off, low, high) / wide
        else:
            terms["reheat control"] = loose * c.command / 0.03
    if active is not None and not forced_cooling:
        slack = SLACK["dehumidifying"]
        if active > 0.5:
            short = np.minimum(seen_dew - (setpoint - 0.5 * band), 0.0) / slack
            terms["dehumidifying"] = drying * (short - 6.0 * p["locked_out"])
        else:
            over = np.maximum(seen_dew - setpoint, 0.0) / slack
            # a source that is swapped only while satisfied shows the outdoor dew point here and starts the
            # unit at once
            terms["dehumidifying"] = over * (1.0 - p["locked_out"])
    if active is not None and active > 0.5 and not forced_cooling:
        most = float(len(s.design.stage_share)) if s.design.dx else 1.0
        place = (seen_dew - (setpoint - 0.5 * band)) / band
        if s.design.dx and settled:
            called = c.stages
            low = np.where(called > 0.5, (called - 1.0 - warm) / most, -9.0)
            high = np.where(called >= most - 0.5, 9.0, (called + 1.0) / most)
            terms["stages"] = drying * outside(place, low, high) * band / SLACK["stages"]
        if (not s.design.dx) or any(s.design.stage_modulating):
            asked = np.clip(place, 0.0, 1.0)
            terms["modulation"] = drying * (c.modulation - asked) / (0.22 if s.design.dx else 0.15)
    if at.item is None:
        balance = room_balance(s, at.logged is not None)
        terms["room moisture"] = balance.moisture_residual
        terms["room heat"] = balance.heat_residual
    return terms
