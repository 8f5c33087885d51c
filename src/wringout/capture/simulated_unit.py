"""What the simulated devices tell of: one machine with its room, people and weather, and what is hidden.

A person can force a state only at the machine itself, by a line of words; nothing that comes over the network
alters anything.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.machine.acts import ACTS, variants
from wringout.machine.design import Design, design
from wringout.machine.motion_live import LiveMachine
from wringout.machine.motion_room import Loads, Weather
from wringout.machine.motion_storage import storage_spreads
from wringout.machine.parameters import Array, healthy_values, neutral, spreads
from wringout.quantity import Dimension, parse

__all__ = ["ORDERS", "SimulatedUnit"]

STEP = 4.0  # s
DAYS = 14
BEFORE = 2.0 * 3600.0  # s that it has run before anybody looks
ORDERS = "force reheat.command 100 %, force cooling.call 0 %, release reheat.command, mend"
_WANDER = 0.15  # of the loads, one standard deviation; as in the machine's own runs, judgement
_NOISE_T, _NOISE_RH = 0.04, 0.004  # K and share, one standard deviation of a shown value; judgement


class SimulatedUnit:
    """A unit that runs by a clock given from outside [s since 1970 of the clock of the place]."""

    def __init__(self, unit: Unit, causes: Sequence[str], start: float, seed: int = 0) -> None:
        """Let it run until a moment.

        Parameters
        ----------
        unit : Unit
        causes : sequence of str
            What is wrong with it, by id of the catalogue; how badly is drawn.
        start : float, [s]
            The moment.
        seed : int, optional
            For all that is drawn: how the machine departs from its schedule, weather, people.

        Raises
        ------
        InputError
            For a cause that there is not.
        """
        unknown = [cause for cause in causes if cause not in ACTS]
        if unknown:
            raise InputError(f'there is no cause "{unknown[0][:40]}"; see docs/causes.md')
        self.unit, self.causes = unit, tuple(causes)
        self.rng = np.random.default_rng(seed)
        plan = design(unit)
        rows = spreads(plan) + storage_spreads()
        drawn = 0.5 * self.rng.standard_normal((1, len(rows)))
        self._healthy: dict[str, Array] = dict(neutral(plan) | healthy_values(rows, drawn))
        self.begun = start - BEFORE
        day = math.fmod(self.begun, 86400.0)
        weather, loads = _weather(plan, day, self.rng), _loads(day, self.rng)
        self.machine = LiveMachine(plan, self._with_causes(plan), weather, loads, STEP)
        self.run_to(start)

    def _with_causes(self, plan: Design) -> dict[str, Array]:
        values = dict(self._healthy)
        for cause in self.causes:
            ways = variants(cause, plan.unit)
            way = ways[int(self.rng.integers(len(ways)))]
            how_badly = [0.5 + 0.4 * self.rng.random(1) for _ in range(ACTS[cause].severities)]
            values |= ACTS[cause].move(values.__getitem__, way, how_badly)
        return values

    def run_to(self, at: float) -> None:
        """Let it run until a moment [s]."""
        self.machine.advance_to(at - self.begun)

    @property
    def now(self) -> float:
        """The moment up to which it has run [s]."""
        return self.begun + self.machine.time

    def order(self, words: str) -> str:
        """Do at the machine what a person says.

        Parameters
        ----------
        words : str
            One line: ``force ITEM SHARE %``, ``release ITEM``, or ``mend``.

        Returns
        -------
        str
            What was done.

        Raises
        ------
        InputError
            For words that mean nothing here.
        """
        parts = words.split(maxsplit=2)
        if len(parts) == 3 and parts[0] == "force":
            share = float(parse(parts[2], Dimension.FRACTION).value)
            self.machine.hold(parts[1], share)
            return f"{parts[1]} is held at {100.0 * share:g} %"
        if len(parts) == 2 and parts[0] == "release":
            self.machine.release(parts[1])
            return f"{parts[1]} is back with control"
        if parts == ["mend"]:
            self.causes = ()
            self.machine.alter(self._healthy)
            return "what was hidden is mended"
        raise InputError(f'"{words[:60]}" means nothing here; write for example: {ORDERS}')

    def shown(self) -> dict[str, float]:
        """Give what the unit's sensors and outputs show now [SI of the point]."""
        points = self.machine.points()
        held = self.machine.held
        points["shown.reheat_in_hand"] = max(
            float("reheat.command" in held), points.get("shown.reheat_in_hand", 0.0)
        )
        points["cooling.command"] = float(self.machine.machine.control.modulation)
        points["fan.running"] = 1.0
        points["shown.setpoint_space_t"] = self.unit.control.space_t
        for name in points:
            if name.endswith((".t", "_t", ".dew_point", "water_in", "water_out")) and "setpoint" not in name:
                points[name] += _NOISE_T * float(self.rng.standard_normal())
            elif name.endswith(".rh"):
                points[name] += _NOISE_RH * float(self.rng.standard_normal())
            elif name.endswith("flow"):
                points[name] *= 1.0 + 0.01 * float(self.rng.standard_normal())
        return points


def _weather(plan: Design, day: float, rng: np.random.Generator) -> Weather:
    """Warm days a little under the design day: coolest at five in the morning."""
    time = np.arange(0.0, DAYS * 86400.0, 1800.0)
    wave = np.sin(2.0 * np.pi * (time + day - 11.0 * 3600.0) / 86400.0)
    about = plan.unit.space.design_day
    t = about.outdoor_t - 3.0 + 3.5 * wave
    dew = about.outdoor_dew_point - 2.5 + 0.6 * wave + 0.3 * _wandering(rng, len(time), 0.9)
    return Weather.of(t, np.minimum(dew, t - 0.5), time)


def _loads(day: float, rng: np.random.Generator) -> Loads:
    """People by day, fewer by night, coming and going."""
    time = np.arange(0.0, DAYS * 86400.0, 300.0)
    busy = 0.5 + 0.5 * np.tanh(3.0 * np.sin(2.0 * np.pi * (time + day - 9.0 * 3600.0) / 86400.0))
    moisture = (0.6 + 0.35 * busy) * (1.0 + _WANDER * _wandering(rng, len(time), 0.78))
    sensible = (0.45 + 0.2 * busy) * (1.0 + _WANDER * _wandering(rng, len(time), 0.78))
    return Loads.of(np.maximum(moisture, 0.05), np.maximum(sensible, 0.05), time)


def _wandering(rng: np.random.Generator, count: int, kept: float) -> Array:
    """Standard normal noise that keeps a share of itself from one time to the next."""
    noise = rng.standard_normal(count)
    for k in range(1, count):
        noise[k] = kept * noise[k - 1] + math.sqrt(1.0 - kept * kept) * noise[k]
    return noise
