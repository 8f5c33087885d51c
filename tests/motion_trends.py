"""Trends of invented units made with the machine in time: minutes, with weather, people and causes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from motion_cases import Values, machine, nominal, one_cause
from wringout.machine.design import Design
from wringout.machine.motion import Event, Loads, Weather, run
from wringout.trends.table import TrendTable

START = 1_815_004_800.0  # 2027-07-08 00:00
DAY = 86400.0
LOGGED = (
    "shown.dew_point", "shown.outdoor_dew_point", "shown.space_t", "shown.supply_t", "shown.reheat_command",
    "shown.stages_called", "outdoor.t",
)  # fmt: skip


def weather_of(
    d: Design, days: float, under_t: float = 3.0, under_dew: float = 3.0, seed: int = 0
) -> Weather:
    """Days that swing about so many kelvins under the design day."""
    rng = np.random.default_rng(seed)
    hours = np.arange(0.0, 24.0 * days + 1.0)
    wave = np.sin(2.0 * np.pi * (hours - 9.0) / 24.0)
    slow = np.interp(
        hours, np.arange(0.0, hours[-1] + 13.0, 12.0), rng.normal(0.0, 0.5, len(hours) // 12 + 2)
    )
    day = d.unit.space.design_day
    t = day.outdoor_t - under_t + 3.0 * wave
    dew = day.outdoor_dew_point - under_dew + 0.6 * wave + slow
    return Weather.of(t, np.minimum(dew, t - 0.5), 3600.0 * hours)


def loads_of(days: float, moisture: float = 0.9, sensible: float = 0.6) -> Loads:
    """People by day, fewer by night."""
    hours = np.arange(0.0, 24.0 * days + 1.0)
    busy = 0.5 + 0.5 * np.tanh(3.0 * np.sin(2.0 * np.pi * (hours - 9.0) / 24.0))
    return Loads.of(moisture * (0.6 + 0.4 * busy), sensible * (0.7 + 0.3 * busy), 3600.0 * hours)


def made(
    kind: str = "modulating reclaim",
    causes: Sequence[tuple[str, float]] = (),
    days: float = 2.0,
    weather: Weather | None = None,
    loads: Loads | None = None,
    schedule: Sequence[Event] = (),
    extra: Sequence[str] = (),
    start: float = START,
    seed: int = 0,
    values: Values | None = None,
) -> TrendTable:
    """A trend of one unit, at its schedule unless `values` are given, with causes at their severities."""
    d = machine(kind)
    values = values if values is not None else nominal(d)
    for cause, severity in causes:
        values = one_cause(d, values, cause, severity)
    rng = np.random.default_rng(seed)
    trace = run(
        d, values, weather or weather_of(d, days, seed=seed), loads or loads_of(days), schedule,
        duration=days * DAY, step=20.0, rng=rng, record=60.0,
    )  # fmt: skip
    points = trace.points([*LOGGED, *extra])
    log = {}
    for name, series in points.items():
        line = series[0]
        if name.endswith((".t", "_t", "dew_point")):
            line = np.round(line + rng.normal(0.0, 0.05, len(line)), 1)
        log[name] = np.round(line, 2) if name in {"shown.reheat_command", "supply.rh"} else line
    return TrendTable(start + trace.time, log)
