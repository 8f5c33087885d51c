"""How fast the machine in time runs, and how far longer steps take it from short ones.

Run as `make bench ARGS=motion`. Processor time of this process, so that a busy machine does not count. The
units are made up. Aims: a day of one unit at ten seconds in under 1 s, of 256 samples in under 20 s.
"""

from __future__ import annotations

import time

import numpy as np

from wringout.documents.load import unit_from_text
from wringout.machine.closed import closed
from wringout.machine.design import Design, design
from wringout.machine.motion import Hold, Loads, Release, Weather
from wringout.machine.motion import run as run_machine
from wringout.machine.motion_storage import storage_spreads
from wringout.machine.parameters import Array, healthy_values, neutral, spreads

DAY = 86_400.0
SAMPLES = 256
HEAD = "format: wringout-unit/1\nname: {name}\n"
UNITS = {
    "three stages, reclaim": "air: {supply_airflow: 9000 cfm}\n"
    "cooling: {kind: dx, stages: [{id: c1, modulating: yes}, {id: c2}, {id: c3}]}\n"
    "reheat: {kind: hot_water, valve: {ways: three}}\nsource: {kind: reclaim}\n",
    "chilled water, boiler": "air: {supply_airflow: 12000 cfm}\ncooling: {kind: chilled_water}\n"
    "reheat: {kind: hot_water, valve: {ways: two}}\nsource: {kind: boiler}\n",
    "two stages, hot gas": "air: {supply_airflow: 2400 cfm}\n"
    "cooling: {kind: dx, stages: [{id: c1}, {id: c2}]}\nreheat: {kind: hot_gas}\n",
}


def machines(d: Design, samples: int) -> dict[str, Array]:
    rows = spreads(d) + storage_spreads()
    z = np.random.default_rng(1).standard_normal((samples, len(rows)))
    return neutral(d) | healthy_values(rows, z)


def day_of(d: Design) -> tuple[Weather, Loads]:
    """Weather and people that come and go over a day."""
    hour = np.arange(0.0, 25.0)
    wave = np.sin(2.0 * np.pi * (hour - 9.0) / 24.0)
    design_day = d.unit.space.design_day
    weather = Weather.of(
        design_day.outdoor_t - 4.0 + 4.0 * wave, design_day.outdoor_dew_point - 2.0 + wave, 3600.0 * hour
    )
    return weather, Loads.of(0.7 + 0.3 * wave, 0.6 + 0.2 * wave, 3600.0 * hour)


def run_for(d: Design, samples: int, step: float, duration: float) -> tuple[float, dict[str, Array]]:
    """Processor seconds of a run, and some of its points every minute."""
    weather, loads = day_of(d)
    values = machines(d, samples)
    schedule = [Hold(7200.0, "reheat.command", 1.0), Release(9000.0, "reheat.command")]
    rest = closed(d, values, weather, loads)
    start = time.process_time()
    trace = run_machine(d, values, weather, loads, schedule, rest, duration, step, record=60.0)
    taken = time.process_time() - start
    return taken, trace.points(["supply.t", "space.t", "shown.dew_point"])


def run() -> list[tuple[str, str]]:
    """Rows of (what, result)."""
    rows = []
    for name, text in UNITS.items():
        d = design(unit_from_text(HEAD.format(name=name) + text, name))
        one, points = run_for(d, 1, 10.0, DAY)
        rows.append((f"{name}: a day, 1 machine", f"{one:.2f} s (aim 1)"))
        many, _ = run_for(d, SAMPLES, 10.0, DAY)
        rows.append((f"{name}: a day, {SAMPLES} machines", f"{many:.1f} s (aim 20)"))
        _, fine = run_for(d, 1, 1.0, 4 * 3600.0)
        apart = []
        for point, series in fine.items():
            off = np.abs(points[point][:, : series.shape[1]] - series)
            apart.append(f"{point} {np.median(off):.3f}/{off.max():.2f}")
        rows.append(("  10 s against 1 s, median/most [K]", ", ".join(apart)))
    return rows
