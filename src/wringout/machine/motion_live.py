"""A machine that runs on for as long as somebody looks at it: `motion.run` without an end set beforehand."""

from __future__ import annotations

import numpy as np

from wringout.errors import InputError
from wringout.machine.closed import Closed, closed
from wringout.machine.design import Design
from wringout.machine.motion import ITEMS
from wringout.machine.motion_assembly import Assembly, prepared
from wringout.machine.motion_room import Loads, Weather
from wringout.machine.motion_trace import Segment, Trace
from wringout.machine.parameters import Values
from wringout.physics.moist_air import saturated_humidity_ratio

__all__ = ["LiveMachine"]


class LiveMachine:
    """One machine with its room and control, at one moment.

    It starts at rest with the first weather and loads. Weather and loads are held beyond their ends, as in
    `motion.run`, and what it does from the same start is the same.
    """

    def __init__(
        self, design: Design, values: Values, weather: Weather, loads: Loads, step: float = 5.0
    ) -> None:
        """Put it at rest.

        Parameters
        ----------
        design : Design
        values : Values
            Parameters of one machine, by name, as for `motion.run`.
        weather : Weather
            Of one sample.
        loads : Loads
            Of one sample.
        step : float, [s]
            0.1 to 60.

        Raises
        ------
        InputError
            For a step out of range.
        NotConverged
            Where no state at rest is found.
        """
        if not 0.1 <= step <= 60.0:
            raise InputError(f"the step is {step:g} s: it must lie from 0.1 to 60 s")
        self.design, self.step = design, step
        self.weather, self.loads = weather, loads
        self.steps = 0
        self.held: dict[str, float] = {}
        self.machine, _ = prepared(design, values, 1, step, 1)
        inputs = self._inputs(0.0)
        rest: Closed = closed(
            design,
            self.machine.fields,
            Weather.of(inputs[0], inputs[2]),
            Loads.of(inputs[3], inputs[4]),
            {},
            least=np.inf,
        )
        self.machine.start(rest, {}, inputs)

    @property
    def time(self) -> float:
        """How long it has run [s]."""
        return self.steps * self.step

    def advance_to(self, time: float) -> None:
        """Let it run until less than one step is left to a time [s]."""
        while self.time + self.step <= time + 1e-9:
            self.steps += 1
            self.machine.advance(self.time, self._inputs(self.time))

    def hold(self, item: str, to: float) -> None:
        """Hold an item from now on.

        Parameters
        ----------
        item : str
            ``reheat.command`` or ``cooling.call``.
        to : float, [-]
            0 to 1.

        Raises
        ------
        InputError
            For another item, or a share out of range.
        """
        if item not in ITEMS:
            raise InputError(f'"{item[:40]}" cannot be held; {" and ".join(ITEMS)} can')
        if not 0.0 <= to <= 1.0:
            raise InputError(f"{100.0 * to:g} % is out of range: 0 to 100 %", item)
        self.held[item] = to
        setattr(self.machine.control, ITEMS[item], to)

    def release(self, item: str) -> None:
        """Give a held item back to control; one that is not held stays as it is."""
        if item not in ITEMS:
            raise InputError(f'"{item[:40]}" cannot be held; {" and ".join(ITEMS)} can')
        self.held.pop(item, None)
        setattr(self.machine.control, ITEMS[item], None)

    def alter(self, values: Values) -> None:
        """Give it other parameters from now on: something came, or was mended."""
        old: Assembly = self.machine
        self.machine, _ = prepared(self.design, values, 1, self.step, 1)
        self.machine.remember(old)

    def points(self) -> dict[str, float]:
        """Give every test point that the unit has, at this moment.

        Returns
        -------
        dict of float, [SI of the point]
            What an exact instrument would read; ``shown.*`` as the unit's own sensors have it. NaN for what
            cannot be had now.
        """
        outdoor_t, _, dew, _, _ = self._inputs(self.time)
        states = {
            name: np.array([[float(value)]])
            for name, value in zip(self.machine.names, self.machine.state(), strict=True)
        }
        trace = Trace(
            self.design,
            (Segment(0, self.machine.fields),),
            np.array([self.time]),
            states,
            np.array([[outdoor_t]]),
            np.array([[dew]]),
        )
        return {name: float(series[0, 0]) for name, series in trace.points().items()}

    def _inputs(self, at: float) -> list[float]:
        """Outdoor temperature, humidity ratio and dew point, moisture and sensible share."""
        weather, loads = self.weather, self.loads
        outdoor_t = float(np.interp(at, weather.time, weather.outdoor_t))
        dew = float(np.interp(at, weather.time, weather.outdoor_dew_point))
        moisture = float(np.interp(at, loads.time, loads.moisture))
        sensible = float(np.interp(at, loads.time, loads.sensible))
        w = float(saturated_humidity_ratio(min(dew, outdoor_t), self.design.pressure))
        return [outdoor_t, w, dew, moisture, sensible]
