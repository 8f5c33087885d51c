"""Trends made by the machine in time: invented units, causes at work, logged minute by minute in tenths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from motion_cases import healthy
from wringout.catalogue.points import point, sigma
from wringout.documents.call import Call, Reading
from wringout.documents.unit import Unit
from wringout.machine.acts import ACTS, variants
from wringout.machine.design import design
from wringout.machine.motion import Loads, Weather, run
from wringout.trends.table import DAY, HOUR, TrendTable

__all__ = ["START", "WALK_UP", "Logged", "logged"]

START = 1_814_400_000.0  # 2027-06-30 00:00
POINTS = (
    "shown.dew_point",
    "shown.space_t",
    "shown.supply_t",
    "shown.reheat_command",
    "shown.stages_called",
    "shown.outdoor_dew_point",
    "outdoor.t",
)
WALK_UP = (
    "shown.dehumidifying",
    "shown.stages_called",
    "shown.reheat_command",
    "shown.dew_point",
    "shown.space_t",
    "shown.setpoint_dew_point",
    "outdoor.t",
    "outdoor.rh",
    "return.t",
    "return.rh",
    "supply.t",
    "supply.rh",
)


@dataclass(frozen=True)
class Logged:
    """A unit's trend, and what a careful technician reads on the walk-up after it."""

    wrong: tuple[str, ...]
    trend: TrendTable
    call: Call


def logged(
    unit: Unit,
    wrong: Sequence[Sequence[str]],
    seed: int,
    days: float = 1.0,
    severity: float | None = None,
    warmer: float = 0.0,
    sensors_alike: bool = False,
) -> list[Logged]:
    """Let healthy machines with causes in them run through summer days, and log what their display shows.

    One trend for each entry of ``wrong``; each cause in a way and at a severity drawn anew, or in its
    first way at ``severity``. ``warmer`` shifts the weather [K]. With ``sensors_alike`` the dew points
    indoors and outdoors are off by the same.
    """
    rng = np.random.default_rng(seed)
    d = design(unit)
    count = len(wrong)
    values = healthy(d, count, rng)
    values["hand_command"] = 0.2 + 0.6 * rng.random(count)
    if sensors_alike:
        values["dew_offset"] = values["outdoor_dew_offset"]
    for i, causes in enumerate(wrong):
        for cause in causes:
            ways = variants(cause, unit)
            way = ways[int(rng.integers(len(ways))) if severity is None else 0]
            drawn = [
                np.full(1, rng.random() if severity is None else severity)
                for _ in range(ACTS[cause].severities)
            ]
            moved = ACTS[cause].move(lambda name, i=i: values[name][i : i + 1], way, drawn)
            for name, array in moved.items():
                if values[name].shape[0] == 1:
                    values[name] = np.repeat(values[name], count)
                values[name][i] = array[0]
    time = np.arange(0.0, days * DAY + 1.0, 600.0)
    hour = (time / HOUR) % 24.0
    day = unit.space.design_day
    phase = np.cos(2.0 * np.pi * (hour - 15.0) / 24.0)
    outdoor = day.outdoor_t - 7.0 + warmer + 5.0 * phase + 1.5 * _wander(rng, count, time)
    dew = day.outdoor_dew_point - 3.5 + warmer + 1.0 * _wander(rng, count, time)
    dew = np.minimum(np.minimum(dew, day.outdoor_dew_point + max(warmer, 0.0)), outdoor - 0.5)
    busy = 1.0 / (1.0 + np.exp(-(hour - 8.0) * 3.0)) - 1.0 / (1.0 + np.exp(-(hour - 20.0) * 3.0))
    moisture = (0.35 + 0.5 * busy) * np.ones((count, 1))
    trace = run(
        d,
        values,
        Weather.of(outdoor, dew, time),
        Loads.of(moisture, 0.5 + 0.35 * busy * np.ones((count, 1)), time),
        duration=days * DAY,
        step=10.0,
        rng=rng,
        record=60.0,
    )
    points = trace.points(POINTS)
    last = trace.points(WALK_UP, slice(len(trace.time) - 1, None))
    found = []
    for i in range(count):
        sensed = {}
        for name, series in points.items():
            if name == "shown.stages_called":
                sensed[name] = series[i]
            elif name == "shown.reheat_command":
                sensed[name] = np.round(series[i], 2)
            else:
                sensed[name] = np.round(series[i] + rng.normal(0.0, 0.05, series.shape[1]), 1)
        table = TrendTable(START + trace.time, sensed)
        readings = {name: float(series[i, 0]) for name, series in last.items()}
        found.append(Logged(tuple(wrong[i]), table, _call(unit, readings, float(table.time[-1]), rng)))
    return found


def _call(unit: Unit, true: dict[str, float], end: float, rng: np.random.Generator) -> Call:
    """Readings with the error of a careful one, a minute apart."""
    at = datetime.fromtimestamp(end, UTC).replace(tzinfo=None) + timedelta(minutes=2)
    events = []
    for k, (name, value) in enumerate(true.items()):
        read = value + sigma(name, value) * rng.standard_normal() if point(name).accuracy else value
        events.append(
            Reading(
                at=at + timedelta(minutes=k), point=name, value=read, unit_text="", text="", by=point(name).by
            )
        )
    return Call(unit=unit, complaint="It will not dry out.", events=tuple(events))


def _wander(rng: np.random.Generator, count: int, time: np.ndarray) -> np.ndarray:
    """Weather that keeps for some hours (Ornstein and Uhlenbeck), standard normal."""
    kept = float(np.exp(-(time[1] - time[0]) / (5.0 * HOUR)))
    noise = rng.standard_normal((time.size, count))
    noise[1:] *= np.sqrt(1.0 - kept * kept)
    for k in range(1, time.size):
        noise[k] += kept * noise[k - 1]
    return noise.T
