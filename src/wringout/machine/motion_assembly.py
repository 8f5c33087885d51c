"""One machine, or many alike, put together from the parts that move, and one step of them all."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wringout.machine.air_side import FOG_STEPS, fan_rise, intake
from wringout.machine.closed import Closed
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.motion_coil import ChilledCoil, DirectCoil, Saturation
from wringout.machine.motion_control import Control
from wringout.machine.motion_loop import HotGas, Loop
from wringout.machine.motion_numbers import Curve, Many, Number, Numbers, One
from wringout.machine.motion_room import Room
from wringout.machine.motion_storage import SUPPLY_SENSOR_LAG, storage, storage_spreads
from wringout.machine.parameters import Array, Values, neutral, spreads
from wringout.physics.air_constants import (
    LATENT_HEAT,
    SPECIFIC_HEAT_DRY_AIR,
    SPECIFIC_HEAT_VAPOUR,
    SPECIFIC_HEAT_WATER,
)
from wringout.physics.moist_air import dew_point, humidity_ratio

__all__ = ["Assembly", "complete", "prepared"]

FREE = ("chilled_stuck", "unloaded_at", "stuck_at", "loose_at", "bypass_flow_share")
"""Fields whose NaN means that nothing holds the part."""

HAND_COMMAND = 0.5  # where an output in hand stands if nobody has said


def complete(design: Design, values: Values) -> dict[str, Array]:
    """Give every parameter a machine in time needs; what is not in ``values`` stands at its estimate.

    Parameters
    ----------
    design : Design
    values : Values

    Returns
    -------
    dict of array, (samples,) or one entry
    """
    one = np.ones(1)
    fields = {row.name: one if row.kind == "ratio" else 0.0 * one for row in spreads(design)}
    fields |= {row.name: one for row in storage_spreads()}
    fields |= neutral(design)
    fields["hand_command"] = np.full(1, HAND_COMMAND)
    fields |= {name: np.asarray(array, dtype=np.float64) for name, array in values.items()}
    return fields


def prepared(
    design: Design, values: Values, samples: int, step: float, steps: int
) -> tuple[Assembly, NDArray[np.bool_]]:
    """Put a machine together.

    Parameters
    ----------
    design : Design
    values : Values
    samples : int
    step : float, [s]
    steps : int
        How many it will run, for the memory of its pipes.

    Returns
    -------
    (Assembly, array of bool, (samples,))
        The machine, and which samples have NaN among their parameters: they run at the estimates meanwhile.
    """
    fields = complete(design, values)
    nominal = complete(design, {})
    wide = {name: np.broadcast_to(array, (samples,)) for name, array in fields.items()}
    missing = np.zeros(samples, dtype=bool)
    for name, array in wide.items():
        gone = np.isnan(array)
        if name not in FREE and gone.any():
            missing = missing | gone
            wide[name] = np.where(gone, nominal[name], array)
    return Assembly(design, wide, samples, step, steps), missing


class Assembly:
    """Everything that moves, with the air that links it."""

    def __init__(
        self, design: Design, fields: Mapping[str, Array], samples: int, step: float, steps: int
    ) -> None:
        n: Numbers = Many() if samples > 1 else One()
        self.n, self.design, self.step, self.samples = n, design, step, samples
        self.fields = {name: np.array(array, dtype=np.float64) for name, array in fields.items()}
        p = self._numbers(n, samples)
        self.p = p
        store = storage(design)
        self.ratio = p["air_ratio"] * p["fan_speed_ratio"] * p["filter_flow_ratio"] * p["dirt_flow_ratio"]
        supply = design.air_flow * self.ratio
        self.supply = supply
        self.outdoor = (
            design.unit.air.outdoor_airflow
            * (intake(self.fields) if n.many else float(intake(self.fields)[0]))
            * (design.pressure / (287.042 * 1.012))
        )
        self.return_rise = p["return_rise"]
        self.fan_rise: Number = fan_rise(design, p)  # a product, the same for floats and arrays
        saturation = Saturation(n, design.pressure)
        self.saturation = saturation
        logs = np.linspace(np.log(1e-4), np.log(0.12), 1601)
        dew = np.asarray(dew_point(np.exp(logs), design.pressure))
        self.dew = Curve("a humidity ratio's logarithm", float(logs[0]), float(logs[-1]), dew, n.many)
        wide_supply = np.broadcast_to(np.asarray(supply, dtype=np.float64), (samples,))
        self.coil: DirectCoil | ChilledCoil
        if design.dx:
            self.coil = DirectCoil(n, design, p, store, step, supply, saturation)
        else:
            self.coil = ChilledCoil(n, design, p, self.fields, store, step, supply, saturation)
        self.loop: Loop | None = None
        self.gas: HotGas | None = None
        if design.hot_water:
            self.loop = Loop(n, design, p, self.fields, store, step, wide_supply, steps)
            self.valve = self.loop.valve
        else:
            self.gas = HotGas(n, design, p, self.fields, store, step, wide_supply)
            self.valve = self.gas.valve
        self.room = Room(n, design, p, store, step, supply, saturation)
        self.control = Control(n, design, p, store, step, p["zero"])
        self.supply_sensor = 1.0 - n.exp(-step / (SUPPLY_SENSOR_LAG * p["sensor_lag_ratio"]))
        self.mixed_t = self.mixed_w = self.supply_t = self.felt_supply_t = p["zero"]
        self.names = self._names()

    def _numbers(self, n: Numbers, samples: int) -> dict[str, Number]:
        p: dict[str, Any] = {}
        held = {
            "stuck_at": "stuck",
            "loose_at": "loose",
            "unloaded_at": "unloaded",
            "chilled_stuck": "chilled_is_stuck",
        }
        for name, array in self.fields.items():
            if name in FREE and name in held:
                flag = ~np.isnan(array)
                p[held[name]] = flag if n.many else bool(flag[0])
                array = np.where(flag, array, 0.0)
            p[name] = array if n.many else float(array[0])
        p["zero"] = np.zeros(samples) if n.many else 0.0
        return p

    def _names(self) -> tuple[str, ...]:
        names = [
            "space_t", "space_w", "contents_t", "contents_w", "mixed_t", "mixed_w", "surface", "leaving_t",
            "leaving_w", "total", "dripping", "water", "supply_t", "stem", "position", "command", "stages",
            "modulation", "dehumidifying", "warm", "shown_t", "shown_dew", "felt_supply_t", "heat",
        ]  # fmt: skip
        if self.loop is not None:
            names += ["coil_in", "source_in", "source_out", "drawn"]
        else:
            names += ["taken"]
        if isinstance(self.coil, DirectCoil):
            count = len(self.coil.load)
            names += [f"load.{i}" for i in range(count)] + [f"on.{i}" for i in range(count)]
        else:
            names += ["chilled_stem"]
        return tuple(names)

    def state(self) -> list[Number]:
        """The present state, in the order of ``names``."""
        room, coil, control = self.room, self.coil, self.control
        loop, gas = self.loop, self.gas
        state = [
            room.t, room.w, room.contents_t, room.contents_w, self.mixed_t, self.mixed_w, coil.surface,
            coil.leaving_t, coil.leaving_w, coil.total, coil.dripping, coil.water, self.supply_t,
            self.valve.stem, self.valve.position, control.command, control.stages, control.modulation,
            control.dehumidifying, control.warm, control.shown_t, control.shown_dew, self.felt_supply_t,
        ]  # fmt: skip
        if loop is not None:
            state += [loop.heat, loop.coil_in, loop.source_in, loop.source_out, loop.drawn]
        elif gas is not None:
            state += [gas.heat, gas.taken]
        if isinstance(coil, DirectCoil):
            return state + coil.load + control.on
        return [*state, coil.stem]

    def _of(self, array: Any) -> Number:
        """An array of a settled machine as this machine's numbers."""
        wide = np.broadcast_to(np.asarray(array, dtype=np.float64), self.fields["air_ratio"].shape)
        return np.array(wide) if self.n.many else float(wide[0])

    def start(self, rest: Closed, held: Mapping[str, float], inputs: Any) -> None:
        """Start from a settled whole; where stages take turns there, with the more of them on."""
        n, of = self.n, self._of
        s, level = rest.upper, rest.upper_level
        c: Conditions = s.conditions
        control, coil, room = self.control, self.coil, self.room
        control.held_command, control.held_cooling = held.get("reheat.command"), held.get("cooling.call")
        control.near_t = control.felt_t = of(rest.space_t)
        control.near_dew = control.felt_dew = of(rest.space_dew_point)
        control.dehumidifying = of(level.called > 0)
        control.warm = of(level.warm)
        control.asked = [of(level.called > k) for k in range(control.count)]
        control.on = [of(np.asarray(c.stages) > k + 0.5) for k in range(control.count)]
        control.modulation, control.command = of(c.modulation), of(c.command)
        control.show(inputs[2])
        control.error = control.set_t - control.shown_t
        w = of(humidity_ratio(rest.space_t, 1.0, self.design.pressure))
        w = n.least(w, of(s.mixed.space_w))
        room.start(of(rest.space_t), w)
        air = s.cooling.air
        coil.start(
            of(air.surface), of(air.dry_bulb), of(air.humidity_ratio), of(air.condensate), of(air.total)
        )
        if isinstance(coil, DirectCoil):
            coil.settle_stages([of(load) for load in s.cooling.load])
        else:
            coil.settle_stem(control.modulation * control.on[0])
        self.valve.settle(control.command)
        water = s.reheat.water
        if self.loop is not None and water is not None:
            self.loop.settle(control.command, of(water.coil_in), of(water.source_in), of(water.source_out))
            self.loop.fill(coil.leaving_t, 0.0)
        if self.gas is not None:
            self.gas.heat, self.gas.taken = of(s.reheat.heat), of(s.gas_taken)
        self.mixed_t, self.mixed_w = of(s.mixed.dry_bulb), of(s.mixed.humidity_ratio)
        self.supply_t = self.felt_supply_t = of(s.supply_t)

    def remember(self, other: Assembly) -> None:
        """Take over what the machine before a change held."""
        self.control.remember(other.control)
        self.room.remember(other.room)
        self.coil.remember(other.coil)
        if self.loop is not None and other.loop is not None:
            self.loop.remember(other.loop)
        if self.gas is not None and other.gas is not None:
            self.gas.remember(other.gas)
        for name in ("mixed_t", "mixed_w", "supply_t", "felt_supply_t"):
            setattr(self, name, getattr(other, name))

    def _fogged(self, h: Number, t: Number, w: Number) -> tuple[Number, Number, Number]:
        """Dry bulb, humidity ratio and droplets of a mixture, which cannot hold more than saturation."""
        n, saturation = self.n, self.saturation
        drops = w - saturation.ratio.at(t)
        over = drops > 0.0
        if not (over.any() if n.many else over):
            return t, w, self.p["zero"]
        clear = t
        for _ in range(FOG_STEPS):
            liquid = SPECIFIC_HEAT_WATER * t
            t = saturation.of_heat.at(n.least(h - n.most(drops, 0.0) * liquid, 1.49e5))
            drops = w - (h - SPECIFIC_HEAT_DRY_AIR * t - w * SPECIFIC_HEAT_WATER * t) / (
                LATENT_HEAT + (SPECIFIC_HEAT_VAPOUR - SPECIFIC_HEAT_WATER) * t
            )
        drops = n.pick(over, drops, 0.0)
        return n.pick(over, t, clear), w - drops, drops

    def advance(self, now: float, inputs: Any) -> None:
        """One step, to the time ``now`` [s], with the weather and loads that are there then."""
        n, room, control, coil = self.n, self.room, self.control, self.coil
        outdoor_t, outdoor_w, outdoor_dew, moisture, sensible = inputs
        control.see(room.t, self.dew.at(n.log(room.w)), outdoor_dew)
        control.decide()
        # return and outdoor air mix: heat and water of both are booked
        share = n.least(self.outdoor / (outdoor_t + 273.15), 0.98 * self.supply) / self.supply
        w = room.w + share * (outdoor_w - room.w)
        back = room.t + self.return_rise
        h_back = SPECIFIC_HEAT_DRY_AIR * back + room.w * (LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * back)
        h_out = SPECIFIC_HEAT_DRY_AIR * outdoor_t + outdoor_w * (
            LATENT_HEAT + SPECIFIC_HEAT_VAPOUR * outdoor_t
        )
        h = h_back + share * (h_out - h_back)
        t = (h - LATENT_HEAT * w) / (SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * w)
        air = self._fogged(h, t, w)
        self.mixed_t, self.mixed_w = air[:2]
        gas = self.gas
        if gas is None:
            coil.advance(control, air, outdoor_t, 0.0)
            assert self.loop is not None
            heat = self.loop.advance(control.command, coil.leaving_t, room.t, now)
        else:
            coil.advance(control, air, outdoor_t, gas.taken)
            assert isinstance(coil, DirectCoil)
            heat = gas.advance(control.command, coil.leaving_t, coil.rejected, outdoor_t + coil.over)
        leaving_w = coil.leaving_w
        specific = SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * leaving_w
        self.supply_t = coil.leaving_t + heat / (self.supply * specific) + self.fan_rise
        self.felt_supply_t = self.felt_supply_t + self.supply_sensor * (self.supply_t - self.felt_supply_t)
        room.advance(self.supply_t, leaving_w, outdoor_t, outdoor_w, moisture, sensible)
