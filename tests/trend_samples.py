"""An invented drying unit in an invented hall, minute by minute, for the tests of trends.

A small simulation of its own: none of it is the package's machine. Room air with heat and moisture, two
stages on the dew point with hysteresis, a PI control of the reheat valve, lags of valve, coil and sensors,
sensors with noise that speak in tenths. What can go wrong is an argument.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from functools import cache

import numpy as np

from sample_documents import RECLAIM
from wringout.documents.load import unit_from_text
from wringout.documents.unit import Unit as UnitDocument
from wringout.trends.table import TrendTable

START = 1_815_004_800.0  # 2027-07-07 00:00
STEP = 20.0  # [s] inside
DAY = 86400.0

SPACE_T, DEW_POINT, BAND = 20.0, 11.0, 1.6


SATISFIED_AT_NIGHT = {"night_load": -0.5, "moisture": 0.8}


@dataclass
class Unit:
    """What the unit is and what is wrong with it."""

    gain: float = 0.12  # of the reheat control [share of travel per K]
    integral: float = 1800.0  # [s]
    heat: float = 18.0  # K that a full reheat coil gives
    action: float = 1.0  # -1: the valve acts the wrong way round
    stuck_at: float | None = None
    leak: float = 0.0
    dew_from_outdoor: str = "never"  # never, always, while_off
    locked_out: bool = False
    cool_stuck_on: bool = False
    night_load: float = 0.35  # share of the day's moisture load that is left at night
    moisture: float = 1.0
    least_on: float = 300.0  # [s]
    change_at: float | None = None  # [s] from the start: the valve sticks at 0.2 from then on
    outdoor_shift: float = 0.0


def simulate(days: float = 2.0, seed: int = 0, unit: Unit | None = None, extra: bool = False) -> TrendTable:
    """A trend in one-minute steps, as a controller would log it; `extra` adds mixed, return and coil
    temperatures."""
    u = unit or Unit()
    rng = np.random.default_rng(seed)
    steps = int(days * DAY / STEP)
    time = np.arange(steps) * STEP
    slow = [_wander(rng, steps) for _ in range(4)]
    phase = 2.0 * np.pi * (time / DAY - 15.0 / 24.0)
    outdoor = 24.0 + 5.0 * np.cos(phase) + 1.5 * slow[0]
    outdoor_dew = np.minimum(
        17.0 + 1.2 * np.cos(phase / 2.3 + 1.0) + 1.2 * slow[1] + u.outdoor_shift, outdoor - 0.8
    )
    hour = (time / 3600.0) % 24.0
    busy = 1.0 / (1.0 + np.exp(-(hour - 8.0) * 3.0)) - 1.0 / (1.0 + np.exp(-(hour - 20.0) * 3.0))
    load = u.moisture * (u.night_load + (1.0 - u.night_load) * busy) * (1.0 + 0.1 * slow[2])
    heat_load = 0.3 + 0.9 * busy + 0.15 * slow[3]

    log: dict[str, list[float]] = {
        name: [] for name in ("space", "dew", "supply", "command", "stages", "coil", "mixed")
    }
    space, dew, coil, rise, sensor = SPACE_T + 0.1, DEW_POINT + 0.3, 12.0, 6.0, 18.0
    command, integral, stages, since = 0.4, 0.4, 1, 0.0
    valve, pipe = 0.4, deque([0.4] * 4, maxlen=4)
    for k in range(steps):
        mixed = 0.85 * space + 0.15 * outdoor[k]
        seen = outdoor_dew[k] if u.dew_from_outdoor == "always" else dew
        since += STEP
        wanted = _stages(stages, seen) if not u.locked_out else 0
        if wanted != stages and since >= u.least_on:
            stages, since = wanted, 0.0
        running = max(stages, 1) if u.cool_stuck_on else stages
        target = mixed if running == 0 else 12.5 - 3.2 * running + 0.25 * (mixed - SPACE_T)
        coil += (target - coil) * STEP / 150.0
        if stages > 0:
            error = SPACE_T - space
            integral = min(max(integral + u.gain * error * STEP / u.integral, 0.0), 1.0)
            command = min(max(integral + u.gain * error, 0.0), 1.0)
        else:
            command = integral = 0.0
        pipe.append(command)
        stuck = u.stuck_at if u.change_at is None or time[k] < u.change_at else 0.2
        if u.change_at is not None and time[k] < u.change_at:
            stuck = None
        asked = pipe[0] if u.action > 0.0 else 1.0 - pipe[0]
        valve += max(min((asked if stuck is None else stuck) - valve, STEP / 90.0), -STEP / 90.0)
        opened = max(valve, u.leak)
        rise += (u.heat * opened - rise) * STEP / 100.0
        supply = coil + 1.0 + rise
        sensor += (supply - sensor) * STEP / 40.0
        space += ((heat_load[k] * 2.4) + 1.0 * (supply - space) + 0.05 * (outdoor[k] - space)) * STEP / 2400.0
        space = max(space, SPACE_T - 2.8)  # some other heating keeps the room from falling further
        out_dew = min(coil - 0.3, dew + 0.1) if running > 0 else dew
        dew += (2.6 * load[k] + 0.8 * (out_dew - dew) + 0.10 * (outdoor_dew[k] - dew)) * STEP / 5400.0
        if k % 3 == 0:
            for name, value in (
                ("space", space),
                ("dew", dew),
                ("supply", sensor),
                ("command", command),
                ("stages", float(stages)),
                ("coil", coil),
                ("mixed", mixed),
            ):
                log[name].append(value)

    def sensed(values: list[float] | np.ndarray, digit: float = 0.1) -> np.ndarray:
        noisy = np.asarray(values) + rng.normal(0.0, 0.05, len(values))
        return np.round(noisy / digit) * digit

    minutes = time[::3]
    on = np.array(log["stages"]) > 0.5
    outdoor_dew_m = outdoor_dew[::3]
    shown = np.array(log["dew"])
    if u.dew_from_outdoor == "always":
        shown = outdoor_dew_m
    elif u.dew_from_outdoor == "while_off":
        shown = np.where(on, shown, outdoor_dew_m)
    values = {
        "shown.dew_point": sensed(shown),
        "shown.outdoor_dew_point": sensed(outdoor_dew_m),
        "shown.space_t": sensed(log["space"]),
        "shown.supply_t": sensed(log["supply"]),
        "shown.reheat_command": np.round(np.array(log["command"]), 2),
        "shown.stages_called": np.array(log["stages"]),
        "outdoor.t": sensed(outdoor[::3]),
    }
    if extra:
        values |= {
            "mixed.t": sensed(log["mixed"]),
            "coil_leaving.t": sensed(log["coil"]),
            "return.t": sensed(np.array(log["space"]) + 0.3),
        }
    return TrendTable(START + minutes, values)


@cache
def trend(
    days: float = 2.0, seed: int = 1, extra: bool = False, **wrong: float | str | bool | None
) -> TrendTable:
    """The days of a unit with something wrong, made once for all tests of a module."""
    return simulate(days, seed, Unit(**wrong), extra)  # type: ignore[arg-type]


def _stages(stages: int, dew: float) -> int:
    on = (DEW_POINT, DEW_POINT + 0.6 * BAND)
    off = (DEW_POINT - 0.5 * BAND, DEW_POINT + 0.2 * BAND)
    for k in (0, 1):
        if stages == k and dew > on[k]:
            return k + 1
    for k in (1, 0):
        if stages == k + 1 and dew < off[k]:
            return k
    return stages


def _wander(rng: np.random.Generator, steps: int) -> np.ndarray:
    """A slow random wandering of unit size: knots every three hours, smooth between."""
    knots = rng.normal(0.0, 1.0, steps * int(STEP) // 10800 + 3)
    at = np.arange(steps) * STEP / 10800.0
    k = at.astype(int)
    part = at - k
    part = part * part * (3.0 - 2.0 * part)
    return knots[k] * (1.0 - part) + knots[k + 1] * part


def with_values(table: TrendTable, **values: np.ndarray) -> TrendTable:
    """The table with some points replaced or added; ``shown__dew_point`` stands for ``shown.dew_point``."""
    changed = {name.replace("__", "."): value for name, value in values.items()}
    return TrendTable(table.time, {**table.values, **changed})


def without(table: TrendTable, *points: str) -> TrendTable:
    """The table without some points."""
    return TrendTable(table.time, {p: v for p, v in table.values.items() if p not in points})


@cache
def hall() -> UnitDocument:
    """The sample unit with the set points of the simulated hall."""
    text = RECLAIM
    for old, new in (
        ("  dew_point: 48 degF\n  dew_point_band", f"  dew_point: {DEW_POINT} degC\n  dew_point_band"),
        ("dew_point_band: 2.5 delta_degF", f"dew_point_band: {BAND} delta_degC"),
        ("  space_t: 62 degF", f"  space_t: {SPACE_T} degC"),
        ("t: 62 degF, dew_point: 48 degF", f"t: {SPACE_T} degC, dew_point: {DEW_POINT} degC"),
    ):
        assert old in text
        text = text.replace(old, new)
    return unit_from_text(text)
