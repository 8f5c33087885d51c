"""The settled whole: machine, room and controller at rest with each other under given weather and loads.

`steady.settle` settles the machine in a room that is given. Here the room's heat and moisture balance, and
the controller of the sequence of operation, are closed around it. Where no number of stages leaves the room
at rest, two of them take turns, and the mean of both is the answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wringout.errors import NotConverged
from wringout.machine.air_side import cool
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design
from wringout.machine.motion_control import COOLER_BELOW, WARM_ABOVE, stage_thresholds
from wringout.machine.motion_room import HEATING_GRIP, HEATING_UNDER, Loads, Weather
from wringout.machine.parameters import Array, Values
from wringout.machine.steady import Settled, mean_condensing, read_points, seen_dew_point, settle
from wringout.machine.water_side import hot_gas
from wringout.physics.air_constants import SPECIFIC_HEAT_DRY_AIR, SPECIFIC_HEAT_VAPOUR
from wringout.physics.room import (
    MOIST_SPECIFIC_HEAT,
    heat_gain,
    moisture_gain,
    moisture_removed,
    sensible_removed,
)

__all__ = ["Closed", "Level", "closed"]

Counts = NDArray[np.intp]
Mask = NDArray[np.bool_]

GAS_PASSES = 3
MOST_ITERATIONS = 150
SETTLED = 1e-7  # K, of what is left of every balance
ENOUGH = 0.5  # K; a chilled coil goes from dry to wet in a step, and its balance may jump over zero
REHEAT_GRIP = 0.3  # share of command to the kelvin, only of the search
DEW_GRIP = 0.3  # share of a cycle to the kelvin, only of the search
RATIO_PER_KELVIN = 6.0e-4  # kg/kg to the kelvin of dew point near 12 degC, only to scale
MOST_STEP = np.array([4.0, 4.0, 0.4, 0.4])  # of the search: K, K, share of command, share of a cycle
STRIDE = 0.02  # K, of the differences that give slopes


@dataclass(frozen=True)
class Level:
    """What control calls: ``called`` by the dew point (0: not dehumidifying) and ``warm`` by temperature."""

    called: Counts
    warm: Counts


@dataclass(frozen=True)
class Closed:
    """The settled whole.

    ``lower`` is the settled machine; where stages take turns (``share`` > 0) it is the machine with the
    fewer of them, ``upper`` that with more, and ``share`` the part of the time that these run [0..1].
    ``level`` and ``upper_level`` are what control calls in each. ``space_t``, ``space_dew_point`` [degC] and
    ``command`` [0..1] are means. ``residual`` [K] is what is left of the balances. ``held`` is what was held.
    """

    lower: Settled
    upper: Settled
    level: Level
    upper_level: Level
    share: Array
    space_t: Array
    space_dew_point: Array
    command: Array
    residual: Array
    held: Mapping[str, float]

    @property
    def samples(self) -> int:
        """Number of samples."""
        return int(self.space_t.shape[0])

    @property
    def cycling(self) -> Mask:
        """Where no number of stages leaves the room at rest."""
        return (self.share > 0.0) & (self.share < 1.0)

    def points(self) -> dict[str, Array]:
        """Give every test point as its mean over time, what control shows included.

        Returns
        -------
        dict of array, (samples,), [SI of the point]
        """
        low, high = (_with_flag(s, level) for s, level in self._both())
        return {name: low[name] + self.share * (high[name] - low[name]) for name in low}

    def _both(self) -> tuple[tuple[Settled, Level], tuple[Settled, Level]]:
        return (self.lower, self.level), (self.upper, self.upper_level)


def _with_flag(s: Settled, level: Level) -> dict[str, Array]:
    points = {name: np.broadcast_to(value, s.supply_t.shape) for name, value in read_points(s).items()}
    active = np.asarray(level.called > 0, dtype=np.float64)
    points["shown.dehumidifying"] = active
    shown = points["shown.dew_point"]
    resting = (s.values["dew_from_outdoor"] < -0.5) & (active < 0.5)
    points["shown.dew_point"] = np.where(resting, points["shown.outdoor_dew_point"], shown)
    return points


def with_gas_settled(s: Settled) -> Settled:
    """Go on with the passes between a hot-gas coil and its condensers until they agree.

    Parameters
    ----------
    s : Settled
        Of a unit with hot-gas reheat, after the few passes that weighing needs.

    Returns
    -------
    Settled
        The gas that the coil takes agrees with what the stages reject to about 1e-4 of it.
    """
    d, p, c = s.design, s.values, s.conditions
    taken, cooling, reheat = s.gas_taken, s.cooling, s.reheat
    for _ in range(GAS_PASSES):
        cooling = cool(d, p, c, s.flow, s.mixed, taken)
        condensing = c.outdoor_t + mean_condensing(d, p, cooling, taken)
        reheat = hot_gas(d, p, c, s.at, cooling.air.dry_bulb, s.flow.supply, cooling.rejected, condensing)
        taken = np.clip(reheat.heat / np.maximum(cooling.rejected, 1.0), 0.0, 1.0)
    w = cooling.air.humidity_ratio
    rise = reheat.heat / (s.flow.supply * (SPECIFIC_HEAT_DRY_AIR + SPECIFIC_HEAT_VAPOUR * w))
    return replace(
        s,
        cooling=cooling,
        reheat=reheat,
        gas_taken=taken,
        supply_t=cooling.air.dry_bulb + rise + s.fan_rise,
        supply_w=w,
    )


class _Whole:
    """Balances of machine, room and control for rows of samples at levels."""

    def __init__(
        self, design: Design, values: Values, weather: Array, loads: Array, held: Mapping[str, float]
    ) -> None:
        self.design, self.held = design, held
        self.values = values
        self.outdoor_t, self.outdoor_dew = weather
        self.moisture, self.sensible = loads
        control = design.unit.control
        self.most = len(design.stage_share) if design.dx else 1
        self.thresholds = np.array(stage_thresholds(design))
        self.set_t = control.space_t
        self.set_dew = control.dew_point + values["setpoint_shift"]
        self.band = control.dew_point_band
        self.t_error = values["space_t_offset"] + values["space_t_error"]

    def rows(self, index: Counts) -> _Whole:
        """The same for some of the samples."""
        part = object.__new__(_Whole)
        part.__dict__.update(self.__dict__)
        part.values = {
            name: array[index] if array.shape[0] > 1 else array for name, array in self.values.items()
        }
        for name in ("outdoor_t", "outdoor_dew", "moisture", "sensible", "set_dew", "t_error"):
            array = getattr(self, name)
            setattr(part, name, array[index] if array.shape[0] > 1 else array)
        return part

    def over(self, level: Level, dew: Array) -> Array:
        """Shown dew point over set point [K]."""
        p = self.values
        away = (p["dew_from_outdoor"] > 0.5) | ((p["dew_from_outdoor"] < -0.5) & (level.called == 0))
        return np.asarray(seen_dew_point(p, away, dew, self.outdoor_dew) - self.set_dew)

    def warmer(self, t: Array) -> Array:
        """Shown space temperature over set point [K]."""
        return np.asarray(t + self.t_error - self.set_t)

    def machine(self, level: Level, t: Array, dew: Array, command: Array) -> Settled:
        """The settled machine under one level's call."""
        active = level.called > 0
        place = np.clip((self.over(level, dew) + 0.5 * self.band) / self.band, 0.0, 1.0) * active
        heat = np.clip(self.warmer(t) * 0.5 / WARM_ABOVE, 0.0, 1.0) * (level.warm > 0)
        modulation = np.maximum(place, heat)
        stages = np.minimum(level.called + level.warm, self.most).astype(np.float64)
        cooling = self.held.get("cooling.call")
        if cooling is not None:
            modulation = np.full_like(modulation, 1.0 if cooling >= 0.5 else 0.0)
            stages = np.full_like(stages, self.most if cooling >= 0.5 else 0.0)
        elif not self.design.dx:
            stages = np.minimum(stages, 1.0)
        reheat = self.held.get("reheat.command")
        p = self.values
        if reheat is not None:
            command = np.full_like(t, reheat)
        else:
            command = np.where(p["in_hand"] > 0.5, p["hand_command"], np.where(active, command, 0.0))
        c = Conditions(
            self.outdoor_t,
            self.outdoor_dew,
            t,
            np.minimum(dew, t),
            command,
            stages,
            modulation,
            np.zeros(1),
        )
        s = settle(self.design, p, c)
        return s if self.design.hot_water else with_gas_settled(s)

    def pushes(self, s: Settled, t: Array) -> tuple[Array, Array]:
        """What drives the room's temperature and dew point up [K of each]."""
        p, space = self.values, self.design.unit.space
        density = self.design.pressure / (287.042 * (t + 273.15) * 1.012)
        leak = space.infiltration * density * p["infiltration_ratio"] * p["doors_ratio"]
        released = space.moisture * p["moisture_ratio"] * p["moisture_added_ratio"] * self.moisture
        moisture = moisture_gain(released, leak, s.mixed.outdoor_w, s.mixed.space_w) - moisture_removed(
            s.flow.supply, s.mixed.space_w, s.supply_w
        )
        sensible = space.sensible * self.sensible + 0.4 * abs(space.sensible) * p["sensible_shift"]
        heat = heat_gain(sensible, leak, self.outdoor_t, t) - sensible_removed(s.flow.supply, t, s.supply_t)
        carried = MOIST_SPECIFIC_HEAT * s.flow.supply
        heat = heat + HEATING_GRIP * carried * np.maximum(self.set_t - HEATING_UNDER - t, 0.0)
        return heat / carried, moisture / (s.flow.supply * RATIO_PER_KELVIN)

    def drive(self, x: Array, lower: Level, upper: Level | None, middle: Array, by_dew: Mask) -> Array:
        """Which way each unknown would move: (rows, 4) for temperature, dew point, command, share."""
        t, dew, command, share = x.T
        low = self.machine(lower, t, dew, command)
        heat, moisture = self.pushes(low, t)
        if upper is not None:
            more = self.pushes(self.machine(upper, t, dew, command), t)
            heat, moisture = heat + share * (more[0] - heat), moisture + share * (more[1] - moisture)
            driver = np.where(by_dew, self.over(upper, dew), self.warmer(t)) - middle
            turn = np.clip(share + DEW_GRIP * driver, 0.0, 1.0) - share
        else:
            turn = -share
        # a room that would be over-saturated stays saturated
        moisture = np.minimum(dew + moisture, t) - dew
        reheat = np.clip(command - REHEAT_GRIP * self.warmer(t), 0.0, 1.0) - command
        return np.stack([heat, moisture, reheat, turn], axis=1)


def _rest(whole: _Whole, x: Array, lower: Level, upper: Level | None, middle: Array, by_dew: Mask) -> Array:
    """Find where nothing moves, by implicit steps in a time of their own that grow as the balances close."""
    x = x.copy()
    left = np.arange(len(x))
    pace = np.full(len(x), 1.0)
    reach = np.full(len(x), 1.0)
    unknowns = 4 if upper is not None else 3

    def drive(at: Array, rows: Counts) -> Array:
        low = Level(lower.called[rows], lower.warm[rows])
        high = Level(upper.called[rows], upper.warm[rows]) if upper is not None else None
        return whole.rows(rows).drive(at, low, high, middle[rows], by_dew[rows])

    force = drive(x, left)
    for _ in range(MOST_ITERATIONS):
        size = np.abs(force).max(axis=1)
        still = size > SETTLED
        left, force, size = left[still], force[still], size[still]
        if not left.size:
            break
        here = x[left]
        slope = np.zeros((len(left), 4, 4))
        moved = np.repeat(here[None], unknowns, axis=0)
        # a share moves towards the inside, so that it does not leave 0..1
        inwards = np.where(here > 0.5, -1e-3, 1e-3)
        by = [inwards[:, j] if j >= 2 else np.full(len(left), STRIDE) for j in range(unknowns)]
        for j in range(unknowns):
            moved[j, :, j] += by[j]
        # the machine costs as much for few rows as for many: it is asked for every slope at once
        there = drive(moved.reshape(-1, 4), np.tile(left, unknowns)).reshape(unknowns, len(left), 4)
        for j in range(unknowns):
            slope[:, :, j] = (there[j] - force) / by[j][:, None]
        x[left] = _stepped(here, force, slope, pace[left], reach[left])
        after = drive(x[left], left)
        new = np.abs(after).max(axis=1)
        turned = (force * after).sum(axis=1) < 0.0
        grown = (new > 1.2 * size) | (turned & (new > 0.5 * size))
        if grown.any():
            # a long step overshot a kink: go at the pace of the room itself instead, and less far
            rows = np.flatnonzero(grown)
            again = left[rows]
            pace[again] = 0.7
            reach[again] = np.maximum(0.4 * reach[again], 1e-3)
            x[again] = _stepped(here[rows], force[rows], slope[rows], pace[again], reach[again])
            after[rows] = drive(x[again], again)
        pace[left[~grown]] *= 2.0
        reach[left[~grown]] = np.minimum(1.3 * reach[left[~grown]], 1.0)
        force = after
    return x


def _stepped(here: Array, force: Array, slope: Array, pace: Array, reach: Array) -> Array:
    """One implicit step, no further than the reach."""
    limit = MOST_STEP * reach[:, None]
    # Newton's method would as well come to a rest that the smallest push ends; short steps run away from it
    unstable = np.linalg.eigvals(slope).real.max(axis=1)
    pace = np.minimum(pace, 0.5 / np.maximum(unstable, 1e-9))
    matrix = np.eye(4) / pace[:, None, None] - slope
    move = np.clip(np.linalg.solve(matrix, force[:, :, None])[:, :, 0], -limit, limit)
    there = here + move
    there[:, 2:] = np.clip(there[:, 2:], 0.0, 1.0)
    return np.asarray(there)


def closed(
    design: Design,
    values: Values,
    weather: Weather,
    loads: Loads,
    held: Mapping[str, float] | None = None,
    before: Level | None = None,
    least: float = ENOUGH,
) -> Closed:
    """Find the state in which machine, room and control are at rest with each other.

    Parameters
    ----------
    design : Design
    values : Values
        Machine parameters, as for motion.run.
    weather : Weather
        Its first time is taken.
    loads : Loads
        Its first time is taken.
    held : mapping of str to float, optional
        Items held by hand, [0..1].
    before : Level, optional
        From which call the controller comes: stages go off later than they come on, so that history
        decides between two states at rest. Without it, from every stage on: a room that has been pulled
        down.
    least : float, [K]
        How far the balances have to close. A place to start from may be far from any rest: a hall without
        its heat has none.

    Returns
    -------
    Closed
        NaN is not taken: motion.run sorts out samples that have it.

    Raises
    ------
    NotConverged
        Where a balance would not close.

    Notes
    -----
    Pseudo-time continuation: implicit Euler in heat, moisture and command, with steps that grow as what is
    left shrinks; in the end that is Newton's method. Stage by stage the controller's thresholds then decide
    where it stays; where it stays nowhere, a mean of two levels holds what switches them in the middle
    between on and off.

    References
    ----------
    C. T. Kelley, D. E. Keyes, SIAM J. Numerical Analysis 35 (1998) 508-523, pseudo-transient continuation
    (from memory).
    """
    held = dict(held or {})
    values = dict(values)
    values.setdefault("hand_command", np.full(1, 0.5))
    outside = np.stack(np.broadcast_arrays(_first(weather.outdoor_t), _first(weather.outdoor_dew_point)))
    inside = np.stack(np.broadcast_arrays(_first(loads.moisture), _first(loads.sensible)))
    samples = max([array.shape[0] for array in values.values()] + [outside.shape[1], inside.shape[1]])
    whole = _Whole(
        design,
        {name: np.broadcast_to(array, (samples,)) for name, array in values.items()},
        np.broadcast_to(outside, (2, samples)),
        np.broadcast_to(inside, (2, samples)),
        held,
    )
    lower, upper, x, other, by_dew = _stay(whole, samples, before)
    turning = (lower.called != upper.called) | (lower.warm != upper.warm)
    if turning.any():
        rows = np.flatnonzero(turning)
        stage = np.maximum(upper.called[rows] - 1, 0)
        middle = np.where(
            by_dew[rows], whole.thresholds[stage].mean(axis=1), 0.5 * (WARM_ABOVE + COOLER_BELOW)
        )
        begin = 0.5 * (x[rows] + other[rows])
        begin[:, 3] = 0.5
        x[rows] = _rest(
            whole.rows(rows),
            begin,
            Level(lower.called[rows], lower.warm[rows]),
            Level(upper.called[rows], upper.warm[rows]),
            middle,
            by_dew[rows],
        )
    return _closed(whole, x, lower, upper, turning, least)


def _first(series: Array) -> Array:
    return np.atleast_1d(series[..., 0])


def _visited(whole: _Whole, level: Level, x: Array, rows: Counts) -> Array:
    """Where the room comes to rest under the call of each sample, for those among ``rows``."""
    part = Level(level.called[rows], level.warm[rows])
    nothing = np.zeros(len(rows))
    return _rest(whole.rows(rows), x[rows], part, None, nothing, nothing > 0.0)


def _stay(whole: _Whole, samples: int, before: Level | None) -> tuple[Level, Level, Array, Array, Mask]:
    """Follow the controller from call to call until it stays, or takes turns between two.

    Gives the two calls, where the room comes to rest under each, and whether the dew point switches them.
    """
    most, on, off = whole.most, whole.thresholds[:, 0], whole.thresholds[:, 1]
    called = np.full(samples, most) if before is None else np.broadcast_to(before.called, (samples,))
    warm = np.zeros(samples, dtype=np.intp) if before is None else np.broadcast_to(before.warm, (samples,))
    enabled = whole.values["locked_out"] <= 0.5
    called, warm = np.where(enabled, called, 0), np.array(warm)
    rows = np.arange(samples)
    known = np.full((2 * most + 2, samples, 4), np.nan)
    start = np.array([whole.set_t, whole.design.unit.control.dew_point, 0.5, 0.0])
    x = np.tile(start, (samples, 1))
    previous = called * 2 + warm
    by_dew = np.ones(samples, dtype=bool)
    moved = np.ones(samples, dtype=bool)
    for _ in range(4 * most + 8):
        here = called * 2 + warm
        new = np.flatnonzero(np.isnan(known[here, rows, 0]))
        if new.size:
            known[here[new], new] = _visited(whole, Level(called, warm), x, new)
        x = known[here, rows].copy()
        over = whole.over(Level(called, warm), x[:, 1])
        warmer = whole.warmer(x[:, 0])
        more = enabled & (called < most) & (over > on[np.minimum(called, most - 1)])
        fewer = (called > 0) & (over < off[np.maximum(called - 1, 0)])
        hotter = ~(more | fewer) & (warm == 0) & (warmer > WARM_ABOVE)
        colder = ~(more | fewer) & (warm == 1) & (warmer < COOLER_BELOW)
        moved = more | fewer | hotter | colder
        if not moved.any():
            break
        by_dew = np.where(moved, more | fewer, by_dew)
        previous = np.where(moved, here, previous)
        called = called + more.astype(np.intp) - fewer.astype(np.intp)
        warm = warm + hotter.astype(np.intp) - colder.astype(np.intp)
    here = called * 2 + warm
    turning = moved & (previous != here)
    low = np.where(turning, np.minimum(previous, here), here)
    high = np.where(turning, np.maximum(previous, here), here)
    return (
        Level(low // 2, low % 2),
        Level(high // 2, high % 2),
        known[low, rows],
        known[high, rows],
        by_dew,
    )


def _closed(whole: _Whole, x: Array, lower: Level, upper: Level, turning: Mask, least: float) -> Closed:
    t, dew, command, share = x.T
    share = np.where(turning, share, 0.0)
    low, high = whole.machine(lower, t, dew, command), whole.machine(upper, t, dew, command)
    heat, moisture = whole.pushes(low, t)
    more = whole.pushes(high, t)
    heat, moisture = heat + share * (more[0] - heat), moisture + share * (more[1] - moisture)
    residual = np.maximum(np.abs(heat), np.abs(np.minimum(dew + moisture, t) - dew))
    if not bool(np.all(residual < least)):
        worst = int(np.nanargmax(np.where(np.isnan(residual), np.inf, residual)))
        state: dict[str, Any] = {"sample": worst, "space_t": t[worst], "space_dew_point": dew[worst]}
        raise NotConverged(
            f"room, machine and control found no rest: {residual[worst]:.2g} K of their balance is left at "
            f"{t[worst]:.1f} degC and a dew point of {dew[worst]:.1f} degC; look at loads and weather",
            state,
        )
    mean = low.conditions.command + share * (high.conditions.command - low.conditions.command)
    return Closed(
        low, high, lower, upper, share, t, dew, np.broadcast_to(mean, t.shape), residual, whole.held
    )
