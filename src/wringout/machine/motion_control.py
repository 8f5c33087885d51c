"""The controller of the sequence of operation: what it sees, when it dehumidifies, stages, and reheat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.motion_numbers import Number, Numbers
from wringout.machine.motion_storage import (
    HOT_GAS_TIME,
    MIXING_TIME,
    REHEAT_COIL_TIME,
    SENSOR_LAG,
    Storage,
)
from wringout.machine.parameters import healthy_values, neutral, spreads
from wringout.machine.steady import settle
from wringout.physics.room import MOIST_SPECIFIC_HEAT

__all__ = [
    "COOLER_BELOW",
    "HUNTING_GAIN",
    "LEAST_STAGE_TIME",
    "STAGE_HYSTERESIS",
    "WARM_ABOVE",
    "Control",
    "Tuning",
    "stage_thresholds",
    "steepest_heat",
    "tuning",
    "ultimate_gain",
]

LEAST_STAGE_TIME = 180.0  # s a stage stays on, and off: "a few minutes" of the sequence
STAGE_HYSTERESIS = 0.4  # of the band, between on and off of one stage; judgement
WARM_ABOVE = 2.0 / 1.8  # K over set point that call one more stage (the sequence of operation)
COOLER_BELOW = 1.0 / 1.8  # K over set point at which that call ends; judgement
GAIN_MARGIN = 3.0  # of a tuned loop
TUNING_STEPS = 10  # of the command, between which a commissioner reads what the output does
# times the gain at which a loop just keeps swinging where its output acts as its rated heat says: it swings
# over most of the travel, and not only where the output acts most
HUNTING_GAIN = 2.0


@dataclass(frozen=True)
class Tuning:
    """PI settings: ``gain`` [share of command to the kelvin], ``integral_time`` [s]; ``hunting`` the gain of
    a control that hunts [share of command to the kelvin]."""

    gain: float
    integral_time: float
    hunting: float


def tuning(design: Design, store: Storage) -> Tuning:
    """Tune the reheat control as a careful commissioner would, from the unit's own figures.

    Parameters
    ----------
    design : Design
    store : Storage

    Returns
    -------
    Tuning

    Notes
    -----
    The room answers with the heat of the output over what holds the air's temperature (supply air and
    contents), and with the lags of air, mixing, sensor and coil one after the other; a moving valve adds a
    little dead time. The integral time follows the largest lag or four times the others together; the gain is
    the ultimate one, at which the loop would just keep swinging, over a usual gain margin. Heat is hardly
    ever in proportion to the command: a loop tuned on its mean swings where the output acts most, and so it
    is there that the margin must hold.

    References
    ----------
    S. Skogestad, J. Process Control 13 (2003) 291-309, for the integral time (from memory). Gain margins of
    2 to 5, and tuning where the process answers most: common practice.
    """
    holding = design.air_flow * MOIST_SPECIFIC_HEAT + store.contents_film
    slow = store.air_heat / holding
    coil = REHEAT_COIL_TIME if design.hot_water else HOT_GAS_TIME
    others = (MIXING_TIME, SENSOR_LAG, coil)
    dead = 0.1 * store.travel_time
    integral = min(slow, 4.0 * (sum(others) + dead))
    lags = (slow, *others)
    steepest, rated = (
        ultimate_gain(heat / holding, lags, dead, integral)
        for heat in (steepest_heat(design), design.unit.reheat.rated.heat)
    )
    return Tuning(steepest / GAIN_MARGIN, integral, HUNTING_GAIN * rated)


def steepest_heat(design: Design) -> float:
    """Heat that reheat gives for the command where it acts most.

    Parameters
    ----------
    design : Design

    Returns
    -------
    float, [W to the full command]
        Of the machine at its schedule on its design day with every stage on, over a tenth of the command.
    """
    rows = spreads(design)
    values = neutral(design) | healthy_values(rows, np.zeros((1, len(rows))))
    command = np.linspace(0.0, 1.0, TUNING_STEPS + 1)
    control, day, one = design.unit.control, design.unit.space.design_day, np.ones(1)
    held = Conditions(
        outdoor_t=day.outdoor_t * one,
        outdoor_dew_point=day.outdoor_dew_point * one,
        space_t=control.space_t * one,
        space_dew_point=control.dew_point * one,
        command=command,
        stages=max(len(design.stage_share), 1) * one,
        modulation=one,
        rewetting=0.0 * one,
    )
    return float(np.diff(settle(design, values, held).reheat.heat).max()) * TUNING_STEPS


def ultimate_gain(gain: float, lags: tuple[float, ...], dead_time: float, integral_time: float) -> float:
    """Gain of a PI controller at which a loop of lags and dead time just keeps swinging.

    Parameters
    ----------
    gain : float, [K to the full command]
        Of what is controlled, at rest.
    lags : tuple of float, [s]
    dead_time : float, [s]
    integral_time : float, [s]
        Infinite for a proportional controller.

    Returns
    -------
    float, [share of command to the kelvin]

    Notes
    -----
    Where the phase passes -180 degrees the loop's gain is 1.
    """
    low, high = -8.0, 2.0  # logarithms to 10 of the frequency [1/s]
    for _ in range(80):
        middle = 0.5 * (low + high)
        w = 10.0**middle
        phase = -dead_time * w - math.atan(1.0 / (w * integral_time))
        phase -= sum(math.atan(w * lag) for lag in lags)
        low, high = (middle, high) if phase > -math.pi else (low, middle)
    w = 10.0**low
    size = gain * math.hypot(1.0, 1.0 / (w * integral_time))
    for lag in lags:
        size /= math.hypot(1.0, w * lag)
    return 1.0 / size


def stage_thresholds(design: Design) -> tuple[tuple[float, float], ...]:
    """Where each stage goes on and off.

    Parameters
    ----------
    design : Design

    Returns
    -------
    tuple of (float, float), one a stage, [K over the dew-point set point]
        On above the first, off below the second. The first stage runs as long as the unit dehumidifies.
    """
    count = max(len(design.stage_share), 1)
    band = design.unit.control.dew_point_band
    rows = [(0.0, -0.5 * band)]
    rows += [(k / count * band, (k / count - STAGE_HYSTERESIS) * band) for k in range(1, count)]
    return tuple(rows)


class Control:
    """The controller's memory, and what it does with one step.

    Flags are 0 or 1, so that they multiply alike in floats and arrays.
    """

    def __init__(
        self, n: Numbers, design: Design, p: dict[str, Number], store: Storage, step: float, zero: Number
    ) -> None:
        self.n, self.step, self.zero = n, step, zero
        control = design.unit.control
        self.chilled = not design.dx
        self.set_point = control.dew_point + p["setpoint_shift"]
        self.half_band = 0.5 * control.dew_point_band
        self.per_band = 1.0 / control.dew_point_band
        self.set_t = control.space_t
        self.thresholds = stage_thresholds(design)
        self.count = len(self.thresholds)
        lag = SENSOR_LAG * p["sensor_lag_ratio"]
        self.follows = 1.0 - n.exp(-step / lag)
        self.mixes = 1.0 - n.exp(-step / (MIXING_TIME * p["sensor_lag_ratio"]))
        self.dew_error = p["dew_error"] + p["dew_offset"]
        self.outdoor_dew_offset = p["outdoor_dew_offset"]
        self.t_error = p["space_t_offset"] + p["space_t_error"]
        self.outdoor_always = p["dew_from_outdoor"] > 0.5
        self.outdoor_at_rest = n.pick(p["dew_from_outdoor"] < -0.5, 1.0, 0.0)
        self.enabled = n.pick(p["locked_out"] > 0.5, 0.0, 1.0)
        set_by = tuning(design, store)
        gain = set_by.gain + (set_by.hunting - set_by.gain) * p["hunting"]
        gain = gain * p["controller_gain_ratio"]
        self.gain = gain
        self.integral = gain * step / set_by.integral_time
        self.in_hand = p["in_hand"] > 0.5
        self.hand_command = p["hand_command"]
        self.held_command: float | None = None
        self.held_cooling: float | None = None
        # memory
        self.near_t = self.near_dew = zero
        self.felt_t = self.felt_dew = zero
        self.dehumidifying = self.warm = self.command = self.modulation = zero
        self.error = zero
        self.asked: list[Number] = [zero] * self.count
        self.on: list[Number] = [zero] * self.count
        self.since: list[Number] = [zero + 1e9] * self.count
        self.shown_t = self.shown_dew = zero

    def remember(self, other: Control) -> None:
        """Take over the memory of the controller before a change."""
        for name in (
            "near_t",
            "near_dew",
            "felt_t",
            "felt_dew",
            "dehumidifying",
            "warm",
            "command",
            "modulation",
            "error",
        ):
            setattr(self, name, getattr(other, name))
        self.asked, self.on, self.since = list(other.asked), list(other.on), list(other.since)
        self.held_command, self.held_cooling = other.held_command, other.held_cooling

    def see(self, space_t: Number, dew_point: Number, outdoor_dew_point: Number) -> None:
        """Let the air about the sensors follow the room, and the sensors that air, for one step."""
        self.near_t = self.near_t + self.mixes * (space_t - self.near_t)
        self.near_dew = self.near_dew + self.mixes * (dew_point - self.near_dew)
        self.felt_t = self.felt_t + self.follows * (self.near_t - self.felt_t)
        self.felt_dew = self.felt_dew + self.follows * (self.near_dew - self.felt_dew)
        self.show(outdoor_dew_point)

    def show(self, outdoor_dew_point: Number) -> None:
        """What the display and the control work with."""
        n = self.n
        # another sensor's value comes with that sensor's error
        other = outdoor_dew_point + self.outdoor_dew_offset
        own = self.felt_dew + self.dew_error
        own = n.pick(self.outdoor_at_rest * (1.0 - self.dehumidifying) > 0.5, other, own)
        self.shown_dew = n.pick(self.outdoor_always, other, own)
        self.shown_t = self.felt_t + self.t_error

    def decide(self) -> None:
        """Stages, modulation and reheat command for the next step."""
        n, zero = self.n, self.zero
        pick = n.pick
        over = self.shown_dew - self.set_point
        error = self.set_t - self.shown_t
        self.dehumidifying = self.enabled * pick(
            over > 0.0, 1.0, pick(over < -self.half_band, 0.0, self.dehumidifying)
        )
        self.warm = pick(error < -WARM_ABOVE, 1.0, pick(error > -COOLER_BELOW, 0.0, self.warm))
        place = n.share((over + self.half_band) * self.per_band) * self.dehumidifying
        heat = n.share(error * (-0.5 / WARM_ABOVE)) * self.warm
        self.modulation = n.most(place, heat)
        if self.held_cooling is not None:
            full = 1.0 if self.held_cooling >= 0.5 else 0.0
            self.modulation = zero + full
            for k in range(self.count):
                self._turn(k, zero + full)
        elif self.chilled:
            self.on[0] = n.most(self.dehumidifying, self.warm)
        else:
            self._stages(over)
        self._reheat(error)

    def _stages(self, over: Number) -> None:
        n = self.n
        wanted = self.warm
        for k, (on, off) in enumerate(self.thresholds):
            if k == 0:
                self.asked[0] = self.dehumidifying
            else:
                held = n.pick(over > on, 1.0, n.pick(over < off, 0.0, self.asked[k]))
                self.asked[k] = held * self.dehumidifying
            wanted = wanted + self.asked[k]
        for k in range(self.count):
            rested = self.since[k] >= LEAST_STAGE_TIME
            self._turn(k, n.pick(rested, n.pick(wanted > k + 0.5, 1.0, 0.0), self.on[k]))

    def _turn(self, k: int, new: Number) -> None:
        """Set a stage's flag and its clock."""
        self.since[k] = self.n.pick(new != self.on[k], 0.0, self.since[k]) + self.step
        self.on[k] = new

    def _reheat(self, error: Number) -> None:
        n = self.n
        # velocity form: a saturated command unwinds at once
        moved = self.command + self.gain * (error - self.error) + self.integral * error
        command = n.share(moved) * self.dehumidifying
        command = n.pick(self.in_hand, self.hand_command, command)
        if self.held_command is not None:
            command = self.zero + self.held_command
        self.command = command
        self.error = error

    @property
    def stages(self) -> Number:
        """How many stages are on; chilled water: whether the valve is called open."""
        total: Any = self.on[0]
        for flag in self.on[1:]:
            total = total + flag
        return total
