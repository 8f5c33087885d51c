"""A trend's own weather and loads, as something to run machines through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wringout.documents.unit import Unit
from wringout.errors import InputError
from wringout.machine.acts import ACTS, variants
from wringout.machine.conditions import Conditions
from wringout.machine.design import Design, design
from wringout.machine.motion import Loads, Weather
from wringout.machine.motion_storage import storage
from wringout.machine.parameters import Array, Values
from wringout.machine.steady import settle
from wringout.physics.moist_air import saturated_humidity_ratio
from wringout.physics.room import MOIST_SPECIFIC_HEAT
from wringout.proof.visit import drawn_cause, healthy_machines
from wringout.trends.moisture_balance import BLOCK, Blocks, blocks_of, outdoor_dew_of, stages_of
from wringout.trends.table import DAY, TrendTable

__all__ = ["Drive", "Implied", "drive_of", "hourly", "implied_loads", "machines_with", "parted"]

LONGEST = 4.0 * DAY  # [s] of a trend that are run; the last ones
LEAST_BLOCKS = 24
MOISTURE, MOISTURE_SIGMA = np.log(0.8), 0.5  # share of the design release, on average over days; judgement
SENSIBLE, SENSIBLE_SIGMA = 0.6, 0.35  # share of the design gain; judgement
SUPPLY_SIGMA = 1.0  # K, between a machine's supply air and the logged one, on average; judgement
Rows = NDArray[np.intp]

MOST_LOAD = 12.0  # share of design that a half hour's load may come to


@dataclass(frozen=True)
class Drive:
    """Half hours of a trend that machines can be run through: ``start`` [s since 1970], ``time`` [s after it]
    of the half hours' middles, ``weather`` over them, and what was logged as half-hour means."""

    design: Design
    start: float
    duration: float
    time: Array
    weather: Weather
    blocks: Blocks

    def get(self, point: str) -> Array:
        """Half-hour means of a point as logged; NaN where the trend does not hold it."""
        return self.blocks.get(point)


def drive_of(table: TrendTable, unit: Unit, longest: float = LONGEST) -> Drive:
    """Take weather and log from a trend.

    Parameters
    ----------
    table : TrendTable
    unit : Unit
    longest : float, optional, [s]
        Only the last part of a longer trend is taken.

    Returns
    -------
    Drive

    Raises
    ------
    InputError
        For a trend that does not log the weather, or is too short.
    """
    end = float(table.time[-1]) if len(table.time) else 0.0
    blocks = blocks_of(table.between(end - longest, end + 1.0))
    d = design(unit)
    lacks = [
        words
        for words, there in (
            ("outdoor.t", np.isfinite(blocks.get("outdoor.t")).any()),
            (
                "shown.outdoor_dew_point (or outdoor.rh)",
                np.isfinite(outdoor_dew_of(blocks, d.pressure)).any(),
            ),
        )
        if not there
    ]
    if lacks:
        raise InputError(
            f"the trend does not log {' and '.join(lacks)}: without the weather no machine can be run "
            "through it"
        )
    t, dew = blocks.get("outdoor.t"), outdoor_dew_of(blocks, d.pressure)
    there = np.isfinite(t) & np.isfinite(dew)
    if int(there.sum()) < LEAST_BLOCKS:
        raise InputError(
            f"the trend holds {0.5 * there.sum():.1f} h with weather; at least {0.5 * LEAST_BLOCKS:.0f} h "
            "are needed to run a machine through it"
        )
    start = float(blocks.time[0]) - 0.5 * BLOCK
    time = blocks.time - start
    weather = Weather.of(t[there], np.minimum(dew[there], t[there]), time[there])
    return Drive(d, start, float(time[-1]) + 0.5 * BLOCK, time, weather, blocks)


def machines_with(
    d: Design, cause: str | None, samples: int, rng: np.random.Generator
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Draw healthy machines, and the same ones with a cause.

    Parameters
    ----------
    d : Design
    cause : str or None
        None: the second are the first.
    samples : int
    rng : numpy.random.Generator

    Returns
    -------
    tuple of dict
        Healthy, and with the cause at severities and in ways of its span.

    Raises
    ------
    InputError
        For a cause that is unknown, or that this unit cannot have.
    """
    healthy = healthy_machines(d, samples, rng)
    if cause is None:
        return healthy, healthy
    if cause not in ACTS or not variants(cause, d.unit):
        raise InputError(f"{d.unit.name} cannot have {cause[:40]}")
    moved = drawn_cause(d.unit, cause, healthy, rng)(healthy)
    return healthy, {**healthy, **moved}


@dataclass(frozen=True)
class Implied:
    """Loads (samples, blocks) as shares of design that the log implies for each machine, and how likely
    each machine is with them: ``weight`` (samples,), adding up to 1."""

    loads: Loads
    weight: Array


def implied_loads(drive: Drive, values: Values) -> Implied:
    """What people, wet work and sun must have brought in for machines to have done what was logged.

    Parameters
    ----------
    drive : Drive
    values : Values
        Machines with whatever was wrong with them then, (samples,).

    Returns
    -------
    Implied

    Raises
    ------
    InputError
        For a trend without the room's temperature and dew point, or one whose display shows the outdoor one.

    Notes
    -----
    The room's balance turned round: what came in is what the supply air took out, what leaked, and what the
    room stored. Supply temperatures are as logged, what the coil took out is the settled machine's. Machines
    whose loads would be odd, or whose supply air would not be the logged one, weigh little.
    """
    d = drive.design
    unit = d.unit
    space_t, dew = drive.get("shown.space_t"), drive.get("shown.dew_point")
    supply = drive.get("shown.supply_t")
    outdoor_t, outdoor_dew = drive.get("outdoor.t"), outdoor_dew_of(drive.blocks, d.pressure)
    there = np.isfinite(space_t + dew + supply + outdoor_t + outdoor_dew)
    if int(there.sum()) < LEAST_BLOCKS or drive.blocks.called is None:
        raise InputError(
            "the trend must log shown.dew_point, shown.space_t, shown.supply_t, the weather, and stages or "
            f"dehumidifying together for {0.5 * LEAST_BLOCKS:.0f} h at least"
        )
    index = np.flatnonzero(there)
    samples = values["air_ratio"].shape[0]
    stages, modulation = stages_of(drive.blocks, unit)
    tiled = {name: np.repeat(array, len(index)) for name, array in values.items() if array.shape[0] > 1}
    tiled |= {name: array for name, array in values.items() if array.shape[0] == 1}

    def across(series: Array) -> Array:
        return np.tile(series[index], samples)

    true_t = across(space_t) - tiled["space_t_offset"] - tiled["space_t_error"]
    true_dew = np.minimum(across(dew) - tiled["dew_offset"] - tiled["dew_error"], true_t - 0.05)
    weather_t = across(outdoor_t)
    settled = settle(
        d,
        tiled,
        Conditions(
            weather_t,
            np.minimum(across(outdoor_dew), weather_t - 0.05),
            true_t,
            true_dew,
            across(np.nan_to_num(drive.get("shown.reheat_command"))),
            across(stages),
            across(modulation),
            np.zeros(1),
        ),
    )
    shape = (samples, len(index))
    true_supply = across(supply) - tiled["supply_t_offset"] - tiled["supply_t_error"]
    flow = settled.flow.supply
    store = storage(d)
    hour = np.gradient(drive.time[index])
    ratio = saturated_humidity_ratio(true_dew, d.pressure)
    mass = (store.air_mass * (1.0 + 0.3 * 10.0) * tiled["room_air_ratio"]).reshape(shape)
    heat = (store.air_heat * 2.0 * tiled["room_air_ratio"]).reshape(shape)
    stored = mass * np.gradient(ratio.reshape(shape), axis=1) / hour
    warmed = heat * np.gradient(true_t.reshape(shape), axis=1) / hour
    space = unit.space
    density = d.pressure / (287.042 * (true_t + 273.15) * 1.012)
    leak = space.infiltration * density * tiled["infiltration_ratio"] * tiled["doors_ratio"]
    released = (flow * (ratio - settled.supply_w) - leak * (settled.mixed.outdoor_w - ratio)).reshape(shape)
    gained = (
        flow * MOIST_SPECIFIC_HEAT * (true_t - true_supply)
        - leak * MOIST_SPECIFIC_HEAT * (weather_t - true_t)
        - 0.4 * abs(space.sensible) * tiled["sensible_shift"]
    ).reshape(shape)
    by_design = _away(space.moisture * tiled["moisture_ratio"] * tiled["moisture_added_ratio"], 1e-6)
    moisture = np.clip((released + stored) / by_design.reshape(shape), -MOST_LOAD, MOST_LOAD)
    sensible = np.clip((gained + warmed) / _away(np.asarray([space.sensible]), 100.0), -MOST_LOAD, MOST_LOAD)
    on = drive.blocks.called[index] > 0.5
    shown = (settled.supply_t + tiled["supply_t_offset"] + tiled["supply_t_error"]).reshape(shape)
    apart = (shown - supply[index])[:, on] if on.any() else np.zeros((samples, 1))
    share = np.maximum(moisture.mean(axis=1), 0.02)
    squares = np.square(np.log(share) - MOISTURE) / MOISTURE_SIGMA**2
    squares += np.square(sensible.mean(axis=1) - SENSIBLE) / SENSIBLE_SIGMA**2
    squares += np.square(apart.mean(axis=1)) / SUPPLY_SIGMA**2
    weight = np.exp(-0.5 * (squares - squares.min()))
    return Implied(Loads.of(moisture, sensible, drive.time[index]), weight / weight.sum())


def _away(value: Array, least: float) -> Array:
    """Kept away from zero, so that a share of it can be taken."""
    return np.where(np.abs(value) < least, least, value)


def hourly(drive: Drive, loads: Loads, at: float, duration: float) -> Loads:
    """Loads of an average day, hour by hour, laid over other days.

    Parameters
    ----------
    drive : Drive
        Whose days the loads are of.
    loads : Loads
        (samples, blocks).
    at : float, [s since 1970]
        When the other days begin.
    duration : float, [s]

    Returns
    -------
    Loads
    """
    hour = ((drive.start + loads.time) % DAY) // 3600.0
    means = []
    for series in (loads.moisture, loads.sensible):
        whole = series.mean(axis=1)
        rows = [series[:, hour == h].mean(axis=1) if (hour == h).any() else whole for h in range(24)]
        means.append(np.stack(rows, axis=1))
    time = np.arange(0.0, duration + 3600.0, 3600.0)
    pick = (((at + time) % DAY) // 3600.0).astype(np.intp)
    return Loads.of(means[0][:, pick], means[1][:, pick], time)


def parted(values: Values, rows: Rows) -> dict[str, Array]:
    """Some of the machines."""
    return {name: array[rows] if array.shape[0] > 1 else array for name, array in values.items()}
