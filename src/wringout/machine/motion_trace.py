"""What a run leaves: its states over time, and every test point that can be worked out of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.machine.air_side import Airflows, Cooling, Mixed, fan_rise, intake
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.motion_loop import source_terms
from wringout.machine.parameters import Array
from wringout.machine.recovered_heat import Offer, gas_side
from wringout.machine.steady import Settled, read_points
from wringout.machine.water_side import Plug, Reheat, Water, flows, plug
from wringout.physics.cooling_coil import CoilAir
from wringout.physics.hydronics import STANDARD_GRAVITY
from wringout.physics.moist_air import dew_point, saturated_humidity_ratio
from wringout.physics.valve import equal_percentage, installed

__all__ = ["Segment", "Trace"]

Rows = NDArray[np.intp]


@dataclass(frozen=True)
class Segment:
    """From which kept time on a machine had these parameters."""

    first: int
    fields: dict[str, Array]


@dataclass(frozen=True)
class Trace:
    """A run: ``time`` (times,) [s]; ``states`` by name, (times, samples); weather (times, samples) [degC].

    States: ``space_t``, ``contents_t``, ``mixed_t``, ``surface``, ``leaving_t``, ``supply_t``, ``shown_t``,
    ``shown_dew``, ``felt_supply_t``, ``coil_in``, ``source_in``, ``source_out`` [degC]; ``space_w``,
    ``contents_w``, ``mixed_w``, ``leaving_w`` [kg/kg]; ``water`` on the coil [kg]; ``dripping`` [kg/s];
    ``total`` cooling, ``heat`` of reheat, ``drawn`` from the loop's water [W]; ``stem``, ``position``,
    ``command``, ``modulation``, ``chilled_stem``, ``load.<i>``, ``taken`` [0..1]; ``dehumidifying``,
    ``warm``, ``on.<i>`` [0 or 1]; ``stages`` [count]. Those that the unit does not have are left out.
    """

    design: Design
    segments: tuple[Segment, ...]
    time: Array
    states: dict[str, Array]
    outdoor_t: Array
    outdoor_dew_point: Array

    @property
    def samples(self) -> int:
        """Number of samples."""
        return int(self.states["space_t"].shape[1])

    def points(self, names: Iterable[str] | None = None, at: slice | None = None) -> dict[str, Array]:
        """Give test points over time.

        Parameters
        ----------
        names : iterable of str, optional
            Their ids; every one that the unit has, if not given.
        at : slice, optional
            Which of the kept times; all if not given.

        Returns
        -------
        dict of array, (samples, times), [SI of the point]
            What an exact instrument would read; ``shown.*`` with the lags and errors of the unit's own
            sensors. NaN for samples that miss something.

        Raises
        ------
        KeyError
            For a point that the unit does not have.
        """
        times = np.arange(len(self.time))[at if at is not None else slice(None)]
        parts = []
        for k, segment in enumerate(self.segments):
            end = self.segments[k + 1].first if k + 1 < len(self.segments) else len(self.time)
            rows = times[(times >= segment.first) & (times < end)]
            if rows.size:
                points = self._points(segment, rows)
                parts.append({name: points[name] for name in (names if names is not None else points)})
        return {name: np.concatenate([part[name] for part in parts]).T for name in parts[0]}

    def __getitem__(self, name: str) -> Array:
        """One test point over time, (samples, times) [SI of the point]."""
        return self.points([name])[name]

    def _points(self, segment: Segment, rows: Rows) -> dict[str, Array]:
        s = self.machine(segment, rows)
        state = {name: array[rows] for name, array in self.states.items()}
        p = segment.fields
        with np.errstate(invalid="ignore"):
            points = read_points(s)
        points["shown.space_t"] = state["shown_t"]
        points["shown.dew_point"] = state["shown_dew"]
        points["shown.supply_t"] = state["felt_supply_t"] + p["supply_t_offset"] + p["supply_t_error"]
        points["shown.dehumidifying"] = state["dehumidifying"]
        shape = state["space_t"].shape
        return {
            name: np.where(np.isnan(state["space_t"]), np.nan, np.broadcast_to(array, shape))
            for name, array in points.items()
        }

    def machine(self, segment: Segment, rows: Rows) -> Settled:
        """Give the states at some times as the settled machine has them, for everything that reads such one.

        Parameters
        ----------
        segment : Segment
            Whose parameters hold at these times.
        rows : array of int, (times,)
            Which of the kept times.

        Returns
        -------
        Settled
            With arrays (times, samples).
        """
        d, p = self.design, segment.fields
        state = {name: array[rows] for name, array in self.states.items()}
        outdoor_t, dew = self.outdoor_t[rows], self.outdoor_dew_point[rows]
        c = Conditions(
            outdoor_t,
            dew,
            state["space_t"],
            np.asarray(dew_point(state["space_w"], d.pressure)),
            state["command"],
            state["stages"],
            state["modulation"],
            np.zeros(1),
        )
        ratio = p["air_ratio"] * p["fan_speed_ratio"] * p["filter_flow_ratio"] * p["dirt_flow_ratio"]
        supply = np.broadcast_to(d.air_flow * ratio, outdoor_t.shape)
        outdoor_w = saturated_humidity_ratio(np.minimum(dew, outdoor_t), d.pressure)
        density = d.pressure / (287.042 * (outdoor_t + 273.15) * 1.012)
        outdoor = np.minimum(d.unit.air.outdoor_airflow * intake(p) * density, 0.98 * supply)
        flow = Airflows(supply, outdoor, np.broadcast_to(ratio, outdoor_t.shape))
        return_t = state["space_t"] + p["return_rise"]
        mixed = Mixed(outdoor_w, state["space_w"], return_t, state["mixed_t"], state["mixed_w"], 0.0 * supply)
        at = plug(d, p, state["command"])
        at = Plug(at.signal, state["stem"], state["position"])
        return Settled(
            d,
            p,
            c,
            flow,
            mixed,
            self._cooling(p, state, supply),
            at,
            Reheat(state["heat"], self._water(p, state, at)),
            state.get("taken", np.zeros_like(supply)),
            state["supply_t"],
            state["leaving_w"],
            np.broadcast_to(fan_rise(d, p), supply.shape),
        )

    def _cooling(self, p: dict[str, Array], state: dict[str, Array], supply: Array) -> Cooling:
        d = self.design
        nothing = np.zeros_like(supply)
        air = CoilAir(
            state["leaving_t"],
            state["leaving_w"],
            state["surface"],
            state["total"],
            supply * 1006.0 * (state["mixed_t"] - state["leaving_t"]),
            state["dripping"],
        )
        if d.dx:
            count = len(d.stage_share)
            loads = tuple(state[f"load.{i}"] for i in range(count))
            runs = tuple(state[f"on.{i}"] * (p[f"stage_load.{i}"] > 0.0) for i in range(count))
            return Cooling(
                air, loads, runs, 1.25 * air.total, nothing, nothing, nothing, nothing, air.surface
            )
        stem = state["chilled_stem"]
        water_in = d.chilled_in + p["chilled_in_shift"] + p["chilled_warm"] + nothing
        water_out = water_in + air.total / chilled_rate(d, p, stem)
        return Cooling(air, (), (), nothing, stem, water_in, water_out, nothing, air.surface)

    def _water(self, p: dict[str, Array], state: dict[str, Array], at: Plug) -> Water | None:
        d = self.design
        loop = d.loop
        if loop is None:
            return None
        with np.errstate(invalid="ignore"):
            position = np.nan_to_num(at.position)
        main, coil, head, strainer_drop = flows(d, p, Plug(position, position, position))
        per_flow = loop.density * loop.specific_heat
        main_rate = np.maximum(main, 1e-12) * per_flow
        coil_rate = np.maximum(np.minimum(coil, main), 1e-13) * per_flow
        nothing = np.zeros_like(state["heat"])
        gas_in = gas_out = demand = reserve = nothing
        heat = main_rate * (state["source_out"] - state["source_in"])
        live, lift, hot, rise = source_terms(d, p, main)
        if d.reclaim:
            can = Offer(lift, hot, rise * main_rate)
            gas_in, gas_out, demand = gas_side(
                d, p, main_rate, can, state["source_in"], heat, state["space_t"]
            )
            reserve = live * np.minimum(
                lift * main_rate * np.maximum(hot - state["source_in"], 0.0), can.heat
            )
        else:
            reserve = rise * main_rate * live
        rows = {
            "main": main,
            "coil": coil,
            "head": head / (loop.density * STANDARD_GRAVITY),
            "strainer_drop": strainer_drop,
            "coil_in": state["coil_in"],
            "coil_out": state["coil_in"] - state["drawn"] / coil_rate,
            "source_in": state["source_in"],
            "source_out": state["source_out"],
            "gas_in": gas_in,
            "gas_out": gas_out,
            "demand": demand,
            "source_heat": heat,
            "pipe_loss": heat - state["heat"],
            "reserve": reserve,
        }
        return Water(**{name: rows[name] for name in Water.__dataclass_fields__})


def chilled_rate(design: Design, p: dict[str, Array], stem: Array) -> Array:
    """Capacity rate [W/K] of the chilled water at a position of its valve."""
    opening = installed(np.maximum(equal_percentage(np.nan_to_num(stem)), 0.006), 0.5)
    return np.asarray(design.chilled_capacity_rate * p["chilled_flow_ratio"] * opening)
